"""Pages from answers: what is worth saying, in which order, in how many lines.

Draws no conclusions; everything shown stands in the answer already. One decision fits
on one screen: four causes, one step, two others.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from diagnose.measurement.readings import ReadingKind
from diagnose.session.answer import (
    Advice,
    Answer,
    ExpectedValue,
    ProposedStep,
    RankedCause,
    Verdict,
    Weight,
)
from diagnose.session.vocabulary import Vocabulary
from diagnose.terminal.dialogue.commands import COMMANDS, STEP_LETTERS
from diagnose.terminal.page import (
    Chance,
    Line,
    Page,
    Pair,
    Paragraph,
    Tone,
    Words,
    say,
)
from diagnose.units import format_minutes, format_probability

SHOWN_CAUSES = 4
SHOWN_EXPECTED = 5
SHOWN_WEIGHTS = 8
SHOWN_MATCHES = 6
LEAST_SHOWN = 0.01
"""A probability below this is not worth a line of the page. Own choice."""

_ADVICE_TONES = {
    Verdict.REPAIR: Tone.STRONG,
    Verdict.PROVE: Tone.STRONG,
    Verdict.FIXED: Tone.GOOD,
    Verdict.NOTHING_FITS: Tone.PROBLEM,
    Verdict.STOP: Tone.PROBLEM,
}
_COMMON_WORDS = frozenset(
    ("does", "doe", "when", "with", "then", "that", "what", "have", "only", "turn")
)
_YES_CHANCE = re.compile(r"yes in (\d+) of 100")
_MENDING = "mending"
_FIRST_SENTENCE = re.compile(r".*?[.!?](?=\s|$)", re.DOTALL)


def opening_page(car_title: str, case: str, safety_note: str) -> Page:
    """Return the first page: the car, the case, and the safety note."""
    about = f"{car_title}; case {case}" if case else car_title
    return (
        say("car", about, Tone.STRONG),
        say("first", safety_note, Tone.CAUTION),
    )


def complaint_page(vocabulary: Vocabulary) -> Page:
    """Return the question what is wrong, with numbered answers."""
    return choice_page(
        "trouble",
        "What is wrong with the car?",
        choices=tuple(vocabulary.complaints.values()),
        hint="type its number; Enter alone: none of these, describe by symptoms",
    )


MORE_THAN_ONE = 1.02
# Derived: beyond this a sum of rounded per cents is seen to be over a hundred.
RARELY_BROUGHT_ABOUT = 0.98
# Own choice: above this, what brings it about is shown by `why` alone.


def context_page(question: str, answers: Sequence[str]) -> Page:
    """Return one question about the car's history, with numbered answers."""
    return choice_page(
        "history",
        question,
        choices=tuple(spoken(answer) for answer in answers),
        hint="type its number; Enter alone: don't know; skip all: no more of these",
    )


def symptoms_page(vocabulary: Vocabulary, about: str) -> Page:
    """Return the symptoms about something, or every one, with their questions."""
    pairs = tuple(
        Pair(name=name, text=question)
        for name, question in vocabulary.symptoms.items()
        if about.lower() in f"{name} {question}".lower()
    )
    if not pairs:
        return (say("symptoms", f'none is about "{about}"; for all: symptom'),)
    return (
        Paragraph(margin="symptoms", lines=pairs),
        say("", "tell one by: symptom NAME yes, or symptom NAME no", Tone.ASIDE),
    )


def complaints_page(vocabulary: Vocabulary) -> Page:
    """Return every complaint by name."""
    pairs = tuple(
        Pair(name=name, text=words) for name, words in vocabulary.complaints.items()
    )
    return (
        Paragraph(margin="trouble", lines=pairs),
        say("", "tell one by: complaint NAME", Tone.ASIDE),
    )


def matches_page(line: str, vocabulary: Vocabulary) -> Page:
    """Return the complaints and symptoms that share a word with what was typed.

    Complaints keep the numbers they have in the question; without any match the page
    is empty.
    """
    wanted = {word for word in _long_words(line) if word not in _COMMON_WORDS}
    complaints = tuple(
        Pair(name=f"{number}.", text=says)
        for number, says in enumerate(vocabulary.complaints.values(), start=1)
        if wanted & _long_words(says)
    )
    symptoms = tuple(
        Pair(name=f"symptom {name} yes", text=question)
        for name, question in vocabulary.symptoms.items()
        if wanted & _long_words(f"{name} {question}")
    )
    page = []
    if complaints:
        page.append(Paragraph(margin="trouble", lines=complaints))
    if symptoms:
        page.append(Paragraph(margin="symptoms", lines=symptoms[:SHOWN_MATCHES]))
    return tuple(page)


def choice_page(
    margin: str, question: str, *, choices: Sequence[str], hint: str
) -> Page:
    """Return any question with numbered answers."""
    return (
        Paragraph(
            margin=margin,
            lines=(
                Words(text=question, tone=Tone.STRONG),
                *_numbered(choices),
                Words(text=hint, tone=Tone.ASIDE),
            ),
        ),
    )


def answer_page(
    answer: Answer,
    *,
    place: int | None,
    seen_cautions: frozenset[str],
    vocabulary: Vocabulary,
) -> Page:
    """Return where the diagnosis stands and the one step to take.

    Parameters
    ----------
    answer : Answer
        The latest answer.
    place : int or None
        Which of the proposed steps is shown in full, from 0; None where a repair comes
        first.
    seen_cautions : frozenset[str]
        What `shown_cautions` gave of the pages before: of a caution read in full for
        the same kind of work, only the first sentence comes again.
    vocabulary : Vocabulary
        The names of this car.
    """
    page = [*_doubts(answer)]
    if answer.causes and answer.advice.verdict is not Verdict.FIXED:
        page.append(_suspects(answer))
    step = _shown_step(answer, place)
    is_told = answer.advice.verdict is not Verdict.OPEN or not answer.causes
    if is_told or step is None:
        repeated = step.cautions if step is not None else ()
        if answer.advice.verdict is Verdict.REPAIR:
            repeated = ()  # the repair comes first: its cautions stand before it
        page.extend(_advice(answer.advice, seen_cautions, repeated))
        here = frozenset(answer.advice.cautions).difference(repeated)
        if step is not None:
            seen_cautions |= frozenset(_noted(here, _work(step)))
    if step is not None:
        ranking = _listed(answer)
        page.extend(step_page(step, seen_cautions=seen_cautions, ranking=ranking))
    others = _other_steps(answer, step, vocabulary)
    keys = Words(text=_keys(answer, step), tone=Tone.ASIDE)
    is_close = step is not None or bool(others)
    return (*page, *others, Paragraph(margin="type", lines=(keys,), is_close=is_close))


def _shown_step(answer: Answer, place: int | None) -> ProposedStep | None:
    """Return the step that a page shows in full."""
    if place is None or answer.advice.verdict is Verdict.FIXED:
        return None
    return answer.next_steps[place] if place < len(answer.next_steps) else None


def step_page(
    step: ProposedStep,
    *,
    seen_cautions: frozenset[str],
    ranking: Sequence[RankedCause],
) -> Page:
    """Return one step: cautions, then how to do it, then what to expect.

    Parameters
    ----------
    step : ProposedStep
        What to do.
    seen_cautions : frozenset[str]
        As in `answer_page`.
    ranking : Sequence[RankedCause]
        The causes on the page, whose numbers stand before what they would give.
    """
    doing: list[Line] = list(
        _caution_lines(step.cautions, seen_cautions, work=_work(step))
    )
    doing.append(Words(text=step.instruction, tone=Tone.STRONG))
    doing.append(Words(text=_cost(step), tone=Tone.ASIDE))
    expected = _expected(step.expected[:SHOWN_EXPECTED], ranking)
    page = [
        Paragraph(margin="measure" if step.reading else "look for", lines=tuple(doing))
    ]
    if expected:
        page.append(Paragraph(margin="shows", lines=expected, is_close=True))
    return tuple(page)


def causes_page(answer: Answer, more_than_two_probability: float) -> Page:
    """Return every cause of the ranking, and what it leaves over.

    Parameters
    ----------
    more_than_two_probability : float
        Bound on it before anything but the history was told.
    """
    lines: list[Line] = [*_mended(answer)]
    for number, cause in enumerate(answer.causes, start=1):
        lines.append(
            Chance(number=number, probability=cause.probability, text=_suspect(cause))
        )
    lines.extend(_rest(answer, len(answer.causes)))
    count = len(answer.causes)
    left_out = format_probability(answer.left_out_probability)
    bound = format_probability(more_than_two_probability)
    note = (
        f"these are all {count} in the ranking; why {count or 1} tells about the "
        f"last; combinations of faults not looked at: an estimated {left_out}; three "
        f"faults or more at once: at most {bound} before anything was told, and looked "
        "at where what was told asks for them"
    )
    if sum(cause.probability for cause in answer.causes) > MORE_THAN_ONE:
        note += "; two faults may be there together, so the chances add up to more"
    lines.append(Words(text=note, tone=Tone.ASIDE))
    return (Paragraph(margin="suspects", lines=tuple(lines)),)


def why_page(cause: RankedCause) -> Page:
    """Return what speaks for and against one cause."""
    head = (
        Words(text=cause.says, tone=Tone.STRONG),
        Words(text=f"now {format_probability(cause.probability)}"),
    )
    told = tuple(
        Pair(name=_weight_words(weight.decibans), text=_evidence_words(weight))
        for weight in cause.evidence[:SHOWN_WEIGHTS]
    ) or (Words(text="nothing told so far speaks for or against it"),)
    settled = (say("to settle", cause.settled_by),) if cause.settled_by else ()
    repair = f"{cause.repair} ({format_minutes(cause.repair_minutes)})"
    page = [
        Paragraph(margin="why", lines=head),
        *_origins(cause),
        Paragraph(margin="evidence", lines=told),
        *settled,
        say("repair", repair),
    ]
    others = [member for member in cause.members if member != cause.name]
    if others:
        alike = "the same repair mends: " + ", ".join(others)
        page.append(say("same", alike, Tone.ASIDE))
    return tuple(page)


def _suspect(cause: RankedCause) -> str:
    """Return a suspect in words; of a consequence, whether something brought it about.

    What is hardly ever brought about is left as it is.
    """
    if not cause.origins:
        return cause.says
    by_nothing = cause.origins[-1].probability
    if by_nothing > RARELY_BROUGHT_ABOUT:
        return cause.says
    nothing, something = (
        format_probability(by_nothing),
        format_probability(1 - by_nothing),
    )
    root = cause.origins[0]
    named = f", most likely {root.says}" if root.cause else ""
    return (
        f"{cause.says} (if so: {something} brought about by something{named}; "
        f"{nothing} by nothing found)"
    )


def _origins(cause: RankedCause) -> Page:
    """Return what may have brought a cause about, with the odds."""
    if not cause.origins:
        return ()
    lines = tuple(
        Pair(name=format_probability(origin.probability), text=origin.says)
        for origin in cause.origins
    )
    head = Words(text="if it is found like this, it was brought about by:")
    return (Paragraph(margin="root", lines=(head, *lines)),)


def facts_page(answer: Answer) -> Page:
    """Return what has been told, numbered."""
    if not answer.facts:
        return (say("facts", "nothing told yet"),)
    return (
        Paragraph(margin="facts", lines=_numbered(answer.facts)),
        say("", "undo takes back the latest; strike 2 takes back fact 2", Tone.ASIDE),
    )


def cautions_page(answer: Answer, place: int | None) -> Page:
    """Return the cautions of the step and of the advice in full."""
    cautions = answer.advice.cautions
    step = _shown_step(answer, place)
    if step is not None:
        cautions = (*cautions, *step.cautions)
    lines = _caution_lines(tuple(dict.fromkeys(cautions)), frozenset(), work="")
    return (
        Paragraph(
            margin="caution",
            lines=lines or (Words(text="this step has no caution of its own"),),
        ),
    )


def help_page() -> Page:
    """Return every command and the short answers."""
    short: tuple[Line, ...] = (
        Pair(name="12.4", text="what the meter shows: answers the step on the page"),
        Pair(name="yes, no", text="answers a question; y and n will do"),
        Pair(name="blown, sound", text="answers a look at a fuse"),
        Pair(name="a, b, c", text="take a step by its letter instead of the first"),
    )
    commands = tuple(
        Pair(name=command.usage, text=command.says) for command in COMMANDS.values()
    )
    return (
        Paragraph(margin="answers", lines=short),
        Paragraph(margin="commands", lines=commands),
        say(
            "",
            "the start of a name is enough; Tab completes; Ctrl-C clears the line; "
            "Ctrl-D saves and leaves",
            Tone.ASIDE,
        ),
    )


def step_words(step: ProposedStep, vocabulary: Vocabulary) -> str:
    """Return a step in one line, for a choice."""
    reading = step.reading
    if reading is None:
        return f"{step.instruction} ({format_minutes(step.minutes)})"
    at = f"{reading.kind.value} at {reading.red}"
    if reading.black not in ("", vocabulary.reference):
        at = f"{reading.kind.value} from {reading.red} to {reading.black}"
    return f"{at}, {spoken(step.state)} ({format_minutes(step.minutes)})"


def spoken(name: str) -> str:
    """Return a key as words."""
    return name.replace("_", " ").replace("-", " ")


def shown_cautions(answer: Answer, place: int | None) -> frozenset[str]:
    """Return the cautions that `answer_page` shows, with the work each was read for."""
    step = _shown_step(answer, place)
    told = _noted(answer.advice.cautions, _MENDING)
    return frozenset(told).union(_noted(step.cautions, _work(step)) if step else ())


def _long_words(text: str) -> frozenset[str]:
    """Return the words of four letters and more, without a plural's or verb's s."""
    return frozenset(
        word.removesuffix("s") for word in re.findall(r"[a-z]{4,}", text.lower())
    )


def _numbered(choices: Iterable[str]) -> tuple[Pair, ...]:
    return tuple(
        Pair(name=f"{number}.", text=choice)
        for number, choice in enumerate(choices, start=1)
    )


def _doubts(answer: Answer) -> tuple[Paragraph, ...]:
    """Return what to be careful about before believing the ranking."""
    lines = tuple(Words(text=note) for note in answer.notes)
    return (Paragraph(margin="mind", lines=lines),) if lines else ()


def _listed(answer: Answer) -> Sequence[RankedCause]:
    """Return the causes that a page numbers."""
    likely = [c for c in answer.causes[1:SHOWN_CAUSES] if c.probability >= LEAST_SHOWN]
    return (*answer.causes[:1], *likely)


def _suspects(answer: Answer) -> Paragraph:
    """Return the top of the ranking, and how much is below it."""
    shown = _listed(answer)
    lines: list[Line] = [*_mended(answer)]
    lines.extend(
        Chance(number=number, probability=cause.probability, text=_suspect(cause))
        for number, cause in enumerate(shown, start=1)
    )
    lines.extend(_rest(answer, len(shown)))
    return Paragraph(margin="suspects", lines=tuple(lines))


def _is_repaired(answer: Answer) -> bool:
    return any(fact.startswith("repaired: ") for fact in answer.facts)


def _mended(answer: Answer) -> tuple[Words, ...]:
    """Return, after a repair, how likely it is that nothing is wrong any more."""
    if not _is_repaired(answer):
        return ()
    words = f"mended: {format_probability(answer.sound_probability)}"
    return (Words(text=words, tone=Tone.STRONG),)


def _rest(answer: Answer, shown: int) -> tuple[Words, ...]:
    """Return how much of the probability the lines shown leave over."""
    over = 1.0 - sum(cause.probability for cause in answer.causes[:shown])
    if _is_repaired(answer):
        over -= answer.sound_probability
    if over < LEAST_SHOWN:
        return ()
    words = f"anything else: about {format_probability(over)}"
    if len(answer.causes) > shown:
        words += " (more of it: causes)"
    return (Words(text=words, tone=Tone.ASIDE),)


def _advice(
    advice: Advice, seen_cautions: frozenset[str], repeated: tuple[str, ...]
) -> tuple[Paragraph, ...]:
    """Return the advice after its cautions; those repeated with the step come there."""
    if not advice.says:
        return ()
    tone = _ADVICE_TONES.get(advice.verdict, Tone.PLAIN)
    own = tuple(caution for caution in advice.cautions if caution not in repeated)
    lines = (
        *_caution_lines(own, seen_cautions, work=_MENDING),
        Words(text=advice.says, tone=tone),
        *_after_repair(advice),
    )
    return (Paragraph(margin="advice", lines=lines),)


def _after_repair(advice: Advice) -> tuple[Words, ...]:
    if advice.verdict is not Verdict.REPAIR:
        return ()
    return (Words(text="When it is mended, type: done", tone=Tone.ASIDE),)


def _work(step: ProposedStep) -> str:
    """Return what kind of work a step is: its cautions are read in full once for each.

    Trying something out is like nothing else, and hardly ever done twice.
    """
    return step.state if step.reading else step.step.name


def _noted(cautions: Iterable[str], work: str) -> Iterator[str]:
    """Yield how it is noted that cautions were read for some work."""
    return (f"{work}|{caution}" for caution in cautions)


def _caution_lines(
    cautions: tuple[str, ...], seen_cautions: frozenset[str], *, work: str
) -> tuple[Words, ...]:
    """Return cautions in full, or their first sentence when read for such work."""
    return tuple(
        Words(
            text=_shortened(caution) if noted in seen_cautions else caution,
            tone=Tone.CAUTION,
        )
        for caution, noted in zip(cautions, _noted(cautions, work), strict=True)
    )


def _shortened(caution: str) -> str:
    first = _FIRST_SENTENCE.match(caution)
    if first is None or first.end() == len(caution):
        return caution
    return first.group() + " (all of it: cautions)"


def _expected(
    values: Sequence[ExpectedValue], ranking: Sequence[RankedCause]
) -> tuple[Pair, ...]:
    """Return what a step shows, with all that would show the same on one line."""
    alike: dict[str, list[ExpectedValue]] = {}
    for value in values:
        alike.setdefault(value.words, []).append(value)
    return tuple(
        Pair(name=words, text=_whose_words(group, ranking))
        for words, group in alike.items()
    )


def _whose_words(group: Sequence[ExpectedValue], ranking: Sequence[RankedCause]) -> str:
    """Return whose value it is; among several, suspects go by their numbers."""
    places = {
        member: number
        for number, cause in enumerate(ranking, start=1)
        for member in cause.members
    }
    numbers = sorted(places[value.cause] for value in group if value.cause in places)
    others = [value.says for value in group if value.cause not in places]
    if len(group) == 1 and numbers:
        return f"{numbers[0]}. {group[0].says}"
    if numbers:
        one_or_more = "suspect" if len(numbers) == 1 else "suspects"
        others.append(f"{one_or_more} {', '.join(map(str, numbers))}")
    return "; ".join(others)


def _cost(step: ProposedStep) -> str:
    """Return what a step costs, and why it is proposed."""
    cost = format_minutes(step.minutes)
    return f"{cost}; {step.reason}" if step.reason else cost


def _other_steps(
    answer: Answer, shown: ProposedStep | None, vocabulary: Vocabulary
) -> tuple[Paragraph, ...]:
    """Return the other steps, by letter."""
    if answer.advice.verdict is Verdict.FIXED:
        return ()
    others = tuple(
        Pair(name=letter, text=step_words(step, vocabulary))
        for letter, step in zip(STEP_LETTERS, answer.next_steps, strict=False)
        if step is not shown
    )
    return (Paragraph(margin="or", lines=others, is_close=True),) if others else ()


def _keys(answer: Answer, step: ProposedStep | None) -> str:
    """Return what can be typed now, in one line."""
    if answer.advice.verdict is Verdict.FIXED:
        return "leave, or facts, causes, undo, help"
    if not answer.causes and not answer.next_steps:
        return "complaint, symptom fan (lists those about the fan), help, leave"
    keys = []
    if step is not None:
        keys += [_answer_keys(step), "skip"]
    if answer.advice.verdict is Verdict.REPAIR:
        keys.append("done")
    if step is None and answer.next_steps:
        keys.append("a (to measure more first)")
    if answer.causes:
        keys.append("why 1")
    return ", ".join([*keys, "undo", "help", "leave"])


def _answer_keys(step: ProposedStep) -> str:
    if step.reading is None:
        return "yes or no"
    is_look = step.reading.kind is ReadingKind.LOOK
    return "blown or sound" if is_look else "the number"


def _weight_words(decibans: float) -> str:
    """Return how strongly a fact speaks, in words a person can weigh.

    The steps are those of Jeffreys, H., Theory of Probability, 3rd ed., Oxford
    University Press 1961, appendix B: odds of 10**0.5, 10 and 100 are 5, 10 and 20 dB.
    """
    size = abs(decibans)
    if size < 1:
        return "neither way"
    side = "for" if decibans > 0 else "against"
    if size < 5:
        return f"slightly {side}"
    if size < 10:
        return side
    return f"strongly {side}" if size < 20 else f"decisively {side}"


def _evidence_words(weight: Weight) -> str:
    """Return a fact, and what the cause would have given in its place.

    A yes or no is seldom certain under any cause; what counts is whether the other
    causes give it less often, so this is said.
    """
    if not weight.expected:
        return weight.fact
    seen = weight.fact.rpartition(" ")[2]
    chance = _YES_CHANCE.fullmatch(weight.expected)
    if chance is None or seen not in {"yes", "no"}:
        return f"{weight.fact}; it would give {weight.expected}"
    count = int(chance.group(1))
    count = count if seen == "yes" else 100 - count
    others = "about as often"
    if abs(weight.decibans) >= 1:
        others = "less often" if weight.decibans > 0 else "more often"
    often = f"in {count} of 100 cars" if count else "in hardly any car"
    return f"{weight.fact}; it would give {seen} {often}, the other causes {others}"

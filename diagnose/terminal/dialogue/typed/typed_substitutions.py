"""What is typed of a lead added, a part exchanged or taken off, and of what it does.

``bridge A B``, ``swap PART`` or ``unplug PART``, then what was seen: an answer to a
symptom, whether a fuse holds, a reading, or that nothing changed.
"""

from __future__ import annotations

from dataclasses import replace

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.substitutions import Substitution, SubstitutionKind
from diagnose.session.facts import ReadingFact, SubstitutionFact, SymptomFact
from diagnose.terminal.dialogue.typed.desk import Desk, MistypedError
from diagnose.terminal.dialogue.typed.requests import Request, Tell
from diagnose.terminal.dialogue.typed.typed_facts import YES_OR_NO, read, tell_symptom
from diagnose.terminal.names import known_name

# What a fuse does in a test, and the value that stands for it.
HOLDS_OR_BLOWS = {"holds": 0.0, "sound": 0.0, "blows": 1.0, "blown": 1.0}

# Words for a test that changes nothing, and for one that cures the complaint.
NO_CHANGE = (
    *(("no", "change"), ("no", "difference"), ("nothing",), ("same",), ("dead",)),
    *(("still", "dead"), ("still", "nothing"), ("the", "same"), ("not", "run")),
)
CURES = (
    ("helps",),
    ("helped",),
    ("cures",),
    ("works",),
    ("worked",),
    ("ran",),
    ("runs",),
)

# Words that lead on to what was seen.
_LEADING_ON = frozenset({"and", "then", "it", "now", "did"})

# Words that may stand between the two ends of a lead.
_BETWEEN = frozenset({"to", "and"})

# Words before the part whose terminals were bridged: ``30 to 87 of the fan relay``.
_OF_PART = frozenset({"of", "at", "on"})

# The word before the place of a reading that begins with its value: ``12.4 at NODE``.
_AT = "at"


def change(words: tuple[str, ...], desk: Desk, *, kind: SubstitutionKind) -> Request:
    """Understand ``bridge A B``, ``swap PART`` or ``unplug PART``, then what was."""
    words = tuple(word for word in (w.rstrip(":,;") for w in words) if word)
    vocabulary = desk.vocabulary
    if kind is SubstitutionKind.BRIDGE:
        if len(words) > 1 and words[1].lower() in _BETWEEN:
            words = words[:1] + words[2:]
        if len(words) < 2:
            raise MistypedError
        part, rest = _named_part(words[2:], desk)
        first, second = (_point(word, desk, part=part) for word in words[:2])
        substitution = Substitution(kind=kind, at=first, to=second)
    else:
        if not words:
            raise MistypedError
        known = (
            vocabulary.swappable
            if kind is SubstitutionKind.SWAP
            else vocabulary.unpluggable
        )
        part = known_name(words[0], known, "part")
        substitution, rest = Substitution(kind=kind, at=part), words[1:]
    if not rest:
        raise MistypedError(before="And what did the car do then?")
    return Tell(
        fact=SubstitutionFact(substitution=substitution, seen=_seen(rest, desk))
    )


def _named_part(words: tuple[str, ...], desk: Desk) -> tuple[str, tuple[str, ...]]:
    """Return the part of ``of the fan relay``, empty where none is, and the rest."""
    if not words or words[0].lower() not in _OF_PART:
        return "", words
    parts = {node.partition(".")[0] for node in desk.vocabulary.nodes}
    named = words[2:] if words[1:2] == ("the",) else words[1:]
    for count in range(len(named), 0, -1):
        part = "-".join(named[:count]).lower()
        if part in parts:
            return part, named[count:]
    return "", words


def _point(typed: str, desk: Desk, *, part: str = "") -> str:
    """Return a test point; of a terminal alone, that of a part or one on the page."""
    nodes = desk.vocabulary.nodes
    if f"{part}.{typed}" in nodes:
        return f"{part}.{typed}"
    ends = [node for node in nodes if node.endswith(f".{typed}")]
    if typed in nodes or not typed[:1].isdigit() or not ends:
        return known_name(typed, nodes, "test point")
    reading = None if desk.step is None else desk.step.reading
    near = set() if reading is None else {reading.red, reading.black}
    parts = {node.partition(".")[0] for node in near}
    meant = [node for node in ends if node.partition(".")[0] in parts] or ends
    if len(meant) > 1:
        raise ReadingError(f"{typed} of which part? It is at {', '.join(meant)}")
    return meant[0]


def _seen(words: tuple[str, ...], desk: Desk) -> ReadingFact | SymptomFact:
    """Return what was seen meanwhile."""
    while len(words) > 1 and words[0].lower() in _LEADING_ON:
        words = words[1:]
    lowered = tuple(word.lower() for word in words)
    if lowered in NO_CHANGE or lowered in CURES:
        return _as_before(desk, is_cured=lowered in CURES)
    if lowered[-1] in HOLDS_OR_BLOWS:
        return _fuse(words, desk)
    if lowered[-1] in YES_OR_NO:
        names = words[:-1]
        if len(names) == 2 and names[0].lower() in desk.vocabulary.states:
            names = names[1:]
        if names and names[0].lower() == "symptom":
            names = names[1:]
        if len(names) != 1:
            raise MistypedError
        return _told(tell_symptom(names[0], words[-1], desk))
    if _AT in lowered:
        place = lowered.index(_AT)
        words = words[place + 1 :] + words[:place]
    if words[0].lower() == "read":
        words = words[1:]
    return _told(read(words, desk))


def _told(request: Request) -> ReadingFact | SymptomFact:
    assert isinstance(request, Tell)
    assert isinstance(request.fact, ReadingFact | SymptomFact)
    return request.fact


def _fuse(words: tuple[str, ...], desk: Desk) -> ReadingFact:
    """Return whether a new fuse holds: ``[fuse] FUSE holds|blows``."""
    names = [word for word in words[:-1] if word.lower() not in ("fuse", "new")]
    if len(names) != 1:
        raise MistypedError(before="Which fuse?")
    fuse = known_name(names[0], desk.vocabulary.fuses, "fuse")
    reading = Reading(
        kind=ReadingKind.LOOK, state=desk.vocabulary.look_state, red=fuse, black=""
    )
    return ReadingFact(reading=reading, value=HOLDS_OR_BLOWS[words[-1].lower()])


def _as_before(desk: Desk, *, is_cured: bool) -> SymptomFact:
    """Return that the complaint is as it was, or gone."""
    unchanged = desk.unchanged
    if unchanged is None:
        raise ReadingError(
            "nothing was told yet that could change; say what the car does: a symptom "
            "with yes or no"
        )
    if not is_cured:
        return unchanged
    return replace(unchanged, is_present=not unchanged.is_present)

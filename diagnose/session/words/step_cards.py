"""A step as a job card: where to go, which lead where, what the car must be doing.

Short lines, each about one thing, so that they are read with two probes in hand. Leaves
the same in sentences to `wording`, and how a card looks to `terminal`.
"""

from __future__ import annotations

from dataclasses import replace

from diagnose.circuit.car import Car
from diagnose.circuit.operating_states import OperatingState
from diagnose.measurement.points.forbidden_points import battery_posts
from diagnose.measurement.procedures import Procedures, procedure_name
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.symptoms import Symptom
from diagnose.session.answer import CardLine, ProposedStep, StepCard
from diagnose.session.words.instructions import (
    CLAMP_NOT_POST,
    clamp_words,
    lead_words,
    series_words,
    sign_words,
    surface_words,
)

# When a reading is taken of what comes and goes.
WHILE_IT_SHOWS = (
    "while the trouble shows; leave the leads on until it does "
    "(type: 6.1 while bad; else 12.4 while fine)"
)

# What the car must be doing for what shows at no one look.
IN_USE = "in use, over some days"


def reading_card(
    reading: Reading,
    car: Car,
    procedures: Procedures,
    *,
    in_series: bool = False,
    is_drop: bool = True,
) -> StepCard:
    """Return how a reading is taken, line by line.

    Parameters
    ----------
    reading : Reading
    car : Car
    procedures : Procedures
        Those of knowledge/.
    in_series, is_drop : bool
        As for `wording.instruction`.

    Returns
    -------
    StepCard
    """
    procedure = procedures[procedure_name(reading, car)]
    state = _state_lines(car.state(reading.state))
    if reading.kind is ReadingKind.LOOK:
        state = (CardLine(name="car", text="key off"),)
    lines = (
        _place_line(reading, car),
        *_lead_lines(reading, car),
        *_owner_notes(reading, car),
        *state,
        *(
            CardLine(name="mind", text=note)
            for note in (
                *_notes(reading, car, procedures, in_series=in_series),
                procedure.car if procedure.is_minded and is_drop else "",
            )
            if note
        ),
    )
    return StepCard(act=procedure.act, lines=tuple(line for line in lines if line.text))


def symptom_card(symptom: Symptom, place: str, car: Car) -> StepCard:
    """Return what is looked for, line by line.

    Parameters
    ----------
    symptom : Symptom
    place : str
        Where it is done; empty where that is said by the question.
    car : Car

    Returns
    -------
    StepCard
    """
    lines = (
        CardLine(name="place", text=place),
        *(
            (CardLine(name="car", text=IN_USE),)
            if symptom.shows_in_use
            else _state_lines(car.state(symptom.state))
        ),
    )
    return StepCard(
        act=symptom.question, lines=tuple(line for line in lines if line.text)
    )


def test_card(done: str, seen: StepCard) -> StepCard:
    """Return a test with the circuit changed: what is done first, then what is seen.

    Parameters
    ----------
    done : str
        How the circuit is changed.
    seen : StepCard
        What is read or looked for meanwhile.
    """
    then = CardLine(name="then", text=seen.act)
    return StepCard(act=done.strip(), lines=(then, *seen.lines))


def while_it_shows(step: ProposedStep) -> ProposedStep:
    """Return a step; a reading that may miss the fault is taken while it is there.

    A look at a fuse is not: what is blown stays blown.
    """
    reading = step.reading
    if reading is None or reading.kind is ReadingKind.LOOK:
        return step
    when = CardLine(name="when", text=WHILE_IT_SHOWS)
    card = replace(step.card, lines=(*step.card.lines, when))
    words = f"{step.instruction} Read {WHILE_IT_SHOWS}."
    return replace(step, card=card, instruction=words)


def _state_lines(state: OperatingState) -> tuple[CardLine, ...]:
    """Return what the car must be doing, and how a person gets it to do that."""
    return (
        CardLine(name="car", text=state.label),
        CardLine(name="how", text=state.how),
    )


def _place_line(reading: Reading, car: Car) -> CardLine:
    """Return where to go, of each lead where they are apart."""
    if not reading.black:
        return CardLine(name="place", text=car.part(reading.red).place)
    red, black = (
        car.test_points.get(node, "") for node in (reading.red, reading.black)
    )
    if red == black or not black or reading.black == car.reference:
        return CardLine(name="place", text=red or black)
    if not red:
        return CardLine(name="place", text=black)
    return CardLine(name="place", text=f"red: {red}; black: {black}")


def _lead_lines(reading: Reading, car: Car) -> tuple[CardLine, ...]:
    """Return which lead goes where, or what the clamp and the eye go to."""
    match reading.kind:
        case ReadingKind.LOOK:
            text = f"pull {reading.red}, look at its link (or its breaker's button)"
            return (CardLine(name="fuse", text=text),)
        case ReadingKind.AMPS:
            text = f"round {clamp_words(reading.red, car)}"
            return (CardLine(name="clamp", text=text),)
        case ReadingKind.FUSE:
            text = f"the two test points in the back of {reading.red}; leave it in"
            return (CardLine(name="leads", text=text),)
        case ReadingKind.LAMP:
            names = ("tip", "clip")
        case _:
            names = ("red", "black")
    ends = reading.red, reading.black
    posts = battery_posts(car)
    if reading.kind is ReadingKind.LAMP and ends[0] in posts and ends[1] not in posts:
        # clipped to the battery first, so that no spark is near its gas
        names = ("clip", "tip")
    leads = [lead_words(node, car) for node in ends]
    if reading.kind is ReadingKind.OHMS and reading.black == car.reference:
        leads[1] = f"{reading.black}: {CLAMP_NOT_POST}"
    return tuple(
        CardLine(name=name, text=text) for name, text in zip(names, leads, strict=True)
    )


def _owner_notes(reading: Reading, car: Car) -> tuple[CardLine, ...]:
    """Return what the owner noted of the wires where the red lead goes."""
    if not reading.black:
        parts = [car.part(reading.red)]
    else:
        parts = [one for one in car.parts if reading.red in one.terminals.values()]
    notes = dict.fromkeys(one.note for one in parts if one.note)
    return tuple(CardLine(name="note", text=note) for note in notes)


def _notes(
    reading: Reading, car: Car, procedures: Procedures, *, in_series: bool
) -> tuple[str, ...]:
    """Return what else to mind while it is taken."""
    if reading.kind is ReadingKind.AMPS and in_series:
        return (series_words(reading, car, procedures),)
    if reading.kind is ReadingKind.DC_VOLTS:
        return (
            sign_words(reading, car),
            surface_words(reading, car),
        )
    return ()

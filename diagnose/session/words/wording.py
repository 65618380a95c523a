"""Words for facts, readings, steps and repairs, the same on every face.

Cautions stand with the step they belong to. Leaves how pages look to `terminal`.
"""

from __future__ import annotations

from types import MappingProxyType

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.measurement.probe_lamp import grade_words
from diagnose.measurement.readings import Reading, ReadingKind, fuse_ohms
from diagnose.measurement.steps import Look, Step, SubstitutionTest, SymptomCheck
from diagnose.measurement.substitutions import Substitution, SubstitutionKind
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    LimitFact,
    PrestartFact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SubstitutionFact,
    SymptomFact,
    TakesFact,
    UndoFact,
)
from diagnose.units import (
    Unit,
    format_band,
    format_minutes,
    format_quantity,
    format_typed,
)

# A symptom likelier than this is said to be there, one less likely than the rest of it
# not to be. [1] Own choice: nine in ten.
CLEARLY_YES = 0.9

# What no meter shows in its jack for milliamps: less than this is nothing.
# [A] Derived: half of the last digit of `milliamps` in meter.yaml.
LEAST_AMPS = 0.00005

# A band nearer to zero is nothing on a meter's volts range. [V] Derived: half of the
# last digit of `volts` in meter.yaml.
LEAST_VOLTS = 0.005

# Decimals of millivolts along a fuse. Derived: the last digit of `millivolts` in
# meter.yaml is a tenth.
MILLIVOLT_DECIMALS = 1

# A value above the half stands for a blown fuse, 1, one below for a sound one, 0.
BLOWN = 0.5


# When a reading was taken of a trouble that comes and goes, behind its words.
WHILE = MappingProxyType(
    {None: "", True: ", while the trouble showed", False: ", while all was well"}
)


def value_words(value: float, kind: ReadingKind) -> str:
    """Return a value as a person writes it."""
    if kind is ReadingKind.LOOK:
        return "blown" if value > BLOWN else "sound"
    if kind is ReadingKind.LAMP:
        return grade_words(value)
    if kind is ReadingKind.FUSE:
        return f"{1e3 * value:.6g} mV"
    assert kind.unit is not None
    return format_typed(value, kind.unit)


def range_words(low: float, high: float, kind: ReadingKind) -> str:
    """Return the middle 90 % of predicted values in words."""
    if kind is ReadingKind.LOOK:
        if low == high:
            return value_words(low, kind)
        return "blown or sound"
    if kind is ReadingKind.LAMP:
        ends = dict.fromkeys((grade_words(low), grade_words(high)))
        return " to ".join(ends)
    if kind is ReadingKind.FUSE:
        ends = dict.fromkeys(map(_millivolts, (low, high)))
        return f"{' to '.join(ends)} mV"
    assert kind.unit is not None
    if kind is ReadingKind.AMPS:
        low, high = (one if abs(one) >= LEAST_AMPS else 0.0 for one in (low, high))
    if kind is ReadingKind.DC_VOLTS and max(abs(low), abs(high)) < LEAST_VOLTS:
        low = high = 0.0
    return format_band(low, high, kind.unit)


def _millivolts(volts: float) -> str:
    """Return millivolts as a meter shows them, without the sign of a zero."""
    shown = f"{1e3 * volts:.{MILLIVOLT_DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if shown in ("-0", "") else shown


def chance_words(chance: float) -> str:
    """Return what a symptom would be answered, by the chance of a yes."""
    if chance > CLEARLY_YES:
        return "yes"
    if chance < 1.0 - CLEARLY_YES:
        return "no"
    return f"yes in {round(100 * chance)} of 100"


def unit_symbol(kind: ReadingKind) -> str:
    """Return the unit a reading is typed in, empty for a look and a test lamp."""
    return kind.unit.value if kind.unit else ""


def place_words(reading: Reading, car: Car) -> str:
    """Return where a reading is taken, in a few words."""
    if reading.kind is ReadingKind.LOOK:
        return f"look at {reading.red}"
    if reading.kind is ReadingKind.AMPS:
        return reading.red
    if reading.kind is ReadingKind.FUSE:
        return f"millivolts along {reading.red}"
    if reading.kind is ReadingKind.AC_VOLTS:
        return "the battery, AC"
    if reading.kind is ReadingKind.LAMP:
        return f"test lamp, {reading.red} to {reading.black}"
    if reading.black == car.reference:
        return reading.red
    return f"{reading.red} to {reading.black}"


def substitution_words(substitution: Substitution) -> str:
    """Return what is changed for a test, in a few words."""
    if substitution.kind is SubstitutionKind.BRIDGE:
        return f"with a lead from {substitution.at} to {substitution.to}"
    if substitution.kind is SubstitutionKind.SWAP:
        return f"with another {substitution.at}"
    return f"with {substitution.at} unplugged"


def look_words(look: Look, car: Car) -> str:
    """Return what is seen in a test, as a person would say it."""
    if isinstance(look, Reading) and look.kind is ReadingKind.LOOK:
        return f"whether a new {look.red} holds"
    return step_words(look, car)


def _test_words(fact: SubstitutionFact, car: Car) -> str:
    """Return one line for what was seen in a test."""
    seen = fact.seen
    words = observation_words(seen, car)
    if isinstance(seen, ReadingFact) and seen.reading.kind is ReadingKind.LOOK:
        words = f"{seen.reading.red} {'blows' if seen.value > BLOWN else 'holds'}"
    return f"{substitution_words(fact.substitution)}: {words}"


def observation_words(
    fact: ReadingFact | SymptomFact | SubstitutionFact, car: Car
) -> str:
    """Return one line for a fact."""
    if isinstance(fact, SubstitutionFact):
        return _test_words(fact, car)
    if isinstance(fact, SymptomFact):
        return f"{fact.symptom}: {'yes' if fact.is_present else 'no'}"
    return f"{_read_words(fact, car)}{WHILE[fact.while_it_shows]}"


def _read_words(fact: ReadingFact, car: Car) -> str:
    """Return one line for what was read, without when of a trouble that goes."""
    reading = fact.reading
    value = value_words(fact.value, reading.kind)
    if reading.kind is ReadingKind.LOOK:
        return f"{reading.red} looked {value}"
    if reading.kind is ReadingKind.FUSE:
        amps = _fuse_words(fact, car)
        return f"{value} along {reading.red}, {reading.state}: {amps}"
    if reading.kind is ReadingKind.LAMP:
        return f"{place_words(reading, car)}: {value}, {reading.state}"
    return f"{value} at {place_words(reading, car)}, {reading.state}"


def fact_words(fact: Fact, car: Car, knowledge: Knowledge) -> str:
    """Return one line for anything that was told."""
    match fact:
        case ReadingFact(told_as=told_as) if told_as:
            return f"{observation_words(fact, car)} (told as {told_as})"
        case ReadingFact() | SymptomFact() | SubstitutionFact():
            return observation_words(fact, car)
        case ContextFact():
            return f"{fact.context}: {fact.answer.replace('_', ' ')}"
        case ComplaintFact():
            return f"complaint: {knowledge.complaints[fact.complaint].says}"
        case RepairFact():
            return f"repaired: {fact.cause}"
        case SkipFact():
            return f"skipped: {step_words(fact.step, car)}"
        case PrestartFact() | LimitFact() | TakesFact():
            return _owner_words(fact, knowledge)
        case UndoFact():
            return "taken back"


def _owner_words(
    fact: PrestartFact | LimitFact | TakesFact, knowledge: Knowledge
) -> str:
    match fact:
        case PrestartFact():
            return "the readings before the first start"
        case LimitFact(limit=limit, is_lacking=is_lacking):
            says = knowledge.effort.limits[limit].says
            return f"without {limit}: {says}" if is_lacking else f"with {limit}"
        case TakesFact():
            return f"{fact.subject} takes {format_minutes(fact.minutes)}"


def _fuse_words(fact: ReadingFact, car: Car) -> str:
    """Return the amps that volts along a fuse stand for, and by what resistance."""
    ohms = fuse_ohms(car.part(fact.reading.red))
    amps = format_quantity(abs(fact.value) / ohms, Unit.AMPS)
    return f"{amps} by its {1e3 * ohms:.3g} mohm"


def step_words(step: Step, car: Car) -> str:
    """Return a step as a person would say it."""
    if isinstance(step, SymptomCheck):
        return step.symptom
    if isinstance(step, SubstitutionTest):
        return f"{substitution_words(step.substitution)}: {look_words(step.look, car)}"
    where = f"{place_words(step, car)}, {step.state}"
    if step.kind in (ReadingKind.LAMP, ReadingKind.FUSE, ReadingKind.LOOK):
        return where
    return f"{step.kind.value} at {where}"


def places_of(step: Reading | SubstitutionTest, car: Car) -> tuple[str, ...]:
    """Return the places a step takes one to; the battery post is always at hand."""
    if isinstance(step, SubstitutionTest):
        looked = places_of(step.look, car) if isinstance(step.look, Reading) else ()
        return tuple(dict.fromkeys((*changed_places(step.substitution, car), *looked)))
    if not step.black:
        return (car.part(step.red).place,)
    return _places_of_nodes((step.red, step.black), car)


def changed_places(substitution: Substitution, car: Car) -> tuple[str, ...]:
    """Return the places where a circuit is changed for a test."""
    if substitution.kind is SubstitutionKind.BRIDGE:
        return _places_of_nodes((substitution.at, substitution.to), car)
    found = (p.place for p in car.parts if p.assembly == substitution.at)
    return tuple(dict.fromkeys(place for place in found if place))


def _places_of_nodes(ends: tuple[str, str], car: Car) -> tuple[str, ...]:
    nodes = [node for node in ends if node != car.reference]
    return tuple(
        dict.fromkeys(car.test_points[n] for n in nodes if n in car.test_points)
    )

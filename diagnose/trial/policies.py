"""Other ways to choose the next reading, to compare the program's own choice with.

All use the program's beliefs, its repairs and its proofs, and differ in which reading
comes next. All but one stop measuring when the program says that it no longer pays; one
that knows no cost can't tell, and goes on until it is sure. Leaves the playing to
`playing`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from diagnose.circuit.car import Car, Part
from diagnose.inference.choice.volts_outcomes import VOLT_EDGES
from diagnose.measurement.points.where_to_measure import DROP_KINDS
from diagnose.measurement.quantities import main_nodes, role_parts
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Step
from diagnose.measurement.symptoms import Claim, Group, Symptom
from diagnose.session.advice.advice import SURE
from diagnose.session.answer import Answer
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.ready_car import Model

# The least information that a reading is taken for. [bit] Own choice: below it nothing
# more is told, and measuring stops.
LEAST_BITS = 0.05

# How many outcomes of a reading planning tells apart at most. [1] Derived: those of
# volts, one more than there are edges between them.
OUTCOMES = len(VOLT_EDGES) + 1

# The share of cars with volts at a point that halves what is left. [1] Derived: half.
HALF = 0.5

# The least chance that counts in an entropy. [1] Own choice: less adds nothing to it.
LEAST_CHANCE = 1e-12

# The state that the fixed order measures in beside that of the complaint.
KEY_ON = "key-on"

# The kinds of part that use the current of their circuit.
LOAD_KINDS = ("motor", "load", "lamp")


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What a policy decides on.

    Parameters
    ----------
    diagnosis : Diagnosis
        The diagnosis that is going on.
    model : Model
        What it works with.
    answer : Answer
        Its latest answer.
    complaint : str
        What the owner came with.
    taken : frozenset[Step]
        The steps taken so far.
    random : np.random.Generator
        Draws for policies that leave it to chance.
    """

    diagnosis: Diagnosis
    model: Model
    answer: Answer
    complaint: str
    taken: frozenset[Step]
    random: np.random.Generator


# A way to choose: returns the step to take, or None to make the likeliest repair.
Policy = Callable[[Situation], Step | None]


def goes_on(policy: str, answer: Answer) -> bool:
    """Return whether a policy measures on although the program would mend."""
    is_sure = bool(answer.causes) and answer.causes[0].probability >= SURE
    return policy == COSTLESS and not is_sure


def most_informative(situation: Situation) -> Step | None:
    """Return the step that tells most, whatever it costs."""
    best = max(situation.diagnosis.candidates(), key=lambda one: one.bits, default=None)
    return None if best is None or best.bits < LEAST_BITS else best.step


def at_random(situation: Situation) -> Step | None:
    """Return any step that tells something."""
    telling = [
        one.step
        for one in situation.diagnosis.candidates()
        if one.bits >= LEAST_BITS and one.step not in situation.taken
    ]
    if not telling:
        return None
    return telling[int(situation.random.choice(len(telling)))]


def half_split(situation: Situation) -> Step | None:
    """Return the reading of the point at which volts are as likely there as missing.

    Troubleshooters halve a circuit: half the supply or more at a point clears what lies
    before it, less clears what lies behind.
    """
    telling = [
        one
        for one in situation.diagnosis.candidates()
        if one.bits >= LEAST_BITS and isinstance(one.step, Reading)
    ]
    readings = [
        one.step
        for one in telling
        if isinstance(one.step, Reading) and one.step.kind is ReadingKind.DC_VOLTS
    ]
    if not readings:
        return most_informative(situation)
    shares = situation.diagnosis.live_shares(readings)
    return readings[int(np.argmin(np.abs(shares - HALF)))]


def textbook(situation: Situation) -> Step | None:
    """Return the next point from the battery to ground, in the fixed order.

    Battery, main fuse, panel, relay, load, ground: of the loads that the complaint is
    about, then of every other load.
    """
    states = {
        one.step.state
        for one in situation.diagnosis.candidates()
        if isinstance(one.step, Reading)
    }
    for reading in textbook_order(situation.model, situation.complaint):
        is_open = reading not in situation.taken
        if is_open and (reading.state in states or not states):
            return reading
    return None


# The program's own choice, by its name in the table.
PROGRAM = "the program"

# The policy that knows no cost, by its name in the table.
COSTLESS = "information without cost"

# Every policy by its name in the table; None is the program's own choice.
POLICIES: Mapping[str, Policy | None] = MappingProxyType(
    {
        PROGRAM: None,
        COSTLESS: most_informative,
        "information, then cost": most_informative,
        "half-split": half_split,
        "textbook order": textbook,
        "random": at_random,
    }
)


def textbook_order(model: Model, complaint: str) -> Iterator[Reading]:
    """Yield the readings of the fixed order for a complaint, each once."""
    car, knowledge = model.car, model.knowledge
    symptom = knowledge.symptoms[knowledge.complaints[complaint].retest]
    seen: set[Reading] = set()
    wanted = _loads(car, symptom, knowledge.symptoms)
    others = [p for p in car.parts if p.role and p.kind in LOAD_KINDS]
    names = {state.name for state in car.states}
    states = [s for s in dict.fromkeys((symptom.state, KEY_ON)) if s in names]
    for loads in (wanted, others):
        for state in states:
            for load in loads:
                for reading in _along(car, load, state):
                    if reading not in seen:
                        seen.add(reading)
                        yield reading


def _loads(car: Car, symptom: Symptom, symptoms: Mapping[str, Symptom]) -> list[Part]:
    roles = dict.fromkeys(claim.role for claim in _claims(symptom.when, symptoms))
    loads = [part for role in roles for part in role_parts(car, role)]
    return [part for part in loads if part.terminals]


def _claims(group: Group, symptoms: Mapping[str, Symptom]) -> Iterator[Claim]:
    for member in group.members:
        if isinstance(member, Claim):
            yield member
        elif isinstance(member, Group):
            yield from _claims(member, symptoms)
        else:
            yield from _claims(symptoms[member].when, symptoms)


def _along(car: Car, load: Part, state: str) -> Iterator[Reading]:
    """Yield the volts along a load's feed, at its relays' coils, and at its ground."""
    assert car.battery is not None
    positive = car.battery.terminals["plus"]
    plus, minus = main_nodes(load)
    coils = {part.name: part for part in car.parts if part.kind == "coil"}
    points = [positive]
    for part, node in _feed(car, positive, plus):
        if part.kind == "contacts" and part.gate in coils:
            points += [coils[part.gate].terminals[end] for end in ("a", "b")]
        points.append(node)
    for node in dict.fromkeys((*points, plus, minus)):
        if node in car.test_points and node != car.reference:
            yield Reading(
                kind=ReadingKind.DC_VOLTS, state=state, red=node, black=car.reference
            )


def _feed(car: Car, first: str, last: str) -> list[tuple[Part, str]]:
    """Return the parts of the shortest way between two nodes, each with its far end."""
    ways: dict[str, tuple[str, Part]] = {}
    ahead = deque([first])
    joined = [part for part in car.parts if part.kind in DROP_KINDS]
    while ahead and last not in ways:
        here = ahead.popleft()
        for part in joined:
            ends = main_nodes(part)
            if here not in ends:
                continue
            there = ends[1] if ends[0] == here else ends[0]
            if there not in ways and there not in (first, car.reference):
                ways[there] = (here, part)
                ahead.append(there)
    way: list[tuple[Part, str]] = []
    node = last
    while node in ways:
        before, part = ways[node]
        way.append((part, node))
        node = before
    return way[::-1]


def bits_missing(probabilities: Sequence[float]) -> float:
    """Return the entropy of a ranking. [bit].

    Parameters
    ----------
    probabilities : Sequence[float]
        Of each line; what is left to 1 counts as one more. [1]

    Examples
    --------
    >>> bits_missing([0.5, 0.25, 0.25])
    1.5
    """
    rest = max(1.0 - sum(probabilities), 0.0)
    chances = np.array([p for p in (*probabilities, rest) if p > LEAST_CHANCE])
    return float(-(chances * np.log2(chances)).sum())


def fewest_readings(bits: float) -> float:
    """Return how many readings must be taken to learn so much, whatever is chosen. [1].

    No reading tells more than the logarithm of the outcomes it can have.
    """
    return bits / float(np.log2(OUTCOMES))

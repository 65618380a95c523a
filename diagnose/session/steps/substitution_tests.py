"""Which tests with the circuit changed are worth pricing, from what was told.

For what the owner says does not work: the relay of that load bridged or exchanged for a
like one in the car, the load fed or grounded straight from the battery, the engine
joined to the battery by a cable. For a fuse that blows, or a point with next to no
ohms to ground: each load behind it taken off in turn, and each wire, which tells where
it chafes. For a battery that goes flat: each load that is live with the key off taken
off, and the amps read. Each is a handful, as every one has to be solved. Leaves what
they are worth to `priced`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass

import numpy as np

from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import ELEMENTS, LOAD_KINDS
from diagnose.circuit.model import BOLTED_RELAY
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.inference.compiled.bank import SOUND_ROW
from diagnose.inference.compiled.shown_symptoms import can_show, symptom_there
from diagnose.measurement.points.forbidden_points import live_posts, wired_to
from diagnose.measurement.points.where_to_measure import is_at_rest
from diagnose.measurement.quantities import claimed_parts, claims_of, main_nodes
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Look, SubstitutionTest, SymptomCheck
from diagnose.measurement.substitutions import Substitution, SubstitutionKind
from diagnose.session.answer import LIKELIER_THAN_NOT
from diagnose.session.evidence.seen import Noted
from diagnose.session.facts import ReadingFact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.session.substitution.like_parts import like_part
from diagnose.session.substitution.safety import forbidden_change

# How many tests are solved for one answer; exchanges need no solving and are not
# counted. [1] Own choice: each takes a tenth of a second the first time.
MOST_SOLVED = 2

# A symptom of more loads than this points at none of them. [1] Own choice: a pair of
# lamps, or a load and what feeds it.
MOST_LOADS = 2

# From what current with the key off a battery goes flat in days. [A] Rule of the trade:
# 50 mA, as the symptom of it has.
DRAIN_AMPS = 0.05

# Ohms to ground below which a point is shorted, where the sound car has so many times
# more. [Ω], [1] Own choices: a half short and the leads; what is behind may be a lamp.
SHORT_OHMS, SHORT_RATIO = 3.0, 5.0

# How many parts a fuse's current is followed through to its loads. [1] Own choice: past
# a switch and a relay.
MOST_BEHIND = 12

# Kinds of part that lead on from a fuse to what it feeds. By definition.
LEADING_KINDS = frozenset({"wire", "joint", "contacts", "switch-contact"})

# Kinds of part that close a path only while they are worked. By definition.
SWITCHING_KINDS = frozenset({"contacts", "switch-contact"})


@dataclass(frozen=True, slots=True)
class _Relay:
    """A relay's contacts in the feed of a load."""

    assembly: str
    fed: str
    feeds: str


class SubstitutionTests:
    """Knows the tests with the circuit changed that one car may be worth.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model, self._car = model, model.car
        self._of_symptom: dict[str, tuple[SubstitutionTest, ...]] = {}

    def worth_pricing(
        self, observations: Sequence[Noted], suspected: Mapping[str, float]
    ) -> list[SubstitutionTest]:
        """Return the tests that what was seen since the latest repair asks for.

        Parameters
        ----------
        observations : Sequence[Noted]
            Those that count now, oldest first.
        suspected : Mapping[str, float]
            How likely a fault of each assembly is, where it is likely at all; what is
            suspected most is taken off first. [1]

        Returns
        -------
        list[SubstitutionTest]
            Each once, exchanges among them; of those that have to be solved at most
            `MOST_SOLVED`.
        """
        found: dict[SubstitutionTest, None] = {}
        for noted in reversed(observations):
            tests = self._for(noted)
            for test in sorted(
                tests, key=lambda one: -suspected.get(one.substitution.at, 0.0)
            ):
                found.setdefault(test)
        exchanged = [t for t in found if t.substitution.kind is SubstitutionKind.SWAP]
        solved = [t for t in found if t.substitution.kind is not SubstitutionKind.SWAP]
        return [*exchanged, *solved[:MOST_SOLVED]]

    def _for(self, noted: Noted) -> tuple[SubstitutionTest, ...]:
        """Return the tests that one observation asks for."""
        seen = noted.observation
        if isinstance(seen, SymptomFact):
            name = seen.symptom
            if not self._is_wrong(seen):
                return ()
            if name not in self._of_symptom:
                self._of_symptom[name] = tuple(self._allowed(self._of_answer(name)))
            return self._of_symptom[name]
        if isinstance(seen, ReadingFact) and seen.reading.kind is ReadingKind.LOOK:
            if seen.value > 0.5:
                return tuple(self._allowed(self._of_blown_fuse(seen.reading.red)))
            return ()
        if isinstance(seen, ReadingFact) and self._is_drain(seen):
            return tuple(self._allowed(self._of_drain(seen.reading)))
        if isinstance(seen, ReadingFact) and self._is_short(seen):
            return tuple(self._allowed(self._of_short(seen.reading)))
        return ()

    def _is_wrong(self, told: SymptomFact) -> bool:
        """Return whether a sound car would have answered otherwise."""
        compiled = self._model.compiled
        if not can_show(compiled, told.symptom):
            return False
        first = np.array([0])
        sound = symptom_there(compiled, compiled.singles, told.symptom, first).mean()
        return bool(sound > LIKELIER_THAN_NOT) is not told.is_present

    def _allowed(self, tests: Iterator[SubstitutionTest]) -> Iterator[SubstitutionTest]:
        for test in tests:
            if not forbidden_change(test.substitution, self._car):
                yield test

    def _of_answer(self, name: str) -> Iterator[SubstitutionTest]:
        """Yield the tests of the loads that a symptom looks at."""
        symptoms = self._model.knowledge.symptoms
        look = SymptomCheck(symptom=name)
        claims = claims_of(symptoms[name].when, symptoms)
        looked_at = [part for c in claims for part in claimed_parts(c, self._car)]
        parts = [p for n, p in enumerate(looked_at) if p not in looked_at[:n]]
        loads = [p for p in parts if p.kind == "starter" or p.kind in LOAD_KINDS]
        if len(loads) > MOST_LOADS:
            return
        for part in loads:
            if part.kind == "starter":
                yield from self._of_starter(part, look)
            else:
                yield from self._of_load(part, look)

    def _of_load(self, load: Part, look: Look) -> Iterator[SubstitutionTest]:
        """Yield the tests of one load: its relay, its feed, its ground."""
        car = self._car
        feed, ground = main_nodes(load)
        plus, minus = _posts(car)
        for relay in self._relays(feed):
            if like_part(relay.assembly, car):
                yield _swapped(relay.assembly, look)
            yield _bridged(relay.fed, relay.feeds, look)
        if car.is_positive_ground:
            feed, ground = ground, feed
        if ground in wired_to({car.reference}, car):
            yield _bridged(minus, ground, look)
            yield _bridged(plus, feed, look)

    def _relays(self, feed: str) -> Iterator[_Relay]:
        """Yield the relays whose contacts feed a point."""
        fed = wired_to({feed}, self._car)
        for part in self._car.parts:
            if part.kind != "contacts" or part.role == BOLTED_RELAY:
                continue
            first, second = main_nodes(part)
            if second in fed and not part.is_normally_closed:
                yield _Relay(part.assembly, first, second)

    def _of_starter(self, starter: Part, look: Look) -> Iterator[SubstitutionTest]:
        """Yield the tests of a starter: a cable beside its ground, and its feed."""
        car = self._car
        fed, grounded = _posts(car)
        case = starter.terminals["case"]
        metal = [n for n in _joined(case, car) if n in car.test_points]
        yield _bridged(grounded, metal[0] if metal else case, look)
        for part in car.parts:
            if part.kind == "contacts" and part.role == BOLTED_RELAY:
                yield _bridged(fed, main_nodes(part)[0], look)

    def _of_blown_fuse(self, fuse: str) -> Iterator[SubstitutionTest]:
        """Yield, for each load behind a fuse, whether a new one holds without it."""
        look = Reading(
            kind=ReadingKind.LOOK, state=self._car.states[0].name, red=fuse, black=""
        )
        reached = self._behind(main_nodes(self._car.part(fuse))[1], LEADING_KINDS)
        for part in self._car.parts:
            is_load = part.kind in LOAD_KINDS and ELEMENTS[part.kind].is_pluggable
            if is_load and main_nodes(part)[0] in reached:
                yield _taken_off(part, look)
        yield from self._of_wires(main_nodes(self._car.part(fuse))[1], reached)

    def _behind(self, node: str, leading: Set[str]) -> set[str]:
        """Return the points that kinds of part lead to from one, grounds left out."""
        reached = {node}
        for _ in range(MOST_BEHIND):
            more = {
                end
                for part in self._car.parts
                if part.kind in leading and reached & set(_ends(part))
                for end in _ends(part)
            }
            more -= wired_to({self._car.reference}, self._car)
            if more <= reached:
                break
            reached |= more
        return reached

    def _is_short(self, fact: ReadingFact) -> bool:
        """Return whether ohms to ground are next to nothing, where a car has more."""
        reading = fact.reading
        is_low = reading.kind is ReadingKind.OHMS and fact.value < SHORT_OHMS
        if not is_low or reading.black != self._car.reference:
            return False
        compiled = self._model.compiled
        sound = compiled.readings.predicted(compiled.bank.all, reading, rows=SOUND_ROW)[
            0
        ]
        return bool(float(np.median(sound)) > SHORT_RATIO * fact.value)

    def _of_short(self, reading: Reading) -> Iterator[SubstitutionTest]:
        """Yield, for each part at a shorted point, the ohms there without it.

        Loads, wires, and the switches and relays on the way: one that sticks grounds
        what it should only ground when it is worked.
        """
        reached = self._behind(reading.red, LEADING_KINDS | set(PROTECTIVE_KINDS))
        for part in self._car.parts:
            is_load = part.kind in LOAD_KINDS and ELEMENTS[part.kind].is_pluggable
            is_fed = is_load and main_nodes(part)[0] in reached
            is_wire = part.kind == "wire" and reached >= set(_ends(part))
            is_switch = part.kind in SWITCHING_KINDS and reached & set(_ends(part))
            if is_fed or is_wire or is_switch:
                yield _taken_off(part, reading)

    def _of_wires(self, fed: str, reached: Set[str]) -> Iterator[SubstitutionTest]:
        """Yield, for each wire behind a fuse, the ohms to ground with it taken off."""
        bare = next((state for state in self._car.states if state.is_unplugged), None)
        if bare is None or fed not in self._car.test_points:
            return
        look = Reading(
            kind=ReadingKind.OHMS,
            state=bare.name,
            red=fed,
            black=self._car.reference,
        )
        for part in self._car.parts:
            if part.kind == "wire" and reached >= set(_ends(part)):
                yield _taken_off(part, look)

    def _is_drain(self, fact: ReadingFact) -> bool:
        """Return whether a reading shows a drain with the key off."""
        reading = fact.reading
        return (
            reading.kind is ReadingKind.AMPS
            and abs(fact.value) > DRAIN_AMPS
            and is_at_rest(self._car.state(reading.state))
        )

    def _of_drain(self, reading: Reading) -> Iterator[SubstitutionTest]:
        """Yield whether a drain goes away with what is live with the key off taken off.

        The alternator first: its diodes are on the battery all the time.
        """
        live = [p for p in self._car.parts if p.kind == "alternator"]
        compiled = self._model.compiled
        state = compiled.predictor.state_index[reading.state]
        index = compiled.predictor.node_index
        shown, sound = compiled.singles.prediction, slice(0, 1)
        half = 0.5 * self._car.system_volts
        for part in self._car.parts:
            if part.kind in LOAD_KINDS:
                first, second = main_nodes(part)
                across = shown.volts_at(state, index[first], sound) - shown.volts_at(
                    state, index[second], sound
                )
                if abs(float(across.mean())) > half:
                    live.append(part)
        for part in live:
            yield _taken_off(part, reading)


def _bridged(first: str, second: str, look: Look) -> SubstitutionTest:
    lead = Substitution(kind=SubstitutionKind.BRIDGE, at=first, to=second)
    return SubstitutionTest(substitution=lead, look=look)


def _swapped(assembly: str, look: Look) -> SubstitutionTest:
    other = Substitution(kind=SubstitutionKind.SWAP, at=assembly)
    return SubstitutionTest(substitution=other, look=look)


def _taken_off(part: Part, look: Look) -> SubstitutionTest:
    off = Substitution(kind=SubstitutionKind.UNPLUG, at=part.assembly)
    return SubstitutionTest(substitution=off, look=look)


def _posts(car: Car) -> tuple[str, str]:
    """Return the post of the battery that feeds, and the grounded one."""
    return next(iter(live_posts(car)), car.reference), car.reference


def _joined(node: str, car: Car) -> list[str]:
    """Return the nodes that joints make one with a node, the node itself last."""
    near = [
        other
        for part in car.parts
        if part.kind == "joint" and node in part.terminals.values()
        for other in part.terminals.values()
        if other != node
    ]
    return [*near, node]


def _ends(part: Part) -> tuple[str, ...]:
    """Return the nodes between which a part leads on."""
    return tuple(part.terminals.values())

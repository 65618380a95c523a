"""What is refused before it is taken in: what the car does not have, and what can't be.

A reading is also refused where taking it would hurt: ohms in a live circuit, a test
lamp at a controller. Leaves whether facts can be true together to `concluding`.
"""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches

from diagnose.circuit.car import Car
from diagnose.errors import ReadingError
from diagnose.faults.history import check_history
from diagnose.measurement.points.forbidden_points import (
    airbag_point_of,
    battery_posts,
    inner_posts,
)
from diagnose.measurement.points.lamp_points import unfit_for_lamp
from diagnose.measurement.points.where_to_measure import ripple_readings
from diagnose.measurement.probe_lamp import GRADES
from diagnose.measurement.readings import Reading, ReadingKind, fuse_ohms
from diagnose.measurement.steps import Step, SubstitutionTest, SymptomCheck
from diagnose.measurement.substitutions import SubstitutionKind
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
from diagnose.session.ready_car import Model
from diagnose.session.substitution.safety import (
    changeable_parts,
    forbidden_change,
    harm_of,
)
from diagnose.session.words.vocabulary import Vocabulary
from diagnose.units import check_minutes, check_range

# How many times its rating a fuse is believed to carry. [1] Rule: at six times its
# rating a fuse opens within a second (ISO 8820-3).
MOST_FUSE_LOADS = 6.0

# What can only be read with the battery connected.
LIVE_KINDS = frozenset(set(ReadingKind) - {ReadingKind.OHMS, ReadingKind.LOOK})


class FactChecks:
    """Knows what can be told of one car.

    Parameters
    ----------
    model : Model
    words : Vocabulary
        What it has.
    """

    def __init__(self, model: Model, words: Vocabulary) -> None:
        self._car, self._knowledge = model.car, model.knowledge
        self._words = words
        self._substituted = model.substituted

    def check(self, fact: Fact) -> None:
        """Refuse a fact about something the car does not have.

        Parameters
        ----------
        fact : Fact

        Raises
        ------
        ReadingError
            With the nearest name the car has, or what is wrong with the value.
        """
        words = self._words
        match fact:
            case ContextFact():
                answers = {fact.context: fact.answer}
                check_history(answers, self._knowledge.contexts)
            case ComplaintFact():
                _check_known(fact.complaint, words.complaints, "complaint")
            case SymptomFact():
                _check_known(fact.symptom, words.asked, "symptom")
            case RepairFact():
                self.check_cause(fact.cause)
            case ReadingFact():
                self._check_reading(fact.reading)
                _check_value(fact, self._car)
            case SubstitutionFact():
                self._check_test(fact.step)
                if isinstance(fact.seen, ReadingFact):
                    _check_value(fact.seen, self._car)
            case LimitFact() | TakesFact():
                self._check_owner(fact)
            case SkipFact() | PrestartFact() | UndoFact():
                pass

    def _check_owner(self, fact: LimitFact | TakesFact) -> None:
        """Refuse an unknown limit, or minutes of what the car does not have."""
        words = self._words
        if isinstance(fact, LimitFact):
            _check_known(fact.limit, words.limits, "limit")
            return
        known = {**dict.fromkeys(words.places, ""), **words.states, **words.causes}
        _check_known(fact.subject, known, "place, state or cause")
        check_minutes(fact.minutes)

    def check_cause(self, name: str) -> None:
        """Refuse a cause that the car can't have.

        Parameters
        ----------
        name : str

        Raises
        ------
        ReadingError
            With the nearest name.
        """
        _check_known(name, self._words.causes, "cause")

    def check_step(self, step: Step) -> None:
        """Refuse a step that names something the car does not have, or that would hurt.

        Parameters
        ----------
        step : Step

        Raises
        ------
        ReadingError
            With the nearest name, or why it must not be taken.
        """
        if isinstance(step, SymptomCheck):
            _check_known(step.symptom, self._words.asked, "symptom")
        elif isinstance(step, SubstitutionTest):
            self._check_test(step)
        else:
            self._check_reading(step)

    def _check_test(self, test: SubstitutionTest) -> None:
        """Refuse a change of the circuit that this car does not have, or that hurts."""
        change, words = test.substitution, self._words
        if change.kind is SubstitutionKind.BRIDGE:
            for node in (change.at, change.to):
                _check_known(node, dict.fromkeys(words.nodes, ""), "test point")
        else:
            parts = dict.fromkeys(changeable_parts(self._car, change.kind), "")
            _check_known(change.at, parts, f"part to {change.kind.value}")
        why_not = forbidden_change(change, self._car)
        effects = None if why_not else self._substituted.effects(change)
        if effects is not None:
            why_not = harm_of(change, effects, self._car)
        if why_not:
            raise ReadingError(why_not)
        if isinstance(test.look, Reading):
            self._check_reading(test.look)
            is_live = self._car.state(test.look.state).is_battery_connected
            if not is_live and change.kind is not SubstitutionKind.UNPLUG:
                raise ReadingError(
                    "a test with a lead or another part is told of a car with its "
                    "battery connected"
                )
        else:
            _check_known(test.look.symptom, words.symptoms, "symptom")

    def _check_reading(self, reading: Reading) -> None:
        """Refuse a reading that can't be taken on this car, or must not be."""
        self._check_names(reading)
        self._check_airbag(reading)
        if reading.kind is ReadingKind.AC_VOLTS:
            self._check_ripple(reading)
        if reading.kind is ReadingKind.LAMP:
            self._check_lamp(reading)
        is_isolated = not self._car.state(reading.state).is_battery_connected
        if reading.kind is ReadingKind.OHMS and not is_isolated:
            raise ReadingError(
                "ohms in a live circuit tell nothing: the battery drives the meter and "
                "may ruin it; disconnect the battery first (state isolated)"
            )
        inner = {reading.red, reading.black} & inner_posts(self._car)
        if reading.kind is ReadingKind.OHMS and inner:
            raise ReadingError(
                f"no ohms at {min(inner)}: it is a post of a battery, which drives the "
                "meter whatever clamp is off; read volts across each battery"
            )
        if is_isolated and reading.kind in LIVE_KINDS:
            raise ReadingError(
                "with the battery disconnected there are no volts and no amps to read; "
                "take them in another state, or read ohms"
            )

    def _check_names(self, reading: Reading) -> None:
        """Refuse a state, a fuse, a part or a test point that the car does not have."""
        words = self._words
        _check_known(reading.state, words.states, "state")
        if reading.kind in (ReadingKind.LOOK, ReadingKind.FUSE):
            _check_known(reading.red, dict.fromkeys(words.fuses, ""), "fuse")
        elif reading.kind is ReadingKind.AMPS:
            _check_known(reading.red, dict.fromkeys(words.parts, ""), "part")
        else:
            for node in (reading.red, reading.black):
                _check_known(node, dict.fromkeys(words.nodes, ""), "test point")
            if reading.red == reading.black:
                raise ReadingError(
                    f"both leads on {reading.red} show the meter's own leads alone; "
                    "name another point for the black one"
                )

    def _check_airbag(self, reading: Reading) -> None:
        """Refuse every reading near an airbag."""
        point = airbag_point_of(reading, self._car)
        if point:
            raise ReadingError(
                f"nothing is read at {point}: an airbag or its wiring may be there, "
                "and a meter's current or a slipped lead can fire it; leave it to a "
                "licensed workshop with the maker's manual"
            )

    def _check_lamp(self, reading: Reading) -> None:
        """Refuse a test lamp that would hurt something, or that hangs on no post."""
        car = self._car
        posts = battery_posts(car) - inner_posts(car)
        leads = {reading.red, reading.black}
        if not leads & posts or len(leads) < 2:
            raise ReadingError(
                "a test lamp is understood with its clip on a post of the battery: "
                f"{' or '.join(sorted(posts))}"
            )
        unfit = sorted(leads & unfit_for_lamp(car))
        if unfit:
            raise ReadingError(
                f"no test lamp at {unfit[0]}: its current can ruin a controller or an "
                "ignition module; a meter reads volts there from behind the plug, "
                "clipped on with the engine stopped, where the manual allows it"
            )

    def _check_ripple(self, reading: Reading) -> None:
        """Refuse AC volts anywhere but across the battery, the engine running."""
        leads = {reading.red, reading.black}
        if not any(
            one.state == reading.state and {one.red, one.black} == leads
            for one in ripple_readings(self._car)
        ):
            raise ReadingError(
                "AC volts are understood across the battery's two posts only, with the "
                "engine running"
            )


def _check_known(name: str, known: Mapping[str, object], what: str) -> None:
    """Refuse a name that is not among those known, with the nearest one."""
    if name in known:
        return
    near = get_close_matches(name, known, n=1)
    hint = f'; nearest: "{near[0]}"' if near else ""
    raise ReadingError(f'this car has no {what} "{name}"{hint}')


def _check_value(fact: ReadingFact, car: Car) -> None:
    """Refuse a value that the kind of reading can't have."""
    reading, unit = fact.reading, fact.reading.kind.unit
    if reading.kind is ReadingKind.LAMP:
        if fact.value not in GRADES.values():
            raise ReadingError(f"a test lamp is {', '.join(GRADES)}; nothing else")
    elif unit is not None:
        check_range(fact.value, unit)
    if reading.kind is ReadingKind.FUSE:
        fuse = car.part(reading.red)
        amps = abs(fact.value) / fuse_ohms(fuse)
        rating = fuse.values["rating_amps"].distribution.nominal
        if amps > MOST_FUSE_LOADS * rating:
            raise ReadingError(
                f"{1e3 * fact.value:.3g} mV along {reading.red} would be {amps:.0f} A, "
                f"and no fuse of {rating:g} A carries that; if it is blown, type: "
                f"look {reading.red} blown"
            )

"""What an owner saw of faults that come and go: told like a symptom, never asked for.

That a knock helped, that rain brings it, that a lamp goes out for moments. What it says
follows from the trigger of a cause and from what is lost while the fault is there.
Leaves bringing a fault on purpose to `provocation_tests`.

Decision that binds it: a fault that lasts and reacts to a trigger (a lug that is loose
all the time) shows the sign as often as it reacts, as far as it takes away what the
sign says is lost.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.causes import FaultSet
from diagnose.faults.modes import Sign
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.intermittent import Presence
from diagnose.inference.compiled.shown_symptoms import can_show, symptom_there
from diagnose.measurement.of_parts.part_claims import key_for, words_for
from diagnose.measurement.symptoms import Group, Join, Symptom


@dataclass(frozen=True, kw_only=True)
class SeenSign:
    """One sign on one car.

    Parameters
    ----------
    symptom : Symptom
        What is told; yes: it was seen.
    triggers : Mapping[str, float]
        What brings a fault to the chance that the sign is then seen. [1]
    loses : tuple[str, ...]
        Symptoms of which one is gone while the fault is there; any fault does where
        there is none.
    chatters : str
        The symptom that something goes on and off by itself, or empty.
    compiled : Compiled
        The car.
    by_lasting : float
        As `Sign.by_lasting`. [1]
    """

    symptom: Symptom
    triggers: Mapping[str, float]
    loses: tuple[str, ...]
    compiled: Compiled = field(repr=False, compare=False)
    chatters: str = ""
    by_lasting: float = 1.0

    @cached_property
    def _lost(self) -> FloatArray:
        """How likely each single cause takes something away, (n_singles, n_draws)."""
        compiled = self.compiled
        singles = compiled.singles
        if not self.loses:
            found = np.ones((len(singles.sets), compiled.n_draws))
            found[0] = 0.0
            return found
        there = [symptom_there(compiled, singles, name) for name in self.loses]
        # what the sound car lacks too is not lost by a fault
        lost = [np.clip(one[:1] - one, 0.0, 1.0) for one in there]
        return np.asarray(np.maximum.reduce(lost))

    @cached_property
    def _lasting(self) -> FloatArray:
        """How likely each cause that lasts shows the sign, shape (n_lasting,)."""
        compiled = self.compiled
        reacts = [
            max(
                (chance * cause.mode.reacts.get(trigger, 0.0))
                for trigger, chance in self.triggers.items()
            )
            for cause in compiled.causes[: compiled.n_lasting]
        ]
        lost = self._lost[1:].mean(axis=1)
        found = self.by_lasting * np.array(reacts) * lost
        if self.chatters:
            goes = symptom_there(compiled, compiled.singles, self.chatters)
            found = np.maximum(found, goes[1:].mean(axis=1))
        return np.asarray(found)

    def lasting_reacts(self, sets: Sequence[FaultSet]) -> FloatArray:
        """Return how likely the sign is seen of faults that last.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            What is wrong; causes that come and go are left out of account.

        Returns
        -------
        FloatArray
            Shape (n_sets,); without a fault, how often it is imagined. [1]
        """
        still = np.full(len(sets), 1.0 - self.symptom.imagined_probability)
        for number, fault_set in enumerate(sets):
            for cause in fault_set:
                if cause < self.compiled.n_lasting:
                    still[number] *= 1.0 - self._lasting[cause]
        return 1.0 - still

    def reaction(self, presence: Presence) -> FloatArray:
        """Return how likely it is seen of faults that come and go.

        Parameters
        ----------
        presence : Presence
            Those of the car.

        Returns
        -------
        FloatArray
            Shape (n_fleeting, n_draws). [1]
        """
        chances = np.array([self.triggers.get(name, 0.0) for name in presence.names])
        seen = chances[presence.trigger] * self._lost[1 + presence.acts_as]
        imagined = self.symptom.imagined_probability
        return np.asarray(imagined + (1.0 - imagined) * seen)

    def lost_while_there(self, fleeting: int) -> float:
        """Return how likely a fault that comes and goes takes away what is looked at.

        Parameters
        ----------
        fleeting : int
            Its place among such faults.

        Returns
        -------
        float
            [1]
        """
        row = 1 + int(self.compiled.presence.acts_as[fleeting])
        return float(self._lost[row].mean())

    def moved(self, presence: Presence, n_causes: int) -> FloatArray:
        """Return how far each cause moves the answer, shape (n_causes,). [1]."""
        result = np.zeros(n_causes)
        result[: self.compiled.n_lasting] = self._lasting
        result[presence.numbers] = self.reaction(presence).mean(axis=1)
        return result


def seen_signs(compiled: Compiled, signs: Mapping[str, Sign]) -> Mapping[str, SeenSign]:
    """Return the signs that can be told on a car, by name.

    Parameters
    ----------
    compiled : Compiled
        The car.
    signs : Mapping[str, Sign]
        Those of knowledge/.

    Returns
    -------
    Mapping[str, SeenSign]
        One of the car, or one for each part that can be complained of.
    """
    found: dict[str, SeenSign] = {}
    for sign in signs.values():
        if sign.every_part:
            found |= {
                one.symptom.name: one
                for one in (
                    _of_part(sign, works, compiled)
                    for works in _working(compiled).items()
                )
            }
            continue
        loses = tuple(name for name in sign.loses if can_show(compiled, name))
        if loses or not sign.loses:
            found[sign.name] = SeenSign(
                symptom=_symptom(sign.name, sign.asks, sign, compiled),
                triggers=sign.triggers,
                by_lasting=sign.by_lasting,
                loses=loses,
                compiled=compiled,
            )
    return MappingProxyType(found)


def _working(compiled: Compiled) -> Mapping[str, str]:
    """Return parts with the symptom of each that it works."""
    car, symptoms = compiled.car, compiled.knowledge.symptoms
    found = {}
    for part in car.parts:
        for ending in ("works", "is-up"):
            name = f"{key_for(part)}-{ending}"
            if name in symptoms and symptoms[name].part == part.name:
                found[part.name] = name
    return found


def _of_part(sign: Sign, works: tuple[str, str], compiled: Compiled) -> SeenSign:
    """Return a sign of one part, which does not work while the fault is there."""
    part = compiled.car.part(works[0])
    key = key_for(part)
    asks = sign.asks.replace("{part}", words_for(part).capitalize())
    chatters = f"{key}-goes-on-and-off"
    has_chatter = chatters in compiled.knowledge.symptoms
    return SeenSign(
        symptom=_symptom(f"{key}-{sign.name}", asks, sign, compiled),
        triggers=sign.triggers,
        by_lasting=sign.by_lasting,
        loses=(works[1],),
        chatters=chatters if has_chatter else "",
        compiled=compiled,
    )


def _symptom(name: str, asks: str, sign: Sign, compiled: Compiled) -> Symptom:
    states = [state.name for state in compiled.car.states]
    return Symptom(
        name=name,
        question=asks,
        state=sign.state if sign.state in states else states[0],
        when=Group(join=Join.ALL, members=()),
        minutes=sign.minutes,
        missed_probability=0.0,
        imagined_probability=sign.imagined,
        caution=sign.caution,
        source=sign.source,
        basis=sign.basis,
        shows_in_use=True,
    )

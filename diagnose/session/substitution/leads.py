"""What a lead between two points does to the sound car: which one it is, and harm.

Solved, not looked up: the lead is put in, and the currents say whether a fuse would
blow, the battery be shorted, the engine crank or the fuel pump run. Leaves the words to
`safety` and `cautions`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.altered_model import altered_model, lead_part
from diagnose.circuit.car import Car
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.faults.predictions.predicted import Prediction
from diagnose.faults.predictions.predictor import Predictor
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.measurement.points.where_to_measure import heavy_points
from diagnose.measurement.quantities import Probe, role_parts
from diagnose.measurement.substitutions import Substitution

# How many draws of the sound car are looked at. [1] Own choice: what shorts a battery
# does so in every car.
LEAD_DRAWS = 4

# What the battery gives more with a lead in, the starter left out, before it counts as
# shorted. [A] Own choice: three times the largest load that a fused lead feeds; a short
# through leads of some 30 mohm is 200 A and more.
SHORT_AMPS = 60.0

# From what current on the starter turns, and the fuel pump runs. [A] Own choice: a
# fifth of what the smallest of them take, far above what leaks.
STARTER_AMPS, PUMP_AMPS = 20.0, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadEffects:
    """What a lead does to the sound car.

    Parameters
    ----------
    shorts_in : str
        The operating state in which it shorts the battery; empty where in none.
    blows : str
        The fuse or output that it blows; empty where none.
    cranks_in : frozenset[str]
        The states in which the starter turns by it, and would not without.
    pumps_in : frozenset[str]
        The same of the fuel pump.
    """

    shorts_in: str
    blows: str
    cranks_in: frozenset[str]
    pumps_in: frozenset[str]


def takes_cable(substitution: Substitution, car: Car) -> bool:
    """Return whether a lead has to be a jump lead, for the starter's current.

    Parameters
    ----------
    substitution : Substitution
        Of a lead.
    car : Car
        The car.

    Returns
    -------
    bool
        Whether both ends are where it flows, or that of the alternator: posts of the
        battery, starter and its solenoid's contacts, alternator, engine and body.
    """
    return substitution.ends <= heavy_points(car)


class Leads:
    """What leads do to one car without a fault, in every state with the battery on.

    Parameters
    ----------
    whole : Compiled
        The car as it stands.
    """

    def __init__(self, whole: Compiled) -> None:
        self._whole = whole
        self._before: _Solved | None = None
        self._known: dict[Substitution, LeadEffects] = {}

    def effects(self, substitution: Substitution) -> LeadEffects:
        """Return what a lead does, worked out when first asked for.

        Parameters
        ----------
        substitution : Substitution
            Of a lead.

        Returns
        -------
        LeadEffects
        """
        if substitution not in self._known:
            self._known[substitution] = self._solved(substitution)
        return self._known[substitution]

    def _solved(self, substitution: Substitution) -> LeadEffects:
        if self._before is None:
            self._before = _Solved(self._whole, None)
        return _effects(_Solved(self._whole, substitution), self._before)


def _effects(after: _Solved, before: _Solved) -> LeadEffects:
    """Return what is otherwise with a lead in than without."""
    rise = after.drawn_amps() - before.drawn_amps()
    shorted = [
        s for s, amps in zip(after.states, rise, strict=True) if amps > SHORT_AMPS
    ]
    blown = [name for name in after.blown() if name not in before.blown()]
    return LeadEffects(
        shorts_in=shorted[0] if shorted else "",
        blows=blown[0] if blown else "",
        cranks_in=after.running("starter", STARTER_AMPS)
        - before.running("starter", STARTER_AMPS),
        pumps_in=after.running("fuel-pump", PUMP_AMPS)
        - before.running("fuel-pump", PUMP_AMPS),
    )


class _Solved:
    """The sound car with a lead, or without, in every state with the battery on."""

    def __init__(self, whole: Compiled, substitution: Substitution | None) -> None:
        self._car: Car = whole.car
        live = [state.name for state in whole.car.states if state.is_battery_connected]
        lead = None
        if substitution is not None:
            is_cable = takes_cable(substitution, whole.car)
            lead = lead_part(substitution.at, substitution.to, is_cable=is_cable)
        model = altered_model(
            whole.predictor.model,
            states=frozenset(live),
            every=max(1, whole.n_draws // LEAD_DRAWS),
            lead=lead,
        )
        self.states: list[str] = live
        watched = _sources(whole.car)
        probes = [
            Probe(branch=name, state=state, is_current=True)
            for state in live
            for name in watched
        ]
        self._protective = [
            part.name for part in whole.car.parts if part.kind in PROTECTIVE_KINDS
        ]
        probes += [
            Probe(branch=name, state=live[0], is_current=False)
            for name in self._protective
        ]
        self._columns = {probe: column for column, probe in enumerate(probes)}
        predictor = Predictor(model, (), probes)
        self._shown: Prediction = predictor.predict([()])

    def amps(self, branch: str) -> FloatArray:
        """Return the largest current of a branch in each state, (n_states,). [A]."""
        return np.array(
            [
                np.abs(self._column(branch, state, is_current=True)).max()
                for state in self.states
            ]
        )

    def _column(self, branch: str, state: str, *, is_current: bool) -> FloatArray:
        probe = Probe(branch=branch, state=state, is_current=is_current)
        return self._shown.probes[0, :, self._columns[probe]].astype(np.float64)

    def drawn_amps(self) -> FloatArray:
        """Return what batteries give beyond what starters take, (n_states,). [A]."""
        found = []
        for state in self.states:
            given = np.zeros(self._shown.probes.shape[1])
            for name in _kind(self._car, "battery"):
                # a source that feeds the car has a current below zero; the current of
                # batteries in series counts once
                share = self._car.part(name).volts_share
                given -= share * self._column(name, state, is_current=True)
            for name in _kind(self._car, "starter"):
                given -= np.abs(self._column(name, state, is_current=True))
            found.append(given.max())
        return np.array(found)

    def blown(self) -> list[str]:
        """Return the protective parts that open."""
        state = self.states[0]
        return [
            name
            for name in self._protective
            if self._column(name, state, is_current=False).min() < 1.0
        ]

    def running(self, role: str, least_amps: float) -> frozenset[str]:
        """Return the states in which a part with a role takes more than so much."""
        names = [part.name for part in role_parts(self._car, role)]
        found: set[str] = set()
        for name in names:
            if name not in _sources(self._car):
                continue
            currents = self.amps(name)
            found |= {
                state
                for state, amps in zip(self.states, currents, strict=True)
                if amps > least_amps
            }
        return frozenset(found)


def _kind(car: Car, kind: str) -> list[str]:
    return [part.name for part in car.parts if part.kind == kind]


def _sources(car: Car) -> list[str]:
    """Return the parts whose current is watched: sources, starters and fuel pumps."""
    pumps = [
        part.name
        for role in ("fuel-pump", "starter")
        for part in role_parts(car, role)
        if part.terminals
    ]
    found = [*_kind(car, "battery"), *_kind(car, "starter"), *pumps]
    return list(dict.fromkeys(found))

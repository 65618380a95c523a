"""Sound cars that go by other laws: of lamps, motors, starter and battery.

A model is made of laws that are simpler than what they stand for. Here is how far those
of a real car may be from them. Leaves other values to `unlike_car`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car, Part
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.parts.branches import Branch, Values, columns
from diagnose.trial.hidden.unlike_car import OwnDraws, unlike_values

# Least and most exponent of the volts in a lamp's current. [1] From memory: filaments
# of different gas and pressure lie between .5 and .65.
LAMP_EXPONENTS = (0.5, 0.65)


# Least and most of a filament's resistance, hot over cold. [1] Tables of the
# resistivity of tungsten, 2500 K over room temperature (from memory).
HOT_OVER_COLD = (12.0, 15.0)


# Where the chords of a lamp's law end, in parts of its rated volts, beyond the cold
# one. [1] Own choice: where dim, dull and bright lamps are.
LAMP_CHORDS = (0.25, 0.7, 1.25)


# Share of cars whose starter is a plain resistance. [1] Own choice.
RESISTIVE_STARTERS = 0.5


# Least and most of the slope of the other starters' current over that of a
# resistance. [1] From memory: a starter that turns faster takes more for the oil and
# less for its own speed.
STARTER_SLOPES = (0.2, 0.7)


# Volts at a 12 V starter at which it takes the file's cranking current. [V] Rule of the
# trade: 9.6 to 11.5 V are left while cranking.
CRANKING_VOLTS = 10.5


# Share of its rated current at which a motor breaks away; below it is the resistance of
# winding and brushes. [1] From memory: bearings and brushes hold it until then.
BREAKAWAY_SHARE = 0.5


# Least volts that a break of a curve is put at, so that its segments stay in order. [V]
# Own choice, far below what matters.
LEAST_VOLTS = 1e-3


# Volts of a break that no car reaches. [V] Derived: a hundred thousand times its own.
NEVER_VOLTS = 1e6


class UnlikeModel(CarModel):
    """Cars of one wiring with values and laws that their file does not say.

    Parameters
    ----------
    car : Car
        The file, of which only the middle values are used.
    draws : OwnDraws
        Which cars.
    """

    def __init__(self, car: Car, draws: OwnDraws) -> None:
        super().__init__(car, draws, unlike_values(car, draws))
        self._lamp_exponent = draws.between("lamp exponent", *LAMP_EXPONENTS)
        self._hot_over_cold = draws.between("hot over cold", *HOT_OVER_COLD)
        slopes = draws.between("starter slope", *STARTER_SLOPES)
        is_resistive = draws.between("starter law", 0.0, 1.0) < RESISTIVE_STARTERS
        self._starter_slope = np.where(is_resistive, 1.0, slopes)

    def part_branches(
        self,
        part: Part,
        state: OperatingState,
        values: Mapping[str, Values] | None = None,
    ) -> tuple[Branch, ...]:
        """Return the branches of one part, by the laws of these cars.

        Parameters
        ----------
        part, state, values
            As for `CarModel`.

        Returns
        -------
        tuple[Branch, ...]
            Those of `CarModel` with other curves.
        """
        branches = super().part_branches(part, state, values)
        own = (values or {}).get(part.name, self.values[part.name])
        if part.kind == "lamp":
            return (self._lamp(branches[0], own),)
        if part.kind == "motor":
            return (_motor(branches[0], own),)
        if part.kind == "starter":
            return (self._starter(branches[0], own),)
        return branches

    def _lamp(self, branch: Branch, values: Values) -> Branch:
        """Return a filament that is cold until it glows, then goes by its own power."""
        exponent = self._lamp_exponent
        # volts**exponent leaves the cold filament's line where both give one current
        warm = self._hot_over_cold ** (-1.0 / (1.0 - exponent))
        ends = columns(
            np.zeros_like(warm), warm, *(np.full_like(warm, f) for f in LAMP_CHORDS)
        )
        currents = ends ** exponent[:, None]
        volts = values["lamp_volts"][:, None]
        amps = (values["lamp_watts"] / values["lamp_volts"])[:, None] * currents
        return _chords(branch, volts=volts * ends, amps=amps)

    def _starter(self, branch: Branch, values: Values) -> Branch:
        """Return a starter: a standing resistance, then a line of its own slope."""
        at_volts = CRANKING_VOLTS * self.car.system_volts / 12.0
        stall = 1.0 / values["stall_ohms"]
        turning = self._starter_slope * values["cranking_amps"] / at_volts
        start = values["cranking_amps"] - turning * at_volts
        # one that is held never turns: its lines do not meet
        steeper = np.maximum(stall - turning, 1e-9)
        meets = np.where(stall > turning, start / steeper, NEVER_VOLTS)
        return _two_lines(
            branch,
            # a resistance is one from the start
            first=np.where(meets > LEAST_VOLTS, stall, turning),
            second=np.minimum(turning, stall),
            at_volts=np.maximum(meets, LEAST_VOLTS),
        )


def _motor(branch: Branch, values: Values) -> Branch:
    """Return a motor: winding and brushes until it breaks away, then a line."""
    volts = values["motor_volts"]
    amps = values["motor_amps"] * values["load_factor"]
    held = amps * values["stall_factor"] / volts
    at_volts = BREAKAWAY_SHARE * amps / held
    turning = (1.0 - BREAKAWAY_SHARE) * amps / (volts - at_volts)
    # one that is held never turns, and one on a positive-ground car has its fed side
    # below the other: its law is the same both ways round
    second = np.where(values["is_stalled"] > 0.5, held, turning)
    ends = np.maximum(at_volts, LEAST_VOLTS)
    beyond = (held - second) * ends
    return replace(
        branch,
        breaks=columns(-ends, ends),
        siemens=columns(second, held, second),
        amps=columns(-beyond, np.zeros_like(ends), beyond),
    )


def _two_lines(
    branch: Branch, *, first: FloatArray, second: FloatArray, at_volts: FloatArray
) -> Branch:
    """Return a branch that goes by one slope up to some volts, by another beyond."""
    return replace(
        branch,
        breaks=at_volts[:, None],
        siemens=columns(first, second),
        amps=columns(np.zeros_like(first), (first - second) * at_volts),
    )


def _chords(branch: Branch, *, volts: FloatArray, amps: FloatArray) -> Branch:
    """Return a branch that goes straight from point to point, shape (n_draws, n)."""
    slopes = np.diff(amps) / np.diff(volts)
    return replace(
        branch,
        breaks=volts[:, 1:-1],
        siemens=slopes,
        amps=amps[:, :-1] - slopes * volts[:, :-1],
    )

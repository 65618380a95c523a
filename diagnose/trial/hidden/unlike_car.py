"""Sound cars that differ from their file: other joints, loads, battery and laws.

A file says what somebody wrote down of a car. Here stands how far a real one may be
from that, and by which other laws its lamps, motors and starter may go. Of the file
only the middle value of each quantity is used. How sure the file is of it, and how the
diagnosis draws it, is not asked: figures that rest on the same spreads on both sides
only say that a program agrees with itself.

Leaves the wiring to `circuit`, which solves these cars too, and the faults with their
severities to `faults`: what a bad joint is has to mean the same on both sides.

Numbers that are marked as own choice are meant to be wide rather than typical.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car, Part
from diagnose.circuit.parts.branches import Values

# Standard deviation of the natural logarithm of a wire's real length over the one in
# the file. [1] Rule of the trade: lengths are guessed along the body, and a loom takes
# its own way; two in three then lie between .7 and 1.4 times the guess.
LENGTH_LOG_SPREAD = 0.35

# Share of wires that are a size thicker or thinner than the file says. [1] Own choice:
# one in ten was mended with what was at hand.
OTHER_SIZE_SHARE = 0.1

# Copper of one size over that of the next. [1] Two numbers of American gauges: the
# gauge table has a factor of 92 ** (1 / 39) in diameter a number.
SIZE_RATIO = 92.0 ** (4.0 / 39.0)

# Least and most of a wire's resistance over that at the file's temperature, by the air
# around it. [1] Copper has .39 % a kelvin (handbooks); from some 5 to 60 °C.
WARMTH = (0.94, 1.16)

# Least and most resistance of all insulation of a car. [Ω] From memory: a wet car has
# megohms, a dry one gigohms; the solver keeps no more than 6.5 Gohm of a resistance.
INSULATION_OHMS = (1e6, 5e9)

# Factor by which one wire's insulation may differ from that of its car, either way. [1]
# Own choice.
INSULATION_RATIO = 3.0

# Least and most current that a battery takes from a working alternator. [A] From
# memory: from a full and old one to one that has just cranked a cold engine.
ACCEPTED_AMPS = (5.0, 30.0)

# Least and most charge of a battery that cranks. [1] Own choice: from a week of short
# trips to full.
CHARGE = (0.65, 1.0)

# Most by which a coil is warmer than the air. [K] From memory: a relay that has been on
# for long.
COIL_RISE_CELSIUS = 50.0

# What an alternator gives at idle, over what it gives by its file, either way. [1] Own
# choice: by a fifth, from idle speed, belt, heat and make.
IDLE_RATIO = 1.2

# By how much a quantity may differ from the file's middle value, either way: drawn
# between middle / ratio and middle * ratio, all ratios alike likely (its logarithm is
# uniform). [1] A key is a parameter, or a kind of part and its parameter.
EITHER_WAY: Mapping[str, float] = {
    # Lugs, crimps, terminals, switches and relays by three: what people make of them
    # (rule of the trade: clean and tight against dull and merely pushed on).
    "joint_a_ohms": 3.0,
    "joint_b_ohms": 3.0,
    "joint_ohms": 3.0,
    "contact_ohms": 3.0,
    # A breaker has contacts too.
    "breaker/ohms": 3.0,
    # Fuses and links are made to closer limits (own choice).
    "ohms": 1.3,
    # Dropping and other resistors: 5 % parts and what they have drifted (own choice).
    "resistor/ohms": 1.1,
    # Load currents by a quarter: labels are rounded, bearings age (own choice).
    "load_amps": 1.25,
    "motor_amps": 1.25,
    "lamp_watts": 1.25,
    "led_watts": 1.25,
    "supply_amps": 1.25,
    # A held motor, whose brushes scatter (own choice).
    "stall_factor": 1.4,
    # Cold oil against a warm engine, and the size of it (own choice).
    "cranking_amps": 1.4,
    "stall_ohms": 1.3,
    # Age and cold (own choice).
    "internal_ohms": 1.6,
    # Acid strength at the factory: .05 V in 12 V (own choice).
    "full_volts": 1.004,
    "empty_volts": 1.004,
    # Regulators are set to 13.9 to 14.5 V (rule of the trade: some .3 V either way).
    "set_volts": 1.02,
    "droop_volts": 1.5,
    # Rating and ripple by make (own choice).
    "rated_amps": 1.1,
    "ripple_ohms": 2.0,
    "field_ohms": 1.2,
    # Relays pull in between half and two thirds of their volts, and let go anywhere
    # from a tenth (data sheets, from memory).
    "pull_in_volts": 1.12,
    "release_volts": 1.5,
    "coil_ohms": 1.12,
    # What a controller bears before it resets, and needs to start again: by make (own
    # choice).
    "reset_volts": 1.1,
    "restart_volts": 1.1,
    "on_ohms": 1.5,
    "limit_amps": 1.15,
    "forward_volts": 1.15,
    # Fuses open at 90 to 110 % of what their curve says (own choice).
    "blow_factor": 1.1,
}

# Parameters that one draw moves, by the name of the draw: a controller watches both
# volts with one circuit, and restart volts stay above reset volts (derived).
ONE_DRAW: Mapping[str, str] = {
    "reset_volts": "watched volts",
    "restart_volts": "watched volts",
}


# Halvings of the span of an alternator's speed constant. [1] Derived: so many leave a
# millionth of it.
N_HALVINGS = 40

# Least and most of that speed constant. [1/min] Own choice: from a step to a line.
SPEED_CONSTANTS = (50.0, 1e5)

# Alternator speed at which its rated output is stated. [1/min] ISO 8854 (from memory).
RATED_RPM = 6000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnDraws:
    """Independent draws with a generator of their own for each quantity.

    Parameters
    ----------
    n_draws : int
        How many cars.
    seed : int
        Another seed gives other cars.
    """

    n_draws: int
    seed: int

    def generator(self, key: str) -> np.random.Generator:
        """Return the generator of one quantity, by its name."""
        return np.random.default_rng((self.seed, crc32(key.encode()), 23))

    def probabilities(self, key: str) -> FloatArray:
        """Return which quantile of a fault's severity each car takes."""
        return self.generator(key).uniform(0.001, 0.999, self.n_draws)

    def between(self, key: str, low: float, high: float) -> FloatArray:
        """Return values of one quantity, all between two alike likely."""
        return self.generator(key).uniform(low, high, self.n_draws)

    def ratios(self, key: str, low: float, high: float) -> FloatArray:
        """Return values of one quantity whose logarithms are all alike likely."""
        return np.exp(self.between(key, np.log(low), np.log(high)))

    def lengths(self, key: str) -> FloatArray:
        """Return how much longer a wire is than its file says."""
        normal = self.generator(key).standard_normal(self.n_draws)
        return np.asarray(np.exp(LENGTH_LOG_SPREAD * normal))

    def sizes(self, key: str) -> FloatArray:
        """Return how much more copper a wire has than its file says."""
        drawn = self.generator(key).random(self.n_draws)
        thinner = np.where(drawn < 0.5 * OTHER_SIZE_SHARE, 1.0 / SIZE_RATIO, 1.0)
        return np.where(drawn > 1.0 - 0.5 * OTHER_SIZE_SHARE, SIZE_RATIO, thinner)


def unlike_values(car: Car, draws: OwnDraws) -> Mapping[str, Values]:
    """Return the values of cars that differ from their file.

    Parameters
    ----------
    car : Car
        The file.
    draws : OwnDraws
        Which cars.

    Returns
    -------
    Mapping[str, Values]
        Part to parameter to values, shape (n_draws,), in the unit of the parameter.
        What has no spread here (ratings, flags) is as the file says.
    """
    return {part.name: _of_part(part, car, draws) for part in car.parts}


def _of_part(part: Part, car: Car, draws: OwnDraws) -> Values:
    """Return the values of one part: either way of the middle, or by its kind."""
    values: dict[str, FloatArray] = {}
    for name, value in part.values.items():
        ratio = EITHER_WAY.get(f"{part.kind}/{name}", EITHER_WAY.get(name, 1.0))
        key = f"{part.name}/{ONE_DRAW.get(name, name)}"
        factor = draws.ratios(key, 1.0 / ratio, ratio)
        values[name] = value.distribution.nominal * factor
    if part.kind == "wire":
        values |= _wire(part, values, draws)
    if part.kind == "coil":
        values["coil_rise_celsius"] = draws.between(
            f"{part.name}/coil_rise_celsius", 0.0, COIL_RISE_CELSIUS
        )
    if part.kind == "battery":
        values |= _battery(part, car, draws)
    if part.kind == "alternator":
        values["speed_constant_rpm"] = _speed_constant(part, car, draws, values)
    return values


def _wire(part: Part, values: Values, draws: OwnDraws) -> Values:
    """Return a wire of another length, perhaps another size, and other insulation."""
    longer = draws.lengths(f"{part.name}/length_m")
    thicker = draws.sizes(f"{part.name}/area_mm2")
    warmer = draws.between("warmth", *WARMTH)
    beside = draws.ratios(
        f"{part.name}/leak_ohms", 1.0 / INSULATION_RATIO, INSULATION_RATIO
    )
    insulation = draws.ratios("insulation", *INSULATION_OHMS) * beside
    changed = {
        "wire_ohms": values["wire_ohms"] * longer / thicker * warmer,
        "leak_ohms": np.minimum(insulation, INSULATION_OHMS[1]),
    }
    if "length_m" in values:
        changed["length_m"] = values["length_m"] * longer
    if "area_mm2" in values:
        changed["area_mm2"] = values["area_mm2"] * thicker
    return changed


def _battery(part: Part, car: Car, draws: OwnDraws) -> Values:
    """Return a battery of another charge, which takes another current."""
    accepted = draws.ratios(f"{part.name}/acceptance", *ACCEPTED_AMPS)
    full = part.values["full_volts"].distribution.nominal
    # some 1.6 V above its rest volts is what a regulator holds a 12 V battery at
    above = 1.6 * part.volts_share * car.system_volts / 12.0
    regulators = [one for one in car.parts if one.kind == "alternator"]
    if regulators:
        set_volts = regulators[0].values["set_volts"].distribution.nominal
        set_volts *= part.volts_share
        above = max(set_volts - full, 0.5 * above)
    return {
        "acceptance_ohms": above / accepted,
        "state_of_charge": draws.between(f"{part.name}/state_of_charge", *CHARGE),
    }


def _speed_constant(
    part: Part, car: Car, draws: OwnDraws, values: Values
) -> FloatArray:
    """Return the speed constant with which an alternator gives its own idle current."""
    middle = part.values["speed_constant_rpm"].distribution.nominal
    nominal = np.full(draws.n_draws, middle)
    running = [s.engine_rpm for s in car.states if s.is_engine_running]
    idle = min(running, default=0.0) * values["pulley_ratio"] - values["cut_in_rpm"]
    top = RATED_RPM - values["cut_in_rpm"]
    if (idle <= 0.0).any():
        return nominal

    def share(constant: FloatArray) -> FloatArray:
        return np.asarray(np.expm1(-idle / constant) / np.expm1(-top / constant))

    ratios = draws.ratios(f"{part.name}/idle", 1.0 / IDLE_RATIO, IDLE_RATIO)
    wanted = share(nominal) * ratios / (values["rated_amps"] / _rated(part))
    low, high = (np.full(draws.n_draws, np.log(end)) for end in SPEED_CONSTANTS)
    for _ in range(N_HALVINGS):
        half = 0.5 * (low + high)
        gives_more = share(np.exp(half)) > wanted
        low, high = np.where(gives_more, half, low), np.where(gives_more, high, half)
    return np.asarray(np.exp(low))


def _rated(part: Part) -> float:
    return part.values["rated_amps"].distribution.nominal

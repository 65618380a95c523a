"""Body, engine and frame, battery, alternator and starter, and the ground studs.

What each of these sections of a car file stands for: parts with their terminals. Leaves
the other sections to `sections`.
"""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.circuit.car import Part
from diagnose.circuit.parts.alternator_label import speed_constant_rpm
from diagnose.circuit.values import Value
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.expansion.part_values import defaults_for, given_value
from diagnose.files.car.expansion.relays_and_joints import add_joint, known_role
from diagnose.files.car.grammar.entries import (
    AlternatorEntry,
    BatteryEntry,
    StarterEntry,
)
from diagnose.files.yaml_positions import Location

# Drop of a 12 V battery at its cold-cranking amps: full rest volts less the 7.2 V that
# the rating leaves after 30 s on a new battery. [V] SAE J537, from memory.
COLD_CRANKING_DROP_VOLTS = 12.6 - 7.2

# The temperature of that rating. [°C] SAE J537, from memory.
COLD_CRANKING_CELSIUS = -18.0

# Resistance that a battery in service has after some seconds of cranking, its plates
# polarised, over that of the first moment. [1] From memory: 10 to 10.5 V at half of the
# cold-cranking amps. Good at 20 °C; in the cold it is too much, as the rating's own
# 7.2 V after 30 s show: one resistance can't hold both.
POLARISED_FACTOR = 1.4

# Size of the battery that the usual charge acceptance is meant for. [A] A rule.
USUAL_COLD_CRANKING_AMPS = 600.0

# What the battery is for, alone or with another one in series; keys of knowledge/.
BATTERY_ROLE = "battery"
SERIES_ROLE = "series-battery"

# The cable between two batteries in series.
SERIES_LINK = "battery-link"

# The lowest system voltage, which is one battery's. [V] By definition.
LEAST_SYSTEM_VOLTS = 6.0


def add_battery(entry: BatteryEntry, draft: Draft, *, system_volts: float) -> None:
    """Add the battery, or two in series with the cable between them.

    Parameters
    ----------
    entry : BatteryEntry
        What the file says.
    draft : Draft
        The car being put together.
    system_volts : float
        Of the whole car. [V]
    """
    location: Location = ("battery",)
    posts = {
        post: draft.declare("battery", post, place=entry.place, location=location)
        for post in ("plus", "minus")
    }
    if entry.series_link is None:
        _add_one_battery("battery", posts, entry, draft, volts=(system_volts, 1.0))
        return
    if system_volts == LEAST_SYSTEM_VOLTS:
        draft.report(
            (*location, "series-link"),
            f"two batteries in series make 12 V or 24 V, not {system_volts:g} V",
        )
        return
    names = (f"live-{BATTERY_ROLE}", f"grounded-{BATTERY_ROLE}")
    inner = (draft.ground_post, draft.hot_post)
    links = []
    for name, post in zip(names, inner, strict=True):
        links.append(draft.declare(name, post, place=entry.place, location=location))
        terminals = {**posts, post: links[-1]}
        volts = (system_volts / len(names), 1.0 / len(names))
        _add_one_battery(name, terminals, entry, draft, volts=volts)
    draft.add(
        Part(
            name="battery",
            assembly="battery",
            kind="battery-bank",
            terminals=posts,
            members=names,
            place=entry.place,
            role=known_role(draft, BATTERY_ROLE),
        ),
        location,
    )
    draft.add_wire(
        SERIES_LINK,
        (links[0], links[1]),
        size=entry.series_link,
        location=(*location, "series-link"),
        place=entry.place,
        role=known_role(draft, "battery-cable"),
    )


def _add_one_battery(
    name: str,
    terminals: Mapping[str, str],
    entry: BatteryEntry,
    draft: Draft,
    *,
    volts: tuple[float, float],
) -> None:
    """Add a battery of some volts, which are a share of the system's."""
    own_volts, share = volts
    usual = defaults_for(
        {"battery": draft.knowledge.defaults.get("battery", {})}, system_volts=own_volts
    )["battery"]
    sizes: dict[str, float | None] = {}
    if entry.cold_cranking is not None:
        sizes = _battery_sizes(entry, draft, usual, scale=own_volts / 12.0)
    values = draft.values(
        "battery", entry.values, location=("battery",), sizes=sizes, usual=usual
    )
    if entry.cold_cranking is not None:
        values["cold_cranking_amps"] = given_value(entry.cold_cranking, None)
    role = BATTERY_ROLE if share == 1.0 else SERIES_ROLE
    draft.add(
        Part(
            name=name,
            assembly=name,
            kind="battery",
            terminals=terminals,
            values=values,
            place=entry.place,
            role=known_role(draft, role),
            volts_share=share,
        ),
        ("battery",),
    )


def _battery_sizes(
    entry: BatteryEntry,
    draft: Draft,
    usual: Mapping[str, Value],
    *,
    scale: float,
) -> dict[str, float | None]:
    """Return what the cold-cranking amps say of a battery at 20 °C, in service."""
    assert entry.cold_cranking is not None
    conditions = draft.knowledge.conditions.get("battery", {})
    condition = conditions.get("internal_ohms")
    factor = 1.0
    if condition is not None and condition.celsius is not None:
        factor *= condition.celsius.factor(COLD_CRANKING_CELSIUS)
    if condition is not None and condition.years is not None:
        factor *= condition.years.factor(0.0)
    drop_volts = scale * COLD_CRANKING_DROP_VOLTS
    default = usual.get("acceptance_ohms")
    size = USUAL_COLD_CRANKING_AMPS / entry.cold_cranking
    return {
        "internal_ohms": POLARISED_FACTOR * drop_volts / entry.cold_cranking / factor,
        "acceptance_ohms": (
            None if default is None else size * default.distribution.nominal
        ),
    }


def add_alternator(entry: AlternatorEntry, draft: Draft) -> None:
    """Add the alternator; sense and exciter exist when something is joined to them.

    Parameters
    ----------
    entry : AlternatorEntry
        What the file says.
    draft : Draft
        The car being put together.
    """
    location: Location = ("alternator",)
    terminals = {
        name: draft.declare("alternator", name, place=entry.place, location=location)
        for name in ("output", "case", "sense", "exciter")
    }
    draft.optional.update(("alternator.sense", "alternator.exciter"))
    # inside the alternator: no probe gets there
    terminals["rectifier"] = draft.declare(
        "alternator", "rectifier", place="", location=location
    )
    draft.add(
        Part(
            name="alternator",
            assembly="alternator",
            kind="alternator",
            terminals=terminals,
            values=draft.values(
                "alternator",
                entry.values,
                location=location,
                sizes={
                    "rated_amps": entry.rated,
                    "speed_constant_rpm": _speed_constant(entry, draft),
                },
            ),
            place=entry.place,
            role="alternator",
        ),
        location,
    )
    add_joint(draft, "alternator-mount", "alternator.case", entry.bolted_to, location)


def _speed_constant(entry: AlternatorEntry, draft: Draft) -> float | None:
    """Return how fast the output rises with speed, from the label's two currents."""
    if entry.low_speed is None:
        return None
    location: Location = ("alternator", "low-speed")
    if entry.rated is None:
        draft.report(
            location, "low-speed needs `rated` too: the larger current", of_key=True
        )
        return None
    cut_in = draft.defaults.get("alternator", {}).get("cut_in_rpm")
    if cut_in is None:
        return None
    try:
        return speed_constant_rpm(
            share=entry.low_speed / entry.rated,
            cut_in_rpm=cut_in.distribution.nominal,
        )
    except ValueError as error:
        draft.report(location, f"low-speed: {error}")
        return None


def add_starter(entry: StarterEntry, draft: Draft) -> None:
    """Add the starter motor.

    Parameters
    ----------
    entry : StarterEntry
        What the file says.
    draft : Draft
        The car being put together.
    """
    location: Location = ("starter",)
    terminals = {
        end: draft.declare("starter", name, place=entry.place, location=location)
        for end, name in (("plus", draft.hot_post), ("case", "case"))
    }
    draft.add(
        Part(
            name="starter",
            assembly="starter",
            kind="starter",
            terminals=terminals,
            values=draft.values(
                "starter",
                entry.values,
                location=location,
                sizes={
                    "cranking_amps": entry.cranking,
                    "stall_ohms": _stall_ohms(entry, draft),
                },
            ),
            place=entry.place,
            role="starter",
        ),
        location,
    )
    add_joint(
        draft,
        "starter-mount",
        "starter.case",
        entry.bolted_to,
        location,
        role="starter",
    )


def _stall_ohms(entry: StarterEntry, draft: Draft) -> float | None:
    """Return the resistance of a starter that takes its own current. [Ω].

    What is built for more amps has thicker copper, in proportion (a rule of the trade),
    so that any starter turns at the same share of its volts.
    """
    usual = draft.defaults.get("starter", {})
    if entry.cranking is None or not {"cranking_amps", "stall_ohms"} <= usual.keys():
        return None
    ratio = usual["cranking_amps"].distribution.nominal / entry.cranking
    return ratio * usual["stall_ohms"].distribution.nominal

"""What several sections of a car file need: relays, bolted joints, ratings of fuses.

Leaves which section needs which to `sections`, `circuits` and `metal_and_sources`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from diagnose.circuit.car import Part
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.circuit.values import Origin, Value
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.expansion.part_values import fuse_ohms, given_value
from diagnose.files.car.grammar.entries import RelayTerminals
from diagnose.files.yaml_positions import Location


def add_rating(values: dict[str, Value], kind: str) -> None:
    """Give a fuse the resistance that goes with the rating the file gives.

    Parameters
    ----------
    values : dict[str, Value]
        Parameter to value of a part; gets ``ohms`` unless the file gives them.
    kind : str
        Kind of the part; nothing happens to one that is no fuse.
    """
    rating = values.get("rating_amps")
    ohms = values.get("ohms")
    if (
        kind not in PROTECTIVE_KINDS
        or rating is None
        or rating.origin is Origin.DEFAULT
    ):
        return
    if ohms is None or ohms.origin is Origin.DEFAULT:
        values["ohms"] = fuse_ohms(kind, rating.distribution.nominal, ohms)


# Role of the contacts that switch the starter. By definition.
STARTER_SOLENOID = "starter-solenoid"

# Part of a relay to its kind and its two terminals. DIN 72552, from memory.
_RELAY_PARTS: Mapping[str, tuple[str, tuple[str, str]]] = MappingProxyType(
    {
        "coil": ("coil", ("86", "85")),
        "contacts": ("contacts", ("30", "87")),
        "contacts-87a": ("contacts", ("30", "87a")),
    }
)


def add_relay(
    name: str,
    entry: RelayTerminals,
    draft: Draft,
    location: Location,
    *,
    place: str,
    role: str | None = None,
) -> None:
    """Add a relay: coil 86-85, contacts 30-87, and 30-87a when something is on it.

    Parameters
    ----------
    name : str
        The relay.
    entry : RelayTerminals
        What the file says.
    draft : Draft
        The car being put together.
    location : Location
        The entry.
    place : str
        Where the relay is.
    role : str or None
        What its contacts do for the car.
    """
    ends = {
        number: draft.declare(name, number, place=place, location=location)
        for number in ("30", "87", "87a", "86", "85")
    }
    draft.optional.add(ends["87a"])
    roles = {
        "contacts": draft.role(name, "contacts", role, location=location),
        "contacts-87a": known_role(draft, "changeover-contact"),
    }
    if roles["contacts"] == STARTER_SOLENOID:
        roles["coil"] = known_role(draft, "solenoid-coil")
    for part, (kind, (first, second)) in _RELAY_PARTS.items():
        values = draft.values(
            kind, entry.values, location=location, among=("coil", "contacts")
        )
        if kind == "coil":
            values.update(
                (parameter, value)
                for parameter, value in draft.attached.get(
                    f"{roles['contacts']}/coil", {}
                ).items()
                if parameter not in entry.values
            )
        if kind == "contacts" and entry.rated is not None:
            values["contact_rating_amps"] = given_value(entry.rated, None)
        draft.add(
            Part(
                name=f"{name}.{part}",
                assembly=name,
                kind=kind,
                terminals=_relay_ends(ends, first, second),
                values=values,
                gate=None if kind == "coil" else f"{name}.coil",
                is_normally_closed=part == "contacts-87a",
                place=place,
                role=roles.get(part),
            ),
            location,
        )
    if entry.suppression == "diode":
        _add_suppression(name, draft, location, place=place)
    joined = {
        "86": entry.terminal_86,
        "85": entry.terminal_85,
        "87a": entry.terminal_87a,
    }
    for number, connection in joined.items():
        if connection is not None:
            draft.join(
                ends[number],
                connection,
                wire=f"{name}-{number}-wire",
                location=(*location, number),
                role=known_role(draft, "coil-feed") if number == "86" else None,
            )


def _relay_ends(ends: Mapping[str, str], first: str, second: str) -> dict[str, str]:
    """Return the terminals of a part of a relay.

    The contact at rest also knows where its feed is when 30 and 87 are exchanged.
    """
    terminals = {"a": ends[first], "b": ends[second]}
    return {**terminals, "swapped": ends["87"]} if second == "87a" else terminals


def known_role(draft: Draft, role: str) -> str | None:
    """Return a role that the file can't give, None when knowledge/ has none such.

    Parameters
    ----------
    draft : Draft
        The car being put together.
    role : str
        The role.
    """
    return role if role in draft.knowledge.roles else None


def _add_suppression(
    name: str, draft: Draft, location: Location, *, place: str
) -> None:
    """Add the diode across a relay's coil, so that it blocks while the coil is fed.

    Terminal 86 is the fed side: it has the cathode, in a positive-ground car the anode.
    """
    ends = ("85", "86") if draft.hot_post == "plus" else ("86", "85")
    draft.add(
        Part(
            name=f"{name}.diode",
            assembly=name,
            kind="diode",
            terminals={"a": f"{name}.{ends[0]}", "b": f"{name}.{ends[1]}"},
            values=draft.values("diode", {}, location=location),
            place=place,
            role=known_role(draft, "suppression"),
        ),
        location,
    )


def add_joint(
    draft: Draft,
    name: str,
    terminal: str,
    metal: str,
    location: Location,
    *,
    given: Mapping[str, object] = MappingProxyType({}),
    role: str = "",
) -> None:
    """Bolt a terminal to metal.

    Parameters
    ----------
    draft : Draft
        The car being put together.
    name : str
        Name of the joint.
    terminal, metal : str
        What is bolted, and to what.
    location : Location
        The entry.
    given : Mapping[str, object]
        Values the file gives.
    role : str
        Of what is bolted, where such a mount has values of its own.
    """
    draft.ends.append((metal, (*location, "bolted-to")))
    usual = {
        **draft.defaults.get("joint", {}),
        **draft.attached.get(f"{role}/joint", {}),
    }
    draft.add(
        Part(
            name=name,
            assembly=name,
            kind="joint",
            terminals={"a": terminal, "b": metal},
            values=draft.values("joint", given, location=location, usual=usual),
            place=draft.place_of(terminal),
        ),
        location,
    )

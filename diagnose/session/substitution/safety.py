"""Where a circuit is not changed for a test, for somebody's or something's sake.

A lead keeps away from where a test lamp is not held, and whatever shorts the battery or
blows a fuse of the sound car is refused. What is exchanged or taken off has a plug,
bolts or terminals of its own. Leaves cautions of what is allowed to `cautions`.
"""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.measurement.points.forbidden_points import AIRBAG, airbag_points
from diagnose.measurement.points.lamp_points import unfit_for_lamp
from diagnose.measurement.substitutions import Substitution, SubstitutionKind
from diagnose.session.substitution.leads import LeadEffects

# Kinds that are no part to be exchanged or taken off: metal and joints are cleaned. By
# definition.
WIRING_KINDS = frozenset({"joint", "engine"})

# What is not exchanged for a test: a wire is bridged. By definition.
BRIDGED_KINDS = frozenset({"wire"})

# What is never taken off its wires for a test: without the battery the alternator
# spoils the electronics. Rule of the trade.
STAYS_ON_KINDS = frozenset({"battery"})


def changeable_parts(car: Car, kind: SubstitutionKind) -> tuple[str, ...]:
    """Return what can be exchanged, or taken off its wires, as a whole.

    Parameters
    ----------
    car : Car
        The car.
    kind : SubstitutionKind
        SWAP or UNPLUG.

    Returns
    -------
    tuple[str, ...]
        Each assembly once, in the car's order.
    """
    is_taken_off = kind is SubstitutionKind.UNPLUG
    barred = WIRING_KINDS | (STAYS_ON_KINDS if is_taken_off else BRIDGED_KINDS)
    return tuple(
        dict.fromkeys(part.assembly for part in car.parts if part.kind not in barred)
    )


def forbidden_change(substitution: Substitution, car: Car) -> str:
    """Return why a circuit must not be changed so, by where it is.

    Parameters
    ----------
    substitution : Substitution
        Of points and parts that the car has.
    car : Car
        The car.

    Returns
    -------
    str
        One sentence; empty where nothing forbids it.
    """
    if substitution.kind is not SubstitutionKind.BRIDGE:
        near = {
            place.caution
            for part in car.parts
            if part.assembly == substitution.at
            and (place := car.places.get(part.place)) is not None
        }
        if AIRBAG in near:
            return (
                f"{substitution.at} stays as it is: an airbag is near; leave it to a "
                "licensed workshop with the maker's manual"
            )
        return ""
    if len(substitution.ends) < 2:
        return "a lead goes between two different points"
    airbag = sorted(substitution.ends & airbag_points(car))
    if airbag:
        return (
            f"no lead at {airbag[0]}: an airbag or its wiring may be there, and any "
            "current can fire it; leave it to a licensed workshop with the maker's "
            "manual"
        )
    unfit = sorted(substitution.ends & unfit_for_lamp(car))
    if unfit:
        return (
            f"no lead at {unfit[0]}: it can ruin a controller, its output or an "
            "ignition module; read volts there instead"
        )
    return ""


def harm_of(substitution: Substitution, effects: LeadEffects, car: Car) -> str:
    """Return what harm a lead would do to the sound car.

    Parameters
    ----------
    substitution : Substitution
        Of a lead.
    effects : LeadEffects
        What it does, solved.
    car : Car
        The car.

    Returns
    -------
    str
        One sentence; empty where it does none.
    """
    words = f"a lead from {substitution.at} to {substitution.to}"
    if effects.shorts_in:
        state = car.state(effects.shorts_in).label
        return f"{words} would short the battery ({state}); it burns: never do that"
    if effects.blows:
        return f"{words} would overload {effects.blows} of a sound car: leave it out"
    return ""

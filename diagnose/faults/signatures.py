"""What causes share: what they do to the circuit, and the repair that mends them."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.faults.causes import Cause
from diagnose.faults.modes import ITSELF, FaultMode


def effect_signature(cause: Cause) -> tuple[object, ...]:
    """Return a key that causes share if they do the same to the circuit.

    High resistance at either end of one wire acts alike: no reading between terminals
    tells them apart, and one repair mends both.

    Parameters
    ----------
    cause : Cause
        Any cause.

    Returns
    -------
    tuple
        To compare and to look up by, and for nothing else.
    """
    return (cause.part.name, *mode_signature(cause.mode))


def repair_signature(cause: Cause) -> tuple[object, ...]:
    """Return a key that causes share if one repair mends them all.

    Parameters
    ----------
    cause : Cause
        Any cause.

    Returns
    -------
    tuple
        To compare and to look up by, and for nothing else.
    """
    renews = cause.mode.repair.renews
    if not renews:
        return effect_signature(cause)
    whole = cause.part.name if renews == ITSELF else cause.part.assembly
    return (whole, renews)


def mended_along(cause: Cause, causes: Sequence[Cause]) -> frozenset[int]:
    """Return what the repair of a cause mends beyond its own line.

    Parameters
    ----------
    cause : Cause
        What is mended.
    causes : Sequence[Cause]
        All of the car.

    Returns
    -------
    frozenset[int]
        Numbers of the lesser faults that go with what is made new.
    """
    renews = cause.mode.repair.renews
    return frozenset(
        number
        for number, other in enumerate(causes)
        if renews
        and other.mode.repair.goes_with == renews
        and other.part.assembly == cause.part.assembly
    )


def mode_signature(mode: FaultMode) -> tuple[object, ...]:
    """Return a key that modes share if they do the same to a part.

    Parameters
    ----------
    mode : FaultMode
        Any mode.

    Returns
    -------
    tuple
        To compare and to look up by, and for nothing else.
    """
    changes = tuple(
        (
            change.role,
            change.kind,
            # the two ends of a wire add to one resistance
            change.parameter.replace("joint_a_", "joint_").replace(
                "joint_b_", "joint_"
            ),
            change.operation,
            change.amount,
        )
        for change in mode.changes
    )
    return (changes, tuple(sorted(mode.mechanical.items())), mode.lasts)

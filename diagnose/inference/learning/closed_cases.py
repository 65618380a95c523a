"""Closed cases as learning counts them, without anything that names a person or a car.

Knows which modes a part can have. Leaves reading and keeping cases to `files` and
`store`, and when a case is closed to `session.closing`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from diagnose.faults.modes import FaultMode

PartGroup = tuple[str, str]
"""Kind and role of parts; the role is empty for parts without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedCase:
    """One repaired and proven case.

    Parameters
    ----------
    case_id : str
        The same for the same case wherever it is pooled.
    complaint : str
        Key of what the owner came with.
    history : Mapping[str, str]
        Context to its answer; those not answered are not there.
    parts : Mapping[PartGroup, int]
        How many parts of each kind and role the car has. [1]
    group : PartGroup
        Kind and role of the part that was mended.
    mode : str
        The fault mode that was mended.
    """

    case_id: str
    complaint: str
    history: Mapping[str, str]
    parts: Mapping[PartGroup, int]
    group: PartGroup
    mode: str


def can_have(group: PartGroup, mode: FaultMode) -> bool:
    """Return whether parts of a kind and role can have a fault mode.

    Parameters
    ----------
    group : PartGroup
        Kind and role of the parts.
    mode : FaultMode
        With the roles it is limited to, or excepts.

    Returns
    -------
    bool
        True if such a part can fail in this way.
    """
    kind, role = group
    if mode.kind != kind or role in mode.except_roles:
        return False
    return not mode.roles or role in mode.roles

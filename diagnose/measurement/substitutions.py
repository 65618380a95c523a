"""Substitutions: a lead added, a part exchanged or taken off, to see what the car does.

One is a change of the circuit for as long as a look or a reading lasts; what is told of
it is told of the changed car, never of the car as it stands. Leaves what it does to the
circuit to `circuit.altered_model`, and where it would hurt to `session`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class SubstitutionKind(Enum):
    """What is done to the car."""

    BRIDGE = "bridge"  # a lead is put between two points
    SWAP = "swap"  # a known good part of the same kind is put in
    UNPLUG = "unplug"  # a part is taken off its wires


@dataclass(frozen=True, slots=True, kw_only=True)
class Substitution:
    """One change of the circuit that is made for a test and undone after it.

    Parameters
    ----------
    kind : SubstitutionKind
    at : str
        One end of the lead, a node; or what is exchanged or taken off as a whole
        (`Part.assembly`).
    to : str
        The other end of the lead; empty where there is none.
    """

    kind: SubstitutionKind
    at: str
    to: str = ""

    @property
    def name(self) -> str:
        """Key, e.g. ``bridge|pump-relay.30|pump-relay.87`` or ``swap|pump-relay``."""
        ends = (self.at, self.to) if self.to else (self.at,)
        return "|".join((self.kind.value, *ends))

    @property
    def ends(self) -> frozenset[str]:
        """The two nodes of the lead; none where there is no lead."""
        is_lead = self.kind is SubstitutionKind.BRIDGE
        return frozenset({self.at, self.to}) if is_lead else frozenset()


# How many words stand in the key of each kind, its own included. By definition.
KEY_LENGTHS = {
    SubstitutionKind.BRIDGE: 3,
    SubstitutionKind.SWAP: 2,
    SubstitutionKind.UNPLUG: 2,
}


def split_substitution(
    words: list[str],
) -> tuple[Substitution | None, list[str]]:
    """Return the substitution that the words of a key begin with, and the rest.

    Parameters
    ----------
    words : list[str]
        The key of a step, cut at its bars.

    Returns
    -------
    tuple[Substitution or None, list[str]]
        None where they begin with none; all of the words are the rest then.

    Examples
    --------
    >>> split_substitution(["swap", "pump-relay", "symptom", "pump-primes"])[1]
    ['symptom', 'pump-primes']
    """
    kinds = {kind.value: kind for kind in SubstitutionKind}
    kind = kinds.get(words[0]) if words else None
    if kind is None or len(words) < KEY_LENGTHS[kind]:
        return None, words
    length = KEY_LENGTHS[kind]
    found = Substitution(kind=kind, at=words[1], to=words[2] if length > 2 else "")
    return found, words[length:]

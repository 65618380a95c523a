"""The rules that tie faults together: one makes another likelier, or one place spoils.

Leaves which causes of one car they tie to `links`.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from fnmatch import fnmatchcase

from diagnose.faults.modes import FaultMode


class Relation(Enum):
    """Where in a car the fault that comes first sits, seen from the second.

    Attributes
    ----------
    GROUNDS_COIL
        On the way from the coil of these contacts to ground.
    FED_THROUGH
        A consumer that these contacts feed.
    DRIVEN_BY
        What hangs on this output.
    ANYWHERE
        On any other part.
    """

    GROUNDS_COIL = "grounds-its-coil"
    FED_THROUGH = "is-fed-through-it"
    DRIVEN_BY = "is-driven-by-it"
    ANYWHERE = "anywhere"


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkRule:
    """A fault that makes another likelier.

    Parameters
    ----------
    name : str
        Plain identifier.
    parents, children : tuple[str, ...]
        Fault modes, ``kind.mode``; ``*`` stands for any letters.
    relation : Relation
        Where the parents are, seen from a child.
    factor : float
        On the rate of each child while some parent is present. [1]
    says : str
        What the parent does to the child, in words.
    source, basis : str
        Where the factor is from, and whether that was read, remembered or estimated.
    """

    name: str
    parents: tuple[str, ...]
    children: tuple[str, ...]
    relation: Relation
    factor: float
    says: str
    source: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotRule:
    """A condition that a whole place of a car may be in, such as damp.

    Parameters
    ----------
    name : str
        Plain identifier.
    context : str
        The question of the car's history that its chance follows.
    chances : Mapping[str, float]
        Answer to the chance that one place is in this condition. [1]
    weights : tuple[tuple[tuple[str, ...], float], ...]
        Fault modes, as in `LinkRule`, and how much likelier they are in such a place;
        the first that fits counts. [1]
    source, basis : str
        Where the chances are from, and whether that was read, remembered or estimated.
    """

    name: str
    context: str
    chances: Mapping[str, float]
    weights: tuple[tuple[tuple[str, ...], float], ...]
    source: str
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkRules:
    """All that knowledge/ says about what ties faults together.

    Parameters
    ----------
    links : tuple[LinkRule, ...]
        Faults that make others likelier.
    spots : tuple[SpotRule, ...]
        Conditions of whole places.
    """

    links: tuple[LinkRule, ...] = ()
    spots: tuple[SpotRule, ...] = ()


def is_of(mode: FaultMode, patterns: Sequence[str]) -> bool:
    """Return whether a mode is one of a class.

    Parameters
    ----------
    mode : FaultMode
        Any mode.
    patterns : Sequence[str]
        The class: ``kind.mode`` each; ``*`` stands for any letters.

    Returns
    -------
    bool
        Whether one of the patterns fits.
    """
    return _fits(f"{mode.kind}.{mode.name}", tuple(patterns))


@functools.cache
def _fits(name: str, patterns: tuple[str, ...]) -> bool:
    """Return whether one of some patterns fits; parts of a kind ask for the same."""
    return any(fnmatchcase(name, pattern) for pattern in patterns)

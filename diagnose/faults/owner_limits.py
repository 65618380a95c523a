"""Owner's limits and prices: what an owner may lack, what a price counts as in minutes.

The price of a part counts as minutes when steps are chosen, and not when they are told:
a dear part is not swapped on a guess, and the minutes on the page stay minutes. Leaves
to `session` which steps that makes dearer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnerLimit:
    """Something that steps may need and an owner may lack.

    Parameters
    ----------
    name : str
        Key, as typed behind ``without``.
    says : str
        What is lacking, in words.
    readings, states, cautions : frozenset[str]
        Kinds of reading, operating states, and cautions of places that need it.
    is_impossible : bool
        Without it such a reading can't be taken.
    extra_minutes : float
        What a reading takes longer without it. [min]
    repair_extra_minutes : float
        What a repair at such a place takes longer without it. [min]
    in_series_minutes : float
        What small amps take longer with the meter in series; 0 when not. [min]
    """

    name: str
    says: str
    readings: frozenset[str] = frozenset()
    states: frozenset[str] = frozenset()
    cautions: frozenset[str] = frozenset()
    is_impossible: bool = False
    extra_minutes: float = 0.0
    repair_extra_minutes: float = 0.0
    in_series_minutes: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """All that an owner may lack, and the price classes of repairs.

    Parameters
    ----------
    limits : Mapping[str, OwnerLimit]
        By name.
    price_minutes : Mapping[str, float]
        Price class to the minutes it counts as. [min]
    needless_minutes : float
        What mending a sound part counts as beyond its time and price: a good part is
        thrown away, or a sound joint disturbed. [min]
    settling_minutes : float
        What a car takes with the key off until its drain can be read. [min]
    settling_counts_as : float
        What that wait counts as where steps are chosen. [min]
    test_minutes : Mapping[str, float]
        ``lead``, ``cable``, ``swap`` and ``unplug`` to what changing the circuit so,
        and back again, takes once one is there. [min]
    """

    limits: Mapping[str, OwnerLimit] = field(
        default_factory=lambda: MappingProxyType({})
    )
    price_minutes: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType({})
    )
    needless_minutes: float = 0.0
    settling_minutes: float = 0.0
    settling_counts_as: float = 0.0
    test_minutes: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType({})
    )

"""Which cautions stand where, beyond those that a state, place or repair names itself.

The words are in `Knowledge.cautions`; leaves to `session.words.cautions` which of them
a step or a repair has.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionRules:
    """The rules by which cautions are added or left out, as keys of cautions.

    Parameters
    ----------
    at_electronics : str
        Stands with readings at plugs of controllers and ignition modules.
    clear_of_engine : str
        Stands with steps that turn the engine, where one of `clear_with` stands too.
    clear_with : frozenset[str]
        Cautions of work under the car or at the ignition.
    needs_engine : frozenset[str]
        Cautions left out where the battery is disconnected, so that nothing can move.
    needs_part : Mapping[str, str]
        Caution to the role that a car must have a part of, else it is left out.
    stays_on : Mapping[str, str]
        Role to the caution of repairing its contacts when they stay closed.
    work_on : Mapping[str, tuple[str, ...]]
        Role to the cautions of every repair of a part with it, or of its assembly.
    on_tests : Mapping[str, str]
        ``lead``, ``cable``, ``lead_pumps``, ``lead_cranks``, ``swap`` and ``unplug`` to
        the caution of a test with the circuit changed so.
    every_time : frozenset[str]
        Cautions that are never shortened, nor left out where they were read before.
    """

    at_electronics: str = ""
    clear_of_engine: str = ""
    clear_with: frozenset[str] = frozenset()
    needs_engine: frozenset[str] = frozenset()
    needs_part: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    stays_on: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    work_on: Mapping[str, tuple[str, ...]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    on_tests: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    every_time: frozenset[str] = frozenset()

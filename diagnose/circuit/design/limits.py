"""The limits that a sound design keeps to, each with who says so.

The figures stand in knowledge/; the published wire tables stand in `circuit.wires`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One limit with its origin.

    Parameters
    ----------
    value : float
        In the unit that ends its name in `DesignLimits`.
    source : str
        Who says so, with how sure that is.
    """

    value: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WireRule:
    """A rule for wires and the fuses that protect them.

    Parameters
    ----------
    name : str
        As a car file names it.
    says : str
        When it applies, in words.
    current_factor : float
        What a wire may carry for good, as a share of 33 CFR 183.425 table 5. [1]
    fuse_factor : float
        The biggest fuse, in currents that the wire may carry for good. [1]
    source : str
        Who says so, with how sure that is.
    """

    name: str
    says: str
    current_factor: float
    fuse_factor: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignLimits:
    """Every limit of an audit.

    Volts are for a 12 V car; other systems have so much for each 12 V.

    Parameters
    ----------
    wire_rules : Mapping[str, WireRule]
        Rules by name, the usual one first.
    critical_roles : frozenset[str]
        Roles whose runs may drop `critical_drop_fraction` only.
    needed_roles : frozenset[str]
        Roles that the engine needs to start.
    """

    wire_rules: Mapping[str, WireRule]
    critical_roles: frozenset[str]
    needed_roles: frozenset[str]
    critical_drop_fraction: Limit
    usual_drop_fraction: Limit
    feed_drop_volts: Limit
    ground_drop_volts: Limit
    starter_feed_drop_volts: Limit
    starter_ground_drop_volts: Limit
    shared_ground_volts: Limit
    lasting_fuse_fraction: Limit
    relay_contact_amps: Limit
    bare_unfused_m: Limit
    sleeved_unfused_m: Limit
    resistor_drop_fraction: Limit
    cranking_feed_fraction: Limit
    discharge_amps: Limit
    key_off_amps: Limit

    def rule(self, name: str) -> WireRule:
        """Return a rule by its name, the usual one for an empty name.

        Parameters
        ----------
        name : str
            As in `WireRule.name`.

        Returns
        -------
        WireRule
            That one.

        Raises
        ------
        KeyError
            If there is no such rule.
        """
        return self.wire_rules[name or next(iter(self.wire_rules))]

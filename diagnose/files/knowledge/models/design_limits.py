"""The limits of an audit: for wires and fuses, drops, loads of fuses and relays."""

from __future__ import annotations

from types import MappingProxyType

from pydantic import Field

from diagnose.circuit.design.limits import DesignLimits, Limit, WireRule
from diagnose.files.grammar import Key, Text
from diagnose.files.knowledge.models.entries import (
    KnowledgeEntry,
    Positive,
    SourcedEntry,
)


class WireRuleEntry(SourcedEntry):
    """A rule for wires and the fuses that protect them."""

    says: Text
    current_factor: Positive
    fuse_factor: Positive

    def rule(self, name: str) -> WireRule:
        """Return the rule under its name."""
        return WireRule(
            name=name,
            says=self.says,
            current_factor=self.current_factor,
            fuse_factor=self.fuse_factor,
            source=f"{self.source} ({self.basis})",
        )


class AuditRolesEntry(SourcedEntry):
    """What an audit asks more of."""

    critical: list[Key]
    needed: list[Key]


class LimitEntry(SourcedEntry):
    """One limit."""

    value: Positive

    def limit(self) -> Limit:
        """Return the limit with its origin."""
        return Limit(value=self.value, source=f"{self.source} ({self.basis})")


class LimitsEntry(KnowledgeEntry):
    """Every limit, each with the unit at the end of its name."""

    critical_drop_fraction: LimitEntry
    usual_drop_fraction: LimitEntry
    feed_drop_volts: LimitEntry
    ground_drop_volts: LimitEntry
    starter_feed_drop_volts: LimitEntry
    starter_ground_drop_volts: LimitEntry
    shared_ground_volts: LimitEntry
    lasting_fuse_fraction: LimitEntry
    relay_contact_amps: LimitEntry
    bare_unfused_m: LimitEntry
    sleeved_unfused_m: LimitEntry
    resistor_drop_fraction: LimitEntry
    cranking_feed_fraction: LimitEntry
    discharge_amps: LimitEntry
    key_off_amps: LimitEntry


class DesignLimitsFile(KnowledgeEntry):
    """``design-limits.yaml``."""

    wire_rules: dict[Key, WireRuleEntry] = Field(min_length=1)
    roles: AuditRolesEntry
    limits: LimitsEntry

    def design_limits(self) -> DesignLimits:
        """Return every limit of the file."""
        limits = {
            name: getattr(self.limits, name).limit()
            for name in LimitsEntry.model_fields
        }
        return DesignLimits(
            wire_rules=MappingProxyType(
                {name: entry.rule(name) for name, entry in self.wire_rules.items()}
            ),
            critical_roles=frozenset(self.roles.critical),
            needed_roles=frozenset(self.roles.needed),
            **limits,
        )

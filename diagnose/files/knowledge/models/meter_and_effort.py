"""How far a meter is to be trusted, and what a step costs: limits and prices."""

from __future__ import annotations

from types import MappingProxyType
from typing import Literal, Self

from pydantic import Field, model_validator

from diagnose.faults.owner_limits import Effort, OwnerLimit
from diagnose.files.grammar import Key, Text
from diagnose.files.knowledge.models.entries import (
    KnowledgeEntry,
    NotNegative,
    Positive,
    SourcedEntry,
)
from diagnose.measurement.meters import Meter, MeterRange
from diagnose.measurement.probe_lamp import ProbeLamp

# What a meter is set to, or how a fuse or lamp is looked at; the values of
# `ReadingKind`.
ReadingWord = Literal["volts", "ac", "ohms", "amps", "fuse", "lamp", "look"]


class LimitEntry(SourcedEntry):
    """Something an owner may lack."""

    says: Text
    readings: list[ReadingWord] = Field(default_factory=list)
    states: list[Key] = Field(default_factory=list)
    cautions: list[Key] = Field(default_factory=list)
    is_impossible: bool = False
    extra_minutes: NotNegative = 0.0
    repair_extra_minutes: NotNegative = 0.0
    in_series_minutes: NotNegative = 0.0

    @model_validator(mode="after")
    def _check_effect(self) -> Self:
        if not (self.readings or self.states or self.cautions):
            raise ValueError("needs readings, states or cautions that it is needed for")
        if self.is_impossible == (self.extra_minutes > 0.0):
            raise ValueError("needs either is_impossible: true or extra_minutes")
        return self

    def limit(self, name: str) -> OwnerLimit:
        """Return the limit under its name."""
        return OwnerLimit(
            name=name,
            says=self.says,
            readings=frozenset(self.readings),
            states=frozenset(self.states),
            cautions=frozenset(self.cautions),
            is_impossible=self.is_impossible,
            extra_minutes=self.extra_minutes,
            repair_extra_minutes=self.repair_extra_minutes,
            in_series_minutes=self.in_series_minutes,
        )


class PriceEntry(SourcedEntry):
    """What one price class counts as."""

    minutes: NotNegative


class WaitEntry(PriceEntry):
    """A wait, and what it counts as."""

    counts_as: NotNegative


class TestsEntry(KnowledgeEntry):
    """Tests with the circuit changed."""

    lead: PriceEntry
    cable: PriceEntry
    swap: PriceEntry
    unplug: PriceEntry


class EffortFile(KnowledgeEntry):
    """``effort.yaml``."""

    limits: dict[Key, LimitEntry]
    prices: dict[Key, PriceEntry]
    needless_repair: PriceEntry
    settling: WaitEntry
    tests: TestsEntry

    def effort(self) -> Effort:
        """Return every limit and price of the file."""
        return Effort(
            limits=MappingProxyType(
                {name: entry.limit(name) for name, entry in self.limits.items()}
            ),
            price_minutes=MappingProxyType(
                {name: entry.minutes for name, entry in self.prices.items()}
            ),
            needless_minutes=self.needless_repair.minutes,
            settling_minutes=self.settling.minutes,
            settling_counts_as=self.settling.counts_as,
            test_minutes=MappingProxyType(
                {
                    "lead": self.tests.lead.minutes,
                    "cable": self.tests.cable.minutes,
                    "swap": self.tests.swap.minutes,
                    "unplug": self.tests.unplug.minutes,
                }
            ),
        )


class RangeEntry(SourcedEntry):
    """Accuracy of one function of the meter."""

    percent: NotNegative
    counts: NotNegative
    resolution: Positive

    def meter_range(self) -> MeterRange:
        """Return the accuracy of this function of the meter."""
        return MeterRange(
            percent=self.percent, counts=self.counts, resolution=self.resolution
        )


class NumberEntry(SourcedEntry):
    """One number with its origin."""

    value: NotNegative


class LampEntry(SourcedEntry):
    """The test lamp."""

    watts: Positive
    volts: Positive
    lit_light: Positive
    dark_light: Positive
    lit_blur: Positive
    dark_blur: Positive
    caution: Key

    def probe_lamp(self) -> ProbeLamp:
        """Return the test lamp."""
        return ProbeLamp(
            watts=self.watts,
            volts=self.volts,
            lit_light=self.lit_light,
            dark_light=self.dark_light,
            lit_blur=self.lit_blur,
            dark_blur=self.dark_blur,
            caution=self.caution,
        )


class SeriesEntry(SourcedEntry):
    """Amps with the meter in series."""

    caution: Key


class MeterFile(KnowledgeEntry):
    """``meter.yaml``."""

    volts: RangeEntry
    ohms: RangeEntry
    amps: RangeEntry
    ac_volts: RangeEntry
    millivolts: RangeEntry
    series_amps: RangeEntry
    milliamps: RangeEntry
    test_lamp: LampEntry
    in_series: SeriesEntry
    input_ohms: NumberEntry
    lead_ohms: NumberEntry
    lead_log_spread: NumberEntry
    slip_probability: NumberEntry
    model_volts: NumberEntry
    model_fraction: NumberEntry

    def meter(self) -> Meter:
        """Return the meter, all its functions together."""
        return Meter(
            volts=self.volts.meter_range(),
            ohms=self.ohms.meter_range(),
            amps=self.amps.meter_range(),
            ac_volts=self.ac_volts.meter_range(),
            millivolts=self.millivolts.meter_range(),
            test_lamp=self.test_lamp.probe_lamp(),
            input_ohms=self.input_ohms.value,
            lead_ohms=self.lead_ohms.value,
            lead_log_spread=self.lead_log_spread.value,
            slip_probability=self.slip_probability.value,
            model_volts=self.model_volts.value,
            model_fraction=self.model_fraction.value,
            series_caution=self.in_series.caution,
            series_amps=self.series_amps.meter_range(),
            milliamps=self.milliamps.meter_range(),
        )

"""What an audit finds: one record for each thing to change."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from diagnose.circuit.car import Car, Part
from diagnose.circuit.design.limits import DesignLimits, WireRule
from diagnose.circuit.design.sound_states import SolvedState


class Weight(Enum):
    """How much a finding matters."""

    DANGER = "danger"  # fire, or fuel in a crash
    FAULT = "fault"  # it will not do what it is for
    ADVICE = "advice"  # it works, and could be done better


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that is wrong by design.

    Parameters
    ----------
    check : str
        Which check found it, such as ``fuse-for-wire``.
    weight : Weight
        How much it matters.
    part : str
        What is meant: a part, or an assembly.
    line : int
        Line of the car file that declares it; 0 when none.
    figure, limit : float
        What was found, and what it is held against. [unit]
    unit : str
        Of both, such as ``A``.
    says : str
        What is wrong, in one sentence without its full stop.
    change : str
        What to change, in the same form.
    source : str
        Who says where the limit lies, with how sure that is.
    states : tuple[str, ...]
        Operating states it was found in; empty when it holds in all of them.
    """

    check: str
    weight: Weight
    part: str
    line: int
    figure: float
    limit: float
    unit: str
    says: str
    change: str
    source: str
    states: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """What an audit came to.

    Parameters
    ----------
    rule : WireRule
        The rule for wires and fuses that was used.
    findings : tuple[Finding, ...]
        What is dangerous first, then by line.
    unsettled : tuple[str, ...]
        Operating states not looked at, as something in them never comes to rest.
    """

    rule: WireRule
    findings: tuple[Finding, ...]
    unsettled: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Audited:
    """A car with what its checks look up over and over.

    Parameters
    ----------
    car : Car
        The car.
    limits : DesignLimits
        What it is held against.
    rule : WireRule
        The rule for its wires and fuses.
    states : tuple[SolvedState, ...]
        The states of its file, those that come to rest.
    tried : tuple[SolvedState, ...]
        These, and one for each switch position that none of them has.
    """

    car: Car
    limits: DesignLimits
    rule: WireRule
    states: tuple[SolvedState, ...]
    tried: tuple[SolvedState, ...]

    @property
    def volts_scale(self) -> float:
        """The system's volts for each 12 V. [1]."""
        return self.car.system_volts / 12.0

    def parts_of(self, *kinds: str) -> tuple[Part, ...]:
        """Return the parts of some kinds, in the order of the car."""
        return tuple(part for part in self.car.parts if part.kind in kinds)

    def most_amps(
        self, part: str, *, is_cranking_told: bool = False
    ) -> tuple[float, tuple[str, ...]]:
        """Return the most a part carries, and the state it does so in.

        Parameters
        ----------
        part : str
            Its main current is meant.
        is_cranking_told : bool
            Whether cranking counts, which lasts for seconds.
        """
        counted = [
            (abs(solved.part_amps(part)), solved.state.name)
            for solved in self.tried
            if is_cranking_told or not solved.state.is_cranking
        ]
        amps, state = max(counted, default=(0.0, ""))
        return amps, (state,) if state else ()

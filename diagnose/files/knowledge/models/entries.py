"""What entries of all knowledge files are made of: names, numbers, sources, spreads."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import BaseModel, Field, StringConstraints, model_validator

from diagnose.circuit.values import Distribution, Origin, Shape, Value
from diagnose.files.grammar import IDENTIFIER_PATTERN, MODES_PATTERN, Entry, Text

# How far shares may sum from 1. [1] Derived: the rounding of a few decimal fractions,
# far below any real mistake.
SUM_TOLERANCE = 1e-9

# How sure a source is: read in it, copied from a copy of it, a rule of the trade,
# remembered, or worked out from others.
Basis = Literal["read", "copy", "rule", "memory", "derived"]

# A name that is a plain identifier, as the Bayesian network needs it.
Identifier = Annotated[str, StringConstraints(pattern=IDENTIFIER_PATTERN)]

# At least one class of fault modes.
ModePatterns = Annotated[
    list[Annotated[str, StringConstraints(pattern=MODES_PATTERN)]], Field(min_length=1)
]

# Any finite number.
Number = Annotated[float, Field(allow_inf_nan=False)]

# A finite number from 0 on.
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]

# A finite number above 0.
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]

# A probability that may be 0 but is never sure. [1]
Chance = Annotated[float, Field(ge=0, lt=1)]

# A probability that is neither 0 nor sure. [1]
Probability = Annotated[float, Field(gt=0, lt=1)]

# The keys a spread can be given under.
SHAPES = tuple(shape.value for shape in Shape)

# Two numbers: middle and spread, or two ends.
Pair = Annotated[list[Number], Field(min_length=2, max_length=2)]


class KnowledgeEntry(Entry):
    """Any entry of knowledge/."""


class SourcedEntry(KnowledgeEntry):
    """An entry that says where it comes from and how sure that is."""

    source: Text
    basis: Basis


class DistributionEntry(KnowledgeEntry):
    """A number with its spread, given as exactly one shape."""

    fixed: Number | None = None
    lognormal: Pair | None = None
    normal: Pair | None = None
    uniform: Pair | None = None
    loguniform: Pair | None = None

    @model_validator(mode="after")
    def _check_numbers(self) -> Self:
        shape = one_of(self, SHAPES)
        if shape == "fixed":
            return self
        first, second = getattr(self, shape)
        if shape in ("lognormal", "loguniform") and first <= 0:
            raise ValueError(f"{shape}: {first:g} must be greater than 0")
        if shape in ("lognormal", "normal") and second < 0:
            raise ValueError(f"{shape}: the spread {second:g} must not be negative")
        if shape in ("uniform", "loguniform") and not first < second:
            raise ValueError(f"{shape}: {first:g} must be less than {second:g}")
        return self

    def distribution(self) -> Distribution:
        """Return the spread as the circuit draws from it."""
        shape = one_of(self, SHAPES)
        numbers = getattr(self, shape)
        first, second = (numbers, 0.0) if shape == "fixed" else numbers
        return Distribution(
            shape=Shape(shape), first=float(first), second=float(second)
        )


class ValueEntry(DistributionEntry, SourcedEntry):
    """The default of one parameter."""

    def value(self) -> Value:
        """Return the parameter's usual value, with its source."""
        return Value(
            distribution=self.distribution(),
            origin=Origin.DEFAULT,
            source=f"{self.source} ({self.basis})",
        )


def one_of(entry: BaseModel, names: tuple[str, ...]) -> str:
    """Return the one field of an entry that is given.

    Parameters
    ----------
    entry : BaseModel
        The entry.
    names : tuple[str, ...]
        Fields of which it must have exactly one.

    Raises
    ------
    ValueError
        If it has none of them, or several.
    """
    given = [name for name in names if getattr(entry, name) is not None]
    if len(given) != 1:
        found = " and ".join(given) or "none of them"
        raise ValueError(f"give one of {', '.join(names)}; found {found}")
    return given[0]


def sum_to_one(states: dict[str, float]) -> dict[str, float]:
    """Return probabilities as they are, if they sum to 1.

    Parameters
    ----------
    states : dict[str, float]
        State to its probability. [1]

    Raises
    ------
    ValueError
        If they do not.
    """
    total = math.fsum(states.values())
    if abs(total - 1.0) > SUM_TOLERANCE:
        raise ValueError(f"the states sum to {total:g}; they must sum to 1")
    return states

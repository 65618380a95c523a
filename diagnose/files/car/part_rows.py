"""What a car file stands for, part by part, as plain rows for a listing."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.circuit.car import Car
from diagnose.circuit.values import Origin, Shape, Value


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueRow:
    """One value of a part, as a row.

    Parameters
    ----------
    parameter : str
        Its unit ends the name.
    middle : float
        The median, in that unit.
    spread : str
        How sure it is, in words: ``exact``, ``+- 5 %``, ``+- 0.1`` or a range.
    origin : Origin
        Car file or default.
    source : str
        Who says so.
    """

    parameter: str
    middle: float
    spread: str
    origin: Origin
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """One part of an expansion, as a row.

    Parameters
    ----------
    terminals : tuple[tuple[str, str], ...]
        Terminal and its node.
    place : str
        Where it is.
    line : int
        Line of the car file that declares it.
    colour, note : str
        Of a wire: its insulation, and what the owner says of it; or empty.
    """

    name: str
    assembly: str
    kind: str
    role: str
    terminals: tuple[tuple[str, str], ...]
    place: str
    values: tuple[ValueRow, ...]
    line: int
    colour: str = ""
    note: str = ""


def describe_expansion(car: Car) -> tuple[PartRow, ...]:
    """Return what a car file stands for, part by part, as plain rows.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[PartRow, ...]
        One row for each part, in the order of the car's parts.
    """
    return tuple(
        PartRow(
            name=part.name,
            assembly=part.assembly,
            kind=part.kind,
            role=part.role or "",
            terminals=tuple(part.terminals.items()),
            place=part.place,
            values=tuple(
                _value_row(parameter, value) for parameter, value in part.values.items()
            ),
            line=part.line,
            colour=part.colour,
            note=part.note,
        )
        for part in car.parts
    )


def _value_row(parameter: str, value: Value) -> ValueRow:
    """Return a value as a row."""
    distribution = value.distribution
    first, second = distribution.first, distribution.second
    spread = {
        Shape.FIXED: "exact",
        Shape.NORMAL: f"+- {second:g}",
        Shape.LOGNORMAL: f"+- {100 * second:g} %",
        Shape.UNIFORM: f"{first:g} to {second:g}",
        Shape.LOGUNIFORM: f"{first:g} to {second:g}",
    }[distribution.shape]
    return ValueRow(
        parameter=parameter,
        middle=distribution.nominal,
        spread=spread,
        origin=value.origin,
        source=value.source,
    )

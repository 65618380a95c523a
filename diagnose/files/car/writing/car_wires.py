"""The list of a car's wires as CSV, and what such a list leaves out.

A row has two ends and the wire between them, the fuse at its start and the plugs on its
way. Where something sits on another terminal without a wire, `NO_WIRE` stands in place
of a size. Leaves reading such a list to `wire_list`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType

from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import ELEMENTS
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.circuit.values import Origin
from diagnose.circuit.wires import METRES_PER_FOOT, awg_area_mm2, sae_area_mm2
from diagnose.files.car.expansion.part_values import GUESSED_WIRE_SOURCE
from diagnose.files.car.writing.wire_list import COLUMNS, NO_WIRE

# Gauges that are tried when a wire is written back. [AWG] 4/0 to 30.
_GAUGES = range(-3, 31)

# How near an area must be to a gauge's to be that gauge. [1] Rounding alone.
_SAME = 1e-6

# Kinds of part whose terminals are no ends of a list's rows by themselves: they are
# shown in other rows, are made up of parts that are, or only have others sit on them.
_WITHOUT_ROWS = frozenset(
    {"wire", "pin", "plug", "run", "battery-bank", "driver", "clamp", "joint"}
    | {"switch-contact", *PROTECTIVE_KINDS}
)

# Parts that every car has where they are, so that nothing is said of what they sit on.
_GIVEN = ("battery", "alternator", "starter", "alternator-mount", "starter-mount")

# Terminals of a kind of part under which a car file knows them. DIN 72552, from memory.
_TERMINALS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {"coil": {"a": "86", "b": "85"}, "contacts": {"a": "30", "b": "87"}}
)

# What is asked for of a kind of part when a list is read, or follows from its size.
_ASKED = frozenset(
    {"rating_amps", "ohms", "motor_amps", "load_amps", "lamp_watts", "led_watts"}
    | {"supply_amps", "cranking_amps", "rated_amps", "cold_cranking_amps"}
)

# What follows from that.
_FOLLOWING = frozenset({"internal_ohms", "acceptance_ohms", "stall_ohms"})

# Operating states that a car has by itself, and those that every list with an ignition
# switch comes to.
_USUAL_STATES = frozenset(
    {"key-off", "priming", "switched-on", "held", "isolated", "unplugged"}
    | {"key-on", "cranking", "idle", "idle-loaded", "fast-idle"}
)

# Positions of a switch that a list can tell: one in which it is on, one in which not.
_PLAIN_POSITIONS = 2


def wire_list(car: Car) -> str:
    """Return the wires of a car as CSV, with the fuse that sits at a wire's start.

    Parameters
    ----------
    car : Car
        The car.
    """
    sink = io.StringIO()
    writer = csv.writer(sink, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(_rows(car))
    return sink.getvalue()


def _rows(car: Car) -> Iterator[tuple[str, ...]]:
    """Yield the cells of each row: the wires, then what sits on something."""
    listed = _Listed(car)
    for wire in car.parts:
        if wire.kind == "wire":
            yield listed.wire_cells(wire)
    yield from dict.fromkeys(listed.sitting())


class _Listed:
    """A car while its list is written."""

    def __init__(self, car: Car) -> None:
        self._car = car
        self._pins = {p.terminals["a"]: p for p in car.parts if p.kind == "pin"}
        self._pin_words = {
            pin: f"{plug.name}.{number}"
            for plug in car.parts
            if plug.kind == "plug"
            for number, pin in enumerate(plug.members, start=1)
        }
        self._fuse_of = dict(self._carried())

    def _carried(self) -> Iterator[tuple[str, Part]]:
        """Yield the wires that have a fuse in their row: the first behind it.

        A wire with the fuse's name is taken before others on the same terminal.
        """
        for fuse in (p for p in self._car.parts if p.kind in PROTECTIVE_KINDS):
            end = fuse.terminals["b"]
            behind = [
                part.name
                for part in self._car.parts
                if part.kind == "wire" and end in self._ends(part)
            ]
            stem = fuse.name.removesuffix("-fuse")
            own = [
                one for one in (f"{stem}-wire", f"{stem}-relay-wire") if one in behind
            ]
            if end == f"{fuse.name}.out" and behind:
                yield [*own, *behind][0], fuse

    def _beyond(self, node: str) -> tuple[str, tuple[str, ...]]:
        """Return where a wire's end leads behind the plugs there, and those plugs."""
        plugs = []
        while node in self._pins:
            pin = self._pins[node]
            plugs.append(self._pin_words[pin.name])
            node = pin.terminals["b"]
        return node, tuple(plugs)

    def _ends(self, wire: Part) -> tuple[str, str]:
        """Return where a wire leads at both ends, plugs left out."""
        terminals = wire.terminals
        return self._beyond(terminals["a"])[0], self._beyond(terminals["b"])[0]

    def wire_cells(self, wire: Part) -> tuple[str, ...]:
        """Return the cells of a wire's row, from the feed to what is fed."""
        start, end = self._ends(wire)
        fuse = self._fuse_of.get(wire.name)
        stem = wire.name.removesuffix("-wire")
        is_own = stem != wire.name and start.startswith(f"{stem}.")
        is_before_fuse = start == f"{wire.name.removesuffix('-feed')}-fuse.in"
        if is_own or is_before_fuse or (fuse and end == fuse.terminals["b"]):
            start, end = end, start
        name = wire.name
        if fuse:
            start = fuse.terminals["a"]
            is_fused_wire = fuse.name == f"{stem}-fuse"
            name = stem if is_fused_wire and not end.startswith(f"{stem}.") else name
        plugs = [*self._beyond(wire.terminals["a"])[1]]
        plugs += self._beyond(wire.terminals["b"])[1]
        return (
            _short(start),
            _short(end),
            _size(wire),
            _length(wire),
            wire.colour,
            _fuse_words(fuse) if fuse else "",
            " ".join(plugs),
            name,
            wire.note,
        )

    def sitting(self) -> Iterator[tuple[str, ...]]:
        """Yield a row for each terminal that sits on another one without a wire."""
        behind = dict(self._behind_fuses())
        yield from behind.values()
        for part in self._car.parts:
            if part.kind == "clamp":
                yield _sitting_cells(part.name, part.terminals["a"])
            elif part.kind == "joint" and part.name not in _GIVEN:
                yield _sitting_cells(part.terminals["a"], part.terminals["b"])
            for own, node in self._own_terminals(part):
                if own != node and own not in behind:
                    yield _sitting_cells(own, node)

    def _behind_fuses(self) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Yield what is behind a fuse that no wire has in its row, with its row."""
        carried = {fuse.name for fuse in self._fuse_of.values()}
        for fuse in self._car.parts:
            if fuse.kind not in PROTECTIVE_KINDS or fuse.name in carried:
                continue
            start, end = fuse.terminals["a"], fuse.terminals["b"]
            users = (
                own
                for part in self._car.parts
                for own, node in self._own_terminals(part)
                if node == end == f"{fuse.name}.out"
            )
            end = next(users, end)
            name = fuse.name.removesuffix("-fuse")
            yield end, _sitting_cells(start, end, fuse=_fuse_words(fuse), name=name)

    def _own_terminals(self, part: Part) -> Iterator[tuple[str, str]]:
        """Yield the terminals of a part by their own names, each with its node."""
        is_made_up = part.kind in _WITHOUT_ROWS or part.name.endswith(
            (".memory", ".diode")
        )
        if is_made_up or part.assembly in _GIVEN or part.volts_share != 1.0:
            return
        posts = {"a": "minus", "b": "plus"}
        if not self._car.is_positive_ground:
            posts = {"a": "plus", "b": "minus"}
        names = _TERMINALS.get(part.kind, posts if ELEMENTS[part.kind].is_load else {})
        for key, node in part.terminals.items():
            if key == "swapped":  # where the feed is in the wrong socket
                continue
            name = names.get(key, key)
            if part.is_normally_closed and key == "b":
                name = "87a"
            yield f"{part.assembly}.{name}", node


def _sitting_cells(
    start: str, end: str, *, fuse: str = "", name: str = ""
) -> tuple[str, ...]:
    """Return the cells of a row for what sits on something without a wire."""
    return (_short(start), _short(end), NO_WIRE, "", "", fuse, "", name, "")


def _fuse_words(fuse: Part) -> str:
    """Return a fuse as a list has it: its amps and its kind."""
    kind = "" if fuse.kind == "fuse" else f" {fuse.kind}"
    return f"{fuse.values['rating_amps'].distribution.nominal:g} A{kind}"


def _short(node: str) -> str:
    """Return a terminal as a list names it: metal, studs and splices alone."""
    assembly, _, terminal = node.partition(".")
    is_alone = terminal in {"stud", "splice", "metal", "clamp"}
    is_alone = is_alone or assembly in {"body", "engine"}
    return assembly if is_alone else node


def _size(wire: Part) -> str:
    """Return a wire's size, marked where nobody measured it."""
    is_guessed = wire.values["wire_ohms"].source.startswith(GUESSED_WIRE_SOURCE)
    return f"{'about ' if is_guessed else ''}{_plain_size(wire)}"


def _plain_size(wire: Part) -> str:
    """Return a wire's size: its gauge where it is one, else its area or its ohms."""
    if "area_mm2" not in wire.values:
        ohms = wire.values["wire_ohms"].distribution.nominal
        metres = wire.values["length_m"].distribution.nominal
        return f"{ohms / metres:.6g} ohm/m"
    area = wire.values["area_mm2"].distribution.nominal
    for series, area_of in (("AWG", awg_area_mm2), ("SAE", sae_area_mm2)):
        for gauge in _GAUGES:
            try:
                is_same = abs(area_of(gauge) / area - 1.0) < _SAME
            except ValueError:
                continue
            if is_same:
                return f"{gauge if gauge > 0 else f'{1 - gauge}/0'} {series}"
    return f"{area:.6g} mm2"


def _length(wire: Part) -> str:
    """Return a wire's length: in feet where those are round, else in metres."""
    metres = wire.values["length_m"].distribution.nominal
    feet = metres / METRES_PER_FOOT
    is_round = abs(feet * 12 - round(feet * 12)) < _SAME
    return f"{feet:.6g} ft" if is_round else f"{metres:.6g} m"


def left_out(car: Car) -> tuple[str, ...]:
    """Return what the list of a car's wires does not hold, in sentences.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[str, ...]
        First what is asked for when the list is read, then what is to be looked over in
        the new file.
    """
    by_hand = {
        "diodes across coils": _names(
            p for p in car.parts if p.name.endswith(".diode")
        ),
        "positions of switches": [
            name
            for name, positions in car.switches.items()
            if len(positions) > _PLAIN_POSITIONS
        ],
        "outputs of controllers, their limits and states": _names(
            part for part in car.parts if part.kind == "driver"
        ),
        "operating states": [
            state.name for state in car.states if state.name not in _USUAL_STATES
        ],
        "values of your own": list(_own_values(car)),
    }
    told = [f"{what} ({', '.join(names)})" for what, names in by_hand.items() if names]
    says = [
        "the list holds wires, fuses, plugs, and what sits on what; what its ends are, "
        "how large and where, is asked for by `new --from`"
    ]
    if told:
        says.append(f"not in it, so look them over in the new file: {'; '.join(told)}")
    return tuple(says)


def _names(parts: Iterable[Part]) -> list[str]:
    """Return the names of parts, those inside a relay by the relay's."""
    return [part.name.removesuffix(".diode") for part in parts]


def _own_values(car: Car) -> Iterator[str]:
    """Yield the values that the file gives beside those that are asked for."""
    known = _ASKED | _FOLLOWING
    for part in car.parts:
        if part.kind == "wire":
            continue
        for parameter, value in part.values.items():
            if value.origin is Origin.CAR_FILE and parameter not in known:
                yield f"{part.name} {parameter}"

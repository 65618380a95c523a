"""A whole car file as text, in the order one would read it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diagnose.files.car.writing.entry_text import FileEntry, entry_lines

# At the top of a written file: how it is read and changed.
HEAD = """\
# A car file, written from answers; change it by hand as you like.
#
#   Sizes need units: 14 AWG, 14 SAE or 2.5 mm2; 6 ft, 1.8 m, 10 in; 15 A; 55 W; 2 min.
#   `about 14 AWG 6 ft` is a wire nobody measured; it has a wider tolerance.
#   A terminal is `part.terminal`, such as battery.plus or fan-relay.87.
#   `body` and `engine` are the metal.
#   `x`                       sits right on terminal x, without a wire
#   `x via 14 AWG 2 ft`       a wire of that size and length to terminal x
#   A circuit called fan makes fan-fuse, fan-relay, fan (the load, terminals plus and
#   minus) and the wires fan-feed, fan-relay-wire, fan-relay-86-wire, fan-relay-85-wire,
#   fan-wire and fan-ground.
#   `role: fuel-pump` says what a part is for where its name is another one.
#   A wire's colour stands behind its length: `14 AWG 6 ft red/white`.
#   diagnose check says what is wrong, with line and column.
"""

# What stands above each section, in the order one would read them. Own words.
SECTIONS = {
    "places": "how long until a probe is on a terminal there",
    "metal": "",
    "battery": "",
    "alternator": "",
    "starter": "",
    "clamps": "what every lead on a post or stud shares",
    "grounds": "studs where ground wires meet",
    "splices": "joints without a name of their own",
    "plugs": "a pin for each wire; wires in brackets share one",
    "panels": "fuse panels and their halves",
    "switches": "which terminals are live in each position, resting position first",
    "controllers": "",
    "relays": "terminals by DIN 72552: 30 in, 87 out, 86 and 85 the coil",
    "circuits": "from a feed by fuse, relay and wire to a load and its ground",
    "wires": "",
    "parts": "",
    "states": "where the switches are; one not named is in its first position",
    "test-points": "terminals a probe reaches elsewhere, or not at all",
}


def car_text(entries: Sequence[FileEntry]) -> str:
    """Return a car file as text.

    Parameters
    ----------
    entries : Sequence[FileEntry]
        Those at the top have no path, all others that of their section.

    Returns
    -------
    str
        YAML, with the sections in the order of `SECTIONS`.
    """
    lines = [HEAD, "car-file: 1"]
    top = [entry for entry in entries if not entry.path]
    scalars = [entry for entry in top if entry.name not in SECTIONS]
    for entry in scalars:
        lines.extend(entry_lines(entry, 0))
    for section, says in SECTIONS.items():
        whole = [entry for entry in top if entry.name == section]
        inside = [entry for entry in entries if entry.path[:1] == (section,)]
        if not whole and not inside:
            continue
        lines.append("")
        for entry in whole:
            lines.extend(entry_lines(entry, 0))
        if inside:
            lines.append(f"{section}:" + (f"  # {says}" if says else ""))
            lines.extend(section_lines(inside, 2))
    return "\n".join(lines) + "\n"


def section_lines(entries: Sequence[FileEntry], indent: int) -> Iterator[str]:
    """Yield the lines of a section's entries, with a heading where it changes.

    Parameters
    ----------
    entries : Sequence[FileEntry]
        In their order.
    indent : int
        Spaces before their keys.
    """
    heading = ""
    for entry in entries:
        if entry.heading and entry.heading != heading:
            heading = entry.heading
            yield f"{' ' * indent}# {heading}"
        yield from entry_lines(entry, indent)

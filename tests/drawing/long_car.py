"""A car of some 150 wires with long names, to be drawn on many sheets."""

from __future__ import annotations

from pathlib import Path

SOUND = Path(__file__).parents[1] / "audit" / "sound.yaml"

# Relay circuits added to the sound car: each has a fuse, a relay and five wires.
N_CIRCUITS = 27


def long_car() -> str:
    """Return the text of its file."""
    circuits = "".join(
        f"  additional-working-lamps-of-the-trailer-{number}: "
        "{from: panel.constant, fuse: 10 A, relay: {wire: 12 AWG 1 ft red/white, "
        f"86: key.run via 16 AWG {number} ft red/light-green, "
        "85: stud via 18 AWG 2 ft black, suppression: diode}, "
        "wire: 2.5 mm2 2 m light-blue/white, load: 55 W lamps, "
        "ground: stud via 12 AWG 2 ft}\n"
        for number in range(1, N_CIRCUITS + 1)
    )
    text = SOUND.read_text(encoding="utf-8")
    long_names = (
        "{additional-lighting-position: [additional-lighting-terminal], off: []}"
    )
    switch = f"  additional-lighting-switch: {{place: bay, live: {long_names}}}\n"
    circuits += (
        "  marker-lamps: "
        "{from: additional-lighting-switch.additional-lighting-terminal "
        "via 14 AWG 3 ft, load: 20 W lamps, ground: stud via 14 AWG 2 ft}\n"
        "  marker-feed: {from: panel.constant, fuse: 10 A, wire: 14 AWG 3 ft, "
        "to: additional-lighting-switch.feed}\n"
    )
    text = text.replace("switches:\n", f"switches:\n{switch}", 1)
    return text.replace("wires:\n", f"{circuits}wires:\n", 1)

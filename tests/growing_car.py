"""An invented car of as many wires as wanted, out of the patterns of the shipped one.

The shipped car without its smaller circuits, and then its lamps, pumps, fans and
controllers again and again, as on a car with ever more added to it. No such car exists.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car

ROOT = Path(__file__).resolve().parents[1]
SHIPPED = ROOT / "cases" / "cars" / "sedan.yaml"

# Circuits that the smallest car does without. [1] Own choice: together some twenty
# wires, which no other circuit needs.
LEFT_OUT = (
    *("dash-lamps", "brake-feed", "brake-lamps", "horn", "wiper-feed", "wipers"),
    *("blower-feed", "blower", "radio"),
)

# Wires of the smallest car. [1] Counted.
BARE_WIRES = 49

# Relays that one more controller switches. Own choice, as on the shipped car and more.
CONTROLLER_OUTPUTS = 6


def grown_text(n_wires: int) -> str:
    """Return the file of a car with about so many wires, at least 50."""
    car: dict[str, Any] = yaml.safe_load(SHIPPED.read_text(encoding="utf-8"))
    for name in LEFT_OUT:
        del car["circuits"][name]
    for switch in ("brake-switch", "wiper-switch", "horn-button"):
        del car["switches"][switch]
    for wire in ("horn-button-ground", "old-box-battery", "old-box-accessory"):
        del car["wires"][wire]
    car["panels"]["old-fuse-box"]["buses"] = ["ignition"]
    car["plugs"]["rear-plug"]["carries"] = ["tail-lamps-wire", "tail-lamps-ground"]
    # wide enough for all that is added
    car["circuits"]["main"] |= {
        "from": "battery.plus via 2 AWG 1 ft",
        "fuse": {"size": "150 A slow-fuse", "place": "fender"},
        "wire": "2 AWG 2 ft",
    }
    for state in car["states"].values():
        state["switches"].pop("blower-switch", None)
    del car["switches"]["blower-switch"]
    car["title"] = f"Invented car of some {n_wires} wires"
    left, number, output, controller = n_wires - BARE_WIRES, 0, 0, ""
    while left > 0:
        number += 1
        kind = number % 3
        if kind and output % CONTROLLER_OUTPUTS == 0:
            controller = f"controller-{number}"
            left -= _add_controller(car, controller, number)
        if not kind:
            left -= _add_lamps(car, number)
            continue
        output += 1
        pin = f"{controller}.output-{output}"
        states = [["key-on", "cranking", "idle", "idle-loaded", "fast-idle"]]
        states += [["idle-loaded", "fast-idle"]]
        car["controllers"][controller]["outputs"][f"output-{output}"] = {
            "side": "low",
            "limit": "1.5 A",
            "on-in": states[kind - 1],
        }
        left -= _add_motor(car, ("pump", "fan")[kind - 1], number, pin)
    return str(yaml.safe_dump(car, sort_keys=False))


def grown_car(n_wires: int, folder: Path, knowledge: Knowledge) -> Car:
    """Return a car with about so many wires, its file left in a folder."""
    path = folder / f"grown-{n_wires}.yaml"
    path.write_text(grown_text(n_wires), encoding="utf-8")
    return load_car(path, knowledge)


def _add_controller(car: dict[str, Any], name: str, number: int) -> int:
    """Add a controller with its feed; return how many wires that is."""
    car["controllers"][name] = {
        "place": "under-dash",
        "draws": "0.3 A",
        "ground": "engine-stud via 16 AWG 6 ft",
        "outputs": {},
    }
    car["circuits"][f"feed-{number}"] = {
        "from": "fuse-panel.switched",
        "fuse": "10 A",
        "wire": "16 AWG 7 ft",
        "to": f"{name}.supply",
    }
    return 2


def _add_lamps(car: dict[str, Any], number: int) -> int:
    """Add lamps at the light switch; return how many wires that is."""
    car["circuits"][f"lamps-{number}"] = {
        "from": "light-switch.tail via 16 AWG 2 ft",
        "fuse": {"size": "5 A", "place": "under-dash"},
        "wire": "16 AWG 14 ft",
        "load": "5 W lamps",
        "ground": "rear-stud via 16 AWG 2 ft",
        "place": "trunk",
    }
    return 3


def _add_motor(car: dict[str, Any], kind: str, number: int, pin: str) -> int:
    """Add a pump or a fan with its relay; return how many wires that is."""
    is_pump = kind == "pump"
    car["circuits"][f"{kind}-{number}"] = {
        "from": "fuse-panel.constant",
        "fuse": "10 A",
        "relay": {
            "wire": "14 AWG 1 ft",
            "86": "fuse-panel.switched via 18 AWG 1 ft",
            "85": f"{pin} via 18 AWG 6 ft",
        },
        "wire": "14 AWG 15 ft" if is_pump else "14 AWG 4 ft",
        "load": "0.4 A motor",
        "ground": ("rear-stud" if is_pump else "body-stud") + " via 14 AWG 3 ft",
        "place": "tank" if is_pump else "front",
    }
    return 5

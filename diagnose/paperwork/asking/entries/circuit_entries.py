"""A circuit as it was answered, as entries of a car file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from diagnose.files.car.writing.entry_text import FileEntry, Written
from diagnose.paperwork.asking.plan import Around, CircuitPlan, lead

# States in which an output works where nobody says another. Own choice.
_USUAL_STATES = ("idle-loaded", "fast-idle")

# From a relay to the switch that a crash opens, and on from there. Own choice: from the
# fender to under the dashboard.
_TO_INERTIA = "4 ft"

# What an output bears where nobody says another. [A] A rule of the trade: coils of
# relays and small solenoids, 1 to 2 A.
_OUTPUT_LIMIT = "1.5 A"


def circuit_entries(circuit: CircuitPlan, around: Around) -> Iterator[FileEntry]:
    """Yield the entries of a circuit: itself, its switch, its controller's output.

    Parameters
    ----------
    circuit : CircuitPlan
        As it was answered.
    around : Around
        What its feeds are called.
    """
    source = _source(circuit, circuit.text("feed"), around)
    has_relay = circuit.text("relay") != "none"
    own = dict(source)
    if circuit.has_switch:
        yield _switch(circuit)
    if circuit.has_switch and not has_relay:
        yield _supply(circuit, source)
        own = {"from": f"{circuit.switch_name}.out"}
        if _has_resistor(circuit):
            yield _resistor(circuit)
    if circuit.text("inertia-switch") != "none":
        yield from _inertia_switch(circuit, own, around)
        own = own if has_relay else {"from": "inertia-switch.out"}
    if has_relay:
        own["relay"] = _relay(circuit, around)
        if circuit.text("relay") == "switch":
            yield _switch_feed(circuit, around)
    wire = circuit.wire("wire")
    ground = circuit.wire("ground")
    end, via, by = ground.partition(" via ")
    if " " in end:
        ground = f"{_output_name(circuit, 'ground', end)}{via}{by}"
    own |= {"wire": wire, "load": circuit.text("load"), "ground": ground}
    own["place"] = circuit.text("place")
    usual = circuit.usual
    if usual and usual.role and usual.role != circuit.name:
        own["role"] = usual.role
    note = circuit.text("note")
    if note != "none":
        own["note"] = note
    yield _entry(circuit, "circuits", circuit.name, own, _comment(circuit))
    yield from _outputs(circuit, around)


def _comment(circuit: CircuitPlan) -> str:
    """Return what stands behind a circuit: what was assumed, and what was left out."""
    told = [f"assumed: {', '.join(circuit.assumed)}"] if circuit.assumed else []
    if circuit.text("resistor") != "none" and not _has_resistor(circuit):
        told.append("left out: resistor, as no switch is in its feed")
    return "; ".join(told)


def _entry(
    circuit: CircuitPlan, section: str, name: str, value: Written, comment: str = ""
) -> FileEntry:
    heading = "Factory wiring" if circuit.is_factory else "Added"
    return FileEntry(
        path=(section,),
        name=name,
        value=value,
        comment=comment,
        heading=heading if section == "circuits" else "",
    )


def _source(circuit: CircuitPlan, feed: str, around: Around) -> dict[str, Written]:
    """Return where a circuit begins, with its fuse."""
    terminal = around.feeds.get(feed, feed)
    if " " in terminal:
        terminal = _output_name(circuit, "feed", terminal)
    fuse = circuit.text("fuse")
    if fuse == "none":
        return {"from": terminal}
    sits = terminal.partition(".")[0] in around.panels
    start = terminal if sits else f"{terminal} via {circuit.wire('feed-wire')}"
    if terminal.startswith("battery."):
        return {"from": start, "fuse": {"size": fuse, "place": around.feed_place}}
    return {"from": start, "fuse": fuse}


def _relay(circuit: CircuitPlan, around: Around) -> dict[str, Written]:
    """Return a circuit's relay: what feeds its coil and what grounds it."""
    trigger = circuit.text("relay")
    feed, ground = circuit.wire("coil-feed"), circuit.wire("coil-ground")
    relay: dict[str, Written] = {"wire": lead(circuit.wire("wire"), "1 ft")}
    body = "body-stud" if "body-stud" in around.studs else "body"
    name, _, side = trigger.rpartition(" ")
    if side == "low":
        relay["86"] = f"{around.controllers[name]} via {lead(feed, '1 ft')}"
        if circuit.text("inertia-switch") != "none":
            relay["86"] = f"inertia-switch.out via {lead(feed, _TO_INERTIA)}"
        relay["85"] = f"{_output_name(circuit, 'relay', trigger)} via {ground}"
    elif side == "high":
        relay["86"] = f"{_output_name(circuit, 'relay', trigger)} via {feed}"
        relay["85"] = f"{body} via {lead(ground, '2 ft')}"
    else:
        start = around.feeds.get(trigger, trigger)
        start = f"{circuit.switch_name}.out" if trigger == "switch" else start
        relay["86"] = f"{start} via {feed}"
        relay["85"] = f"{body} via {lead(ground, '2 ft')}"
    if circuit.text("inertia-switch") != "none" and side != "low":
        relay["85"] = f"inertia-switch.feed via {lead(ground, _TO_INERTIA)}"
    if circuit.text("diode") == "yes":
        relay["suppression"] = "diode"
    return relay


def _output_ends(circuit: CircuitPlan) -> dict[str, str]:
    """Return the facts of a circuit that are outputs of a controller."""
    ends = {fact: circuit.text(fact) for fact in ("feed", "relay")}
    ends["ground"] = circuit.text("ground").partition(" via ")[0]
    return {
        fact: end
        for fact, end in ends.items()
        if end.rpartition(" ")[2] in {"low", "high"}
    }


def _output_name(circuit: CircuitPlan, fact: str, output: str) -> str:
    """Return the terminal of a controller's output for this circuit."""
    is_one = len(_output_ends(circuit)) == 1
    own = f"{circuit.name}-output" if is_one else f"{circuit.name}-{fact}-output"
    return f"{output.rpartition(' ')[0]}.{own}"


def _switch(circuit: CircuitPlan) -> FileEntry:
    """Return a circuit's own switch."""
    place = circuit.text("switch")
    live: dict[str, Written] = {"off": [], "on": ["out"]}
    if circuit.usual is not None and circuit.usual.springs_back:
        live = {"released": [], "pressed": ["out"]}
    if _has_resistor(circuit):
        live = {"off": [], "low": ["low"], "on": ["out"]}
    value: dict[str, Written] = {
        "place": place if place != "none" else circuit.text("place"),
        "live": live,
    }
    return _entry(circuit, "switches", circuit.switch_name, value)


def _has_resistor(circuit: CircuitPlan) -> bool:
    """Return whether a resistor slows it: one between contacts of its own switch."""
    is_in_feed = circuit.has_switch and circuit.text("relay") == "none"
    return is_in_feed and circuit.text("resistor") != "none"


def _resistor(circuit: CircuitPlan) -> FileEntry:
    """Return the resistor of the switch's low position."""
    switch = circuit.switch_name
    first = f"{switch}.low via {lead(circuit.wire('wire'), '1 ft')}"
    value: dict[str, Written] = {
        "kind": "resistor",
        "terminals": {"a": first, "b": f"{switch}.out"},
        "values": {"ohms": circuit.text("resistor")},
        "place": circuit.text("place"),
    }
    return _entry(circuit, "parts", f"{circuit.name}-resistor", value)


def _inertia_switch(
    circuit: CircuitPlan, own: dict[str, Written], around: Around
) -> Iterator[FileEntry]:
    """Yield the switch that stops a pump in a crash, and what leads to it.

    It is in the pump's feed, or in the coil of its relay on the side away from the
    controller's output.
    """
    live: dict[str, Written] = {"set": ["out"], "tripped": []}
    value: dict[str, Written] = {"place": circuit.text("inertia-switch"), "live": live}
    entry = _entry(circuit, "switches", "inertia-switch", value)
    yield replace(entry, comment="stops the pump in a crash")
    trigger = circuit.text("relay")
    name, _, side = trigger.rpartition(" ")
    if trigger == "none":
        wire = lead(circuit.wire("wire"), "3 ft")
        value = {**own, "wire": wire, "to": "inertia-switch.feed"}
        yield _entry(circuit, "circuits", "inertia-feed", value)
    elif side == "low":
        wire = lead(circuit.wire("coil-feed"), _TO_INERTIA)
        start = around.controllers[name]
        value = {"from": start, "to": "inertia-switch.feed", "wire": wire}
        yield _entry(circuit, "wires", "inertia-feed", value)
    else:
        wire = lead(circuit.wire("coil-ground"), _TO_INERTIA)
        body = "body-stud" if "body-stud" in around.studs else "body"
        value = {"from": "inertia-switch.out", "to": body, "wire": wire}
        yield _entry(circuit, "wires", "inertia-ground", value)


def _supply(circuit: CircuitPlan, source: dict[str, Written]) -> FileEntry:
    """Return what feeds a circuit's own switch: its fuse, and the wire behind it."""
    name, end = f"{circuit.name}-supply", f"{circuit.switch_name}.feed"
    wire = lead(circuit.wire("wire"), "3 ft")
    return _entry(circuit, "circuits", name, {**source, "wire": wire, "to": end})


def _switch_feed(circuit: CircuitPlan, around: Around) -> FileEntry:
    """Return the wire that feeds the switch of a relay's coil."""
    fuse = f"{circuit.name}-fuse.out"
    feed = circuit.text("feed")
    start = fuse if circuit.text("fuse") != "none" else around.feeds.get(feed, feed)
    return _entry(
        circuit,
        "wires",
        f"{circuit.name}-switch-feed",
        {
            "from": start,
            "to": f"{circuit.switch_name}.feed",
            "wire": circuit.wire("coil-feed"),
        },
    )


def _outputs(circuit: CircuitPlan, around: Around) -> Iterator[FileEntry]:
    """Yield the outputs of controllers that a circuit hangs on."""
    for fact, end in _output_ends(circuit).items():
        controller, _, side = end.rpartition(" ")
        states = [*(circuit.usual.on_in if circuit.usual else ())]
        if "idle" in states and around.can_run_on:
            states.append("run-on")
        value: dict[str, Written] = {"side": side}
        if fact == "relay":
            value["limit"] = _OUTPUT_LIMIT
        if circuit.usual is not None and circuit.usual.primes:
            value["primes"] = circuit.usual.primes
        value["on-in"] = list(states or _USUAL_STATES)
        yield FileEntry(
            path=("controllers", controller, "outputs"),
            name=_output_name(circuit, fact, end).partition(".")[2],
            value=value,
        )

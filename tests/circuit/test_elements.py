"""What the table of kinds says of each kind as such."""

from __future__ import annotations

from diagnose.circuit.elements import CONSUMER_KINDS, ELEMENTS, LOAD_KINDS


def test_every_load_takes_current() -> None:
    assert LOAD_KINDS < CONSUMER_KINDS


# Rule: what has a current of its own to take, whatever it is fed by. Batteries and
# alternators give it; wires, contacts and fuses pass it on.
def test_consumers_are_loads_coils_controllers_and_the_starter() -> None:
    assert {"coil", "controller", "starter"} == CONSUMER_KINDS - LOAD_KINDS


def test_a_link_is_crimped_and_no_fuse_in_a_holder() -> None:
    pluggable = {kind for kind, element in ELEMENTS.items() if element.is_pluggable}

    assert {"fuse", "slow-fuse", "breaker"} < pluggable
    assert "fusible-link" not in pluggable

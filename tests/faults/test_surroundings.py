"""Circuits on the wrong half, what leaks between pins, what hangs unlisted."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.session.ready_car import Model


def volts(model: Model, cause: str, state: str, node: str) -> float:
    """Return the mean volts at a node under a cause; of the sound car for "" ."""
    compiled = model.compiled
    names = [one.name for one in compiled.causes]
    of = compiled.predictor.predict([(names.index(cause),) if cause else ()])
    place = compiled.predictor.node_index
    state_number = compiled.predictor.state_index[state]
    rows = np.array([0])
    across = of.volts_at(state_number, place[node], rows) - of.volts_at(
        state_number, place["battery.minus"], rows
    )
    return float(across.mean())


def modes(model: Model, mode: str) -> set[str]:
    return {c.part.name for c in model.compiled.causes if c.mode.name == mode}


def test_fused_wires_of_both_halves_can_be_on_the_other(sedan_model: Model) -> None:
    found = modes(sedan_model, "on_wrong_half")

    # Of the constant half, of the switched half, and of the factory box.
    assert {"controller-memory-wire", "engine-controller-feed-wire"} <= found
    assert "instruments-wire" in found
    # Neither a wire behind no fuse nor what triggers a relay is a circuit of a panel.
    assert not {"battery-cable", "fuel-pump-relay-86-wire", "resistance-wire"} & found


@pytest.mark.parametrize(
    ("cause", "is_live"),
    [
        ("", False),
        ("instruments-wire:on_wrong_half", True),
        ("instruments-wire:touches_other_half", True),
    ],
)
def test_switched_circuit_on_the_live_half_is_live_with_the_key_off(
    cause: str, is_live: bool, sedan_model: Model
) -> None:
    shown = volts(sedan_model, cause, "key-off", "instruments.plus")

    assert (shown > 12.0) is is_live


def test_touching_halves_feed_the_whole_other_half(sedan_model: Model) -> None:
    cause = "engine-controller-feed-wire:touches_other_half"

    # The controller's wire touches the constant half: its neighbours are live too.
    assert volts(sedan_model, "", "key-off", "injectors.plus") < 0.5
    assert volts(sedan_model, cause, "key-off", "injectors.plus") > 11.5


def test_live_circuit_on_the_switched_half_is_dead_with_the_key_off(
    sedan_model: Model,
) -> None:
    node, cause = "engine-controller.memory", "controller-memory-wire:on_wrong_half"

    assert volts(sedan_model, "", "key-off", node) > 12.0
    assert volts(sedan_model, cause, "key-off", node) < 0.5
    assert volts(sedan_model, cause, "key-on", node) > 11.0


def test_what_is_not_in_the_file_hangs_on_live_wires_alone(sedan_model: Model) -> None:
    found = modes(sedan_model, "feeds_unlisted_load")

    assert {"controller-memory-wire", "brake-feed-wire"} <= found
    assert not {"instruments-wire", "injectors-wire", "blower-wire"} & found


def test_wet_plug_lights_one_lamp_with_another(sedan_model: Model) -> None:
    # In `held` the brake lamps are fed, and the tail lamps are off. A leak of some ohms
    # to the pin beside it feeds these: 40 W of lamps have 13.5² / 40 = 4.6 ohm hot.
    cause = "rear-plug:leaks_between_pins"

    assert abs(volts(sedan_model, "", "held", "tail-lamps.plus")) < 0.1
    assert volts(sedan_model, cause, "held", "tail-lamps.plus") > 0.2


def test_relay_of_the_other_layout_is_thinkable_where_its_coil_is_grounded(
    sedan_model: Model,
) -> None:
    found = modes(sedan_model, "relay_of_other_layout")

    # The horn's coil is fed from where the horn is; outputs switch pump and fan.
    assert found == {"panel-relay.contacts", "headlamps-relay.contacts"}


def test_relay_of_the_other_layout_feeds_its_panel_through_the_trigger(
    sedan_model: Model,
) -> None:
    cause, node = "panel-relay.contacts:relay_of_other_layout", "fuse-panel.switched"

    # The controllers' 1.7 A through the resistance wire's 1.4 ohm are 2.4 V of 12.4.
    assert volts(sedan_model, "", "key-on", node) > 11.5
    assert volts(sedan_model, cause, "key-on", node) == pytest.approx(10.0, abs=0.5)
    # With the key off the coil is on the constant half, the trigger is dead.
    assert volts(sedan_model, cause, "key-off", node) < 0.5


def test_backfed_relay_keeps_its_panel_live_with_the_key_off(
    sedan_model: Model,
) -> None:
    cause, node = "panel-relay.contacts:backfed", "fuse-panel.switched"

    assert "horn-relay.contacts" not in modes(sedan_model, "backfed")
    assert volts(sedan_model, "", "key-off", node) < 0.5
    assert volts(sedan_model, cause, "key-off", node) > 11.5


def test_fuse_of_a_smaller_circuit_blows_under_a_larger_one(sedan_model: Model) -> None:
    # The fan's 18 A on what is half of its 30 A fuse, and on a sixth to three quarters.
    node = "fan.plus"

    assert volts(sedan_model, "", "idle-loaded", node) > 12.0
    assert volts(sedan_model, "fan-fuse:too_small", "idle-loaded", node) < 11.0

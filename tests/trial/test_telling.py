"""What would have told a cause named wrongly from the one that was there."""

from __future__ import annotations

from diagnose.session.ready_car import Model
from diagnose.trial.playing import Game
from diagnose.trial.telling import Telling, tellings


def failed(was_there: str, was_named: str) -> Game:
    return Game(
        seed=5,
        complaint="pump-does-not-run",
        faults=(was_there,),
        first_rank=2,
        last_rank=2,
        claims=(),
        readings=3,
        wrong_repairs=1,
        minutes=30.0,
        is_fixed=True,
        facts=(),
        named_first=was_named,
    )


def telling(model: Model, was_there: str, was_named: str) -> Telling:
    (found,) = tellings([failed(was_there, was_named)], model)
    return found


def test_blown_fuse_is_told_from_a_broken_wire_by_a_look(model: Model) -> None:
    found = telling(model, "fuel-pump-wire:open_circuit", "fuel-pump-fuse:blown")

    assert found.share == 1.0
    assert found.step
    assert 0.0 < found.minutes < 10.0


def test_shorted_wire_is_told_from_a_shorted_pump_unplugged(model: Model) -> None:
    # Wire .02 to .3 ohm, pump a sixth to a twentieth of its 1.7 ohm: only unplugged
    # they never overlap.
    found = telling(model, "fuel-pump-wire:short_to_ground", "fuel-pump:shorted")

    assert found.share > 0.95
    assert "unplugged" in found.step or "ohms" in found.step


def test_two_ends_of_a_wire_are_told_apart_by_nothing(model: Model) -> None:
    found = telling(
        model, "fuel-pump-wire:high_resistance_a", "fuel-pump-wire:high_resistance_b"
    )

    # Either end may have any of the same resistances.
    assert not found.step
    assert found.share == 0.0


def test_game_that_went_well_has_nothing_to_tell(model: Model) -> None:
    assert tellings([], model) == ()

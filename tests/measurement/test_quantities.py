"""Symptoms as claims on the circuit: values, limits, groups, and missing roles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.circuit.car import (
    Car,
)
from diagnose.measurement.quantities import (
    Observed,
    Probe,
    is_applicable,
    main_nodes,
    needed_probes,
    role_parts,
    usable_symptoms,
)
from diagnose.measurement.symptom_chances import (
    claim_probability,
    symptom_probability,
)
from diagnose.measurement.symptoms import Claim, Group, Join, Quantity, Symptom
from tests.lamp_car import CAR, SYMPTOMS, make_part, make_symptom

NODE_VOLTS = {"battery.plus": 12.0, "lamp.plus": 11.0, "lamp.minus": 1.0}
PROBE_VALUES = {
    Probe(branch="lamp-fuse", state="lit", is_current=True): -7.5,
    Probe(branch="lamp-fuse", state="lit", is_current=False): 0.0,
    Probe(branch="battery", state="lit", is_current=True): -7.5,
}


def observed(
    node_volts: Mapping[str, float] = NODE_VOLTS, *, dim_volts: float | None = None
) -> Observed:
    """Return fixed values; in key-off the lamp has other volts when given."""

    def volts(state: str, node: str) -> FloatArray:
        if dim_volts is not None and state == "key-off" and node == "lamp.plus":
            return np.array([[dim_volts]])
        return np.array([[node_volts.get(node, 0.0)]])

    def probe(wanted: Probe) -> FloatArray:
        return np.array([[PROBE_VALUES[wanted]]])

    def mechanical(name: str, part: str) -> FloatArray:
        values = {("engine_fires", ""): 0.25, ("turns", "lamp"): 0.0}
        return np.array([[values.get((name, part), 1.0)]])

    return Observed(volts=volts, probe=probe, mechanical=mechanical)


def claim(
    quantity: Quantity, role: str, limit: float, *, at_least: bool = True
) -> Claim:
    return Claim(
        role=role,
        quantity=quantity,
        state="lit",
        at_least=at_least,
        limit=limit,
        blur=0.1,
    )


def chance(wanted: Claim, seen: Observed | None = None, car: Car = CAR) -> float:
    return float(claim_probability(wanted, car=car, seen=seen or observed())[0, 0])


@pytest.mark.parametrize(
    ("quantity", "role", "value"),
    [
        # By hand: 11 - 1 V across the lamp.
        (Quantity.VOLTS, "headlamps", 10.0),
        # Light goes with volts**3.4 (Fink & Beaty, p. 22-8): (10/13.5)**3.4.
        (Quantity.LIGHT, "headlamps", (10.0 / 13.5) ** 3.4),
        # Current counts without its direction ...
        (Quantity.AMPS, "lamp-fuse", 7.5),
        # ... but out of the battery it is a discharge.
        (Quantity.BATTERY_AMPS, "battery", 7.5),
        # A fuse that does not conduct is blown.
        (Quantity.IS_BLOWN, "lamp-fuse", 1.0),
        (Quantity.MECHANICAL, "engine_fires", 0.25),
        # What keeps one part from turning says nothing of another.
        (Quantity.TURNS, "headlamps", 0.0),
        (Quantity.TURNS, "lamp-fuse", 1.0),
    ],
    ids=lambda value: getattr(value, "value", None),
)
def test_claim_is_even_at_its_value(
    quantity: Quantity, role: str, value: float
) -> None:
    assert chance(claim(quantity, role, value)) == pytest.approx(0.5, abs=1e-9)


def test_light_at_nine_tenths_of_the_volts_is_seven_tenths() -> None:
    # Fink & Beaty, Standard Handbook for Electrical Engineers, 11th ed., p. 22-8
    # (secondary copy): 90 % of the volts give 70 % of the light.
    seen = observed({"lamp.plus": 0.9 * 13.5})

    found = chance(claim(Quantity.LIGHT, "headlamps", 0.70), seen)

    # 1 % of light, a tenth of the blur
    assert found == pytest.approx(0.5, abs=0.025)


# By hand: diodes light by their amps; 10 V are 2.5 of the 6 V between 7.5 and 13.5 V.
@pytest.mark.parametrize(("plus_volts", "light"), [(11.0, 2.5 / 6.0), (7.0, 0.0)])
def test_light_of_diodes_goes_with_their_amps(plus_volts: float, light: float) -> None:
    assert light_of_diodes(plus_volts, knee_volts=7.5, light=light) == pytest.approx(
        0.5, abs=1e-9
    )


def test_light_of_diodes_that_light_early() -> None:
    # By hand: 10 V are 4 of the 7.5 V between 6 and 13.5 V.
    assert light_of_diodes(11.0, knee_volts=6.0, light=4.0 / 7.5) == pytest.approx(
        0.5, abs=1e-9
    )


def light_of_diodes(plus_volts: float, *, knee_volts: float, light: float) -> float:
    """Return the chance that a lamp of diodes gives at least so much light."""
    led = make_part(
        "led-lamp",
        "lamp",
        "lamp.plus",
        "lamp.minus",
        role="headlamps",
        led_watts=6.0,
        led_volts=13.5,
        knee_volts=knee_volts,
        is_open=0.0,
        is_reversed=0.0,
    )
    parts = tuple(led if part.name == "lamp" else part for part in CAR.parts)
    seen = observed({"lamp.plus": plus_volts, "lamp.minus": 1.0})

    return chance(
        claim(Quantity.LIGHT, "headlamps", light), seen, replace(CAR, parts=parts)
    )


@pytest.mark.parametrize(("conducts", "chatters"), [(0.0, 0.0), (0.5, 1.0), (1.0, 0.0)])
def test_what_is_neither_open_nor_closed_chatters(
    conducts: float, chatters: float
) -> None:
    def probe(wanted: Probe) -> FloatArray:
        return np.array([[0.0 if wanted.is_current else conducts]])

    seen = replace(observed(), probe=probe)

    found = chance(claim(Quantity.CHATTERS, "lamp-fuse", chatters), seen)

    assert found == pytest.approx(0.5, abs=1e-9)


def test_limit_is_blurred_by_a_logistic_curve() -> None:
    # By hand: one blur above the limit, 1/(1 + 1/e).
    found = chance(claim(Quantity.VOLTS, "headlamps", 9.9))

    assert found == pytest.approx(0.7311, abs=1e-4)


def test_claim_below_is_the_opposite_of_the_claim_above() -> None:
    above = chance(claim(Quantity.VOLTS, "headlamps", 9.9))

    below = chance(claim(Quantity.VOLTS, "headlamps", 9.9, at_least=False))

    assert above + below == pytest.approx(1.0)


def test_volts_are_per_twelve_volt_system() -> None:
    # The same 10 V on a 24 V car are 5 V of a 12 V car.
    car = replace(CAR, system_volts=24.0)

    found = chance(claim(Quantity.VOLTS, "headlamps", 5.0), car=car)

    assert found == pytest.approx(0.5)


def test_value_can_be_relative_to_another_state() -> None:
    # By hand: 10 V lit, 5 V key-off.
    wanted = replace(claim(Quantity.VOLTS, "headlamps", 2.0), relative_to="key-off")

    assert chance(wanted, observed(dim_volts=6.0)) == pytest.approx(0.5)


# By hand: 10 V over a millivolt is ten thousand.
@pytest.mark.parametrize(("limit", "holds"), [(9000.0, 1.0), (11000.0, 0.0)])
def test_value_beside_nothing_is_that_beside_a_millivolt(
    limit: float, holds: float
) -> None:
    wanted = replace(claim(Quantity.VOLTS, "headlamps", limit), relative_to="key-off")

    # key off both ends of the lamp are at 1 V
    assert chance(wanted, observed(dim_volts=1.0)) == pytest.approx(holds)


@pytest.mark.parametrize(("limit", "holds"), [(9.999, 1.0), (10.001, 0.0)])
def test_limit_without_blur_is_a_step(limit: float, holds: float) -> None:
    sharp = replace(claim(Quantity.VOLTS, "headlamps", limit), blur=0.0)

    assert chance(sharp) == pytest.approx(holds)


def test_light_is_not_scaled_by_the_system() -> None:
    # By hand: a lamp of 13.5 V gives (10/13.5)**3.4 of its light on any car.
    car = replace(CAR, system_volts=24.0)

    found = chance(claim(Quantity.LIGHT, "headlamps", (10.0 / 13.5) ** 3.4), car=car)

    assert found == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize(
    ("at_least", "expected"), [(True, 0.2689), (False, 0.5)], ids=["above", "below"]
)
def test_worst_of_several_parts_counts(at_least: bool, expected: float) -> None:
    # By hand: one lamp at the limit, the other one blur beyond it: 1/(1 + e) above.
    weak = replace(
        CAR.part("lamp"),
        name="other-lamp",
        terminals={"a": "lamp.minus", "b": "earth"},
    )
    car = replace(CAR, parts=(*CAR.parts, weak))
    seen = observed({"lamp.plus": 11.0, "lamp.minus": 1.0, "earth": -8.9})
    limit = 10.0

    found = chance(
        claim(Quantity.VOLTS, "headlamps", limit, at_least=at_least), seen, car
    )

    assert found == pytest.approx(expected, abs=1e-4)


def test_every_part_with_the_role_must_satisfy_the_claim() -> None:
    dark = replace(CAR.part("lamp"), name="other-lamp", terminals={"a": "x", "b": "y"})
    car = replace(CAR, parts=(*CAR.parts, dark))

    found = chance(claim(Quantity.VOLTS, "headlamps", 5.0), car=car)

    assert found == pytest.approx(0.0, abs=1e-9)


def symptom_chance(symptom: Symptom) -> float:
    symptoms = {**SYMPTOMS, "sure": SURE}
    found = symptom_probability(symptom, symptoms=symptoms, car=CAR, seen=observed())
    return float(found[0, 0])


HALF = claim(Quantity.VOLTS, "headlamps", 10.0)
QUARTER = claim(Quantity.VOLTS, "headlamps", 10.0 + 0.1 * float(np.log(3.0)))
ABSENT = claim(Quantity.VOLTS, "fan", 10.0)
SURE = make_symptom("sure", claim(Quantity.VOLTS, "headlamps", 0.0), join=Join.ALL)


@pytest.mark.parametrize(
    ("join", "expected"),
    [(Join.ALL, 0.125), (Join.ANY, 0.625), (Join.NONE, 0.375)],
    ids=lambda value: getattr(value, "value", None),
)
def test_groups_join_independent_claims(join: Join, expected: float) -> None:
    # By hand with chances of 1/2 and 1/4.
    assert symptom_chance(make_symptom("both", HALF, QUARTER, join=join)) == (
        pytest.approx(expected)
    )


def test_group_holds_groups_and_names_of_symptoms() -> None:
    # By hand: (1/2 or 1/4) and a certainty.
    inner = Group(join=Join.ANY, members=(HALF, QUARTER))

    found = symptom_chance(make_symptom("nested", inner, "sure", join=Join.ALL))

    assert found == pytest.approx(0.625)


def test_claim_on_a_missing_role_is_left_out() -> None:
    found = symptom_chance(make_symptom("part", HALF, ABSENT, join=Join.ALL))

    assert found == pytest.approx(0.5)


def test_symptom_with_nothing_to_look_at_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing left to look at"):
        symptom_chance(make_symptom("fan-runs", ABSENT, join=Join.ALL))


@pytest.mark.parametrize(
    "wanted",
    [
        ABSENT,
        replace(HALF, state="cranking"),
        replace(HALF, relative_to="cranking"),
    ],
    ids=["role", "state", "other state"],
)
def test_claim_needs_its_role_and_its_states(wanted: Claim) -> None:
    assert is_applicable(HALF, CAR)
    assert not is_applicable(wanted, CAR)


def test_car_shows_the_symptoms_it_has_the_parts_for() -> None:
    symptoms = {
        **SYMPTOMS,
        "fan-runs": make_symptom("fan-runs", ABSENT, join=Join.ALL),
        "fires": make_symptom(
            "fires", claim(Quantity.MECHANICAL, "engine_fires", 0.5), join=Join.ALL
        ),
    }

    assert usable_symptoms(CAR, symptoms) == ("lamp-shines", "lamp-is-dim")


def test_symptom_in_a_state_the_car_lacks_is_not_usable() -> None:
    elsewhere = replace(SYMPTOMS["lamp-shines"], state="cranking")

    assert usable_symptoms(CAR, {"lamp-shines": elsewhere}) == ()


def test_probes_are_those_of_the_usable_symptoms() -> None:
    blown = claim(Quantity.IS_BLOWN, "lamp-fuse", 0.5)
    drain = claim(Quantity.BATTERY_AMPS, "battery", 0.05)
    symptoms = {
        "odd": make_symptom("odd", HALF, blown, join=Join.ANY),
        "drains": make_symptom("drains", drain, join=Join.ALL),
    }

    assert needed_probes(CAR, symptoms) == (
        Probe(branch="lamp-fuse", state="lit", is_current=False),
        Probe(branch="battery", state="lit", is_current=True),
    )


def test_probes_are_those_of_both_states_and_of_every_part() -> None:
    other = replace(CAR.part("lamp"), name="other-lamp")
    car = replace(CAR, parts=(*CAR.parts, other))
    amps = replace(claim(Quantity.AMPS, "headlamps", 0.5), relative_to="key-off")
    up = replace(claim(Quantity.IS_CLOSED, "headlamps", 0.5), state="isolated")
    twice = make_symptom("twice", amps, ABSENT, up, amps, join=Join.ALL)

    found = needed_probes(car, {"twice": twice})

    assert found == tuple(
        Probe(branch=branch, state=state, is_current=is_current)
        for state, is_current in (("lit", True), ("key-off", True), ("isolated", False))
        for branch in ("lamp", "other-lamp")
    )


def test_parts_are_found_by_role() -> None:
    assert [part.name for part in role_parts(CAR, "headlamps")] == ["lamp"]


def test_battery_is_read_across_its_posts() -> None:
    assert main_nodes(CAR.part("battery")) == ("battery.plus", "battery.minus")

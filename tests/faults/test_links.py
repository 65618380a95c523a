"""Which causes of a whole car are tied together, found from its wiring."""

from __future__ import annotations

import pytest

from diagnose.faults.links import Ties, ties_of
from diagnose.session.ready_car import Model


@pytest.fixture(scope="module")
def ties(sedan_model: Model) -> Ties:
    causes = sedan_model.compiled.causes
    return ties_of(sedan_model.car, causes, sedan_model.knowledge.links)


def parents_of(part: str, link_name: str, ties: Ties, model: Model) -> set[str]:
    link = next(one for one in ties.links if (one.name, one.part) == (link_name, part))
    return {model.compiled.causes[number].part.name for number in link.parents}


@pytest.mark.parametrize(
    ("relay", "ground"),
    [
        # by the car file: 85 on the body stud, which a lead ties to the battery
        ("headlamps-relay", {"headlamps-relay-85-wire", "body-lead"}),
        # its coil is grounded through the case
        ("starter-solenoid", {"starter-mount", "ground-cable"}),
        # switched on its ground side by the controller, which is on the engine stud
        (
            "fan-relay",
            {
                "fan-relay-85-wire",
                "engine-controller-ground",
                "engine-stud",
                "ground-cable",
            },
        ),
    ],
)
def test_contacts_suffer_from_what_grounds_their_coil(
    relay: str, ground: set[str], ties: Ties, sedan_model: Model
) -> None:
    found = parents_of(
        f"{relay}.contacts", "loose_ground_burns_contacts", ties, sedan_model
    )

    assert found == ground


def test_contacts_suffer_from_the_load_they_feed(
    ties: Ties, sedan_model: Model
) -> None:
    link = "overload_burns_contacts"

    assert parents_of("fan-relay.contacts", link, ties, sedan_model) == {"fan"}
    assert parents_of("blower-switch.out-contact", link, ties, sedan_model) == {
        "blower"
    }


def test_output_suffers_from_the_coil_it_drives(ties: Ties, sedan_model: Model) -> None:
    found = parents_of(
        "engine-controller.pump-output", "overload_burns_output", ties, sedan_model
    )

    assert found == {"fuel-pump-relay.coil", "fuel-pump-relay.diode"}


def test_places_with_two_joints_and_more_may_be_damp(ties: Ties) -> None:
    places = {spot.name: set(spot.parts) for spot in ties.spots}

    assert {"rear-stud", "tail-lamps-wire"} <= places["damp_trunk"]
    assert "fan-relay.contacts" not in places["damp_fender"]

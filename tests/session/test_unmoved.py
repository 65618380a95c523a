"""Readings that no suspect moves tell none apart, however few draws are left."""

from __future__ import annotations

import math

import numpy as np

from diagnose.inference.choice.particles import Particles
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, ReadingFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.candidates import Sight

BLOWN = Reading(kind=ReadingKind.LOOK, state="key-off", red="fuel-pump-fuse", black="")
ACROSS = Reading(
    kind=ReadingKind.DC_VOLTS,
    state="key-on",
    red="fuse-panel.constant",
    black="fuel-pump-fuse.out",
)
UNPLUGGED = Reading(
    kind=ReadingKind.OHMS,
    state="unplugged",
    red="fuel-pump-relay.87",
    black="battery.minus",
)


def test_what_was_solved_in_few_draws_is_held_against_the_sound_car_there(
    model: Model,
) -> None:
    # Single causes are solved in every draw, pairs and chosen severities in every
    # fourth, which stands for the three behind it.
    n_singles = model.compiled.bank.n_singles
    particles = Particles(
        row=np.array([0, n_singles - 1, n_singles, n_singles + 3]),
        draw=np.array([5, 6, 7, 9]),
        share=np.full(4, 0.25),
        group=np.zeros(4, dtype=np.int64),
    )

    sight = Sight(model.compiled.bank.all, particles)

    assert sight.solved_draws(n_singles).tolist() == [5, 6, 4, 8]


def test_circuits_without_a_suspect_are_not_read(sedan_model: Model) -> None:
    # A pump's fuse is blown, and its wires are clear with the pump unplugged: what is
    # left is the pump or its fuse, which no other circuit knows of.
    diagnosis = Diagnosis(sedan_model)
    told = (
        ComplaintFact(complaint="fuse-blows-again"),
        ReadingFact(reading=BLOWN, value=1.0),
        ReadingFact(reading=ACROSS, value=1.63),
        ReadingFact(reading=UNPLUGGED, value=math.inf),
    )

    answer = [diagnosis.tell(fact) for fact in told][-1]

    readings = [one.step for one in answer.next_steps if isinstance(one.step, Reading)]
    assert all("pump" in one.red + one.black for one in readings), readings

"""Neighbourhoods: faults of one circuit follow each other."""

from __future__ import annotations

from itertools import pairwise

from diagnose.circuit.model import CarModel
from diagnose.circuit.tolerance_draws import Sample
from diagnose.faults.causes import catalogue
from diagnose.faults.predictions.neighbourhoods import in_neighbourhoods, neighbourhoods
from diagnose.faults.predictions.predictor import Predictor
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from tests.growing_car import SHIPPED


def test_every_cause_is_there_once_and_those_of_a_neighbourhood_lie_together() -> None:
    knowledge = load_knowledge(knowledge_folder())
    car = load_car(SHIPPED, knowledge)
    causes = catalogue(car, knowledge.modes)
    predictor = Predictor(CarModel(car, Sample(n_draws=1)), causes, ())

    order = in_neighbourhoods(predictor, causes)

    assert sorted(order.tolist()) == list(range(len(causes)))
    number = neighbourhoods(predictor.networks[0].output, len(predictor.nodes))
    seen = [
        max(int(number[predictor.node_index[node]]) for node in part.terminals.values())
        for part in (causes[place].part for place in order.tolist())
        if part.terminals
    ]
    # as many changes from one to the next as there are neighbourhoods
    changes = sum(one != other for one, other in pairwise(seen))
    assert len(set(seen)) > 5
    assert changes == len(set(seen)) - 1

"""The invented evenings as records, and one played to its end on an unlike car."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType

import yaml

from diagnose.circuit.car import Car
from diagnose.session.answer import Verdict
from diagnose.session.ready_car import Model
from diagnose.trial.hidden.complaints import complaints_of
from diagnose.trial.hidden.hidden_car import Errors, HiddenCar, HiddenCars
from diagnose.trial.hidden.unlike_stock import SLIP_PROBABILITY, UnlikeCars
from diagnose.trial.playing import Game, play
from diagnose.trial.truth import cause_indices

EVENINGS = Path(__file__).with_name("evenings.yaml")

# How many cars that differ from the file are drawn; the first that gives the complaint
# is played. [1] Own choice: a mild severity may give none.
N_CARS = 12

# Seeds those cars. Own choice: any number.
SEED = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Evening:
    """One invented evening; the fields are those of the file."""

    name: str
    tells: str
    family: str
    kind: str
    car: str
    complaint: str
    faults: tuple[str, ...]
    ends: str
    wrong_repairs: int
    wired: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    slips: float = SLIP_PROBABILITY
    fails: str = ""


def evenings() -> tuple[Evening, ...]:
    """Return every evening, in the order of the file."""
    found = yaml.safe_load(EVENINGS.read_text(encoding="utf-8"))
    return tuple(
        Evening(
            **{key.replace("-", "_"): value for key, value in entry.items()}
            | {"faults": tuple(entry["faults"])}
        )
        for entry in found
    )


def stock_of(model: Model) -> UnlikeCars:
    """Return the cars of one model that differ from its file."""
    return UnlikeCars(model, n_cars=N_CARS, seed=SEED)


def played(evening: Evening, stock: HiddenCars) -> Game:
    """Play an evening on the first car of a stock whose owner comes with it."""
    model = stock.model
    if evening.wired:
        stock = stock.wired(_rewired(evening, model), seed=stock.sound_seed(SEED))
    faults = cause_indices(evening.faults, model)
    errors = Errors(slip_probability=evening.slips)
    for number in stock.numbers:
        car = HiddenCar(stock, number, faults, errors=errors, seed=SEED)
        if evening.complaint in complaints_of(car, model):
            return play(model, car, evening.complaint, seed=SEED)
    raise AssertionError(f"{evening.name}: no car of the stock gives the complaint")


def _rewired(evening: Evening, model: Model) -> Car:
    """Return the car as it is really wired."""
    car, wired = model.car, evening.wired
    parts = tuple(
        replace(
            part,
            terminals=MappingProxyType({**part.terminals, wired["end"]: wired["to"]}),
        )
        if part.name == wired["wire"]
        else part
        for part in car.parts
    )
    return replace(car, parts=parts)


def missed(evening: Evening, game: Game) -> list[str]:
    """Return what an evening demands and did not come to."""
    found = []
    if evening.ends == "fixed" and not game.is_fixed:
        found.append(f"ends with {game.verdicts[-1].value}, not fixed")
    if evening.ends == "nothing-fits" and not {
        Verdict.NOTHING_FITS,
        Verdict.STOP,
    } & set(game.verdicts):
        found.append("never says that nothing fits")
    if game.wrong_repairs > evening.wrong_repairs:
        found.append(
            f"{game.wrong_repairs} wrong repairs, {evening.wrong_repairs} at most"
        )
    return found

"""What the readings of a list take, given those taken before them.

A place is got to once in a state, and a state is brought about once. Leaves what a
single step takes to `prices`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car
from diagnose.measurement.readings import Reading
from diagnose.session.steps.candidates import Costs
from diagnose.session.steps.prices import Prices
from diagnose.session.steps.whereabouts import Whereabouts
from diagnose.session.words.wording import places_of


class ListCosts:
    """What readings take, given those taken before them.

    Parameters
    ----------
    car : Car
    readings : Sequence[Reading]
        All that may be on the list.
    prices : Prices
        What a step takes the owner.
    """

    def __init__(self, car: Car, readings: Sequence[Reading], prices: Prices) -> None:
        self._readings = readings
        self._prices = prices
        self._places = [
            [place for place in places_of(reading, car) if place in car.places]
            for reading in readings
        ]
        by_state: dict[str, list[int]] = {}
        for number, reading in enumerate(readings):
            by_state.setdefault(reading.state, []).append(number)
        self._by_state = {
            state: (numbers, Costs([readings[n] for n in numbers], prices))
            for state, numbers in by_state.items()
        }

    def each_after(self, chosen: Sequence[int]) -> FloatArray:
        """Return what every reading would take after some.

        Parameters
        ----------
        chosen : Sequence[int]
            The numbers of those taken.

        Returns
        -------
        FloatArray
            Shape (n_readings,). [min]
        """
        been = self._been(chosen)
        result = np.empty(len(self._readings))
        for state, (numbers, costs) in self._by_state.items():
            result[numbers] = costs.minutes(been.get(state, Whereabouts()))
        return result

    def after(self, number: int, before: Sequence[int]) -> float:
        """Return what one reading takes after some.

        Parameters
        ----------
        number : int
            Of the reading.
        before : Sequence[int]
            The numbers of those taken.

        Returns
        -------
        float
            [min]
        """
        reading = self._readings[number]
        here = self._been(before).get(reading.state, Whereabouts())
        return self._prices.minutes(reading, here)

    def places(self, number: int) -> tuple[str, ...]:
        """Return where a reading takes one to, by its number."""
        return tuple(self._places[number])

    def _been(self, chosen: Sequence[int]) -> dict[str, Whereabouts]:
        """Return, by state, where one has been."""
        places: dict[str, set[str]] = {}
        settled = set()
        for number in chosen:
            reading = self._readings[number]
            visited = places.setdefault(reading.state, set())
            visited.update(self._places[number])
            if self._prices.settling_minutes(reading):
                settled.add(reading.state)
        return {
            state: Whereabouts(
                state=state, places=frozenset(visited), has_settled=state in settled
            )
            for state, visited in places.items()
        }

"""How the values of sound parts follow the temperature and their age: factor tables.

Leaves the tables to knowledge/, and what the car's temperature is to its file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

USUAL_CELSIUS = 20.0
"""The air temperature that values are meant for. [°C]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorTable:
    """A factor on a value, by what it depends on.

    Parameters
    ----------
    points : tuple[tuple[float, float], ...]
        What it depends on, rising, and the factor there (greater than 0). [1]
    """

    points: tuple[tuple[float, float], ...]

    def factor(self, at: float) -> float:
        """Return the factor, its logarithm interpolated; held beyond the ends.

        Examples
        --------
        >>> table = FactorTable(points=((0.0, 4.0), (20.0, 1.0)))
        >>> table.factor(10.0), table.factor(-30.0), table.factor(40.0)
        (2.0, 4.0, 1.0)
        """
        low, high = self.points[0], self.points[-1]
        if at <= low[0]:
            return low[1]
        for low, high in zip(self.points, self.points[1:], strict=False):
            if at <= high[0]:
                share = (at - low[0]) / (high[0] - low[0])
                rise = math.log(high[1] / low[1])
                return low[1] * math.exp(share * rise)
        return high[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What one parameter of one kind of part depends on.

    Parameters
    ----------
    celsius : FactorTable or None
        By air temperature, 1 at `USUAL_CELSIUS`. [°C]
    years : FactorTable or None
        By the part's age. [a]
    source : str
        Who says so, and how sure that is.
    """

    celsius: FactorTable | None
    years: FactorTable | None
    source: str

"""How the values of sound parts follow the temperature and their age: factor tables.

Tables, because a mechanic can correct them; without them a car is solved with the
values as they are. Leaves the tables to knowledge/, and how warm and how old the car is
to its file.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# The air temperature that values are meant for (own choice: that of wire tables). [°C]
USUAL_CELSIUS = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorTable:
    """What a value is multiplied by, as a table over the temperature or the age.

    Parameters
    ----------
    points : tuple[tuple[float, float], ...]
        Pairs: a temperature [°C] or an age [a], rising from pair to pair, and the
        factor there, greater than 0 [1].
    """

    points: tuple[tuple[float, float], ...]

    def factor(self, at: float) -> float:
        """Return the factor at a temperature or an age.

        Its logarithm is interpolated between the points, and held beyond the ends.

        Parameters
        ----------
        at : float
            In the unit of the table. [°C] or [a]

        Returns
        -------
        float
            Greater than 0. [1]

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
    """What one value of one kind of part depends on.

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

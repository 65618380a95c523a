"""The changed cars of one diagnosis: worked out when first asked for, and kept.

Leaves what they show to `inference.compiled.substituted_car`.
"""

from __future__ import annotations

from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.substituted_car import (
    FEW_DRAWS,
    SubstitutedCar,
    lead_for,
)
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SubstitutionTest
from diagnose.measurement.substitutions import Substitution, SubstitutionKind
from diagnose.session.substitution.leads import LeadEffects, Leads, takes_cable

# How many changed cars are kept. [1] Own choice: the tests told of one evening, and
# those that are weighed to come next; up to 25 MB each for the one told.
KEPT_CARS = 12


# How many draws are solved to see what a test is worth. [1] Own choice: its yes or no
# hardly hangs on tolerances, and each answer prices three of them.
ROUGH_DRAWS = 4


# How many draws are solved where a fuse is looked at. [1] Own choice: it blows or holds
# in nearly all alike, and every state with the battery on has to be solved.
LOOK_DRAWS = 8


class SubstitutedCars:
    """The changed cars of one car.

    Parameters
    ----------
    compiled : Compiled
        The car as it stands.
    """

    def __init__(self, compiled: Compiled) -> None:
        self._compiled = compiled
        self._cars: dict[tuple[SubstitutionTest, bool], SubstitutedCar] = {}
        self._leads = Leads(compiled)

    def effects(self, substitution: Substitution) -> LeadEffects | None:
        """Return what a lead does to the sound car; None of what is no lead.

        Parameters
        ----------
        substitution : Substitution

        Returns
        -------
        LeadEffects or None
        """
        if substitution.kind is not SubstitutionKind.BRIDGE:
            return None
        return self._leads.effects(substitution)

    def is_cable(self, substitution: Substitution) -> bool:
        """Return whether a lead has to be a jump lead."""
        is_lead = substitution.kind is SubstitutionKind.BRIDGE
        return is_lead and takes_cable(substitution, self._compiled.car)

    def forget_sets(self) -> None:
        """Forget the fault sets solved of changed cars, as at the start.

        Which were solved together shows in the last digit.
        """
        for car in self._cars.values():
            car.forget()

    def known(
        self, test: SubstitutionTest, *, is_rough: bool = False
    ) -> SubstitutedCar | None:
        """Return the changed car where it is kept, as `of` does; None where not.

        Parameters
        ----------
        test : SubstitutionTest
        is_rough : bool
            As for `of`.

        Returns
        -------
        SubstitutedCar or None
        """
        return self._cars.get((test, is_rough))

    def of(self, test: SubstitutionTest, *, is_rough: bool = False) -> SubstitutedCar:
        """Return the changed car as the look of a test sees it.

        Parameters
        ----------
        test : SubstitutionTest
            With a lead, or a part taken off.
        is_rough : bool
            With `ROUGH_DRAWS` only, to see what a test is worth.

        Returns
        -------
        SubstitutedCar
        """
        found = self._cars.pop((test, is_rough), None)
        if found is None:
            while len(self._cars) >= KEPT_CARS:
                del self._cars[next(iter(self._cars))]
            substitution = test.substitution
            is_look = (
                isinstance(test.look, Reading) and test.look.kind is ReadingKind.LOOK
            )
            n_draws = LOOK_DRAWS if is_look else FEW_DRAWS
            found = SubstitutedCar(
                self._compiled,
                substitution,
                test.look,
                lead=lead_for(substitution, is_cable=self.is_cable(substitution)),
                n_draws=ROUGH_DRAWS if is_rough else n_draws,
            )
        # those asked for last are dropped last
        self._cars[test, is_rough] = found
        return found

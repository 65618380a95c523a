"""One car ready for diagnosis: every cause, and what it would show.

A hypothesis is a fault set with what it would show under every draw. Single causes are
there from the start and kept per car; pairs join when the facts call for them. Leaves
solving to `faults.predictions.predictor`, rows in memory to `bank`, and what a meter
shows of them to `shown_readings`.

Decisions that bind it:

- Reading tables come from the solver, not from hand-written tables of causes and
  symptoms. The probabilities then follow from this car's wires.
- Tolerance draws are shared by all faults: differences between causes are then physics.
- A fault that comes and goes has no predictions of its own; what it shows is looked up
  in the row of the lasting fault that it acts as (`shown_by`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from diagnose.arrays import BoolArray
from diagnose.circuit.car import Car
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.faults.causes import Cause, FaultSet, Severity
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.neighbourhoods import in_neighbourhoods
from diagnose.faults.predictions.predicted import probe_columns
from diagnose.faults.predictions.predictor import Predictor
from diagnose.faults.predictions.single_faults import kept_faults
from diagnose.faults.signatures import effect_signature
from diagnose.inference.compiled.bank import Bank
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.compiled.intermittent import Presence
from diagnose.inference.compiled.shown_readings import ShownReadings
from diagnose.inference.compiled.symptom_chances import fill_symptoms
from diagnose.inference.prior.priors import Priors
from diagnose.measurement.quantities import Probe, usable_symptoms

# Fault sets whose symptoms are worked out together. [1] Own choice: each takes some
# 100 kB meanwhile.
ROWS_AT_ONCE = 256

# An on/off fact above this is on. [1] Derived: it is 0 or 1, or a share where a relay
# chatters.
HALF = 0.5


class Compiled:
    """One car ready for diagnosis.

    Parameters
    ----------
    predictor : Predictor
        Solves fault sets of the car.
    knowledge : Knowledge
        Symptoms, triggers and the meter.
    priors : Priors
        How likely each fault set is before any fact.
    bank : Bank or None
        With the healthy car and every single cause; worked out here when None.
    progress : Callable or None
        Called with the share done, 0 to 1.

    Attributes
    ----------
    predictor, knowledge, priors, bank
        As given.
    car : Car
        The car.
    causes : tuple[Cause, ...]
        All that can be wrong, those that come and go behind those that last.
    presence : Presence
        Those that come and go.
    n_lasting : int
        How many causes last. [1]
    symptom_names : tuple[str, ...]
        The symptoms that the car has what they look at for.
    symptom_index : dict[str, int]
        Symptom to its column in `Hypotheses.symptoms`.
    columns : Mapping[Probe, int]
        Where predictions hold each current and each on/off fact.
    singles : Hypotheses
        The healthy car and every lasting cause.
    readings : ShownReadings
        What a meter shows of fault sets.
    """

    def __init__(
        self,
        predictor: Predictor,
        knowledge: Knowledge,
        priors: Priors,
        *,
        bank: Bank | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> None:
        self.predictor = predictor
        self.knowledge = knowledge
        self.priors = priors
        self.car: Car = predictor.model.car
        self.causes: tuple[Cause, ...] = predictor.causes
        self.presence = Presence(
            self.causes, knowledge.triggers, predictor.model.sample
        )
        self.n_lasting = len(self.causes) - len(self.presence.numbers)
        self.symptom_names = usable_symptoms(self.car, knowledge.symptoms)
        self.symptom_index = {name: i for i, name in enumerate(self.symptom_names)}
        self.columns: Mapping[Probe, int] = probe_columns(predictor.probes)
        if bank is None:
            bank = self._solved_bank(progress)
        self.bank = bank
        self.singles: Hypotheses = bank.singles
        self._on_off: dict[str, list[int]] = {}
        self._fuses: dict[str, list[int]] = {}
        fuses = {part.name for part in self.car.parts if part.kind in PROTECTIVE_KINDS}
        for probe, column in self.columns.items():
            if not probe.is_current:
                self._on_off.setdefault(probe.state, []).append(column)
                if probe.branch in fuses:
                    self._fuses.setdefault(probe.state, []).append(column)
        self.readings = ShownReadings(predictor, knowledge.meter, bank, self.columns)

    def _solved_bank(self, progress: Callable[[float], None] | None) -> Bank:
        """Return every single cause solved; those that act alike are solved once."""
        alike: dict[object, list[int]] = {}
        for number, cause in enumerate(self.causes[: self.n_lasting]):
            alike.setdefault(effect_signature(cause), []).append(number)
        every = list(alike.values())
        first = [self.causes[group[0]] for group in every]
        groups = [every[place] for place in in_neighbourhoods(self.predictor, first)]
        sets = ((), *((number,) for number in range(self.n_lasting)))
        nodes, is_settled = kept_faults(
            self.predictor, [(), *((group[0],) for group in groups)], progress=progress
        )
        stored = np.zeros(len(sets), dtype=np.int64)
        for row, group in enumerate(groups, 1):
            stored[[1 + number for number in group]] = row
        shape = (len(sets), self.n_draws, len(self.symptom_names))
        bank = Bank.of_kept(
            sets,
            nodes,
            stored,
            is_settled=is_settled[:, stored],
            symptoms=np.zeros(shape, dtype=np.float32),
        )
        held = bank.singles
        for start in range(0, len(sets), ROWS_AT_ONCE):
            rows = slice(start, start + ROWS_AT_ONCE)
            some = Hypotheses(
                sets=held.sets[rows],
                prediction=held.prediction.front(rows),
                symptoms=held.symptoms[rows],
            )
            self._fill_symptoms(some)
        return bank

    def shown_by(self, cause: int) -> int:
        """Return the row of the bank that holds what a cause alone shows.

        Parameters
        ----------
        cause : int
            Its number.

        Returns
        -------
        int
            Of one that comes and goes, what it shows while it is there.
        """
        if cause < self.n_lasting:
            return 1 + cause
        return 1 + int(self.presence.acts_as[cause - self.n_lasting])

    @property
    def n_draws(self) -> int:
        """Number of tolerance draws. [1]."""
        return self.predictor.model.sample.n_draws

    def switching(self, grid: Hypotheses) -> Hypotheses:
        """Return severities of one set with where something switches between them.

        Parameters
        ----------
        grid : Hypotheses
            One row per severity, the mildest first.

        Returns
        -------
        Hypotheses
            The same numbers.
        """
        probes = grid.whole().probes

        def changing(columns_of: Mapping[str, list[int]]) -> dict[str, BoolArray]:
            found = {}
            for state, columns in columns_of.items():
                is_on = probes[:, :, columns] > HALF
                found[state] = np.asarray((is_on[1:] != is_on[:-1]).any(axis=2))
            return found

        return replace(
            grid, switches=changing(self._on_off), opens=changing(self._fuses)
        )

    def hypotheses(
        self,
        sets: Sequence[FaultSet],
        *,
        severities: Sequence[tuple[Severity, ...]] | None = None,
        every: int = 1,
        is_compact: bool = False,
        progress: Callable[[float], None] | None = None,
    ) -> Hypotheses:
        """Return fault sets with their predictions, solved now.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            Of causes that last.
        severities : Sequence[tuple[Severity, ...]] or None
            How severe causes of each set are; others are drawn.
        every : int
            Solve only every so many-th draw and let it stand for those between. [1]
        is_compact : bool
            Return only the draws that were solved, see `Hypotheses.stretched`.
        progress : Callable or None
            Called with the share done, 0 to 1.

        Returns
        -------
        Hypotheses
            With their symptoms, in the order of `sets`.
        """
        prediction = self.predictor.predict(
            sets,
            severities=severities,
            every=every,
            is_compact=is_compact,
            progress=progress,
        )
        shape = (len(sets), prediction.n_draws, len(self.symptom_names))
        symptoms = np.empty(shape, dtype=np.float32)
        solved = Hypotheses(
            sets=tuple(sets),
            prediction=prediction,
            symptoms=symptoms,
            severities=tuple(severities or ()),
        )
        self._fill_symptoms(solved)
        return solved

    def _fill_symptoms(self, solved: Hypotheses) -> None:
        """Work out the symptoms of fault sets whose prediction is there."""
        fill_symptoms(
            solved,
            self.predictor,
            self.columns,
            self.symptom_names,
            self.knowledge.symptoms,
        )

    def column_of(self, probe: Probe) -> int:
        """Return where `Prediction.probes` holds a current or an on/off fact.

        Parameters
        ----------
        probe : Probe
            One that the predictor has.

        Returns
        -------
        int
            A column.
        """
        return self.columns[probe]

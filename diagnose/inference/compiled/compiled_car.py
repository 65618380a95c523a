"""One car ready for diagnosis: hypotheses, and what a meter would show under them.

A hypothesis is a fault set with what it would show under every draw. Single causes are
there from the start and kept per car; pairs join when the facts call for them. Leaves
solving to `faults.predictions.predicted`, rows in memory to `bank`, and how a meter
loads what it reads to `meter_loading`.

Decisions that bind it:

- Reading tables come from the solver, not from hand-written tables of causes and
  symptoms. The probabilities then follow from this car's wires.
- Tolerance draws are shared by all faults: differences between causes are then physics.
- A fault that comes and goes has no predictions of its own; what it shows is looked up
  in the row of the lasting fault that it acts as (`shown_by`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.car import Car
from diagnose.faults.causes import Cause, FaultSet, Severity
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predictions.predicted import SOURCE_UNIT_OHMS, probe_columns
from diagnose.faults.predictions.predictor import Predictor
from diagnose.faults.signatures import effect_signature
from diagnose.inference.compiled.bank import Bank
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.compiled.intermittent import Presence
from diagnose.inference.compiled.kept_shown import Latest, Leads
from diagnose.inference.compiled.meter_loading import (
    drawn_lead_ohms,
    leak_factors,
    leak_volts,
    leaky_ohms,
    loaded_volts,
    over_range,
)
from diagnose.inference.compiled.symptom_chances import fill_symptoms
from diagnose.inference.prior.priors import Priors
from diagnose.measurement.points.where_to_measure import ripple_nodes
from diagnose.measurement.probe_lamp import lamp_grade
from diagnose.measurement.quantities import Probe, usable_symptoms
from diagnose.measurement.readings import Reading, ReadingKind, fuse_ohms

# How many readings are kept as the single causes show them. [1] Own choice: those of
# most evenings; .7 MB each.
KEPT_READINGS = 32

# Fault sets whose symptoms are worked out together. [1] Own choice: each takes some
# 100 kB meanwhile.
ROWS_AT_ONCE = 1024

# Readings that `Prediction.probes` holds: currents, and looks at a fuse.
PROBED_KINDS = frozenset({ReadingKind.LOOK, ReadingKind.AMPS, ReadingKind.FUSE})


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
    leak_factor : FloatArray
        How well the car insulates in each draw, shape (n_draws,). [1]
    lead_ohms : FloatArray
        What the meter's leads add to ohms in each draw, shape (n_draws,). [Ω]
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
        level = predictor.model.sample.probabilities("leakage")
        self.leak_factor: FloatArray = leak_factors(level)
        of_leads = predictor.model.sample.probabilities("leads")
        self.lead_ohms: FloatArray = drawn_lead_ohms(of_leads, knowledge.meter)
        self._kept: Latest[Reading, tuple[FloatArray, FloatArray]] = Latest(
            KEPT_READINGS
        )
        self._leads = Leads()

    def _solved_bank(self, progress: Callable[[float], None] | None) -> Bank:
        """Return every single cause solved; those that act alike are solved once."""
        alike: dict[object, list[int]] = {}
        for number, cause in enumerate(self.causes[: self.n_lasting]):
            alike.setdefault(effect_signature(cause), []).append(number)
        # those of one part follow each other: they change the same branches
        groups = list(alike.values())
        sets = ((), *((number,) for number in range(self.n_lasting)))
        nodes, is_settled = self.predictor.kept(
            [(), *((group[0],) for group in groups)], progress=progress
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

    def predicted(
        self,
        hypotheses: Hypotheses,
        reading: Reading,
        *,
        rows: IntArray | slice = slice(None),
    ) -> FloatArray:
        """Return what the meter would show, meter loading and leads included.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets that are solved.
        reading : Reading
            What is read where, in which state.
        rows : IntArray or slice
            The fault sets wanted; all when not given.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws). [V, Ω (inf for over-range), A, the grade of a test
            lamp, or 1/0 for a look]
        """
        prediction = hypotheses.prediction
        state = self.predictor.state_index[reading.state]
        if reading.kind in PROBED_KINDS:
            column = prediction.probes_at(self.probe_column(reading), rows)
            column = column.astype(np.float64)
            if reading.kind is ReadingKind.FUSE:
                column *= fuse_ohms(self.car.part(reading.red))
            is_look = reading.kind is ReadingKind.LOOK
            return np.asarray(1.0 - column if is_look else np.abs(column))
        red, black = self.lead_nodes(reading)
        if reading.kind is ReadingKind.OHMS:
            return self._ohms(hypotheses, state, (red, black), rows)
        across, source_ohms = self._across(hypotheses, reading, rows)
        if reading.kind is ReadingKind.AC_VOLTS:
            return np.asarray(np.abs(across))
        if reading.kind is ReadingKind.LAMP:
            return lamp_grade(
                across,
                source_ohms,
                lamp=self.knowledge.meter.test_lamp,
                system_volts=self.car.system_volts,
            )
        ohms = leaky_ohms(source_ohms, self.leak_factor)
        return loaded_volts(across, ohms, self.knowledge.meter)

    def lead_volts(
        self, hypotheses: Hypotheses, reading: Reading, *, rows: IntArray | slice
    ) -> tuple[FloatArray, FloatArray]:
        """Return the volts under the two leads, before the meter loads them.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets that are solved.
        reading : Reading
            Of DC volts.
        rows : IntArray or slice
            The fault sets wanted.

        Returns
        -------
        tuple[FloatArray, FloatArray]
            Of red and black, shape (n_rows, n_draws) each. [V]
        """
        state = self.predictor.state_index[reading.state]
        shown = hypotheses.prediction
        red, black = (
            np.asarray(shown.volts_at(state, node, rows), dtype=np.float64)
            for node in self.lead_nodes(reading)
        )
        return red, black

    def loaded(
        self,
        across: FloatArray,
        hypotheses: Hypotheses,
        reading: Reading,
        *,
        rows: IntArray | slice,
    ) -> FloatArray:
        """Return what the meter shows of volts between two leads, loaded by it.

        Parameters
        ----------
        across : FloatArray
            Open-circuit volts, shape (n_rows, n_draws). [V]
        hypotheses, reading, rows
            As for `lead_volts`; what stands behind the volts.

        Returns
        -------
        FloatArray
            Same shape. [V]
        """
        source_ohms = self._across(hypotheses, reading, rows)[1]
        ohms = leaky_ohms(source_ohms, self.leak_factor)
        return loaded_volts(across, ohms, self.knowledge.meter)

    def _across(
        self, hypotheses: Hypotheses, reading: Reading, rows: IntArray | slice
    ) -> tuple[FloatArray, FloatArray]:
        """Return open-circuit volts between the leads, and what stands behind them.

        Those of the singles are kept: likelihood, stray and deviation ask for them.

        Returns
        -------
        tuple
            Shape (n_rows, n_draws) each. [V], [Ω]
        """
        is_kept = self._are_singles(hypotheses, rows)
        if is_kept and (known := self._kept.get(reading)) is not None:
            return known
        state = self.predictor.state_index[reading.state]
        red, black = self.lead_nodes(reading)
        held = hypotheses.prediction
        (plus, plus_units), (minus, minus_units) = (
            self._leads.under(held, (state, node), rows, is_kept=is_kept)
            for node in (red, black)
        )
        across = plus.astype(np.float64)
        across -= minus
        source = np.maximum(plus_units, minus_units).astype(np.float64)
        if reading.kind is ReadingKind.LAMP:
            # a meter of megohms sees no sum of two, a lamp does
            source += np.minimum(plus_units, minus_units)
        found = across, SOURCE_UNIT_OHMS * source
        if is_kept:
            self._kept.put(reading, found)
        return found

    def _are_singles(self, hypotheses: Hypotheses, rows: IntArray | slice) -> bool:
        if not isinstance(rows, slice):
            return False
        if hypotheses is self.singles:
            return rows == slice(None)
        is_bank = hypotheses.prediction is self.bank.all.prediction
        return is_bank and rows == slice(0, self.bank.n_singles)

    def lead_nodes(self, reading: Reading) -> tuple[int, int]:
        """Return the nodes whose volts or ohms a reading shows.

        Parameters
        ----------
        reading : Reading
            Neither a current nor a look.

        Returns
        -------
        tuple[int, int]
            Numbers of the red and the black lead's node; of the ripple, of the two
            nodes of its own between which it is kept as volts.
        """
        leads = reading.red, reading.black
        if reading.kind is ReadingKind.AC_VOLTS:
            leads = ripple_nodes(self.car) or leads
        red, black = (self.predictor.node_index[node] for node in leads)
        return red, black

    def probe_column(self, reading: Reading) -> int:
        """Return where `Prediction.probes` holds the current or the look of a part.

        Parameters
        ----------
        reading : Reading
            Of one of `PROBED_KINDS`.

        Returns
        -------
        int
            A column.
        """
        is_current = reading.kind is not ReadingKind.LOOK
        return self.columns[
            Probe(branch=reading.red, state=reading.state, is_current=is_current)
        ]

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

    def ghost_volts(
        self,
        hypotheses: Hypotheses,
        reading: Reading,
        *,
        rows: IntArray | slice = slice(None),
    ) -> FloatArray:
        """Return how far stray leakage may move a volts reading.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets that are solved.
        reading : Reading
            Of volts.
        rows : IntArray or slice
            The fault sets wanted; all when not given.

        Returns
        -------
        FloatArray
            A standard deviation, shape (n_rows, n_draws). [V]

        Notes
        -----
        A wire that nothing holds takes its volts from insulation and dirt, which differ
        ten thousandfold from car to car: that is a draw of the car's (`leak_factor`),
        so that two readings of such wires hang together. What is left is half of what
        the meter shows and of what a live neighbour leaks to it, once the source
        resistance is beyond 1 Mohm.
        """
        across, ohms = self._across(hypotheses, reading, rows)
        return leak_volts(
            across,
            ohms,
            self.leak_factor,
            self.knowledge.meter,
            system_volts=self.car.system_volts,
        )

    def _ohms(
        self,
        hypotheses: Hypotheses,
        state: int,
        nodes: tuple[int, int],
        rows: IntArray | slice,
    ) -> FloatArray:
        """Return ohms between two nodes; against the reference they are at hand."""
        red, black = nodes
        if black == 0:
            held = hypotheses.prediction.units_at(state, red, rows)
            ohms = SOURCE_UNIT_OHMS * held.astype(np.float64)
        else:
            numbers = np.arange(len(hypotheses.sets))[rows].tolist()
            sets = [hypotheses.sets[number] for number in numbers]
            ohms = self.predictor.between_ohms(sets, state, red, black)
        return over_range(ohms + self.lead_ohms)

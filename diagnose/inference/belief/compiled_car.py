"""The cause network and the circuit in compiled form: hypotheses and their predictions.

A hypothesis is a fault set with what it would show under every draw. Singles are there
from the start and cached per car; doubles join when the facts call for them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cache

import numpy as np

from diagnose.arrays import FloatArray, IntArray, StoredArray
from diagnose.circuit.car import (
    Car,
)
from diagnose.faults.causes import Cause, FaultSet, Severity, effect_signature
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.predicted import SOURCE_UNIT_OHMS, Prediction, probe_columns
from diagnose.faults.predictor import Predictor
from diagnose.inference.belief.bank import Bank, n_rows
from diagnose.inference.belief.hypotheses import Hypotheses
from diagnose.inference.belief.intermittent import Presence
from diagnose.inference.prior.priors import Priors
from diagnose.measurement.meters import Meter
from diagnose.measurement.probe_lamp import lamp_grade
from diagnose.measurement.quantities import Probe, usable_symptoms
from diagnose.measurement.readings import Reading, ReadingKind, fuse_ohms
from diagnose.measurement.symptom_chances import Observed, symptom_probability
from diagnose.measurement.where_to_measure import ripple_nodes

KEPT_READINGS = 64
# Derived: an evening's readings; .7 MB each.
PROBED_KINDS = frozenset({ReadingKind.LOOK, ReadingKind.AMPS, ReadingKind.FUSE})
GHOST_OHMS = 1e6
# From memory: dirt and damp leave anything from some hundred kohm up.
LEAK_SPREAD = 10.0
# From memory: insulation differs a hundredfold from car to car, ten times either way.
LEAK_SHARE = 0.5
# From memory: and from place to place on one car, so that what a wire that nothing
# holds shows may be off by half.
OVER_RANGE_OHMS = 1e6
# Rule: above a megohm there is only insulation, and it takes the meter and the weather
# whether it still shows megohms or OL. Both mean that no path is left.


class Compiled:
    """One car ready for diagnosis.

    Parameters
    ----------
    predictor : Predictor
    knowledge : Knowledge
    priors : Priors
    bank : Bank or None
        With the healthy car and every single cause; worked out here when None.
    progress : Callable or None
        Called with the share done, 0 to 1.
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
        self._columns: Mapping[Probe, int] = probe_columns(predictor.probes)
        if bank is None:
            bank = self._solved_bank(progress)
        self.bank = bank
        self.singles: Hypotheses = bank.singles
        level = predictor.model.sample.probabilities("leakage")
        self.leak_factor: FloatArray = LEAK_SPREAD ** (2.0 * level - 1.0)
        self._kept: dict[Reading, tuple[FloatArray, FloatArray]] = {}

    def _solved_bank(self, progress: Callable[[float], None] | None) -> Bank:
        """Return every single cause solved; those that act alike are solved once."""
        alike: dict[object, list[int]] = {}
        for number, cause in enumerate(self.causes[: self.n_lasting]):
            alike.setdefault(effect_signature(cause), []).append(number)
        # faults of one kind switch and blow alike, and take as many rounds together
        groups = sorted(
            alike.values(), key=lambda group: self.causes[group[0]].mode.name
        )
        sets = ((), *((number,) for number in range(self.n_lasting)))
        shape = (n_rows(len(sets)), self.n_draws, len(self.symptom_names))
        prediction = self.predictor.predict(
            [(), *((group[0],) for group in groups)],
            rows=np.array([0, *(1 + group[0] for group in groups)]),
            n_rows=shape[0],
            progress=progress,
        )
        bank = Bank(sets, prediction, np.zeros(shape, dtype=np.float32))
        for first, *others in groups:
            for other in others:
                bank.put(1 + other, bank.all, 1 + first)
        self._fill_symptoms(bank.singles)
        return bank

    def shown_by(self, cause: int) -> int:
        """Return the row of the bank that holds what a cause alone shows.

        Of one that comes and goes, while it is there.
        """
        if cause < self.n_lasting:
            return 1 + cause
        return 1 + int(self.presence.acts_as[cause - self.n_lasting])

    @property
    def n_draws(self) -> int:
        """Number of tolerance draws."""
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
        severities : Sequence[tuple[Severity, ...]] or None
            How severe causes of each set are; others are drawn.
        every : int
            Solve only every so many-th draw and let it stand for those between.
        is_compact : bool
            Return only the draws that were solved, see `Hypotheses.stretched`.
        """
        prediction = self.predictor.predict(
            sets,
            severities=severities,
            every=every,
            is_compact=is_compact,
            progress=progress,
        )
        n_draws = prediction.probes.shape[1]
        shape = (len(sets), n_draws, len(self.symptom_names))
        symptoms = np.empty(shape, dtype=np.float32)
        solved = Hypotheses(sets=tuple(sets), prediction=prediction, symptoms=symptoms)
        self._fill_symptoms(solved)
        return solved

    def _fill_symptoms(self, solved: Hypotheses) -> None:
        """Work out the symptoms of fault sets whose prediction is there."""
        seen = self._observed(solved.sets, solved.prediction)
        known: dict[str, FloatArray] = {}
        for column, name in enumerate(self.symptom_names):
            solved.symptoms[:, :, column] = symptom_probability(
                self.knowledge.symptoms[name],
                symptoms=self.knowledge.symptoms,
                car=self.car,
                seen=seen,
                known=known,
            )

    def _observed(self, sets: Sequence[FaultSet], prediction: Prediction) -> Observed:
        node_index, state_index = self.predictor.node_index, self.predictor.state_index

        @cache
        def volts(state: str, node: str) -> FloatArray:
            values = prediction.volts[state_index[state], :, :, node_index[node]]
            return values.astype(np.float64)

        @cache
        def probe(wanted: Probe) -> FloatArray:
            return prediction.probes[:, :, self._columns[wanted]].astype(np.float64)

        def mechanical(name: str) -> FloatArray:
            worst = [
                min(
                    (self.causes[c].mode.mechanical.get(name, 1.0) for c in fault_set),
                    default=1.0,
                )
                for fault_set in sets
            ]
            n_draws = prediction.probes.shape[1]
            return np.repeat(np.array(worst)[:, None], n_draws, axis=1)

        return Observed(volts=volts, probe=probe, mechanical=mechanical)

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
        rows : IntArray or slice
            The fault sets wanted; all when not given.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws), in volts, ohms (inf for over-range), amps, the
            grade of a test lamp, or 1/0 for a look.
        """
        prediction = hypotheses.prediction
        state = self.predictor.state_index[reading.state]
        if reading.kind in PROBED_KINDS:
            column = prediction.probes[rows, :, self.probe_column(reading)]
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
        if is_kept and reading in self._kept:
            return self._kept[reading]
        state = self.predictor.state_index[reading.state]
        red, black = self.lead_nodes(reading)
        volts = hypotheses.prediction.volts[state]
        units = hypotheses.prediction.source_units[state]
        across = volts[rows, :, red].astype(np.float64) - volts[rows, :, black]
        ends = units[rows, :, red], units[rows, :, black]
        source = np.maximum(*ends).astype(np.float64)
        if reading.kind is ReadingKind.LAMP:
            # a meter of megohms sees no sum of two, a lamp does
            source += np.minimum(*ends)
        found = across, SOURCE_UNIT_OHMS * source
        if is_kept:
            if len(self._kept) >= KEPT_READINGS:
                del self._kept[next(iter(self._kept))]
            self._kept[reading] = found
        return found

    def _are_singles(self, hypotheses: Hypotheses, rows: IntArray | slice) -> bool:
        if not isinstance(rows, slice):
            return False
        if hypotheses is self.singles:
            return rows == slice(None)
        n_singles = self.bank.n_singles
        is_bank = hypotheses.prediction.volts is self.bank.all.prediction.volts
        return is_bank and rows == slice(0, n_singles)

    def lead_nodes(self, reading: Reading) -> tuple[int, int]:
        """Return the nodes whose volts or ohms a reading shows.

        The ripple is kept as the volts between two nodes of its own.
        """
        leads = reading.red, reading.black
        if reading.kind is ReadingKind.AC_VOLTS:
            leads = ripple_nodes(self.car) or leads
        red, black = (self.predictor.node_index[node] for node in leads)
        return red, black

    def probe_column(self, reading: Reading) -> int:
        """Return where `Prediction.probes` holds the current or the look of a part."""
        is_current = reading.kind is not ReadingKind.LOOK
        return self._columns[
            Probe(branch=reading.red, state=reading.state, is_current=is_current)
        ]

    def ghost_volts(
        self,
        hypotheses: Hypotheses,
        reading: Reading,
        *,
        rows: IntArray | slice = slice(None),
    ) -> FloatArray:
        """Return how far stray leakage may move a volts reading. [V].

        Shape (n_rows, n_draws).

        Notes
        -----
        A wire that nothing holds takes its volts from insulation and dirt, which differ
        a hundredfold from car to car: that is a draw of the car's (`leak_factor`), so
        that two readings of such wires hang together. What is left is half of what the
        meter shows, once the source resistance is beyond 1 Mohm.
        """
        across, ohms = self._across(hypotheses, reading, rows)
        return leak_volts(across, ohms, self.leak_factor, self.knowledge.meter)

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
            held = hypotheses.prediction.source_units[state, rows, :, red]
            ohms = SOURCE_UNIT_OHMS * held.astype(np.float64)
        else:
            numbers = np.arange(len(hypotheses.sets))[rows].tolist()
            sets = [hypotheses.sets[number] for number in numbers]
            ohms = self.predictor.between_ohms(sets, state, red, black)
        return over_range(ohms + self.knowledge.meter.lead_ohms)


def leaky_ohms(
    source_ohms: FloatArray | StoredArray, leak_factor: FloatArray | StoredArray
) -> FloatArray:
    """Return source resistances in cars whose insulation differs. [Ω].

    Parameters
    ----------
    source_ohms : FloatArray
        Shape (..., n_draws). [Ω]
    leak_factor : FloatArray
        On what is insulation and dirt, shape (n_draws,); on a path of copper it does
        not count.

    Examples
    --------
    >>> [f"{ohms:.3g}" for ohms in leaky_ohms(np.array([1e3, 1e9]), np.array([0.1]))]
    ['999', '1.01e+08']
    """
    beyond = source_ohms / (source_ohms + GHOST_OHMS)
    return np.asarray(source_ohms * (1.0 + beyond * (leak_factor - 1.0)))


def leak_volts(
    across: FloatArray, source_ohms: FloatArray, leak_factor: FloatArray, meter: Meter
) -> FloatArray:
    """Return how far leakage from place to place may move what a meter shows. [V].

    Parameters
    ----------
    across : FloatArray
        Open-circuit volts, shape (..., n_draws). [V]
    source_ohms, leak_factor : FloatArray
        As in `leaky_ohms`.
    """
    shown = loaded_volts(across, leaky_ohms(source_ohms, leak_factor), meter)
    beyond = source_ohms / (source_ohms + GHOST_OHMS)
    return np.asarray(LEAK_SHARE * np.abs(shown) * beyond)


def over_range(ohms: FloatArray) -> FloatArray:
    """Return ohms as a meter shows them: inf (OL) above its range."""
    return np.where(ohms > OVER_RANGE_OHMS, np.inf, ohms)


def loaded_volts(
    volts: FloatArray, source_ohms: FloatArray, meter: Meter
) -> FloatArray:
    """Return what a meter shows that loads a source with some resistance.

    Parameters
    ----------
    volts : FloatArray
        Open-circuit. [V]
    source_ohms : FloatArray
        Same shape. [Ω]

    Examples
    --------
    12 V behind 10 Mohm on a 10 Mohm meter:

    >>> from diagnose.measurement.meters import Meter, MeterRange
    >>> from diagnose.measurement.probe_lamp import ProbeLamp
    >>> range_ = MeterRange(percent=0.5, counts=2, resolution=0.01)
    >>> meter = Meter(
    ...     volts=range_,
    ...     ohms=range_,
    ...     amps=range_,
    ...     ac_volts=range_,
    ...     millivolts=range_,
    ...     test_lamp=ProbeLamp(
    ...         watts=3.0,
    ...         volts=12.0,
    ...         lit_light=0.5,
    ...         dark_light=0.01,
    ...         lit_blur=0.25,
    ...         dark_blur=0.6,
    ...     ),
    ...     input_ohms=1e7,
    ...     lead_ohms=0.2,
    ...     slip_probability=0.02,
    ...     model_volts=0.03,
    ...     model_fraction=0.01,
    ... )
    >>> float(loaded_volts(np.array(12.0), np.array(1e7), meter))
    6.0
    """
    return np.asarray(volts / (1.0 + source_ohms / meter.input_ohms))

"""What a meter would show of fault sets that are solved.

Leads are put to nodes, a clamp round a part, an eye on a fuse; ripple has two nodes of
its own. Leaves what a meter makes of volts and ohms to `meter_loading`, and how far it
may be off to `inference.belief.reading_spread`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray, StoredArray
from diagnose.circuit.car import Car
from diagnose.faults.predictions.kept.prediction import AnyPrediction
from diagnose.faults.predictions.predicted import SOURCE_UNIT_OHMS
from diagnose.faults.predictions.predictor import Predictor
from diagnose.inference.compiled.bank import SOUND_ROW, Bank
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.compiled.kept_shown import KeptShown, Latest
from diagnose.inference.compiled.meter_loading import (
    drawn_lead_ohms,
    leak_factors,
    leak_volts,
    leaky_ohms,
    loaded_volts,
    over_range,
)
from diagnose.measurement.meters import Meter
from diagnose.measurement.points.where_to_measure import ripple_nodes
from diagnose.measurement.probe_lamp import lamp_grade
from diagnose.measurement.quantities import Probe
from diagnose.measurement.readings import Reading, ReadingKind, fuse_ohms

# How many readings are kept as the single causes show them. [1] Own choice: those of
# most evenings; .7 MB each.
KEPT_READINGS = 32

# Of how many nodes is kept what single causes put under a lead there. [1] Derived: the
# posts in every state, where a slipped lead lands, and the latest ones; .4 MB each.
KEPT_LEADS = 64

# The same of other fault sets, and of how many groups of them. [1] Own choices: what
# one likelihood asks for, of the sound car, a ladder, and the rows that a fault moves.
PASSING_READINGS, PASSING_LEADS, PASSING_GROUPS = 4, 8, 4

# Ohms of the sound car that spread by more than so many times, from one draw in ten to
# nine, are not known from its file. [1] Derived: brushes of a motor at rest are known
# to a factor of three, electronics spread over three powers of ten.
UNKNOWN_RATIO = 6.0

# Ohms closer than this and this share to those of the sound car are moved by no fault.
# [Ω, 1] Derived: under the spread of ohms.
SAME_OHMS, SAME_OHMS_SHARE = 0.2, 0.05

# Readings that `Prediction.probes` holds: currents, and looks at a fuse.
PROBED_KINDS = frozenset({ReadingKind.LOOK, ReadingKind.AMPS, ReadingKind.FUSE})


@dataclass(frozen=True, slots=True)
class _Passing:
    """What is kept of rows that are asked for a few times in a row."""

    prediction: AnyPrediction
    rows: IntArray | slice
    kept: KeptShown

    def is_of(self, prediction: AnyPrediction, rows: IntArray | slice) -> bool:
        """Whether it is of these rows; held here, no others have their number."""
        if prediction is not self.prediction:
            return False
        if isinstance(rows, slice):
            return isinstance(self.rows, slice) and rows == self.rows
        return rows is self.rows


class ShownReadings:
    """What a meter shows of one car under fault sets that are solved.

    Parameters
    ----------
    predictor : Predictor
        Knows the nodes and states of the car.
    meter : Meter
    bank : Bank
        With the single causes, of which what was read last is kept.
    columns : Mapping[Probe, int]
        Where predictions hold each current and each on/off fact.

    Attributes
    ----------
    leak_factor : FloatArray
        How well the car insulates in each draw, shape (n_draws,). [1]
    lead_ohms : FloatArray
        What the meter's leads add to ohms in each draw, shape (n_draws,). [Ω]
    """

    def __init__(
        self,
        predictor: Predictor,
        meter: Meter,
        bank: Bank,
        columns: Mapping[Probe, int],
    ) -> None:
        self._predictor = predictor
        self._car: Car = predictor.model.car
        self._meter = meter
        self._bank = bank
        self._columns = columns
        sample = predictor.model.sample
        self.leak_factor: FloatArray = leak_factors(sample.probabilities("leakage"))
        of_leads = sample.probabilities("leads")
        self.lead_ohms: FloatArray = drawn_lead_ohms(of_leads, meter)
        self._of_singles = KeptShown(KEPT_READINGS, KEPT_LEADS)
        self._passing: Latest[tuple[int, int], _Passing] = Latest(PASSING_GROUPS)
        self._unknown: dict[tuple[str, str], FloatArray | None] = {}

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
        state = self._predictor.state_index[reading.state]
        if reading.kind in PROBED_KINDS:
            column = prediction.probes_at(self.probe_column(reading), rows)
            column = column.astype(np.float64)
            if reading.kind is ReadingKind.FUSE:
                column *= fuse_ohms(self._car.part(reading.red))
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
                lamp=self._meter.test_lamp,
                system_volts=self._car.system_volts,
            )
        # the caller may write over it
        return self._meter_volts(hypotheses, reading, rows).copy()

    def unknown_ohms(self, reading: Reading) -> FloatArray | None:
        """Return what the sound car shows of ohms that its file does not tell.

        Through electronics a meter shows anything: which draw gives what was read says
        nothing of the draw, and only a fault that moves it says something.

        Parameters
        ----------
        reading : Reading

        Returns
        -------
        FloatArray or None
            Shape (n_draws,); None of other readings, and of ohms that are known. [Ω]
        """
        if reading.kind is not ReadingKind.OHMS:
            return None
        key = reading.state, reading.red
        if key not in self._unknown:
            sound = self.predicted(self._bank.all, reading, rows=SOUND_ROW)[0]
            low, high = np.quantile(sound, [0.1, 0.9], method="nearest")
            is_unknown = np.isfinite(high) and high > UNKNOWN_RATIO * low
            self._unknown[key] = sound if is_unknown else None
        return self._unknown[key]

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
        state = self._predictor.state_index[reading.state]
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
        return loaded_volts(across, ohms, self._meter)

    def _across(
        self, hypotheses: Hypotheses, reading: Reading, rows: IntArray | slice
    ) -> tuple[FloatArray, FloatArray]:
        """Return open-circuit volts between the leads, and what stands behind them.

        They are kept: likelihood, stray and deviation ask for them.

        Returns
        -------
        tuple
            Shape (n_rows, n_draws) each. [V], [Ω]
        """
        kept = self._kept_of(hypotheses, rows)
        known = kept.across.get(reading)
        if known is not None:
            return known
        state = self._predictor.state_index[reading.state]
        red, black = self.lead_nodes(reading)
        held = hypotheses.prediction
        (plus, plus_units), (minus, minus_units) = (
            kept.under(held, (state, node), rows) for node in (red, black)
        )
        across = plus.astype(np.float64)
        across -= minus
        source = np.maximum(plus_units, minus_units).astype(np.float64)
        if reading.kind is ReadingKind.LAMP:
            # a meter of megohms sees no sum of two, a lamp does
            source += np.minimum(plus_units, minus_units)
        found = across, SOURCE_UNIT_OHMS * source
        kept.across.put(reading, found)
        return found

    def _meter_volts(
        self, hypotheses: Hypotheses, reading: Reading, rows: IntArray | slice
    ) -> FloatArray:
        """Return what the meter shows of volts, not to be written to.

        That is kept, as in `_across`; shape (n_rows, n_draws). [V]
        """
        kept = self._kept_of(hypotheses, rows)
        known = kept.shown.get(reading)
        if known is not None:
            return known
        across, source_ohms = self._across(hypotheses, reading, rows)
        ohms = leaky_ohms(source_ohms, self.leak_factor)
        shown = loaded_volts(across, ohms, self._meter)
        kept.shown.put(reading, shown)
        return shown

    def _kept_of(self, hypotheses: Hypotheses, rows: IntArray | slice) -> KeptShown:
        """Return what is kept of some rows: nothing yet of those asked for anew."""
        if self.are_singles(hypotheses, rows):
            return self._of_singles
        prediction = hypotheses.prediction
        wider = None
        if prediction is self._bank.all.prediction:
            if not self._are_some_singles(rows):
                # rows behind the single causes are written over
                return KeptShown(1, 2)
            wider = self._of_singles
        key = id(prediction), 0 if isinstance(rows, slice) else id(rows)
        known = self._passing.get(key)
        if known is None or not known.is_of(prediction, rows):
            kept = KeptShown(PASSING_READINGS, PASSING_LEADS, wider)
            known = _Passing(prediction, rows, kept)
            self._passing.put(key, known)
        return known.kept

    def are_singles(self, hypotheses: Hypotheses, rows: IntArray | slice) -> bool:
        """Return whether rows are those of the single causes, all of them.

        Parameters
        ----------
        hypotheses : Hypotheses
            Fault sets that are solved.
        rows : IntArray or slice
            Some of them.

        Returns
        -------
        bool
            Of others that are the same rows, False.
        """
        if not isinstance(rows, slice):
            return False
        if hypotheses is self._bank.singles:
            return rows == slice(None)
        is_bank = hypotheses.prediction is self._bank.all.prediction
        return is_bank and rows == slice(0, self._bank.n_singles)

    def _are_some_singles(self, rows: IntArray | slice) -> bool:
        if isinstance(rows, slice):
            return False
        return bool(len(rows)) and int(rows.max()) < self._bank.n_singles

    def moved_rows(
        self, readings: Sequence[Reading], hypotheses: Hypotheses
    ) -> tuple[IntArray, IntArray]:
        """Return the single causes under which some readings are not as when sound.

        Parameters
        ----------
        readings : Sequence[Reading]
            None of ohms between two nodes of which neither is the reference.
        hypotheses : Hypotheses
            With the single causes in front.

        Returns
        -------
        tuple[IntArray, IntArray]
            Their rows, the sound car's first, shape (n_moved,); and where among these
            is what each single cause shows, shape (n_singles,).
        """
        every, held = slice(0, self._bank.n_singles), hypotheses.prediction
        moves = np.zeros(self._bank.n_singles, dtype=np.bool_)
        for reading in readings:
            state = self._predictor.state_index[reading.state]
            shown = [held.is_settled[state, every]]
            if reading.kind in PROBED_KINDS:
                shown.append(held.probes_at(self.probe_column(reading), every))
            else:
                for node in self.lead_nodes(reading):
                    shown += self._of_singles.under(held, (state, node), every)
            for values in shown:
                moves |= (values != values[0]).any(axis=1)
        moves[0] = True
        rows = np.flatnonzero(moves)
        place = np.zeros(len(moves), dtype=np.int64)
        place[rows] = np.arange(len(rows))
        return rows, place

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
            leads = ripple_nodes(self._car) or leads
        red, black = (self._predictor.node_index[node] for node in leads)
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
        return leak_volts(
            self._meter_volts(hypotheses, reading, rows),
            self._across(hypotheses, reading, rows)[1],
            self.leak_factor,
            self._meter,
            system_volts=self._car.system_volts,
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
            ohms = self._predictor.between_ohms(sets, state, red, black)
        return over_range(ohms + self.lead_ohms)


def moved_by_nothing(
    ohms: FloatArray | StoredArray, sound: FloatArray | StoredArray
) -> BoolArray:
    """Return where ohms are those of the sound car, as far as a meter can tell.

    Parameters
    ----------
    ohms, sound : FloatArray
        Of the same shape, or one that fits. [Ω]

    Returns
    -------
    BoolArray
        That shape.
    """
    with np.errstate(invalid="ignore"):
        apart = np.abs(ohms - sound)
    return np.asarray(apart <= SAME_OHMS + SAME_OHMS_SHARE * sound)

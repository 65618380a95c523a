"""How likely a reading is under each fault set and draw.

Puts together what is predicted, how far it scatters, and slips: leads on the wrong
point, a wrong state or digit. Leaves the scatter to `scatter`, slips to
`reading_slips`, and the chance that the car was in that state to `likelihoods`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.inference.belief.evidence import (
    lamp_likelihood,
    look_likelihood,
    reading_likelihood,
    tail_of,
)
from diagnose.inference.belief.severity_steps import step_spread, steps_of
from diagnose.inference.compiled.bank import SOUND_ROW
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.compiled.shown_readings import moved_by_nothing
from diagnose.measurement.probe_lamp import answer_chance
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.seen import Noted, rounding_deviation, shown
from diagnose.session.evidence.weighing.all_draws import on_all_draws
from diagnose.session.evidence.weighing.compared import ComparedReadings, Pair
from diagnose.session.evidence.weighing.reading_slips import ReadingSlips
from diagnose.session.evidence.weighing.scatter import EVERY_ROW, RowIndex, Scatter
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model

# How often a wire that nothing holds leaks to no live neighbour, only to what it is
# bolted to. [1] Own choice: half of them lie in a loom beside one that is live. Without
# it 0.01 V at such a wire said that the car is dry, fifty to one, and the phantom volts
# of the next one fitted nothing.
NO_NEIGHBOUR_SHARE = 0.5

# What a leak has to move volts by to count. [V] Own choice: a thousandth of the last
# digit of any meter here.
LEAST_LEAK_VOLTS = 1e-5

# What is seen, and no value that varies from draw to draw.
SEEN_KINDS = frozenset({ReadingKind.LOOK, ReadingKind.LAMP})


class WeighedReadings:
    """Weighs readings on one car: how likely each is under each fault set.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    scatter : Scatter
        How far readings stray without a mistake.
    slips : ReadingSlips
        What they show after one.
    """

    def __init__(self, model: Model, scatter: Scatter, slips: ReadingSlips) -> None:
        self._model = model
        self._compiled: Compiled = model.compiled
        self._scatter = scatter
        self._slips = slips
        self.compared = ComparedReadings(scatter, slips)

    def likelihood(
        self,
        hypotheses: Hypotheses,
        noted: Noted,
        observation: ReadingFact,
        *,
        rows: RowIndex = EVERY_ROW,
        is_ladder: bool = False,
        stands_for: int = 1,
        is_repeated: bool = True,
    ) -> FloatArray:
        """Return the likelihood of a reading that could be taken.

        Parameters
        ----------
        observation : ReadingFact
            The reading that was noted.
        hypotheses, noted, rows, is_ladder, stands_for, is_repeated
            As for `Weigher.likelihood`.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws), or (n_steps, n_draws) of a ladder.
            [1 over the unit of the reading, or 1]
        """
        weigh = partial(
            self._of_rows,
            hypotheses,
            noted,
            observation,
            is_ladder=is_ladder,
            stands_for=stands_for,
            is_repeated=is_repeated,
        )
        if not self._compiled.readings.are_singles(hypotheses, rows):
            return weigh(rows)
        compared = [] if noted.beside is None else [noted.beside.reading]
        looked_at = self._slips.looked_at(observation.reading, *compared)
        if not all(self._is_kept(one) for one in looked_at):
            return weigh(rows)
        # most faults move nothing of what is seen: these are weighed as the sound car
        some, place = self._compiled.readings.moved_rows(looked_at, hypotheses)
        return np.asarray(weigh(some)[place])

    def most(self, noted: Noted, fact: ReadingFact) -> float:
        """Return the likelihood of a value where it is just what was predicted.

        Parameters
        ----------
        noted : Noted
            What was seen.
        fact : ReadingFact
            The value.

        Returns
        -------
        float
            Where nothing else widens it. [1 over the unit of the reading, or 1]
        """
        value = np.array([[shown(fact)]])
        found = reading_likelihood(
            shown(fact),
            value,
            spread=self._scatter.of_fact(fact),
            slips=self._slips.behind(noted),
        )
        return float(found[0, 0])

    def _is_kept(self, reading: Reading) -> bool:
        """Return whether what a reading shows is kept for each fault set."""
        if reading.kind is not ReadingKind.OHMS:
            return True
        return reading.black == self._model.car.reference

    def _of_rows(
        self,
        hypotheses: Hypotheses,
        noted: Noted,
        observation: ReadingFact,
        rows: RowIndex,
        *,
        is_ladder: bool,
        stands_for: int,
        is_repeated: bool,
    ) -> FloatArray:
        """Return what `likelihood` does, each row by itself."""
        reading = observation.reading
        on = steps_of(hypotheses, reading.state) if is_ladder else np.asarray
        every = partial(
            self._in_every_draw,
            hypotheses,
            rows=rows,
            stands_for=stands_for if is_repeated else 1,
        )
        predicted, hardly_moved = every(reading)
        predicted = on(predicted)
        if reading.kind is ReadingKind.LOOK:
            return look_likelihood(observation.value > 0.5, predicted)
        if reading.kind is ReadingKind.LAMP:
            slips = self._slips.behind(noted)
            return lamp_likelihood(observation.value, predicted, slips=slips)
        found = self._of_value(
            hypotheses,
            noted,
            predicted,
            rows=rows,
            is_ladder=is_ladder,
            stands_for=stands_for,
            hardly_moved=hardly_moved,
        )
        unknown = self._compiled.readings.unknown_ohms(reading)
        if unknown is not None:
            return self._of_unknown(noted, predicted, unknown, found)
        if noted.beside is None:
            return found
        if is_ladder:
            on = steps_of(hypotheses, noted.beside.reading.state)
        base = on(every(noted.beside.reading)[0])
        return self.compared.likelihood(
            hypotheses,
            noted,
            Pair(observation, noted.beside, predicted, base),
            found,
            rows=rows,
            is_ladder=is_ladder,
            stands_for=stands_for,
        )

    def _of_unknown(
        self,
        noted: Noted,
        predicted: FloatArray,
        unknown: FloatArray,
        found: FloatArray,
    ) -> FloatArray:
        """Return the likelihood of ohms whose value in a draw says nothing of the draw.

        Parameters
        ----------
        predicted : FloatArray
            In all draws, shape (n_rows, n_draws). [Ω]
        unknown : FloatArray
            What the sound car shows, shape (n_draws,). [Ω]
        found : FloatArray
            The likelihood draw by draw, shape (n_rows, n_draws); written over.
            [1 over the unit of the reading]
        """
        fact = noted.observation
        assert isinstance(fact, ReadingFact)
        spread = self._scatter.of_fact(fact).shared_by(noted.n_shared)
        sound = reading_likelihood(
            shown(fact),
            unknown[None],
            spread=spread,
            slips=self._slips.behind(noted),
            stray=np.full((1, len(unknown)), rounding_deviation(fact)),
        )
        found[moved_by_nothing(predicted, unknown)] = sound.mean()
        return found

    def _in_every_draw(
        self,
        hypotheses: Hypotheses,
        reading: Reading,
        *,
        rows: RowIndex,
        stands_for: int,
    ) -> tuple[FloatArray, BoolArray]:
        """Return what every draw shows, and the rows that the fault hardly moves."""
        predicted = self._compiled.readings.predicted(hypotheses, reading, rows=rows)
        if stands_for == 1 or reading.kind in SEEN_KINDS:
            return predicted, np.zeros(len(predicted), dtype=np.bool_)
        return self._in_all_draws(
            hypotheses, reading, predicted, rows=rows, stands_for=stands_for
        )

    def _in_all_draws(
        self,
        hypotheses: Hypotheses,
        reading: Reading,
        predicted: FloatArray,
        *,
        rows: RowIndex,
        stands_for: int,
    ) -> tuple[FloatArray, BoolArray]:
        """Return what every draw shows, and the rows that the fault hardly moves.

        Volts lead by lead: what lies at the supply goes with the supply of its draw.
        """
        readings, bank = self._compiled.readings, self._compiled.bank.all
        sound = readings.predicted(bank, reading, rows=SOUND_ROW)[0]
        if reading.kind is ReadingKind.OHMS:
            # the leads differ from draw to draw already
            added = readings.lead_ohms
            shown, hardly = on_all_draws(predicted - added, sound - added, stands_for)
            return shown + added, hardly
        shown, hardly = on_all_draws(predicted, sound, stands_for)
        if reading.kind is not ReadingKind.DC_VOLTS:
            return shown, hardly
        of_post = self._supply(reading)
        leads = zip(
            readings.lead_volts(hypotheses, reading, rows=rows),
            readings.lead_volts(bank, reading, rows=SOUND_ROW),
            strict=True,
        )
        red, black = (
            on_all_draws(volts, base[0], stands_for, supply=of_post)[0]
            for volts, base in leads
        )
        return readings.loaded(red - black, hypotheses, reading, rows=rows), hardly

    def _supply(self, reading: Reading) -> FloatArray | None:
        """Return the volts of the fed post on the sound car, shape (n_draws,)."""
        if self._slips.fed is None:
            return None
        post = replace(reading, red=self._slips.fed, black=self._model.car.reference)
        bank = self._compiled.bank.all
        return np.asarray(
            self._compiled.readings.lead_volts(bank, post, rows=SOUND_ROW)[0][0]
        )

    def _of_value(
        self,
        hypotheses: Hypotheses,
        noted: Noted,
        predicted: FloatArray,
        *,
        rows: RowIndex,
        is_ladder: bool,
        stands_for: int,
        hardly_moved: BoolArray,
    ) -> FloatArray:
        """Return the likelihood of a value on a meter, steady and jumping mixed.

        Parameters
        ----------
        predicted : FloatArray
            In all draws, of steps where it is a ladder, shape (n_rows, n_draws).
        hardly_moved : BoolArray
            Which of the solved rows vary from draw to draw as the sound car, shape
            (n_solved,); between their draws no gap is left that has to be closed.
        """
        fact = noted.observation
        assert isinstance(fact, ReadingFact)
        reading, value = fact.reading, shown(fact)
        on = steps_of(hypotheses, reading.state) if is_ladder else np.asarray
        switches = hypotheses.switches.get(reading.state)
        spread_steps = step_spread(predicted, switches) if is_ladder else None
        rounding = rounding_deviation(fact)
        spread = self._scatter.of_fact(fact).shared_by(noted.n_shared)
        slips = self._slips.behind(noted)
        slipped = self._slips.volts_density(value, reading, hypotheses, rows)

        hardly = np.asarray(hardly_moved)
        if is_ladder:
            hardly = np.full(len(predicted), hardly_moved.all())
        density = None if slipped is None else np.asarray(on(slipped))

        def fits(stray: FloatArray, wanted: IntArray | slice = EVERY_ROW) -> FloatArray:
            between = 0.0 if spread_steps is None else spread_steps[wanted]
            weigh = partial(
                reading_likelihood,
                value,
                spread=spread,
                slips=slips,
                is_ladder=is_ladder,
            )
            shows = predicted[wanted]
            beyond = np.hypot(np.hypot(stray[wanted], between), rounding)
            slip = None if density is None else density[wanted]
            fitted = weigh(
                shows, stray=beyond, slip_density=slip, stands_for=stands_for
            )
            some = np.flatnonzero(hardly[wanted])
            if len(some):
                slip = None if slip is None else slip[some]
                fitted[some] = weigh(shows[some], stray=beyond[some], slip_density=slip)
            return fitted

        leakage = on(self._scatter.leakage(hypotheses, reading, rows=rows))
        result = fits(leakage)
        leaky = np.flatnonzero(leakage.max(axis=1) > LEAST_LEAK_VOLTS)
        if reading.kind is ReadingKind.DC_VOLTS and len(leaky):
            still = fits(np.zeros(leakage.shape), leaky)
            result[leaky] += NO_NEIGHBOUR_SHARE * (still - result[leaky])
        jumps = on(self._scatter.jumping_share(hypotheses, reading, rows=rows))
        jumpy = np.flatnonzero(jumps.any(axis=1))
        if len(jumpy):
            stray = on(self._scatter.stray(hypotheses, reading, rows=rows))
            result[jumpy] += jumps[jumpy] * (fits(stray, jumpy) - result[jumpy])
        return result

    def tail_probability(
        self,
        fact: ReadingFact,
        predicted: FloatArray,
        share: FloatArray,
        *,
        stray: FloatArray | float = 0.0,
        n_shared: float = 1.0,
    ) -> float:
        """Return the chance of a reading at least as far off, without a slip.

        Parameters
        ----------
        fact : ReadingFact
            The reading and its value.
        predicted : FloatArray
            What each draw of one fault set shows, shape (n_draws,).
            [unit of the reading]
        share : FloatArray
            Weight of each draw, summing to 1; shape (n_draws,). [1]
        stray : FloatArray or float
            Standard deviation beyond the meter's, shape (n_draws,).
            [unit of the reading]
        n_shared : float
            As how many readings the error of the car file counts in it. [1]

        Returns
        -------
        float
            Of a look or a test lamp, the chance of what was seen. [1]
        """
        if fact.reading.kind is ReadingKind.LOOK:
            chance = predicted if fact.value > 0.5 else 1.0 - predicted
            return float((chance * share).sum())
        if fact.reading.kind is ReadingKind.LAMP:
            return float((answer_chance(fact.value, predicted) * share).sum())
        spread = self._scatter.of_fact(fact).shared_by(n_shared)
        stray = np.hypot(stray, rounding_deviation(fact))
        return tail_of(shown(fact), predicted, share, spread=spread, stray=stray)

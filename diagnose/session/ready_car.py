"""A car made ready for diagnosis, from the cache when it has been seen before.

The compiled car is kept by car, knowledge and the program's own modules: a second start
copies nothing, and a change of the solver can't meet old predictions. Priors are kept
by what was learned, readings without it: learning changes no reading, so the next start
weighs the causes anew and solves nothing. Leaves reading files to `files` and keeping
bytes to `store`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, IntArray, give_back
from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.circuit.tolerance_draws import Sample
from diagnose.errors import UnsolvableCircuitError
from diagnose.faults.causes import Cause, FaultSet, catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.links import ties_of
from diagnose.faults.predictions.kept.blocks import Blocks
from diagnose.faults.predictions.kept.prediction import KeptPrediction
from diagnose.faults.predictions.kept.sound_car import KeptNodes
from diagnose.faults.predictions.predictor import Predictor
from diagnose.faults.signatures import repair_signature
from diagnose.inference.compiled.bank import Bank
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.shown_symptoms import can_show, symptom_there
from diagnose.inference.prior.priors import Priors, rates_alone
from diagnose.measurement.points.where_to_measure import clamp_parts
from diagnose.measurement.quantities import Probe, needed_probes
from diagnose.measurement.symptoms import Complaint, Symptom
from diagnose.measurement.touch import TOUCH, Touch, touch_probes, touches
from diagnose.session.fleeting.provocation_tests import (
    Provocation,
    Renewal,
    provocations,
    renewals,
)
from diagnose.session.fleeting.signs import SeenSign, seen_signs
from diagnose.session.model_key import model_key
from diagnose.session.substitution.cars import SubstitutedCars

# How many cars are drawn within the tolerances. Measured: with 16 draws a precise
# reading falls between the draws of the true cause and rules it out; from 64 on the
# share of right answers no longer rises.
N_DRAWS = 64


# How much of making a car ready is done when its circuit is read, when all faults are
# worked out, and when only the causes are left to be weighed. [1] Own choice, for a bar
# that moves about evenly.
READ_SHARE, WORKED_OUT_SHARE, WEIGHING_SHARE = 0.2, 0.95, 0.96

# What the names of complaints end with that a part may have no cause for: a lamp that
# shares no ground lights with no other. By definition.
SELDOM_CAUSED = ("-on-with-another", "-buzzes", "-blows-fuse-later", "-stays-on")

# A complaint that no cause makes likelier than this is not offered. [1] Own choice: one
# severity in twenty brings it.
LEAST_CAUSED = 0.05

# What the names of arrays begin with that are kept of a car's states and symptoms. By
# definition.
SETTLED, SYMPTOMS = "settled", "symptoms"

# Takes the share done, 0 to 1, and what is being done.
Progress = Callable[[float, str], None]

Arrays = Mapping[str, npt.NDArray[Any]]


class ArrayStore(Protocol):
    """Where the compiled form is kept between starts."""

    def get(self, key: str) -> Arrays | None:
        """Return what was put under the key, or None; the caller may write to it."""

    def put(self, key: str, arrays: Arrays) -> bool:
        """Keep arrays under a key; return whether they were kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """One car ready for diagnosis.

    Parameters
    ----------
    car : Car
    knowledge : Knowledge
    compiled : Compiled
        Its causes, with all they would show.
    lines : tuple[tuple[int, ...], ...]
        Causes that no reading tells apart and that share a repair, together; and the
        same fault where it comes and goes, for the repair is the same.
    provocations : Mapping[str, Provocation]
        Tests that bring faults which come and go, by name.
    renewals : Mapping[str, Renewal]
        What can be told to have been renewed, by name.
    touches : Mapping[str, Touch]
        What a hand can feel, by name.
    signs : Mapping[str, SeenSign]
        What can be told of faults that come and go, by name.

    Attributes
    ----------
    substituted : SubstitutedCars
        The car with its circuit changed for a test.
    """

    car: Car
    knowledge: Knowledge
    compiled: Compiled
    lines: tuple[tuple[int, ...], ...]
    provocations: Mapping[str, Provocation] = field(
        default_factory=lambda: MappingProxyType({})
    )
    renewals: Mapping[str, Renewal] = field(
        default_factory=lambda: MappingProxyType({})
    )
    touches: Mapping[str, Touch] = field(default_factory=lambda: MappingProxyType({}))
    signs: Mapping[str, SeenSign] = field(default_factory=lambda: MappingProxyType({}))
    substituted: SubstitutedCars = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        """Begin without any changed car."""
        object.__setattr__(self, "substituted", SubstitutedCars(self.compiled))

    def line_numbers(self) -> IntArray:
        """Return the line each cause is on, shape (n_causes,)."""
        found = np.empty(len(self.compiled.causes), dtype=np.int64)
        for number, line in enumerate(self.lines):
            found[list(line)] = number
        return found

    def told_test(self, name: str) -> Provocation | Renewal | SeenSign | None:
        """Return what is told like a symptom and is none of the circuit, if it is."""
        found = self.provocations.get(name) or self.renewals.get(name)
        return found or self.signs.get(name)

    def can_tell(self, name: str) -> bool:
        """Return whether an answer to a question says something of this car."""
        return self.told_test(name) is not None or can_show(self.compiled, name)

    def asked(self, name: str) -> Symptom:
        """Return what can be answered by yes or no: a symptom, a test, a renewal.

        Raises
        ------
        KeyError
            If there is nothing of that name.
        """
        found = self.told_test(name) or self.touches.get(name)
        return self.knowledge.symptoms[name] if found is None else found.symptom


def all_probes(car: Car, knowledge: Knowledge) -> tuple[Probe, ...]:
    """Return what symptoms and touches need, clamp readings, and the look at fuses."""
    probes = dict.fromkeys(needed_probes(car, knowledge.symptoms))
    probes |= dict.fromkeys(touch_probes(car))
    for state in car.states:
        for name in clamp_parts(car):
            probes.setdefault(Probe(branch=name, state=state.name, is_current=True))
        for part in car.parts:
            if part.kind in PROTECTIVE_KINDS:
                probes.setdefault(
                    Probe(branch=part.name, state=state.name, is_current=False)
                )
    return tuple(probes)


def open_model(
    car: Car,
    knowledge: Knowledge,
    *,
    cache: ArrayStore | None = None,
    progress: Progress | None = None,
    n_draws: int = N_DRAWS,
) -> Model:
    """Return a car ready for diagnosis.

    Parameters
    ----------
    cache : ArrayStore or None
        Where to look first, and where to keep what had to be worked out.
    progress : Callable or None
        Called with the share done (0 to 1) and what is being done.
    n_draws : int
        How many cars are drawn within the tolerances.

    Returns
    -------
    Model

    Raises
    ------
    UnsolvableCircuitError
        If the healthy car has no consistent operating point in some state.
    """
    tell = progress or _told_nobody
    knowledge = knowledge.for_car(car)
    model = CarModel(car, Sample(n_draws=n_draws))
    causes = catalogue(car, knowledge.modes)
    predictor = Predictor(model, causes, all_probes(car, knowledge))
    shelf = _Shelf(cache, model_key(car, knowledge, n_draws), knowledge.learned_digest)
    priors = shelf.priors()
    bank = shelf.bank(sum(cause.mode.lasts for cause in causes))
    if bank is None:
        tell(0.0, "reading the car's circuit")
        _check_states(predictor)
        tell(READ_SHARE, "laying out the causes")
        bank = Compiled(
            predictor,
            knowledge,
            rates_alone(causes),
            progress=lambda share: tell(
                READ_SHARE + (WORKED_OUT_SHARE - READ_SHARE) * share,
                "working out every fault",
            ),
        ).bank
        bank = shelf.keep_bank(bank)
        give_back()
    if priors is None:
        tell(WEIGHING_SHARE, "weighing the causes")
        priors = _priors(car, knowledge, causes)
        shelf.keep_priors(priors)
    compiled = Compiled(predictor, knowledge, priors, bank=bank)
    knowledge = _with_causes(knowledge, compiled, shelf)
    tell(1.0, "ready")
    return Model(
        car=car,
        knowledge=knowledge,
        compiled=compiled,
        lines=_lines(compiled),
        provocations=provocations(car, causes, knowledge.triggers),
        renewals=renewals(car, causes),
        signs=seen_signs(compiled, knowledge.signs),
        touches=touches(car, caution=knowledge.caution_rules.on_tests.get(TOUCH, "")),
    )


def _with_causes(knowledge: Knowledge, compiled: Compiled, shelf: _Shelf) -> Knowledge:
    """Return the knowledge without complaints of parts that no single cause brings."""
    doubtful = [
        name
        for name, complaint in knowledge.complaints.items()
        if complaint.part and name.endswith(SELDOM_CAUSED)
    ]
    is_caused = shelf.is_caused()
    if is_caused is None or len(is_caused) != len(doubtful):
        found = [_has_cause(knowledge.complaints[name], compiled) for name in doubtful]
        is_caused = np.array(found, dtype=np.bool_)
        shelf.keep_caused(is_caused)
    gone = {name for name, has in zip(doubtful, is_caused, strict=True) if not has}
    left = {n: one for n, one in knowledge.complaints.items() if n not in gone}
    return replace(knowledge, complaints=MappingProxyType(left))


def _has_cause(complaint: Complaint, compiled: Compiled) -> bool:
    """Return whether some single cause makes what a complaint is tested by likely."""
    seen = symptom_there(compiled, compiled.singles, complaint.retest).mean(axis=1)
    return bool(seen[1:].max() >= max(LEAST_CAUSED, 2.0 * seen[0]))


def _priors(car: Car, knowledge: Knowledge, causes: Sequence[Cause]) -> Priors:
    """Return the priors of the cause network."""
    # only here, for a car in the cache needs neither
    from diagnose.inference.prior.cause_network import CauseNetwork
    from diagnose.inference.prior.compilation import priors_of

    ties = ties_of(car, causes, knowledge.links)
    return priors_of(CauseNetwork(knowledge.contexts, causes, ties))


def _told_nobody(share: float, doing: str) -> None:
    del share, doing


def _lines(compiled: Compiled) -> tuple[tuple[int, ...], ...]:
    alike: dict[tuple[object, ...], list[int]] = {}
    for index in range(len(compiled.causes)):
        # what comes and goes is mended as what lasts
        lasting = compiled.causes[compiled.shown_by(index) - 1]
        alike.setdefault(repair_signature(lasting), []).append(index)
    return tuple(tuple(members) for members in alike.values())


def _check_states(predictor: Predictor) -> None:
    reasons = []
    for number, state in enumerate(predictor.states):
        flips = predictor.healthy_flips(number)
        if flips is not None:
            moving = predictor.networks[number].branches[int(flips.argmax())]
            reasons.append(
                f"{state.name}: no steady state is found even with everything sound; "
                f"{moving} keeps switching"
            )
    if reasons:
        raise UnsolvableCircuitError(tuple(reasons))


class _Shelf:
    """What is kept of one car: its readings, and its priors by what was learned.

    Parameters
    ----------
    key : str
        Of the car with the published rates.
    learned_digest : str
        Of what was learned; the readings do not depend on it.
    """

    def __init__(self, cache: ArrayStore | None, key: str, learned_digest: str) -> None:
        self._cache = cache
        self._key = key
        self._priors_key = f"{key}-priors-{learned_digest}"
        self._caused_key = f"{key}-caused"

    def bank(self, n_causes: int) -> Bank | None:
        """Return the readings of every single cause, None when not kept."""
        held = None if self._cache is None else self._cache.get(self._key)
        if held is None:
            return None
        singles: tuple[FaultSet, ...] = ((), *((i,) for i in range(n_causes)))
        n_rows = len(singles)
        return Bank.of_kept(
            singles,
            KeptNodes.from_arrays(held),
            np.asarray(held["stored"]),
            is_settled=Blocks.from_arrays(held, SETTLED).whole(n_rows)[..., 0],
            symptoms=Blocks.from_arrays(held, SYMPTOMS).whole(n_rows)[0],
        )

    def keep_bank(self, bank: Bank) -> Bank:
        """Keep the readings of every single cause; return them as they lie there."""
        held, single = bank.singles, bank.singles.prediction
        if not isinstance(single, KeptPrediction):
            return bank
        arrays: Arrays = {
            **single.nodes.arrays(),
            "stored": single.stored,
            # most faults leave most of these as they are
            **Blocks.beside_first(single.is_settled[..., None]).arrays(SETTLED),
            **Blocks.beside_first(held.symptoms[None]).arrays(SYMPTOMS),
        }
        if self._cache is None or not self._cache.put(self._key, arrays):
            return bank
        return self.bank(bank.n_singles - 1) or bank

    def is_caused(self) -> BoolArray | None:
        """Return which doubtful complaints have a cause, None when not kept."""
        held = None if self._cache is None else self._cache.get(self._caused_key)
        return None if held is None else np.asarray(held["is_caused"])

    def keep_caused(self, is_caused: BoolArray) -> None:
        """Keep which doubtful complaints have a cause."""
        if self._cache is not None:
            self._cache.put(self._caused_key, {"is_caused": is_caused})

    def priors(self) -> Priors | None:
        """Return the priors, None when not kept."""
        held = None if self._cache is None else self._cache.get(self._priors_key)
        if held is None:
            return None
        return Priors.from_arrays(held)

    def keep_priors(self, priors: Priors) -> None:
        """Keep the priors."""
        if self._cache is None:
            return
        self._cache.put(self._priors_key, priors.arrays())

"""The chance that a symptom is there or that a part got hot, without wrong reports."""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.compiled.bank import SOUND_ROW
from diagnose.inference.compiled.heat import hot_chance
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.inference.compiled.shown_symptoms import symptom_there
from diagnose.session.evidence.weighing.scatter import EVERY_ROW, RowIndex
from diagnose.session.facts import SymptomFact
from diagnose.session.ready_car import Model

# What more than so many sound cars show is as a rule so. [1] Own choice.
AS_A_RULE = 0.5

# The least chance that is divided by. [1] Own choice: a car that shows the contrary of
# what was told hardly counts any more.
LEAST_CHANCE = 1e-6


def there(
    model: Model, hypotheses: Hypotheses, name: str, *, rows: RowIndex = EVERY_ROW
) -> FloatArray:
    """Return the chance that a symptom is there, or that a part gets hot.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    hypotheses : Hypotheses
        Fault sets with what they show.
    name : str
        Of the symptom, or of what is touched.
    rows : IntArray or slice
        Which fault sets.

    Returns
    -------
    FloatArray
        Shape (n_rows, n_draws). [1]
    """
    touch = model.touches.get(name)
    if touch is not None:
        return hot_chance(hypotheses, touch, model.compiled, rows=rows)
    return symptom_there(model.compiled, hypotheses, name, rows)


def new_there(model: Model, fact: SymptomFact, chance: FloatArray) -> FloatArray:
    """Return the chance that a symptom is there, so that what is told of it is new.

    A car that always cranked slowly brings nobody to a diagnosis. What the sound car
    shows as a rule is no complaint, but goes with one.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    fact : SymptomFact
        Complained of: that it is there, or that it is not.
    chance : FloatArray
        That it is there, shape (n_rows, n_draws), perhaps of every so many-th draw. [1]

    Returns
    -------
    FloatArray
        Same shape. [1]
    """
    sound = there(model, model.compiled.bank.all, fact.symptom, rows=SOUND_ROW)
    always = sound if fact.is_present else 1.0 - sound
    every, left = divmod(always.shape[1], chance.shape[1])
    if left or always.mean() > AS_A_RULE:
        return chance
    is_so = chance if fact.is_present else 1.0 - chance
    # the same person judges both: who calls this slow would have called that slow
    is_so = np.maximum(is_so - always[:, ::every], 0.0)
    return is_so if fact.is_present else 1.0 - is_so


def given_before(
    chance: FloatArray, as_it_stands: FloatArray, before: bool | None
) -> FloatArray:
    """Return the chance of a yes in a test, given the answer without the change.

    Parameters
    ----------
    chance : FloatArray
        That the symptom is there with the circuit changed. [1]
    as_it_stands : FloatArray
        The same of the car as it stands, same shape. [1]
    before : bool or None
        What was told of that; None where nothing was.

    Returns
    -------
    FloatArray
        Same shape. [1]

    Notes
    -----
    What blurs a symptom, the owner's ear and the part's own limits, is the same at both
    looks: what cranks just so cranks just so again. So a no becomes a yes as far as the
    change makes it likelier, and no further.

    Examples
    --------
    >>> both = np.array([0.5]), np.array([0.5])
    >>> given_before(*both, before=False).tolist()
    [0.0]
    >>> given_before(np.array([0.9]), np.array([0.5]), before=False).tolist()
    [0.8]
    """
    if before is None:
        return chance
    if before:
        base = np.maximum(as_it_stands, LEAST_CHANCE)
        return np.asarray(np.minimum(chance / base, 1.0))
    base = np.maximum(1.0 - as_it_stands, LEAST_CHANCE)
    return np.asarray(np.clip((chance - as_it_stands) / base, 0.0, 1.0))

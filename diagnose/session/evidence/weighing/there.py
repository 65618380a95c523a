"""The chance that a symptom is there or that a part got hot, without wrong reports."""

from __future__ import annotations

from diagnose.arrays import FloatArray
from diagnose.inference.belief.heat import hot_chance
from diagnose.inference.belief.hypotheses import Hypotheses
from diagnose.inference.belief.shown_symptoms import symptom_there
from diagnose.session.evidence.weighing.scatter import EVERY_ROW, RowIndex
from diagnose.session.ready_car import Model


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

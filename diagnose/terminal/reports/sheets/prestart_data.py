"""The readings before the first start for other programs, as JSON."""

from __future__ import annotations

import json
import math

from diagnose.session.fact_rows import OVER_RANGE
from diagnose.session.sheets.first_start import Prestart, PrestartReading
from diagnose.session.words.wording import unit_symbol


def prestart_json(listed: Prestart, *, car_name: str) -> str:
    """Return the list as one JSON object; over-range is ``OL``."""
    content = {
        "car": car_name,
        "title": listed.car.title,
        "safety_note": listed.safety_note,
        "history": dict(listed.history),
        "minutes": round(listed.minutes, 1),
        "shown_share": round(listed.shown_share, 4),
        "showable_share": round(listed.showable_share, 4),
        "readings": [
            _reading_data(number, one)
            for number, one in enumerate(listed.readings, start=1)
        ],
        "unshown": [
            {
                "causes": list(one.causes),
                "says": one.says,
                "probability": float(f"{one.probability:.4g}"),
                "shown_share": round(one.shown_share, 3),
            }
            for one in listed.unshown
        ],
    }
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def _reading_data(number: int, one: PrestartReading) -> dict[str, object]:
    """Return one reading with its number in the list."""
    reading = one.reading
    limits = one.limits
    return {
        "number": number,
        "name": reading.name,
        "kind": reading.kind.value,
        "state": reading.state,
        "red": reading.red,
        "black": reading.black,
        "unit": unit_symbol(reading.kind),
        "places": list(one.places),
        "instruction": one.instruction,
        "cautions": list(one.cautions),
        "low": _number(limits.low),
        "middle": _number(limits.middle),
        "high": _number(limits.high),
        "minutes": round(one.minutes, 1),
        "finds_share": float(f"{one.finds_share:.4g}"),
        "finds": list(one.finds),
    }


def _number(value: float) -> float | str:
    """Return a value without digits that mean nothing."""
    return OVER_RANGE if math.isinf(value) else float(f"{value:.4g}")

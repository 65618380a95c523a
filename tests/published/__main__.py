"""Type the published faults in and print how many are found.

``python -m tests.published``; with names behind it, those alone. It prints of each
fault whether its cure is among the first three suspects and whether the reading that
decided it was among the first three steps proposed just before, and of each miss what
came instead. A fault that the model has no cause for counts as missed. Those collected
when the model was built are counted by themselves as well.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from diagnose.session.ready_car import Model
from diagnose.terminal.preparation.car_files import open_car, published_knowledge
from diagnose.terminal.preparation.prepared_car import prepared_model
from tests.conftest import TESTS
from tests.published.fault_file import published_faults
from tests.published.typing_in import FIRST, Outcome, typed_in

# What is wanted of the published faults together. [1]
WANTED_CURES = 0.8
WANTED_READINGS = 0.6


def main() -> None:
    """Print each fault, its misses, and the two shares."""
    names = sys.argv[1:]
    faults = [f for f in published_faults() if not names or f.name in names]
    models: dict[str, Model] = {}
    outcomes = []
    for fault in faults:
        if fault.car not in models:
            models[fault.car] = opened(fault.car)
        outcome = typed_in(fault, models[fault.car])
        outcomes.append(outcome)
        _write(described(outcome))
    seen = [outcome for outcome in outcomes if not outcome.fault.is_unseen]
    unseen = [outcome for outcome in outcomes if outcome.fault.is_unseen]
    _write(["collected while building:", *summed_up(seen)] if seen else [])
    _write(["collected afterwards:", *summed_up(unseen)] if unseen else [])
    _write(["together:", *summed_up(outcomes)])


def _write(lines: Sequence[str]) -> None:
    """Write lines at once: a fault takes some seconds."""
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    sys.stdout.flush()


def opened(car: str) -> Model:
    """Return a car ready for diagnosis: one of the tests', or a shipped one."""
    path = TESTS / "cars" / f"{car}.yaml"
    knowledge = published_knowledge()
    loaded = open_car(str(path) if path.exists() else car, knowledge)
    return prepared_model(loaded, knowledge)


def described(outcome: Outcome) -> list[str]:
    """Return the lines about one fault; a miss says what came instead."""
    fault = outcome.fault
    reading = {True: "proposed", False: "not proposed", None: "none decided"}
    place = "not ranked" if outcome.place is None else f"place {outcome.place}"
    if not fault.cures:
        place = "no such cause"
    lines = [
        f"{fault.name} ({fault.car}): cure {place}, "
        f"reading {reading[outcome.is_reading_proposed]}"
    ]
    if not outcome.is_cure_found:
        lines += [f"    cured by: {fault.cured_by}"]
        lines += [f"    suspected: {members[0]}" for members in outcome.ranked[:FIRST]]
    if outcome.is_reading_proposed is False:
        lines += [f"    decided: {fault.deciding.saw}"] if fault.deciding else []
        lines += [f"    proposed: {step}" for step in outcome.proposed]
    lines += [f"    not understood: {line}" for line in outcome.not_understood]
    if fault.lacks:
        lines += [f"    lacked: {fault.lacks}"]
    return lines


def summed_up(outcomes: Sequence[Outcome]) -> list[str]:
    """Return both shares in words."""
    found = sum(outcome.is_cure_found for outcome in outcomes)
    decided = [o for o in outcomes if o.is_reading_proposed is not None]
    proposed = sum(bool(outcome.is_reading_proposed) for outcome in decided)
    return [
        f"cure among the first {FIRST}: {_share(found, len(outcomes), WANTED_CURES)}",
        f"deciding reading among the first {FIRST}: "
        f"{_share(proposed, len(decided), WANTED_READINGS)}",
    ]


def _share(count: int, of: int, wanted: float) -> str:
    return f"{count} of {of}, {count / max(of, 1):.0%} (wanted {wanted:.0%})"


if __name__ == "__main__":
    main()

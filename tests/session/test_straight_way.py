"""The way of one typed reading through the modules: down once, and back.

Every call between two modules is written down while a line is heard. No module calls
one that imports it, so that nothing handed down calls back up; and each stage of a
diagnosis is gone through once.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

import grimp
import pytest

from diagnose.session.casebook import Casebook
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ReadingFact
from diagnose.session.ready_car import Model
from diagnose.store.journal import Journal
from diagnose.terminal.dialogue.conversation import Conversation

# The stages of a diagnosis, each by the door it is entered by.
STAGES = {
    "check": ("fact_checks", "FactChecks.check"),
    "conclude": ("evidence.concluding", "Reasoner.conclude"),
    "moment": ("steps.moment", "Moments.at"),
    "explain": ("explanation.explainer", "Explainer.explained"),
    "open steps": ("advice.open_steps", "taken_steps"),
    "rank": ("steps.proposing.ranked_steps", "RankedSteps.ranked"),
    "advise": ("advice.advice", "Adviser.advised"),
}

# Newton's method is handed the function whose rest it seeks, as any root finder is.
ROOT_FINDER = "diagnose.circuit.solver.settling"

Call = tuple[str, str, str]


class Way:
    """Calls between two modules of the program, in the order they were made.

    Calls of the methods that a dataclass is given are left out: they are written by
    Python, and belong to no line of the program.
    """

    def __init__(self) -> None:
        self.calls: list[Call] = []

    def note(self, frame: FrameType, event: str, _argument: object) -> None:
        if event != "call" or frame.f_code.co_filename == "<string>":
            return
        caller = frame.f_back
        while caller is not None and not _is_ours(caller):
            caller = caller.f_back
        if caller is None or not _is_ours(frame):
            return
        above, below = (str(one.f_globals["__name__"]) for one in (caller, frame))
        if above != below:
            self.calls.append((above, below, frame.f_code.co_qualname))

    def entered(self, module: str, function: str) -> int:
        """Return how often a function was called from another module."""
        name = f"diagnose.session.{module}"
        return sum((one[1], one[2]) == (name, function) for one in self.calls)


def _is_ours(frame: FrameType) -> bool:
    return str(frame.f_globals.get("__name__", "")).startswith("diagnose.")


@contextmanager
def followed() -> Iterator[Way]:
    way, before = Way(), sys.getprofile()
    sys.setprofile(way.note)
    try:
        yield way
    finally:
        sys.setprofile(before)


@pytest.fixture(scope="module", params=[True, False], ids=["at once", "in full"])
def way(request: pytest.FixtureRequest, model: Model) -> Way:
    """Return the way of one reading, answered at once as at a screen, or in full."""
    casebook = Casebook(Diagnosis(model), Journal(None), at_once=request.param)
    conversation = Conversation(casebook)
    for line in ("complaint pump-does-not-run", "skip all"):
        conversation.hear(line)
    with followed() as way:
        conversation.hear("read fuel-pump.plus key-on 0.02")
    assert isinstance(casebook.standing[-1], ReadingFact)
    return way


def test_a_reading_goes_down_through_the_modules_and_never_up(way: Way) -> None:
    graph = grimp.build_graph("diagnose")
    pairs = Counter((above, below) for above, below, _ in way.calls)

    climbs = [
        f"{above} calls {below}, which imports it"
        for above, below in pairs
        if above != ROOT_FINDER and graph.chain_exists(importer=below, imported=above)
    ]

    assert len(pairs) > 50
    assert climbs == []


@pytest.mark.parametrize("stage", STAGES)
def test_each_stage_is_gone_through_once_or_twice(stage: str, way: Way) -> None:
    assert 1 <= way.entered(*STAGES[stage]) <= 2

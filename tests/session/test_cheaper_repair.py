"""Of two repairs that are about as likely the cheaper one is advised."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.session.advice.cheaper_repair import cheaper_repair, looked_for_there
from diagnose.session.answer import RankedCause

DEAR = RankedCause(
    name="pump:seized",
    members=("pump:seized",),
    says="pump: seized",
    probability=0.5,
    repair="Replace pump.",
    repair_minutes=60.0,
    evidence=(),
)
CHEAP = replace(DEAR, name="plug:dirty", says="plug: dirty", repair_minutes=10.0)


# By hand: 0.42 of 0.5 is more than eight tenths, 0.38 is less; 45 of 60 min is more
# than seven tenths.
@pytest.mark.parametrize(
    ("probability", "minutes", "is_advised"),
    [(0.42, 10.0, True), (0.38, 10.0, False), (0.5, 45.0, False)],
)
def test_what_is_about_as_likely_and_clearly_cheaper_is_advised(
    probability: float, minutes: float, is_advised: bool
) -> None:
    other = replace(CHEAP, probability=probability, repair_minutes=minutes)

    found = cheaper_repair((DEAR, other), is_sure=0.99)

    assert found == ((other, DEAR) if is_advised else (DEAR, None))


def test_what_is_sure_is_mended_whatever_it_takes() -> None:
    sure = replace(DEAR, probability=0.995)
    found = cheaper_repair((sure, replace(CHEAP, probability=0.9)), is_sure=0.99)

    assert found == (sure, None)


def test_what_else_the_part_may_have_is_looked_for_while_it_is_mended() -> None:
    worn = replace(DEAR, name="pump:worn", says="pump: worn", probability=0.3)
    rare = replace(worn, name="pump:hot", says="pump: hot", probability=0.001)

    assert looked_for_there(DEAR, (DEAR, CHEAP, worn, rare)) == (
        " Look there as well for: worn (30%)."
    )
    assert looked_for_there(DEAR, (DEAR, CHEAP)) == ""

"""Play every invented evening: ``python -m tests.longer_runs.evenings [NAME ...]``.

It prints of each what it came to, and what it demands and did not come to. One that is
marked as failing and holds now is named too: its mark is to go.
"""

from __future__ import annotations

import sys

from diagnose.trial.hidden.unlike_stock import UnlikeCars
from tests.evenings.playing_evenings import evenings, missed, played, stock_of
from tests.published.__main__ import opened


def main() -> None:
    """Play those named, or all, and close with how many hold."""
    wanted = [one for one in evenings() if not sys.argv[1:] or one.name in sys.argv[1:]]
    stocks: dict[str, UnlikeCars] = {}
    held = unexpected = 0
    for evening in wanted:
        if evening.car not in stocks:
            stocks[evening.car] = stock_of(opened(evening.car))
        game = played(evening, stocks[evening.car])
        found = missed(evening, game)
        held += not found
        unexpected += bool(found) is not bool(evening.fails)
        lines = [
            f"{evening.name} ({evening.family}, {evening.kind}, {evening.car}): "
            f"{game.verdicts[-1].value}, {game.readings} readings, "
            f"{game.wrong_repairs} wrong repairs",
            *(f"    missed: {one}" for one in found),
        ]
        if evening.fails:
            lines.append(f"    known: {evening.fails}")
            lines += [] if found else ["    holds now: take the mark off"]
        sys.stdout.write("".join(f"{line}\n" for line in lines))
        sys.stdout.flush()
    sys.stdout.write(
        f"{held} of {len(wanted)} hold; {unexpected} otherwise than marked\n"
    )
    sys.exit(1 if unexpected else 0)


if __name__ == "__main__":
    main()

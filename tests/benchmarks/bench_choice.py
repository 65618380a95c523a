"""How near the choice of the next step comes to the optimum; run from the top folder.

    python -m tests.benchmarks.bench_choice [--problems 600]

Plays random small problems, solved exactly by dynamic programming, with the program's
choice and with others, and prints what each takes over the optimum.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from tests.small_problems import (
    Choice,
    any_test,
    drawn_problem,
    most_bits,
    no_test,
    one_step_ahead,
    optimal_minutes,
    played_minutes,
    two_steps_ahead,
)

POLICIES: dict[str, Choice] = {
    "one step ahead (the program)": one_step_ahead,
    "two steps ahead, best three": two_steps_ahead,
    "information without cost": most_bits,
    "random test": any_test,
    "repairs only": no_test,
}


def main() -> None:
    """Print one line for each policy."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--problems", type=int, default=600)
    n_problems = arguments.parse_args().problems
    problems = [drawn_problem(seed) for seed in range(n_problems)]
    optima = np.array([optimal_minutes(problem) for problem in problems])
    print(f"{n_problems} problems; cost over the optimum")  # noqa: T201
    for name, choose in POLICIES.items():
        begin = time.process_time()
        ratios = np.array([played_minutes(p, choose) for p in problems]) / optima
        seconds = time.process_time() - begin
        print(  # noqa: T201
            f"{name:30} mean {ratios.mean():.3f}  "
            f"95 of 100 under {np.quantile(ratios, 0.95):.3f}  "
            f"worst {ratios.max():.3f}  ({seconds:.1f} s)"
        )


if __name__ == "__main__":
    main()

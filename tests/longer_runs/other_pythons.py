"""The whole suite on every Python the project allows, and with the lowest libraries.

``python -m tests.longer_runs.other_pythons python3.12 python3.13 --lowest python3.11``,
each interpreter by name or path. Every run installs the project into a virtual
environment of its own and prints how its tests ended. `--lowest` takes the lowest
version of each library that the project's bounds allow, where the others take the
newest.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import tempfile
import time
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def lowest_versions() -> list[str]:
    """Return each library the program needs, at the lowest version it may have."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    found = []
    for need in project["dependencies"]:
        bound = re.match(r"([\w-]+)>=([\d.]+)", need)
        if bound is not None:
            found.append(f"{bound[1]}=={bound[2]}")
    return found


def run(python: str, folder: Path, libraries: list[str]) -> str:
    """Return the last line of the suite on one interpreter."""
    subprocess.run([python, "-m", "venv", str(folder)], check=True)
    own = folder / "bin" / "python"
    needed = [*libraries, "-e", f"{ROOT}[dev]"]
    installed = subprocess.run(
        [own, "-m", "pip", "install", "-q", *needed],
        capture_output=True,
        text=True,
        check=False,
    )
    if installed.returncode:
        return f"not installed: {installed.stderr.strip().splitlines()[-1]}"
    begin = time.monotonic()
    done = subprocess.run(
        [own, "-m", "pytest", "-q"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    failed = [line for line in done.stdout.splitlines() if line.startswith("FAILED")]
    last = done.stdout.strip().splitlines()[-1]
    return "\n  ".join([f"{last} ({time.monotonic() - begin:.0f} s)", *failed[:20]])


def main() -> None:
    """Run the suites and print a line for each."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("pythons", nargs="*")
    options.add_argument("--lowest", action="append", default=[], metavar="PYTHON")
    chosen = options.parse_args()
    runs: list[tuple[str, str, list[str]]] = []
    runs += [(python, "newest", []) for python in chosen.pythons]
    runs += [(python, "lowest", lowest_versions()) for python in chosen.lowest]
    for python, which, libraries in runs:
        with tempfile.TemporaryDirectory() as folder:
            print(
                f"{python}, {which} libraries: {run(python, Path(folder), libraries)}",
                flush=True,
            )


if __name__ == "__main__":
    main()

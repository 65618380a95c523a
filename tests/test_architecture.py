"""The checks on the project as a whole: layers, style, types, top level, wording."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import grimp
import pytest
from importlinter.cli import lint_imports

ROOT = Path(__file__).resolve().parents[1]
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "diagnose",
    "tests",
    "knowledge",
    "cases",
}
# The project speaks of itself alone: no machine's paths, no tracker's numbers, no
# package registry, nobody's way of working.
FOREIGN = re.compile(
    r"""
      (?<![\w.~*}$-])/(?:home|root|work|Users)/
    | (?<![\w.~*}$-])/tmp/\w
    | \bissue\s*\#
    | \bseed\s+document
    | \bsteering\b(?!\s+(?:wheel|column|lock|box|pump|shaft))
    | \b(?:pypi|pythonhosted|npmjs)\.(?:org|com)
    | \bcl[a]ude\b
    | \bAI\s+(?:assistant|model)
    """,
    re.IGNORECASE | re.VERBOSE,
)


def run_module(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


def tracked_files() -> list[str]:
    if shutil.which("git") is None or not (ROOT / ".git").exists():
        pytest.skip("not a git clone, so there is no list of tracked files")
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [name for name in listed.stdout.split("\0") if name]


def foreign_mentions(text: str) -> list[str]:
    """Return each line of the text that speaks of something outside the project."""
    return [line.strip() for line in text.splitlines() if FOREIGN.search(line)]


def test_imports_keep_to_the_layers(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)

    failed = lint_imports(no_cache=True, no_logo=True)

    assert failed == 0, capsys.readouterr().out


def unreached_modules() -> list[str]:
    """Return the modules that no import leads to, seen from the command line.

    A package counts as reached with any module in it, as Python runs it then.
    """
    graph = grimp.build_graph("diagnose", cache_dir=None)
    reached = set()
    for start in ("diagnose.__main__", "diagnose.cli"):
        reached |= {start, *graph.find_upstream_modules(start)}
    parents = {
        name.rsplit(".", n)[0] for name in reached for n in range(name.count(".") + 1)
    }
    return sorted(graph.modules - reached - parents)


def test_every_module_is_reached_from_the_command_line() -> None:
    assert unreached_modules() == []


def test_ruff_finds_nothing() -> None:
    result = run_module("ruff", "check", ".")

    assert result.returncode == 0, result.stdout + result.stderr


def test_every_file_is_formatted() -> None:
    result = run_module("ruff", "format", "--check", ".")

    assert result.returncode == 0, result.stdout + result.stderr


def test_mypy_strict_finds_nothing() -> None:
    result = run_module("mypy")

    assert result.returncode == 0, result.stdout + result.stderr


def test_top_level_holds_the_agreed_entries_and_hidden_files_only() -> None:
    entries = {name.split("/", 1)[0] for name in tracked_files()}

    assert {name for name in entries if not name.startswith(".")} == TOP_LEVEL


def test_tracked_text_speaks_of_the_project_alone() -> None:
    found = {}
    for name in tracked_files():
        path = ROOT / name
        if path.is_file():
            mentions = foreign_mentions(path.read_text(encoding="utf-8"))
            if mentions:
                found[name] = mentions

    assert found == {}


@pytest.mark.parametrize(
    ("start", "rest"),  # in two pieces, so that this file passes its own check
    [
        ("see /", "home/owner/car.yaml"),
        ("as asked in issue ", "#12"),
        ("install from https://pypi", ".org/simple"),
    ],
)
def test_foreign_mention_is_found(start: str, rest: str) -> None:
    assert foreign_mentions(start + rest) == [start + rest]


def test_steering_column_is_a_place_on_a_car() -> None:
    assert foreign_mentions("the switch on the steering column") == []

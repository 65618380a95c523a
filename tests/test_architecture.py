"""The checks on the project as a whole: layers, style, types, top level, wording."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
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
# A module that is longer holds several ideas. Own choice.
MOST_LINES = 500

# More modules or packages in one package are not read at a glance. Own choice.
MOST_MODULES = 12

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


def modules() -> dict[str, Path]:
    """Return the modules of the program by their dotted names."""
    found = {}
    for path in sorted((ROOT / "diagnose").rglob("*.py")):
        words = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(words).removesuffix(".__init__")] = path
    return found


def test_no_module_is_longer_than_five_hundred_lines() -> None:
    lengths = {
        name: len(path.read_text(encoding="utf-8").splitlines())
        for name, path in modules().items()
    }

    assert {name: n for name, n in lengths.items() if n > MOST_LINES} == {}


def test_no_package_has_more_modules_than_are_read_at_a_glance() -> None:
    counted = Counter(
        path.parent.relative_to(ROOT).as_posix()
        for path in modules().values()
        if path.name != "__init__.py"
    )

    assert {name: n for name, n in counted.items() if n > MOST_MODULES} == {}


def test_no_package_has_more_packages_than_are_read_at_a_glance() -> None:
    counted = Counter(
        path.parent.parent.relative_to(ROOT).as_posix()
        for path in modules().values()
        if path.name == "__init__.py"
    )

    assert {name: n for name, n in counted.items() if n > MOST_MODULES} == {}


def defined_names(tree: ast.Module) -> Iterator[str]:
    """Yield the functions, classes and constants of a module that others may use."""
    for node in tree.body:
        names: list[ast.expr] = []
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield from [node.name] if not node.name.startswith("_") else []
        elif isinstance(node, ast.Assign):
            names = node.targets
        elif isinstance(node, ast.AnnAssign):
            names = [node.target]
        for name in names:
            if isinstance(name, ast.Name) and not name.id.startswith("_"):
                yield name.id


def used_names(module: str, tree: ast.Module) -> Iterator[tuple[str, str]]:
    """Yield what a module uses at its own top level and of others: module and name.

    What stands inside the definition of the same name is no use of it.
    """
    packages = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                packages[alias.asname or alias.name] = f"{node.module}.{alias.name}"
                yield node.module, alias.name
    for top in tree.body:
        own = getattr(top, "name", "")
        for node in ast.walk(top):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                if node.id != own:
                    yield module, node.id
            elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                yield packages.get(node.value.id, ""), node.attr


def idle_names(trees: dict[str, ast.Module]) -> list[str]:
    """Return the public names that no module of the program uses."""
    used = {pair for name, tree in trees.items() for pair in used_names(name, tree)}
    return [
        f"{module}.{name}"
        for module, tree in trees.items()
        for name in defined_names(tree)
        if (module, name) not in used
    ]


def test_everything_public_is_used_by_the_program_itself() -> None:
    trees = {
        name: ast.parse(path.read_text(encoding="utf-8"))
        for name, path in modules().items()
    }
    # read by the build, which takes the version from there: pyproject.toml
    idle = [name for name in idle_names(trees) if name != "diagnose.__version__"]

    assert idle == []


def test_a_name_that_only_its_own_body_uses_is_found() -> None:
    trees = {
        "diagnose.one": ast.parse("LIMIT = 3\ndef again(): return again()\n"),
        "diagnose.two": ast.parse("from diagnose.one import LIMIT\nprint(LIMIT)\n"),
    }

    assert idle_names(trees) == ["diagnose.one.again"]


# Where every public function says what it takes and gives back, units included.
EXPLAINED = ("circuit", "measurement", "faults", "inference")


def unexplained(tree: ast.Module) -> list[str]:
    """Return the public functions and methods whose docstring lacks a section."""
    found = []
    places: list[ast.Module | ast.ClassDef] = [tree]
    for place in places:
        for node in place.body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places.append(node)
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                says = ast.get_docstring(node) or ""
                missing = [s for s in sections(node) if f"{s}\n---" not in says]
                found += [f"{node.name}: {section}" for section in missing]
    return found


def sections(function: ast.FunctionDef) -> list[str]:
    """Return the sections that the docstring of a function needs."""
    wanted = []
    arguments = function.args.args + function.args.kwonlyargs
    if any(one.arg not in ("self", "cls") for one in arguments):
        wanted.append("Parameters")
    is_property = any("property" in ast.unparse(d) for d in function.decorator_list)
    returns = ast.unparse(function.returns) if function.returns else "None"
    if returns.startswith("Iterator"):
        wanted.append("Yields")
    elif returns != "None" and not is_property:
        wanted.append("Returns")
    if any(raises_itself(statement) for statement in function.body):
        wanted.append("Raises")
    return wanted


def raises_itself(node: ast.AST) -> bool:
    """Return whether a statement raises, what is defined inside it left out."""
    if isinstance(node, ast.FunctionDef):
        return False
    if isinstance(node, ast.Raise):
        return node.exc is not None
    return any(raises_itself(child) for child in ast.iter_child_nodes(node))


def test_every_public_function_of_the_physics_is_explained() -> None:
    found = {}
    for name, path in modules().items():
        if name.split(".")[1:2] and name.split(".")[1] in EXPLAINED:
            missing = unexplained(ast.parse(path.read_text(encoding="utf-8")))
            if missing:
                found[name] = missing

    assert found == {}


def test_a_function_that_does_not_say_what_it_returns_is_noticed() -> None:
    tree = ast.parse('def ohms(volts: float) -> float:\n    """Return ohms."""\n')

    assert unexplained(tree) == ["ohms: Parameters", "ohms: Returns"]


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

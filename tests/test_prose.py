"""The two documents: commands that are the ones run, links that lead somewhere."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest

from diagnose.cli.parser import build_parser
from diagnose.files.cases.case_file import load_case
from diagnose.session.ready_car import Model
from diagnose.terminal.dialogue.typed.commands import COMMANDS
from tests.played_evening import played

ROOT = Path(__file__).resolve().parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
FENCED = re.compile(r"^```.*?^```$", re.MULTILINE | re.DOTALL)
SENTENCE_END = re.compile(r"[.!?][)*\"]?\s+(?=[A-Z`*])")
NO_SENTENCE = ("|", "    ", "<!--")
EXAMPLE = re.compile(
    r"^<!-- example: (\S+) -->\n```text\n(.*?)```\n<!-- example: end -->$",
    re.MULTILINE | re.DOTALL,
)
# Stands in the example where something was cut.
CUT = "[...]"
# What fits on some six screens. Own choice.
MOST_README_LINES = 205
# What a stranger reads, with the code beside it, in an hour. Own choice.
MOST_GUIDE_BYTES = 10_300


def read(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def shell_commands(text: str) -> list[str]:
    return re.findall(r"^```sh\n(.+)\n```$", text, re.MULTILINE)


def commands_of_the_command_line() -> list[str]:
    return re.findall(r"^    (\w+)  ", build_parser().format_help(), re.MULTILINE)


def lines_with_two_sentences(text: str) -> list[str]:
    """Return the lines of running text that hold more than one sentence."""
    return [
        line
        for line in FENCED.sub("", text).splitlines()
        if not line.startswith(NO_SENTENCE)
        and SENTENCE_END.search(re.sub(r"^(?:\d+\.|[-#]+) ", "", line))
    ]


def pieces_out_of_place(example: str, record: str) -> list[str]:
    """Return the pieces of an example that don't stand in a record, in this order."""
    missing = []
    start = 0
    for piece in example.split(CUT):
        lines = f"\n{piece.strip()}\n"
        found = f"\n{record}".find(lines, start)
        if found < 0:
            missing.append(piece)
        else:
            start = found + len(lines) - 1
    return missing


def test_example_of_the_readme_is_what_the_program_writes(
    sedan_model: Model, tmp_path: Path
) -> None:
    # To see all of it: python -m tests.played_evening forgotten-resistor
    [(name, example)] = EXAMPLE.findall(read("README.md"))
    case = load_case(ROOT / "cases" / f"{name}.yaml")

    assert pieces_out_of_place(example, played(case, sedan_model, tmp_path)) == []


@pytest.mark.parametrize(
    "example",
    ["One:\n  1. 90 %", "Two:\n  b\n\n[...]\n\nOne:\n  1. 97 %", "One:\n\nTwo:"],
    ids=["another number", "another order", "cut in silence"],
)
def test_example_that_the_program_does_not_write_is_found(example: str) -> None:
    record = "One:\n  1. 97 %\n\nTwo:\n  b\n"

    assert pieces_out_of_place(example, record) != []


def test_readme_is_read_in_a_few_minutes() -> None:
    assert len(read("README.md").splitlines()) <= MOST_README_LINES


def test_readme_gives_two_commands() -> None:
    opening, testing = shell_commands(read("README.md"))

    assert "diagnose start" in opening
    assert "pytest" in testing


def test_continuous_integration_runs_the_test_command_of_the_readme() -> None:
    _, testing = shell_commands(read("README.md"))

    assert f"{testing} || status=$?" in read(".ci/run").splitlines()


@pytest.mark.parametrize("name", DOCUMENTS)
def test_document_has_one_sentence_per_line(name: str) -> None:
    assert lines_with_two_sentences(read(name)) == []


def test_second_sentence_on_a_line_is_found() -> None:
    line = "It measures volts. It ranks causes."

    assert lines_with_two_sentences(f"{line}\n\n1. One step.\n") == [line]


def named_in_code(dotted: str) -> bool:
    """Return whether a dotted name leads to a module or to something in one."""
    words = dotted.split(".")
    for n in range(len(words), 0, -1):
        try:
            found: object = importlib.import_module(".".join(words[:n]))
        except ModuleNotFoundError:
            continue
        for word in words[n:]:
            found = getattr(found, word, None)
        return found is not None
    return False


def test_the_guide_names_what_is_there() -> None:
    text = FENCED.sub("", read("DEVELOPERS.md"))
    dotted = re.findall(r"`(diagnose(?:\.\w+)+)`", text)

    assert len(dotted) > 15
    assert [name for name in dotted if not named_in_code(name)] == []


def test_a_name_that_is_not_there_is_noticed() -> None:
    assert not named_in_code("diagnose.session.diagnosis.Diagnosis.foretell")


def test_the_guide_names_files_that_are_there() -> None:
    text = FENCED.sub("", read("DEVELOPERS.md"))
    paths = re.findall(r"`((?:\w+/)+\w+\.(?:py|yaml))`", text)

    there = [path for path in paths if (ROOT / path).exists()]
    inside = [path for path in paths if (ROOT / "diagnose" / path).exists()]
    assert paths
    assert set(paths) - set(there) - set(inside) - {"cases/NAME.yaml"} == set()


def test_the_guide_is_read_in_an_hour() -> None:
    assert len(read("DEVELOPERS.md").encode()) <= MOST_GUIDE_BYTES


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_lead_to_files_of_the_project(name: str) -> None:
    targets = re.findall(r"\]\(([^)#:]+)\)", read(name))

    assert [target for target in targets if not (ROOT / target).exists()] == []


def test_readme_lists_every_command_of_the_command_line() -> None:
    listed = commands_of_the_command_line()

    rows = re.findall(r"^\| `(\w+)", read("README.md"), re.MULTILINE)
    assert "start" in listed
    assert set(listed) - set(rows) == set()


@pytest.mark.parametrize("name", commands_of_the_command_line())
def test_every_command_explains_itself(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        build_parser().parse_args([name, "--help"])

    options, _, about = capsys.readouterr().out.rpartition("options:")
    assert f"diagnose {name}" in options
    # behind the list of options, one paragraph or more of whole sentences
    assert re.search(r"\n\n[A-Z-][^\n]+\n[^\n]+\n.*\.\n$", about, re.DOTALL)


def test_readme_shows_how_each_command_of_a_diagnosis_is_typed() -> None:
    rows = re.findall(r"^\| `([^`]+)` \|", read("README.md"), re.MULTILINE)
    typed = {row.replace("\\|", "|") for row in rows}

    assert {command.usage for command in COMMANDS.values()} - typed == set()

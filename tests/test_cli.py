"""The command line: exit codes, messages, and nothing heavy before it is needed."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from diagnose.cli import main

ROOT = Path(__file__).resolve().parents[1]
CAR = ROOT / "tests" / "cars" / "hill-climber.yaml"
HEAVY = ("numpy", "scipy", "rich", "prompt_toolkit", "pgmpy", "pydantic", "sqlite3")


def run(
    *arguments: str | Path, text_in: str = "", encoding: str = "utf-8"
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "diagnose", *map(str, arguments)],
        cwd=ROOT,
        input=text_in,
        capture_output=True,
        encoding=encoding,
        check=False,
    )


def test_help_imports_nothing_heavy() -> None:
    program = (
        "import sys\n"
        "from diagnose.cli import main\n"
        "try:\n"
        "    main(['--help'])\n"
        "except SystemExit:\n"
        f"    print([name for name in {HEAVY} if name in sys.modules])\n"
    )
    shown = subprocess.run(
        [sys.executable, "-c", program],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )

    assert shown.stdout.splitlines()[-1] == "[]"


def test_help_names_every_command() -> None:
    shown = run("--help").stdout

    names = (
        "start",
        "resume",
        "cases",
        "check",
        "expand",
        "expect",
        "replay",
        "record",
        "schema",
    )
    assert [name for name in names if f"\n    {name} " not in shown] == []


def test_no_command_is_a_wrong_command_line() -> None:
    result = run()

    assert result.returncode == 2
    assert "usage: diagnose" in result.stderr


def test_sound_car_file_passes_the_check(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["check", str(CAR)])

    assert code == 0
    assert "sound. Invented hill climber" in capsys.readouterr().out


def test_wrong_car_file_is_told_with_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text(CAR.read_text().replace("system: 12 V", "system: 12 A"))

    code = main(["check", str(path)])

    assert code == 1
    # `system` is on the fourth line of the file, which opens with a comment.
    assert f"{path}:4:" in capsys.readouterr().err


@pytest.mark.parametrize(
    "content",
    [b"", b"\x00\x01\x02\xff\xfe", b"\x89PNG\r\n\x1a\n", b"- just\n- a list\n"],
    ids=["empty", "bytes", "picture", "list"],
)
def test_files_that_are_no_car_are_one_clear_message(
    content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    path.write_bytes(content)

    code = main(["check", str(path)])

    told = capsys.readouterr().err
    assert code == 1
    assert str(path) in told
    assert "Traceback" not in told


def test_a_folder_is_no_car_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["check", str(tmp_path)])

    assert code == 1
    assert str(tmp_path) in capsys.readouterr().err


def test_unknown_car_gets_the_nearest_shipped_one(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code = main(["check", "sedann"])

    assert code == 1
    assert 'no car file "sedann" (did you mean "sedan"?)' in capsys.readouterr().err


def test_control_codes_in_a_message_are_taken_out(
    capsys: pytest.CaptureFixture[str],
) -> None:
    main(["check", "pump\x1b[2J"])

    assert "\x1b" not in capsys.readouterr().err


def test_expansion_says_where_each_value_comes_from(
    capsys: pytest.CaptureFixture[str],
) -> None:
    main(["expand", str(CAR)])

    lines = capsys.readouterr().out.splitlines()
    start = lines.index("alternator (alternator, alternator, at bay, line 10)")
    block = lines[start : start + 12]
    assert any("rated_amps = 65" in row and "[car file" in row for row in block)
    assert any("set_volts" in row and "[default: " in row for row in block)


def test_car_schema_is_a_json_schema_that_takes_no_unknown_key(
    capsys: pytest.CaptureFixture[str],
) -> None:
    main(["schema"])

    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["additionalProperties"] is False


def test_lines_schema_is_a_json_schema(capsys: pytest.CaptureFixture[str]) -> None:
    main(["schema", "--lines"])

    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert {"input", "output"} <= set(schema["$defs"])


def test_listing_cases_makes_no_store(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["cases", "--data-folder", str(tmp_path / "data")])

    assert code == 0
    assert "no case is stored yet" in capsys.readouterr().out
    assert not (tmp_path / "data").exists()


def test_resume_without_a_case_says_how_to_begin(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["resume", "--data-folder", str(tmp_path)])

    assert code == 1
    assert "diagnose start CAR" in capsys.readouterr().err


def test_a_reader_that_had_enough_is_no_error() -> None:
    listing = subprocess.Popen(
        [sys.executable, "-m", "diagnose", "expand", "sedan"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert listing.stdout is not None
    assert listing.stderr is not None
    listing.stdout.readline()
    listing.stdout.close()

    told = listing.stderr.read()
    listing.stderr.close()
    assert (listing.wait(), told) == (0, b"")


def test_every_problem_of_a_file_begins_with_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    text = CAR.read_text().replace("system: 12 V", "system: 12 A")
    path.write_text(text.replace("rated: 65 A", "rated: 65 V"))

    main(["check", str(path)])

    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2
    assert all(line.startswith(f"{path}:") for line in lines)


def test_a_warning_leaves_the_car_sound(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text(CAR.read_text().replace("size: 15 A", "size: 70 A"))

    code = main(["check", str(path)])

    first, *_, last = capsys.readouterr().out.splitlines()
    assert code == 0
    # The fuse stands in line 31; 12 gauge takes 45 A (33 CFR 183.425), 150 % is 67.5 A.
    assert first.startswith(f"{path}:31: warning: ")
    assert "sound, with 1 warning." in last

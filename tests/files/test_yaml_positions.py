"""YAML 1.2 with positions; lines and columns counted by hand in the text."""

from __future__ import annotations

import pathlib
from collections.abc import Iterator
from typing import Any

import pytest
import yaml

from diagnose.errors import InvalidFileError
from diagnose.files.resources import knowledge_folder
from diagnose.files.yaml_nodes import NodeReader
from diagnose.files.yaml_positions import (
    Document,
    Position,
    read_document,
)

TEXT = """\
# a comment
first: on
list: [1, 2.5, off]
inner:
  30: 012
  small: 1e-3
  word: 0x10
"""


@pytest.fixture
def document(tmp_path: pathlib.Path) -> Document:
    path = tmp_path / "file.yaml"
    path.write_text(TEXT, encoding="utf-8")
    return read_document(path, wanted="test file")


def test_values_have_the_types_of_yaml_1_2(document: Document) -> None:
    # YAML 1.2.2 core schema: `on` and `off` are text, 012 is twelve, 1e-3 a number.
    assert document.data == {
        "first": "on",
        "list": [1, 2.5, "off"],
        "inner": {"30": 12, "small": 0.001, "word": "0x10"},
    }


@pytest.mark.parametrize(
    ("location", "line", "column"),
    [
        (("first",), 2, 8),
        (("list", 1), 3, 11),
        (("inner", "30"), 5, 7),
        (("inner",), 5, 3),
    ],
)
def test_a_value_has_its_line_and_column(
    location: tuple[str | int, ...], line: int, column: int, document: Document
) -> None:
    assert document.position(location) == Position(line=line, column=column)


def test_a_key_has_its_line_and_column(document: Document) -> None:
    assert document.position(("inner", "small"), of_key=True) == Position(
        line=6, column=3
    )


def test_what_is_not_in_the_file_is_where_its_nearest_key_is(
    document: Document,
) -> None:
    assert document.position(("inner", "none", "x")) == Position(line=4, column=1)


def test_a_byte_order_mark_is_no_part_of_the_file(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "file.yaml"
    path.write_bytes(b"\xef\xbb\xbffirst: 1\n")

    assert read_document(path, wanted="test file").data == {"first": 1}


def test_carriage_returns_are_line_ends(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "file.yaml"
    path.write_bytes(b"first: 1\r\nsecond: 2\r\n")
    document = read_document(path, wanted="test file")

    assert document.position(("second",)) == Position(line=2, column=9)


def test_every_repeated_key_is_reported(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "file.yaml"
    path.write_text("a: 1\nb: 2\na: 3\nb: 4\n", encoding="utf-8")
    document = read_document(path, wanted="test file")

    assert [str(problem) for problem in document.problems] == [
        f'{path}:3:1: key "a" is repeated; it stands in line 1 already',
        f'{path}:4:1: key "b" is repeated; it stands in line 2 already',
    ]


def test_a_key_that_is_a_list_is_reported(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "file.yaml"
    path.write_text("a: 1\n? [b, c]\n: 2\n", encoding="utf-8")
    document = read_document(path, wanted="test file")

    assert [str(problem) for problem in document.problems] == [
        f"{path}:2:3: a key must be one word, not a list or mapping"
    ]


def test_an_alias_of_itself_ends(tmp_path: pathlib.Path) -> None:
    path = tmp_path / "file.yaml"
    path.write_text("a: &x [*x]\n", encoding="utf-8")

    assert read_document(path, wanted="test file").data == {"a": [None]}


@pytest.mark.parametrize(
    ("written", "value"),
    [
        # YAML 1.2.2, section 10.3.2 (core schema), and what 1.1 makes of the same
        ("~", None),
        ("NULL", None),
        ("True", True),
        ("yes", "yes"),  # 1.1: true
        ("1_000", "1_000"),  # 1.1: a thousand
        ("1:30", "1:30"),  # 1.1: ninety
        ("+12", 12),
        (".5", 0.5),
        ("1.", 1.0),
        ("1e3", 1000.0),  # 1.1: text
        ("2.5E-3", 0.0025),
        ("2001-12-14", "2001-12-14"),  # 1.1: a date
        ("'12'", "12"),
        ("0o14", "0o14"),  # 1.2: twelve; no file means that
        (".inf", ".inf"),  # 1.2: infinite; no file means that
    ],
)
def test_a_scalar_has_its_type(
    written: str, value: object, tmp_path: pathlib.Path
) -> None:
    path = tmp_path / "file.yaml"
    path.write_text(f"key: {written}\n", encoding="utf-8")

    found = read_document(path, wanted="test file").data["key"]

    assert (found, type(found)) == (value, type(value))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a: b: c\n", "1:5: is not YAML here: a second `: ` in one line; put the value "
         "in quotes, or start a new line"),
        ("a:\n\tb: 1\n", "2:1: is not YAML here: a tab; indent with spaces"),
        ("a: 1\nb\nc: 2\n", "3:1: is not YAML here: a key without `: ` and a value"),
        ("a: 1\n---\nb: 2\n", "2:1: is not YAML here: a second document after `---`; "
         "use one file each"),
        ("# a\n", ": holds only comments, expected a test file"),
        ("[" * 3000, "1:1: entries are nested too deeply"),
    ],
)  # fmt: skip
def test_what_is_no_yaml_is_refused_in_plain_words(
    text: str, message: str, tmp_path: pathlib.Path
) -> None:
    path = tmp_path / "file.yaml"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(InvalidFileError) as caught:
        read_document(path, wanted="test file")

    assert str(caught.value) == f"{path}:{message}".replace("::", ":")


@pytest.mark.parametrize("name", ["symptoms.yaml", "meter.yaml"])
def test_the_reader_in_c_finds_the_nodes_of_the_one_in_python(name: str) -> None:
    # A second method: PyYAML's own reader in Python, with the same rules for scalars.
    class InPython(yaml.SafeLoader):  # type: ignore[misc]
        yaml_implicit_resolvers = NodeReader.yaml_implicit_resolvers

    text = (knowledge_folder() / name).read_text(encoding="utf-8")

    in_c, in_python = (
        [
            (kind, node.tag, node.start_mark.line, node.start_mark.column)
            for kind, node in walked(yaml.compose(text, Loader=reader))
        ]
        for reader in (NodeReader, InPython)
    )

    assert len(in_c) > 50
    assert in_c == in_python


def walked(node: Any) -> Iterator[tuple[str, Any]]:
    """Yield every node below a node with its kind or its text."""
    yield str(node.value) if node.id == "scalar" else node.id, node
    if node.id == "scalar":
        return
    for item in node.value:
        for child in item if node.id == "mapping" else (item,):
            yield from walked(child)

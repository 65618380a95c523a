"""Where the shipped folders are found."""

from __future__ import annotations

from diagnose.files.knowledge.knowledge_files import FILE_MODELS
from diagnose.files.resources import cases_folder, knowledge_folder, shipped_cars


def test_knowledge_folder_has_every_knowledge_file() -> None:
    found = {entry.name for entry in knowledge_folder().iterdir()}

    assert {f"{name}.yaml" for name in FILE_MODELS} <= found


def test_cases_folder_is_a_folder() -> None:
    assert cases_folder().is_dir()


def test_shipped_cars_are_named_after_their_files() -> None:
    cars = shipped_cars()

    assert [f"{name}.yaml" for name in cars] == [file.name for file in cars.values()]

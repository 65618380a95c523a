"""Where the shipped folders are: knowledge/ and cases/.

In an installed package they lie inside `diagnose`; in a checkout they lie beside it.
Leaves reading them to the other modules of `files`.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from types import MappingProxyType


def knowledge_folder() -> Traversable:
    """Return the folder with the shipped knowledge.

    Raises
    ------
    FileNotFoundError
        If the package was installed without its data: a mistake of the build.
    """
    return _shipped_folder("knowledge")


def cases_folder() -> Traversable:
    """Return the folder with the shipped cars and worked cases.

    Raises
    ------
    FileNotFoundError
        If the package was installed without its data: a mistake of the build.
    """
    return _shipped_folder("cases")


def shipped_cars() -> Mapping[str, Traversable]:
    """Return the shipped car files by name, in order, without their ending."""
    return _yaml_files(cases_folder() / "cars")


def shipped_cases() -> Mapping[str, Traversable]:
    """Return the shipped worked cases by name, in order, without their ending."""
    return _yaml_files(cases_folder())


def _yaml_files(folder: Traversable) -> Mapping[str, Traversable]:
    """Return the YAML files of a folder by name, without their ending."""
    if not folder.is_dir():
        return MappingProxyType({})
    found = {
        entry.name.removesuffix(".yaml"): entry
        for entry in folder.iterdir()
        if entry.is_file() and entry.name.endswith(".yaml")
    }
    return MappingProxyType(dict(sorted(found.items())))


def _shipped_folder(name: str) -> Traversable:
    """Return the folder inside the package, else beside it."""
    package = files("diagnose")
    inside = package / name
    if inside.is_dir():
        return inside
    if isinstance(package, Path):
        beside = package.parent / name
        if beside.is_dir():
            return beside
    raise FileNotFoundError(f"the package was built without its folder {name}/")

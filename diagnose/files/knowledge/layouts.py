"""Reads ``layouts.yaml``: the usual cars and circuits that questions start from.

Apart from the rest of knowledge/, as a person who is asked how a car is wired waits for
no network. Leaves what is asked to `asking`.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import as_file
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Literal

from pydantic import ConfigDict, Field, ValidationError

from diagnose.errors import InvalidFileError
from diagnose.files.grammar import Key, Text, grammar_problems, keys_of
from diagnose.files.knowledge.models.entries import KnowledgeEntry, SourcedEntry
from diagnose.files.resources import knowledge_folder
from diagnose.files.yaml_positions import read_document

# The file, in the folder of the knowledge.
LAYOUTS_FILE = "layouts.yaml"


class _HyphenatedEntry(SourcedEntry):
    """An entry whose keys have hyphens, as those of a car file."""

    model_config = ConfigDict(alias_generator=lambda name: name.replace("_", "-"))


class UsualPlace(KnowledgeEntry):
    """A place on the car."""

    time: Text
    says: Text
    caution: str = ""


class UsualCircuit(_HyphenatedEntry):
    """A circuit as such cars have it; see the head of the file."""

    says: Text
    also: list[Key] = Field(default=[])
    role: str = ""
    feed: Text
    relay: str = ""
    fuse: Text
    load: Text
    wire: Text
    ground: Text
    place: Key
    switch: str = ""
    on_in: list[Key] = Field(default=[])
    primes: str = ""
    springs_back: bool = False
    is_on_when_loaded: bool = False
    asks: list[Literal["inertia-switch", "resistor"]] = Field(default=[])


class UsualController(SourcedEntry):
    """A controller by its role, and other words for it."""

    says: Text
    also: list[Key]


class Layout(_HyphenatedEntry):
    """One way that such cars are changed."""

    says: Text
    adds: list[Key]
    factory: list[Key]
    answers: dict[Key, Text]


class Layouts(KnowledgeEntry):
    """``layouts.yaml``."""

    places: dict[Key, UsualPlace]
    controllers: dict[Key, UsualController]
    circuits: dict[Key, UsualCircuit]
    layouts: dict[Key, Layout]

    def circuit_called(self, name: str) -> UsualCircuit | None:
        """Return the usual circuit of a name or of another word for it.

        Parameters
        ----------
        name : str
            As an owner calls it.
        """
        if name in self.circuits:
            return self.circuits[name]
        named = (one for one in self.circuits.values() if name in one.also)
        return next(named, None)

    def role_words(self) -> Mapping[str, str]:
        """Return every other word for a part, with the role that it most likely has."""
        words = {
            word: circuit.role
            for circuit in self.circuits.values()
            if circuit.role
            for word in circuit.also
        }
        for role, controller in self.controllers.items():
            words.update(dict.fromkeys(controller.also, role))
        return words

    def answers(self, chosen: list[str]) -> Mapping[str, str]:
        """Return the default answers of the layouts chosen, the later ones last.

        Parameters
        ----------
        chosen : list[str]
            Layouts by name.
        """
        return {
            question: answer
            for name in chosen
            for question, answer in self.layouts[name].answers.items()
        }


def load_layouts(folder: Traversable | Path | None = None) -> Layouts:
    """Read the layouts of a knowledge folder.

    Parameters
    ----------
    folder : Traversable or Path or None
        The folder; the shipped one when None.

    Raises
    ------
    InvalidFileError
        With everything that is wrong with the file.
    """
    with as_file((folder or knowledge_folder()) / LAYOUTS_FILE) as path:
        document = read_document(path, wanted="knowledge file")
    try:
        return Layouts.model_validate(document.data)
    except ValidationError as error:
        known = keys_of(KnowledgeEntry)
        problems = tuple(grammar_problems(error, document, known=known))
        raise InvalidFileError(problems) from error

"""Reads the folder knowledge/ into one `Knowledge` record, or says all that is wrong.

Leaves the grammar of an entry to `models`, and what the files say about each other to
`checks`, which run once every file is valid in itself.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib.resources import as_file
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from pydantic import BaseModel, ValidationError

from diagnose.errors import FileProblem, InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.grammar import grammar_problems, keys_of
from diagnose.files.knowledge.checks.all_checks import findings
from diagnose.files.knowledge.contents import Contents
from diagnose.files.knowledge.layouts import load_layouts
from diagnose.files.knowledge.models.contexts_and_links import (
    ContextsFile,
    LinksFile,
    TriggersFile,
)
from diagnose.files.knowledge.models.design_limits import DesignLimitsFile
from diagnose.files.knowledge.models.entries import KnowledgeEntry
from diagnose.files.knowledge.models.meter_and_effort import EffortFile, MeterFile
from diagnose.files.knowledge.models.parts_and_modes import (
    FaultModesFile,
    PartKindsFile,
)
from diagnose.files.knowledge.models.procedures import (
    ProceduresFile,
)
from diagnose.files.knowledge.models.states_and_conditions import (
    CautionsFile,
    ConditionsFile,
    StatesFile,
)
from diagnose.files.knowledge.models.symptoms_and_complaints import (
    ComplaintsFile,
    SymptomsFile,
)
from diagnose.files.knowledge.models.terms import TermsFile
from diagnose.files.yaml_positions import Document, read_document

if TYPE_CHECKING:
    pass
from diagnose.files.knowledge.records import knowledge_of

# The files of a knowledge folder, without their ending, and the grammar of each.
FILE_MODELS: Mapping[str, type[BaseModel]] = {
    "part-kinds": PartKindsFile,
    "fault-modes": FaultModesFile,
    "contexts": ContextsFile,
    "links": LinksFile,
    "triggers": TriggersFile,
    "symptoms": SymptomsFile,
    "complaints": ComplaintsFile,
    "states": StatesFile,
    "cautions": CautionsFile,
    "meter": MeterFile,
    "conditions": ConditionsFile,
    "effort": EffortFile,
    "terms": TermsFile,
    "procedures": ProceduresFile,
    "design-limits": DesignLimitsFile,
}

# The grammar of one of the files.
FileModel = TypeVar("FileModel", bound=BaseModel)


def load_knowledge(folder: Traversable | Path) -> Knowledge:
    """Read a knowledge folder.

    Parameters
    ----------
    folder : Traversable or Path
        A folder with the files named in `FILE_MODELS`, each ending in ``.yaml``.

    Returns
    -------
    Knowledge
        Everything in it.

    Raises
    ------
    InvalidFileError
        With every problem of every file, in the order of their lines.
    """
    documents, problems = _read_documents(folder)
    contents = checked_contents(documents, problems)
    knowledge = knowledge_of(contents, digest=knowledge_digest(folder))
    return replace(knowledge, role_words=load_layouts(folder).role_words())


def checked_contents(
    documents: Mapping[str, Document], unread: Sequence[FileProblem] = ()
) -> Contents:
    """Return what the files say, each checked by itself and against the others.

    Parameters
    ----------
    documents : Mapping[str, Document]
        Name of a file, as in `FILE_MODELS`, to its data.
    unread : Sequence[FileProblem]
        What is wrong with files that could not be read.

    Returns
    -------
    Contents
        All files together.

    Raises
    ------
    InvalidFileError
        With every problem of every file, in the order of their lines.
    """
    problems = list(unread)
    validated: dict[str, BaseModel] = {}
    for name, document in documents.items():
        problems.extend(document.problems)
        try:
            validated[name] = FILE_MODELS[name].model_validate(document.data)
        except ValidationError as error:
            problems.extend(
                grammar_problems(error, document, known=keys_of(KnowledgeEntry))
            )
    if problems:
        raise InvalidFileError(_sorted(problems))
    contents = _contents(validated)
    problems.extend(
        documents[found.file].problem(
            found.location, found.message, of_key=found.is_key
        )
        for found in findings(contents)
    )
    if problems:
        raise InvalidFileError(_sorted(problems))
    return contents


def knowledge_digest(folder: Traversable | Path) -> str:
    """Return the SHA-256 of a knowledge folder's files, names and contents.

    Parameters
    ----------
    folder : Traversable or Path
        As for `load_knowledge`; much faster than reading it.

    Returns
    -------
    str
        In hexadecimal.

    Raises
    ------
    InvalidFileError
        If a file is missing.
    """
    digest = hashlib.sha256()
    for name in sorted(FILE_MODELS):
        file = folder / f"{name}.yaml"
        if not file.is_file():
            raise InvalidFileError((_missing(file),))
        content = file.read_bytes()
        digest.update(f"{name} {len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()


def _read_documents(
    folder: Traversable | Path,
) -> tuple[dict[str, Document], list[FileProblem]]:
    """Return the files that could be read, and what is wrong with the others."""
    documents: dict[str, Document] = {}
    problems: list[FileProblem] = []
    for name in FILE_MODELS:
        file = folder / f"{name}.yaml"
        if not file.is_file():
            problems.append(_missing(file))
            continue
        try:
            with as_file(file) as path:
                documents[name] = read_document(path, wanted="knowledge file")
        except InvalidFileError as error:
            problems.extend(error.problems)
    return documents, problems


def _missing(file: Traversable | Path) -> FileProblem:
    return FileProblem(
        path=str(file),
        line=0,
        column=0,
        message="no such file; a knowledge folder needs all of "
        + ", ".join(f"{name}.yaml" for name in FILE_MODELS),
    )


def _sorted(problems: list[FileProblem]) -> tuple[FileProblem, ...]:
    return tuple(
        sorted(problems, key=lambda found: (found.path, found.line, found.column))
    )


def _contents(validated: Mapping[str, BaseModel]) -> Contents:
    """Return all files together, each as its own model."""

    def file(name: str, model: type[FileModel]) -> FileModel:
        found = validated[name]
        assert isinstance(found, model)
        return found

    return Contents(
        part_kinds=file("part-kinds", PartKindsFile),
        fault_modes=file("fault-modes", FaultModesFile),
        contexts=file("contexts", ContextsFile),
        links=file("links", LinksFile),
        triggers=file("triggers", TriggersFile),
        symptoms=file("symptoms", SymptomsFile),
        complaints=file("complaints", ComplaintsFile),
        states=file("states", StatesFile),
        cautions=file("cautions", CautionsFile),
        meter=file("meter", MeterFile),
        conditions=file("conditions", ConditionsFile),
        effort=file("effort", EffortFile),
        terms=file("terms", TermsFile),
        procedures=file("procedures", ProceduresFile),
        design_limits=file("design-limits", DesignLimitsFile),
    )

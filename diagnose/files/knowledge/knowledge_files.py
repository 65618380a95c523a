"""Reads the folder knowledge/ into one `Knowledge` record, or says all that is wrong.

Leaves the grammar of an entry to `knowledge_models`, and what the files say about each
other to `knowledge_checks`, which runs once every file is valid in itself.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from importlib.resources import as_file
from importlib.resources.abc import Traversable
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeVar

from pydantic import BaseModel, ValidationError

from diagnose.errors import FileProblem, InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.modes import FaultMode
from diagnose.files.draft import nearest
from diagnose.files.knowledge import knowledge_models as models
from diagnose.files.knowledge.knowledge_checks import Contents, findings
from diagnose.files.quantities import shown
from diagnose.files.yaml_positions import Document, Location, read_document

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

FILE_MODELS: Mapping[str, type[BaseModel]] = {
    "part-kinds": models.PartKindsFile,
    "fault-modes": models.FaultModesFile,
    "contexts": models.ContextsFile,
    "links": models.LinksFile,
    "triggers": models.TriggersFile,
    "symptoms": models.SymptomsFile,
    "complaints": models.ComplaintsFile,
    "states": models.StatesFile,
    "cautions": models.CautionsFile,
    "meter": models.MeterFile,
    "conditions": models.ConditionsFile,
    "effort": models.EffortFile,
}

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
    return _knowledge(contents, digest=knowledge_digest(folder))


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
            problems.extend(grammar_problems(error, document, known=_field_names()))
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


def grammar_problems(
    error: ValidationError, document: Document, *, known: Collection[str]
) -> Iterator[FileProblem]:
    """Yield what is wrong with a file's entries, where it stands.

    Parameters
    ----------
    error : ValidationError
    document : Document
        The file.
    known : Collection[str]
        Every key of its grammar, for the nearest to an unknown one.
    """
    for detail in error.errors(include_url=False):
        location: Location = detail["loc"]
        is_key = detail["type"] in {"extra_forbidden", "missing"}
        if location and location[-1] == "[key]":
            location, is_key = location[:-1], True
        if detail["type"] == "missing":
            location = location[:-1]
        yield document.problem(location, grammar_message(detail, known), of_key=is_key)


def grammar_message(detail: ErrorDetails, known: Collection[str]) -> str:
    """Return what was found and what was expected, in plain words."""
    name = next((str(key) for key in reversed(detail["loc"]) if key != "[key]"), "")
    kind, context = detail["type"], detail.get("ctx", {})
    if kind == "missing":
        return f'"{name}" is missing'
    if kind == "extra_forbidden":
        return f'"{name}" is not known here{nearest(name, known)}'
    if kind == "value_error":
        return str(context["error"])
    found = f"{name}: found {shown(detail['input'])}, expected "
    if kind == "literal_error":
        return found + str(context["expected"]).replace("'", "")
    if kind == "string_pattern_mismatch":
        return found + _NAME_WORDS.get(str(context["pattern"]), "a plain name")
    wanted = _EXPECTED.get(kind)
    if wanted is None:
        return f"{name}: {detail['msg']}"
    return found + wanted.format(**context)


_EXPECTED = {
    "string_type": "text; put it in quotes",
    "string_too_short": "some text",
    "float_type": "a number",
    "int_type": "a whole number",
    "finite_number": "a finite number",
    "bool_type": "true or false",
    "dict_type": "keys with values",
    "model_type": "keys with values",
    "list_type": "a list",
    "greater_than": "a number greater than {gt:g}",
    "greater_than_equal": "a number of at least {ge:g}",
    "less_than": "a number less than {lt:g}",
    "less_than_equal": "a number of at most {le:g}",
    "too_short": "at least {min_length} of them",
    "too_long": "at most {max_length} of them",
}

_NAME_WORDS = {
    models.IDENTIFIER_PATTERN: "a plain identifier: a-z, 0-9 and _, a letter first",
    models.MODES_PATTERN: "KIND.MODE, with * for any letters",
    models.KEY_PATTERN: "a name of a-z, 0-9 and -, a letter first",
}


def _field_names() -> set[str]:
    """Return every field name of the grammar."""
    names: set[str] = set()
    ahead: list[type[BaseModel]] = [models.Entry]
    while ahead:
        model = ahead.pop()
        names.update(model.model_fields)
        ahead.extend(model.__subclasses__())
    return names


def _contents(validated: Mapping[str, BaseModel]) -> Contents:
    """Return all files together, each as its own model."""

    def file(name: str, model: type[FileModel]) -> FileModel:
        found = validated[name]
        assert isinstance(found, model)
        return found

    return Contents(
        part_kinds=file("part-kinds", models.PartKindsFile),
        fault_modes=file("fault-modes", models.FaultModesFile),
        contexts=file("contexts", models.ContextsFile),
        links=file("links", models.LinksFile),
        triggers=file("triggers", models.TriggersFile),
        symptoms=file("symptoms", models.SymptomsFile),
        complaints=file("complaints", models.ComplaintsFile),
        states=file("states", models.StatesFile),
        cautions=file("cautions", models.CautionsFile),
        meter=file("meter", models.MeterFile),
        conditions=file("conditions", models.ConditionsFile),
        effort=file("effort", models.EffortFile),
    )


def _knowledge(contents: Contents, *, digest: str) -> Knowledge:
    """Turn the files into the record."""
    return Knowledge(
        defaults=MappingProxyType(
            {
                kind: MappingProxyType(
                    {name: entry.value() for name, entry in parameters.items()}
                )
                for kind, parameters in contents.part_kinds.kinds.items()
            }
        ),
        roles=MappingProxyType(
            {
                role: frozenset(entry.kinds)
                for role, entry in contents.part_kinds.roles.items()
            }
        ),
        modes=_modes(contents),
        symptoms=MappingProxyType(
            {
                name: entry.symptom(name)
                for name, entry in contents.symptoms.symptoms.items()
            }
        ),
        complaints=MappingProxyType(
            {
                name: entry.complaint(name)
                for name, entry in contents.complaints.complaints.items()
            }
        ),
        contexts=tuple(
            entry.context(name) for name, entry in contents.contexts.contexts.items()
        ),
        links=contents.links.rules(),
        triggers=MappingProxyType(
            {
                name: entry.trigger(name)
                for name, entry in contents.triggers.triggers.items()
            }
        ),
        states=MappingProxyType(
            {name: entry.state(name) for name, entry in contents.states.states.items()}
        ),
        cautions=MappingProxyType(
            {name: entry.says for name, entry in contents.cautions.cautions.items()}
        ),
        meter=contents.meter.meter(),
        effort=contents.effort.effort(),
        safety_note=contents.cautions.safety_note.says,
        digest=digest,
        conditions=MappingProxyType(
            {
                kind: MappingProxyType(
                    {name: entry.condition() for name, entry in parameters.items()}
                )
                for kind, parameters in contents.conditions.conditions.items()
            }
        ),
    )


def _modes(contents: Contents) -> tuple[FaultMode, ...]:
    """Return every mode; one that comes and goes with the changes it borrows."""
    modes = [
        _with_shifts(entry.mode(), contents) for entry in contents.fault_modes.modes
    ]
    named = {(mode.kind, mode.name): mode for mode in modes}
    return tuple(
        mode
        if mode.lasts
        else replace(
            mode,
            changes=named[mode.kind, mode.acts_as].changes,
            mechanical=named[mode.kind, mode.acts_as].mechanical,
        )
        for mode in modes
    )


def _with_shifts(mode: FaultMode, contents: Contents) -> FaultMode:
    """Return a mode with what contexts say of its whole class."""
    shifts = {
        name: MappingProxyType(factors)
        for name, context in contents.contexts.contexts.items()
        if (factors := context.factors(f"{mode.kind}.{mode.name}"))
    }
    return replace(mode, factors=MappingProxyType({**mode.factors, **shifts}))

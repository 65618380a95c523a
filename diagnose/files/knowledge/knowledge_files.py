"""Reads the folder knowledge/ into one `Knowledge` record, or says all that is wrong.

Leaves the grammar of an entry to `models`, and what the files say about each other to
`checks`, which run once every file is valid in itself.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from importlib.resources import as_file
from importlib.resources.abc import Traversable
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeVar

from pydantic import BaseModel, ValidationError

from diagnose.circuit.car import DrawsWhen
from diagnose.errors import FileProblem, InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.modes import FaultMode
from diagnose.files.grammar import grammar_problems, keys_of
from diagnose.files.knowledge.checks.all_checks import findings
from diagnose.files.knowledge.contents import Contents
from diagnose.files.knowledge.layouts import load_layouts
from diagnose.files.knowledge.models.contexts_and_links import (
    ContextsFile,
    LinksFile,
    SignEntry,
    TriggerEntry,
    TriggersFile,
)
from diagnose.files.knowledge.models.design_limits import DesignLimitsFile
from diagnose.files.knowledge.models.entries import KnowledgeEntry, ValueEntry
from diagnose.files.knowledge.models.meter_and_effort import EffortFile, MeterFile
from diagnose.files.knowledge.models.parts_and_modes import (
    FaultModesFile,
    PartKindsFile,
)
from diagnose.files.knowledge.models.procedures import (
    ProcedureEntry,
    ProceduresFile,
)
from diagnose.files.knowledge.models.states_and_conditions import (
    CautionsFile,
    ConditionEntry,
    ConditionsFile,
    StateEntry,
    StatesFile,
)
from diagnose.files.knowledge.models.symptoms_and_complaints import (
    ComplaintEntry,
    ComplaintsFile,
    SymptomEntry,
    SymptomsFile,
)
from diagnose.files.knowledge.models.terms import TermsFile
from diagnose.files.yaml_positions import Document, read_document

if TYPE_CHECKING:
    pass

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

# An entry of some file.
EntryT = TypeVar("EntryT")

# What an entry turns into.
RecordT = TypeVar("RecordT")


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
    knowledge = _knowledge(contents, digest=knowledge_digest(folder))
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


def _knowledge(contents: Contents, *, digest: str) -> Knowledge:
    """Return what the files say, with the modes under what contexts say of them."""
    roles = contents.part_kinds.roles
    cautions = contents.cautions
    return Knowledge(
        defaults=_by_kind(contents.part_kinds.kinds, ValueEntry.value),
        roles=MappingProxyType({role: frozenset(roles[role].kinds) for role in roles}),
        draws_when=MappingProxyType(
            {role: DrawsWhen(entry.draws_when) for role, entry in roles.items()}
        ),
        plain_load_kinds=MappingProxyType(
            {role: e.a_load_is for role, e in roles.items() if e.a_load_is is not None}
        ),
        coils=_by_kind(
            {role: entry.coil for role, entry in roles.items() if entry.coil},
            ValueEntry.value,
        ),
        modes=_modes(contents),
        symptoms=_by_name(contents.symptoms.symptoms, SymptomEntry.symptom),
        complaints=_by_name(contents.complaints.complaints, ComplaintEntry.complaint),
        complaint_groups=MappingProxyType(dict(contents.complaints.groups)),
        contexts=tuple(
            entry.context(name) for name, entry in contents.contexts.contexts.items()
        ),
        links=contents.links.rules(),
        triggers=_by_name(contents.triggers.triggers, TriggerEntry.trigger),
        signs=_by_name(contents.triggers.signs, SignEntry.sign),
        states=_by_name(contents.states.states, StateEntry.state),
        output_hows=MappingProxyType(
            {role: entry.how for role, entry in contents.states.outputs.items()}
        ),
        cautions=MappingProxyType(
            {name: entry.says for name, entry in cautions.cautions.items()}
        ),
        caution_briefs=MappingProxyType(
            {one.says: one.brief for one in cautions.cautions.values() if one.brief}
        ),
        caution_rules=cautions.rules(),
        meter=contents.meter.meter(),
        effort=contents.effort.effort(),
        design_limits=contents.design_limits.design_limits(),
        safety_note=cautions.safety_note.says,
        terms=MappingProxyType(_terms(contents)),
        procedures=_by_name(contents.procedures.procedures, ProcedureEntry.procedure),
        digest=digest,
        conditions=_by_kind(contents.conditions.conditions, ConditionEntry.condition),
    )


def _terms(contents: Contents) -> dict[str, str]:
    """Return what each term and procedure says; first what it is, where it is both."""
    says = {name: entry.says for name, entry in contents.cautions.cautions.items()}
    terms, told = contents.terms.by_words(), contents.procedures.by_words(says)
    return {
        words: " ".join(one[words] for one in (terms, told) if words in one)
        for words in (*terms, *told)
    }


def _by_name(
    entries: Mapping[str, EntryT], record: Callable[[EntryT, str], RecordT]
) -> Mapping[str, RecordT]:
    """Return each entry's record under the entry's name."""
    return MappingProxyType(
        {name: record(entry, name) for name, entry in entries.items()}
    )


def _by_kind(
    kinds: Mapping[str, Mapping[str, EntryT]], record: Callable[[EntryT], RecordT]
) -> Mapping[str, Mapping[str, RecordT]]:
    """Return each entry's record by kind of part and parameter."""
    return MappingProxyType(
        {
            kind: MappingProxyType(
                {name: record(entry) for name, entry in parameters.items()}
            )
            for kind, parameters in kinds.items()
        }
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

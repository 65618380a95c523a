"""The records of the program, made of what the files of knowledge/ say."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeVar

from diagnose.circuit.operating_states import DrawsWhen
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.modes import FaultMode
from diagnose.files.knowledge.contents import Contents
from diagnose.files.knowledge.models.contexts_and_links import (
    SignEntry,
    TriggerEntry,
)
from diagnose.files.knowledge.models.entries import ValueEntry
from diagnose.files.knowledge.models.procedures import (
    ProcedureEntry,
)
from diagnose.files.knowledge.models.states_and_conditions import (
    ConditionEntry,
    StateEntry,
)
from diagnose.files.knowledge.models.symptoms_and_complaints import (
    ComplaintEntry,
    SymptomEntry,
)

if TYPE_CHECKING:
    pass


# An entry of some file.
EntryT = TypeVar("EntryT")


# What an entry turns into.
RecordT = TypeVar("RecordT")


def knowledge_of(contents: Contents, *, digest: str) -> Knowledge:
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
        attached=_by_kind(
            {
                f"{role}/{kind}": values
                for role, entry in roles.items()
                for kind, values in entry.attached.items()
            },
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

"""Every check of what the knowledge files say about each other, in a fixed order."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from diagnose.files.knowledge.checks.cautions_and_effort import (
    check_cautions,
    check_effort,
    check_standing_cautions,
)
from diagnose.files.knowledge.checks.contexts_and_links import (
    check_context_shifts,
    check_links,
    check_signs,
    check_spots,
    check_triggers,
)
from diagnose.files.knowledge.checks.findings import Finding
from diagnose.files.knowledge.checks.modes import (
    check_fleeting,
    check_mode_changes,
    check_mode_factors,
    check_mode_mechanical,
    check_mode_names,
    check_mode_rates,
    check_mode_roles,
)
from diagnose.files.knowledge.checks.parts import (
    check_audited_roles,
    check_conditions,
    check_kinds,
    check_roles,
)
from diagnose.files.knowledge.checks.procedures import check_procedures
from diagnose.files.knowledge.checks.symptoms_and_states import (
    check_complaints,
    check_states,
    check_symptom_circles,
    check_symptom_needs,
    check_symptoms,
)
from diagnose.files.knowledge.checks.terms import check_terms
from diagnose.files.knowledge.contents import Contents

# One check: yields what it finds wrong with the files together.
Check = Callable[[Contents], Iterator[Finding]]

# The checks, in the order in which equal places are told.
_CHECKS: tuple[Check, ...] = (
    check_kinds,
    check_conditions,
    check_roles,
    check_mode_names,
    check_mode_roles,
    check_mode_changes,
    check_mode_factors,
    check_context_shifts,
    check_fleeting,
    check_signs,
    check_triggers,
    check_links,
    check_spots,
    check_mode_rates,
    check_mode_mechanical,
    check_cautions,
    check_standing_cautions,
    check_effort,
    check_audited_roles,
    check_symptoms,
    check_symptom_circles,
    check_symptom_needs,
    check_states,
    check_complaints,
    check_terms,
    check_procedures,
)


def findings(contents: Contents) -> tuple[Finding, ...]:
    """Return everything the files get wrong about each other.

    Parameters
    ----------
    contents : Contents
        The files, each valid in itself.
    """
    return tuple(found for check in _CHECKS for found in check(contents))

"""All knowledge files together, each valid in itself."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.files.knowledge.models.contexts_and_links import (
    ContextsFile,
    LinksFile,
    TriggersFile,
)
from diagnose.files.knowledge.models.design_limits import DesignLimitsFile
from diagnose.files.knowledge.models.meter_and_effort import EffortFile, MeterFile
from diagnose.files.knowledge.models.parts_and_modes import (
    FaultModesFile,
    PartKindsFile,
)
from diagnose.files.knowledge.models.procedures import ProceduresFile
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """All knowledge files, each valid in itself."""

    part_kinds: PartKindsFile
    fault_modes: FaultModesFile
    contexts: ContextsFile
    links: LinksFile
    triggers: TriggersFile
    symptoms: SymptomsFile
    complaints: ComplaintsFile
    states: StatesFile
    cautions: CautionsFile
    meter: MeterFile
    conditions: ConditionsFile
    effort: EffortFile
    terms: TermsFile
    procedures: ProceduresFile
    design_limits: DesignLimitsFile

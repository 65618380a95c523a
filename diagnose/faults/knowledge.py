"""All that knowledge/ says, as records: what a mechanic could correct.

`files` reads it in; everything else only looks things up here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from types import MappingProxyType

from diagnose.circuit.car import Car
from diagnose.circuit.design.limits import DesignLimits
from diagnose.circuit.operating_states import DrawsWhen, OperatingState
from diagnose.circuit.system_voltage import words_at
from diagnose.circuit.temperature_and_age import Condition
from diagnose.circuit.values import Value
from diagnose.faults.caution_rules import CautionRules
from diagnose.faults.link_rules import LinkRules
from diagnose.faults.modes import FaultMode, Sign, Trigger
from diagnose.faults.owner_limits import Effort
from diagnose.measurement.meters import Meter
from diagnose.measurement.procedures import Procedures
from diagnose.measurement.quantities import usable_symptoms
from diagnose.measurement.symptoms import Complaint, Context, Symptom, moved


@dataclass(frozen=True, slots=True, kw_only=True)
class Knowledge:
    """Everything in knowledge/.

    Parameters
    ----------
    defaults : Mapping[str, Mapping[str, Value]]
        Kind of part to parameter to its default value (for a 12 V car).
    modes : tuple[FaultMode, ...]
        The ways parts fail.
    symptoms : Mapping[str, Symptom]
        What an owner can be asked, by name.
    complaints : Mapping[str, Complaint]
        What an owner may come with, by name.
    complaint_groups : Mapping[str, str]
        Group of complaints to the words for it, in the order they are listed.
    contexts : tuple[Context, ...]
        Questions about the car's history.
    meter : Meter
        The meter and the test lamp that readings are taken with.
    roles : Mapping[str, frozenset[str]]
        Role a part may play to the kinds of part that can play it.
    role_words : Mapping[str, str]
        Other word for a part to the role that it most likely has.
    draws_when : Mapping[str, DrawsWhen]
        Role to when a load in it takes its current, where its car file does not say.
    plain_load_kinds : Mapping[str, str]
        Role to the kind of part that a plain ``load`` of a car file is in it; ``load``
        in a role not named.
    attached : Mapping[str, Mapping[str, Value]]
        ``ROLE/KIND`` to the values of a part of that kind that goes with one in that
        role, where those differ from the kind's (for a 12 V car): ``starter/joint`` is
        the mount of a starter.
    states : Mapping[str, OperatingState]
        Default operating states, without a car's switches.
    output_hows : Mapping[str, str]
        Role to how a person gets a controller to switch such a part on; ``any`` for
        the rest.
    triggers : Mapping[str, Trigger]
        What brings faults that come and go.
    signs : Mapping[str, Sign]
        What an owner saw of faults that come and go.
    links : LinkRules
        Faults that make others likelier, and what spoils a whole place.
    cautions : Mapping[str, str]
        Key to the words that stand before a step.
    caution_briefs : Mapping[str, str]
        Words of a caution to the same in one line, where it has one.
    caution_rules : CautionRules
        Which of them stand where.
    effort : Effort
        What owners may lack, and what the price of a part counts as.
    safety_note : str
        Printed when a diagnosis starts.
    terms : Mapping[str, str]
        Word of a page to what it means, in one sentence.
    procedures : Procedures
        How each kind of reading is taken.
    conditions : Mapping[str, Mapping[str, Condition]]
        Kind of part to parameter to what it depends on.
    design_limits : DesignLimits or None
        What an audit holds a car against; None where nothing is audited.
    digest : str
        Hash of the files read; part of the cache key.
    learned_digest : str
        Hash of what closed cases moved the rates by; empty for the published rates.
    """

    defaults: Mapping[str, Mapping[str, Value]]
    modes: tuple[FaultMode, ...]
    symptoms: Mapping[str, Symptom]
    complaints: Mapping[str, Complaint]
    contexts: tuple[Context, ...]
    states: Mapping[str, OperatingState]
    cautions: Mapping[str, str]
    meter: Meter
    safety_note: str
    digest: str
    learned_digest: str = ""
    roles: Mapping[str, frozenset[str]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    role_words: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    draws_when: Mapping[str, DrawsWhen] = field(
        default_factory=lambda: MappingProxyType({})
    )
    plain_load_kinds: Mapping[str, str] = field(
        default_factory=lambda: MappingProxyType({})
    )
    attached: Mapping[str, Mapping[str, Value]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    triggers: Mapping[str, Trigger] = field(
        default_factory=lambda: MappingProxyType({})
    )
    signs: Mapping[str, Sign] = field(default_factory=lambda: MappingProxyType({}))
    links: LinkRules = field(default_factory=LinkRules)
    conditions: Mapping[str, Mapping[str, Condition]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    output_hows: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    effort: Effort = field(default_factory=Effort)
    terms: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    procedures: Procedures = field(default_factory=lambda: MappingProxyType({}))
    complaint_groups: Mapping[str, str] = field(
        default_factory=lambda: MappingProxyType({})
    )
    caution_briefs: Mapping[str, str] = field(
        default_factory=lambda: MappingProxyType({})
    )
    design_limits: DesignLimits | None = None
    caution_rules: CautionRules = field(default_factory=CautionRules)

    def is_said_every_time(self, caution: str) -> bool:
        """Return whether a caution, in words, is told again where it was read before.

        Parameters
        ----------
        caution : str
            One of the words of `cautions`.

        Returns
        -------
        bool
            By `CautionRules.every_time`.
        """
        return any(
            self.cautions[key] == caution for key in self.caution_rules.every_time
        )

    def for_car(self, car: Car) -> Knowledge:
        """Return the knowledge as it is for a car.

        Parameters
        ----------
        car : Car
            The car.

        Returns
        -------
        Knowledge
            Symptoms of a state that it does not have are looked for in the one named
            as `OperatingState.otherwise`, where it has that; volts and words are those
            of its system and of the parts it has; and with what can be seen and
            complained of every part.
        """
        # only here, for a car's file is read without the circuits that these solve
        from diagnose.measurement.of_parts.part_claims import EVERY_PART
        from diagnose.measurement.of_parts.part_complaints import (
            part_complaints,
            standing_still,
        )
        from diagnose.measurement.of_parts.part_symptoms import (
            gathered,
            part_symptoms,
        )
        from diagnose.measurement.of_parts.sound_work import sound_work

        asked_of = partial(words_at, system_volts=car.system_volts)
        there = {state.name for state in car.states}
        places: dict[str, str] = {}
        for name, state in self.states.items():
            seen, other = {name}, state.otherwise
            while other and other not in there and other not in seen:
                seen.add(other)
                other = self.states[other].otherwise if other in self.states else ""
            if name not in there and other in there:
                places[name] = other
        symptoms = {
            name: replace(moved(one, places), question=asked_of(one.question))
            for name, one in self.symptoms.items()
        }
        work = sound_work(car)
        for symptom in part_symptoms(car, work):
            known = symptom.caution in self.cautions
            one = symptom if known else replace(symptom, caution="")
            symptoms.setdefault(one.name, one)
        symptoms |= {
            name: gathered(symptom, symptoms)
            for name, symptom in symptoms.items()
            if symptom.any_part
        }
        symptoms |= {
            name: replace(symptoms[name], part=EVERY_PART)
            for name in usable_symptoms(car, symptoms)
            if symptoms[name].is_only_told
        }
        roles = {part.role for part in car.parts if part.role}
        complaints = {n: one.said_of(roles) for n, one in self.complaints.items()}
        for made in tuple(part_complaints(car, work, symptoms, self.complaints)):
            complaint = made
            if made.stands_for:
                tested = symptoms[made.retest]
                complaint, tested = standing_still(made, tested, work, car)
                symptoms[tested.name] = tested
            complaints[complaint.name] = complaint
        return replace(
            self,
            symptoms=MappingProxyType(symptoms),
            complaints=MappingProxyType(complaints),
        )

"""The words a diagnosis understands: what this car has, and what can be told of it.

Leaves what a typed line means to `terminal`, and whether a fact may be told to
`fact_checks`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.of_parts.part_claims import EVERY_PART, key_for, words_for
from diagnose.measurement.of_parts.part_complaints import ASPECTS
from diagnose.measurement.points.where_to_measure import clamp_parts
from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.session.ready_car import Model
from diagnose.session.substitution.safety import changeable_parts

# What complaints are called that belong to no group.
WITHOUT_GROUP = "something else"


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary:
    """The words this diagnosis understands, for checks, completion and help.

    Parameters
    ----------
    nodes : tuple[str, ...]
        Where a lead can be put.
    states, symptoms, causes, complaints : Mapping[str, str]
        Name to the words for it.
    complaint_groups : Mapping[str, tuple[str, ...]]
        Words for a group of complaints to their names, which follow one another in
        `complaints`; those of single parts come behind.
    part_complaints : Mapping[str, tuple[str, ...]]
        Words for a part to the names of what can be complained of it.
    part_symptoms : tuple[str, ...]
        Those of the symptoms and signs that are made for single parts.
    signs : Mapping[str, str]
        What is seen of faults that come and go, name to question.
    whens : Mapping[str, str]
        The signs that say when it comes, name to the words for it.
    retests : Mapping[str, str]
        Complaint to the symptom that it is about.
    contexts : Mapping[str, tuple[str, tuple[str, ...]]]
        Name to its question and answers.
    parts : tuple[str, ...]
        What a clamp can go round.
    fuses : tuple[str, ...]
        What can be looked at, or read along.
    limits : Mapping[str, str]
        What an owner may lack, name to the words for it.
    places : tuple[str, ...]
        Where on the car things are.
    tests : Mapping[str, str]
        Tests that bring a fault which comes and goes, name to question.
    also_said : Mapping[str, tuple[str, ...]]
        Complaint to what people say for it besides; without those that have no such
        words.
    caution_briefs : Mapping[str, str]
        Words of a caution to the same in one line.
    terms : Mapping[str, str]
        Word of a page to what it means.
    swappable, unpluggable : tuple[str, ...]
        What can be exchanged as a whole for a test, and taken off its wires.
    reference : str
        The node the black lead is on when none is named.
    look_state : str
        The state a look at a fuse is noted under.
    dead_states : tuple[str, ...]
        States with the battery off: ohms are read there, and no volts.
    """

    nodes: tuple[str, ...]
    states: Mapping[str, str]
    symptoms: Mapping[str, str]
    causes: Mapping[str, str]
    complaints: Mapping[str, str]
    contexts: Mapping[str, tuple[str, tuple[str, ...]]]
    parts: tuple[str, ...]
    fuses: tuple[str, ...]
    reference: str
    look_state: str
    dead_states: tuple[str, ...] = ()
    limits: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    places: tuple[str, ...] = ()
    swappable: tuple[str, ...] = ()
    unpluggable: tuple[str, ...] = ()
    tests: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    terms: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    complaint_groups: Mapping[str, tuple[str, ...]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    part_symptoms: tuple[str, ...] = ()
    signs: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    whens: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    retests: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    part_complaints: Mapping[str, tuple[str, ...]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    also_said: Mapping[str, tuple[str, ...]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    caution_briefs: Mapping[str, str] = field(
        default_factory=lambda: MappingProxyType({})
    )

    @property
    def asked(self) -> Mapping[str, str]:
        """What is answered by yes or no: symptoms, and tests that bring a fault."""
        return {**self.symptoms, **self.tests, **self.signs}

    @property
    def seen(self) -> Mapping[str, str]:
        """What an owner may have seen by himself: symptoms, and signs."""
        return {**self.symptoms, **self.signs}

    def targets(self, verb: str) -> Mapping[str, str]:
        """Return where a test can be done, each with what is asked there.

        Parameters
        ----------
        verb : str
            What is done there (``wiggle``).

        Returns
        -------
        Mapping[str, str]
            Place or part to question.
        """
        before = f"{verb}-"
        return {
            name.removeprefix(before): question
            for name, question in self.tests.items()
            if name.startswith(before)
        }


def vocabulary_of(model: Model) -> Vocabulary:
    """Return the words that a diagnosis on a car understands.

    Parameters
    ----------
    model : Model

    Returns
    -------
    Vocabulary
    """
    car, knowledge, compiled = model.car, model.knowledge, model.compiled
    groups = _complaint_groups(model)
    of_parts = _part_complaints(model)
    names = [name for group in groups.values() for name in group]
    names += [name for part in of_parts.values() for name in part]
    listed = dict.fromkeys(compiled.symptom_names)
    twins = _listed_twins(model)
    of_one_part = [
        name
        for name, symptom in knowledge.symptoms.items()
        if symptom.part and name not in twins
    ]
    symptoms = {n: knowledge.symptoms[n].question for n in (*listed, *of_one_part)}
    return Vocabulary(
        nodes=car.nodes,
        states={state.name: state.label for state in car.states},
        symptoms=symptoms,
        causes={cause.name: cause.says for cause in compiled.causes},
        complaints={
            name: knowledge.complaints[name].says for name in dict.fromkeys(names)
        },
        complaint_groups=groups,
        part_complaints=of_parts,
        part_symptoms=(
            *(n for n in of_one_part if knowledge.symptoms[n].part != EVERY_PART),
            *(name for name in model.signs if name not in knowledge.signs),
        ),
        signs={name: sign.symptom.question for name, sign in model.signs.items()},
        whens={
            name: sign.when
            for name, sign in knowledge.signs.items()
            if sign.when and name in model.signs
        },
        retests={name: knowledge.complaints[name].retest for name in names},
        contexts={c.name: (c.question, tuple(c.states)) for c in knowledge.contexts},
        parts=clamp_parts(car),
        fuses=tuple(p.name for p in car.parts if p.kind in PROTECTIVE_KINDS),
        reference=car.reference,
        look_state=car.states[0].name,
        dead_states=tuple(
            state.name for state in car.states if not state.is_battery_connected
        ),
        limits={limit.name: limit.says for limit in knowledge.effort.limits.values()},
        places=tuple(car.places),
        swappable=changeable_parts(car, SubstitutionKind.SWAP),
        unpluggable=changeable_parts(car, SubstitutionKind.UNPLUG),
        tests={
            name: model.asked(name).question
            for name in (
                *model.provocations,
                *model.renewals,
                *model.touches,
            )
        },
        also_said={
            name: knowledge.complaints[name].also
            for name in names
            if knowledge.complaints[name].also
        },
        caution_briefs=knowledge.caution_briefs,
        terms=knowledge.terms,
    )


def _complaint_groups(model: Model) -> Mapping[str, tuple[str, ...]]:
    """Return the complaints that can be re-tested on this car, in their groups."""
    known = model.knowledge
    groups = {**known.complaint_groups, "": WITHOUT_GROUP}
    found = {
        words: tuple(
            complaint.name
            for complaint in known.complaints.values()
            if complaint.group == group
            and (complaint.group or not complaint.part)
            and model.can_tell(complaint.retest)
        )
        for group, words in groups.items()
    }
    return {words: names for words, names in found.items() if names}


def _listed_twins(model: Model) -> frozenset[str]:
    """Return the symptoms of parts that a listed one says in other words."""
    return frozenset(
        f"{key_for(model.car.part(complaint.part))}-{ASPECTS[ending].symptom}"
        for complaint in model.knowledge.complaints.values()
        if complaint.part
        for ending in complaint.stands_for
    )


def _part_complaints(model: Model) -> Mapping[str, tuple[str, ...]]:
    """Return what can be complained of each part, those that are listed first."""
    car, found = model.car, dict[str, list[str]]()
    for complaint in model.knowledge.complaints.values():
        if complaint.part and model.can_tell(complaint.retest):
            words = words_for(car.part(complaint.part))
            found.setdefault(words, []).append(complaint.name)
    return {words: tuple(found[words]) for words in sorted(found)}

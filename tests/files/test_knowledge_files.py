"""The knowledge folder: what ships loads, and what is wrong is said exactly."""

from __future__ import annotations

import itertools
import math
import shutil
from collections.abc import Mapping
from pathlib import Path

import pytest

from diagnose.circuit.elements import ELEMENTS
from diagnose.circuit.values import Shape
from diagnose.errors import InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.modes import FaultMode
from diagnose.files.knowledge.knowledge_files import (
    FILE_MODELS,
    checked_contents,
    knowledge_digest,
    load_knowledge,
)
from diagnose.files.resources import knowledge_folder
from diagnose.files.yaml_positions import Document, Plain, read_document
from diagnose.measurement.symptoms import Claim, Group, Join, Quantity

BASES = {"read", "copy", "rule", "memory", "derived"}


@pytest.fixture(scope="module")
def shipped(knowledge: Knowledge) -> Knowledge:
    return knowledge


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a copy of the shipped folder, to spoil."""
    copy = tmp_path / "knowledge"
    shutil.copytree(str(knowledge_folder()), copy)
    return copy


def spoil(folder: Path, file: str, before: str, after: str) -> tuple[int, int]:
    """Replace the first `before`, and return the line and column where it stood."""
    path = folder / f"{file}.yaml"
    text = path.read_text(encoding="utf-8")
    start = text.index(before)
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    return text.count("\n", 0, start) + 1, start - text.rfind("\n", 0, start)


@pytest.fixture(scope="module")
def documents() -> Mapping[str, Document]:
    """Return the shipped files as read, before they are checked."""
    folder = Path(str(knowledge_folder()))
    return {
        name: read_document(folder / f"{name}.yaml", wanted="knowledge file")
        for name in FILE_MODELS
    }


def message_after(
    documents: Mapping[str, Document], folder: Path, mistake: tuple[str, str, str]
) -> str:
    """Return the loader's message on the line of one replacement, path cut off.

    What follows from it in other files stands before or behind, by their paths. Only
    the spoiled file is read again.
    """
    file, before, after = mistake
    line, _ = spoil(folder, file, before, after)
    spoiled = read_document(folder / f"{file}.yaml", wanted="knowledge file")
    with pytest.raises(InvalidFileError) as caught:
        checked_contents({**documents, file: spoiled})
    prefix = f"{folder / file}.yaml:{line}:"
    before_it, found, message = str(caught.value).partition(prefix)
    assert found, before_it
    return message.partition(": ")[2]


# What ships


def test_shipped_knowledge_loads(shipped: Knowledge) -> None:
    assert len(shipped.modes) > 50


def test_every_kind_the_circuit_knows_has_all_its_defaults(shipped: Knowledge) -> None:
    defaults = {kind: set(values) for kind, values in shipped.defaults.items()}

    assert defaults == {kind: set(e.parameters) for kind, e in ELEMENTS.items()}


def test_every_kind_but_none_has_a_fault_mode(shipped: Knowledge) -> None:
    assert {mode.kind for mode in shipped.modes} == set(ELEMENTS)


@pytest.mark.parametrize("file", sorted(FILE_MODELS))
def test_every_shipped_record_has_a_source_and_a_basis(
    documents: Mapping[str, Document], file: str
) -> None:
    assert not _records(documents[file].data, ())


def _records(data: Plain, place: tuple[str, ...]) -> list[str]:
    """Return the records, by what makes them one, that lack source or basis."""
    if isinstance(data, list):
        lists = (_records(one, (*place, str(i))) for i, one in enumerate(data))
        return [wrong for found in lists for wrong in found]
    if not isinstance(data, dict):
        return []
    marks = {"rate", "question", "says", "change_minutes", "percent", "value"}
    marks |= {"celsius", "years"}
    is_default = place[:1] == ("kinds",) and len(place) == 3
    is_record = is_default or bool(marks & data.keys())
    source, basis = data.get("source"), data.get("basis")
    wrong = is_record and (not source or basis not in BASES)
    inner = [w for key, one in data.items() for w in _records(one, (*place, key))]
    return [*inner, ".".join(place)] if wrong else inner


def _bases(data: Plain) -> list[str]:
    """Return the basis of every record, in the order of the file."""
    if isinstance(data, list):
        return [basis for one in data for basis in _bases(one)]
    if not isinstance(data, dict):
        return []
    own = [str(data["basis"])] if "basis" in data else []
    return own + [basis for one in data.values() for basis in _bases(one)]


def test_fewer_than_ninety_records_are_from_memory(
    documents: Mapping[str, Document],
) -> None:
    bases = [basis for one in documents.values() for basis in _bases(one.data)]

    assert bases.count("memory") < 90


def _is_comment(line: str) -> bool:
    return line.startswith("#")


def test_sixty_symptoms_and_more_are_written_down(shipped: Knowledge) -> None:
    assert sum(not symptom.part for symptom in shipped.symptoms.values()) >= 60


@pytest.mark.parametrize("file", sorted(FILE_MODELS))
def test_every_file_opens_with_its_grammar(file: str) -> None:
    text = (knowledge_folder() / f"{file}.yaml").read_text(encoding="utf-8")
    comment = list(itertools.takewhile(_is_comment, text.splitlines()))

    assert any("Grammar" in line for line in comment)


def test_default_battery_reads_the_published_rest_volts(shipped: Knowledge) -> None:
    # US Army TM 5-3805-262-20 p. 5-142: 25/50/75/100 % = 12.0/12.2/12.4/12.6 V. Its row
    # for empty, 11.7 V or less, is no point of that line.
    battery = shipped.defaults["battery"]
    empty = battery["empty_volts"].distribution.nominal
    full = battery["full_volts"].distribution.nominal
    charges = (0.25, 0.50, 0.75, 1.00)

    volts = [empty + charge * (full - empty) for charge in charges]

    assert volts == pytest.approx([12.0, 12.2, 12.4, 12.6], abs=1e-9)


def test_default_relay_pulls_in_by_8_volts_and_holds_above_1_volt(
    shipped: Knowledge,
) -> None:
    # Data sheets of three 12 V relays: operate at 7.2, 8.0 and 8.4 V or less, release
    # at 1.2 V or more. The middle one, and a margin; two standard deviations.
    pull_in = shipped.defaults["coil"]["pull_in_volts"].distribution
    release = shipped.defaults["coil"]["release_volts"].distribution

    assert pull_in.first + 2 * pull_in.second <= 8.0
    assert release.first - 2 * release.second >= 1.0


def test_default_relay_contact_drops_at_most_50_millivolts_at_10_amps(
    shipped: Knowledge,
) -> None:
    # Data sheets of three 12 V relays: contact 50 mV at 10 A, typical.
    contact = shipped.defaults["contacts"]["contact_ohms"].distribution

    assert contact.nominal * 10.0 <= 0.050


def test_default_wire_joint_is_at_most_3_milliohms(shipped: Knowledge) -> None:
    # FAA AC 43.13-1B 11-189: a bonding jumper's joint is at most 3 mohm. It is taken as
    # the middle, for want of a document on the joints of a car's wires.
    assert shipped.defaults["wire"]["joint_a_ohms"].distribution.nominal <= 0.003


def test_states_are_those_the_symptoms_are_written_for(shipped: Knowledge) -> None:
    assert list(shipped.states) == [
        "key-off",
        "priming",
        "key-on",
        "switched-on",
        "held",
        "cranking",
        "idle",
        "idle-loaded",
        "fast-idle",
        "run-on",
        "isolated",
        "unplugged",
    ]  # fmt: skip


def test_cranking_needs_a_helper_and_a_caution(shipped: Knowledge) -> None:
    state = shipped.states["cranking"]

    assert (state.needs_helper, state.caution) == (True, "cranking")


def test_every_running_state_exists_by_a_symptom(shipped: Knowledge) -> None:
    running = [s for s in shipped.states.values() if s.is_engine_running]

    assert all(state.exists_when in shipped.symptoms for state in running)


@pytest.mark.parametrize("state", ["idle", "idle-loaded", "fast-idle", "run-on"])
def test_running_states_warn_of_moving_parts(shipped: Knowledge, state: str) -> None:
    assert shipped.states[state].caution == "moving-parts"


def test_symptoms_watched_while_cranking_or_running_have_a_caution(
    shipped: Knowledge,
) -> None:
    risky = {"cranking", "idle", "idle-loaded", "fast-idle", "run-on"}
    watched = [s for s in shipped.symptoms.values() if s.state in risky]
    bare = [symptom.name for symptom in watched if not symptom.caution]

    assert not bare


def test_claims_read_as_the_records_say(shipped: Knowledge) -> None:
    group = shipped.symptoms["lights-dim-when-fan-cuts-in"].when

    assert group == Group(
        join=Join.ALL,
        members=(
            Claim(
                role="battery",
                quantity=Quantity.VOLTS,
                state="idle-loaded",
                at_least=False,
                limit=0.925,
                blur=0.008,
                relative_to="idle",
            ),
        ),
    )


def test_a_group_can_name_another_symptom(shipped: Knowledge) -> None:
    assert "engine-cranks" in shipped.symptoms["engine-starts"].when.members


# Rates against the published shares


def rates(knowledge: Knowledge, kind: str) -> dict[str, float]:
    return {m.name: m.rate for m in knowledge.modes if m.kind == kind}


def shares_of(groups: list[float]) -> list[float]:
    return [group / math.fsum(groups) for group in groups]


def test_relay_modes_follow_the_published_shares(shipped: Knowledge) -> None:
    # MIL-HDBK-338B: fails to close .55, closes by itself .26, short .19.
    coil, contacts = rates(shipped, "coil"), rates(shipped, "contacts")
    closing = (
        coil["open_circuit"]
        + coil["pull_in_high"]
        + contacts["burnt"]
        + contacts["does_not_close"]
        + coil["comes_and_goes"]
        + contacts["comes_and_goes"]
    )
    shorts = coil["draws_too_much"] + contacts["bridged_to_coil"]
    groups = [closing, contacts["welded"], shorts]

    assert shares_of(groups) == pytest.approx([0.55, 0.26, 0.19], abs=0.005)


def test_relay_modes_sum_to_the_published_base_rate(shipped: Knowledge) -> None:
    # MIL-HDBK-217F: 2.1 per 1e6 h, over 1200 h; a solenoid's own mode is none of
    # them, nor are heat and wires on the wrong terminal.
    coil, contacts = rates(shipped, "coil"), rates(shipped, "contacts")
    total = math.fsum([*coil.values(), *contacts.values()])
    total -= contacts["solenoid_burnt"] + coil["too_hot"]
    total -= contacts["load_on_87a"] + contacts["feed_and_load_swapped"]
    total -= contacts["relay_of_other_layout"] + contacts["backfed"]

    assert total == pytest.approx(2.1e-6 * 1200, rel=0.01)


def test_wire_modes_follow_the_published_connector_shares(shipped: Knowledge) -> None:
    # MIL-HDBK-338B connector: open .61, poor contact .23, short .16.
    wire = rates(shipped, "wire")
    poor = wire["high_resistance_a"] + wire["high_resistance_b"]
    opens = wire["open_circuit"] + wire["comes_and_goes"]
    groups = [opens, poor, wire["short_to_ground"]]

    assert shares_of(groups) == pytest.approx([0.61, 0.23, 0.16], abs=0.005)


def test_switch_modes_follow_the_published_shares(shipped: Knowledge) -> None:
    # MIL-HDBK-338B toggle switch: open .65, sticking .19, short .16; sticking is half
    # open and half closed, so open .745 and closed .255.
    switch = rates(shipped, "switch-contact")
    opens = switch["open_circuit"] + switch["comes_and_goes"] + switch["burnt"]

    share = opens / (opens + switch["stuck_closed"])

    assert share == pytest.approx(0.745, abs=0.005)


def test_resistor_modes_follow_the_published_shares(shipped: Knowledge) -> None:
    # MIL-HDBK-338B wirewound resistor: open .65, drift .26, short .09.
    found = rates(shipped, "resistor")
    shares = dict(zip(found, shares_of(list(found.values())), strict=True))

    assert shares == pytest.approx(
        {"open_circuit": 0.65, "drifted": 0.26, "shorted": 0.09}, abs=0.005
    )


def test_lamp_modes_follow_the_published_shares(shipped: Knowledge) -> None:
    # MIL-HDBK-338B lamp: dark .67, dim .33.
    found = rates(shipped, "lamp")
    failures = [found["open_circuit"], found["dim"]]

    assert shares_of(failures) == pytest.approx([0.67, 0.33], abs=0.005)


def test_lamps_sum_to_the_published_base_rate(shipped: Knowledge) -> None:
    # MIL-HDBK-217F, incandescent lamp: .074 V^1.29 per 1e6 h, used a part of the time
    # .72, direct current 3.3, ground mobile 3; 120 h lit.
    per_hour = 0.074 * 12**1.29 * 0.72 * 3.3 * 3 * 1e-6

    found = rates(shipped, "lamp")

    assert found["open_circuit"] + found["dim"] == pytest.approx(
        per_hour * 120, rel=0.01
    )


def test_diode_modes_follow_the_published_rate_and_shares(shipped: Knowledge) -> None:
    # MIL-HDBK-217F, general diode: .049 per 1e6 h, plastic 8, over 1200 h. Shares:
    # short .49, open .36, changed .15; a changed one leaks and counts as shorted.
    found = rates(shipped, "diode")
    failures = [found["shorted"], found["open_circuit"]]

    assert failures == pytest.approx(
        [0.049e-6 * 8 * 1200 * share for share in (0.64, 0.36)], rel=0.01
    )


def test_alternator_diodes_follow_the_published_shares(shipped: Knowledge) -> None:
    # Short .49 and changed .15 together, open .36, as for a diode alone.
    found = rates(shipped, "alternator")
    groups = [found["diode_shorted"], found["diode_open"]]

    assert shares_of(groups) == pytest.approx([0.64, 0.36], abs=0.005)


def test_breaker_modes_sum_to_the_published_base_rate(shipped: Knowledge) -> None:
    # MIL-HDBK-217F, thermal circuit breaker: 1.7 per 1e6 h, over 1200 h.
    total = math.fsum(rates(shipped, "breaker").values())

    assert total == pytest.approx(1.7e-6 * 1200, rel=0.01)


@pytest.mark.parametrize(
    ("kind", "names", "percent", "of_batteries"),
    [
        # A motoring club's breakdowns in 2005: alternator 5.24 %, starter 6.57 %,
        # battery 24.75 %; 2015: electronics 2.5 %, flat battery 20 %.
        ("alternator", ("dead", "diode_open", "diode_shorted"), 5.24, 24.75),
        (
            "starter",
            ("worn", "open_circuit", "does_not_engage", "jammed", "high_resistance"),
            6.57,
            24.75,
        ),
        ("controller", ("dead", "comes_and_goes", "resets_early"), 2.5 / 2, 20.0),
        ("driver", ("failed_open", "failed_shorted", "weak"), 2.5 / 2 / 4, 20.0),
    ],
)
def test_parts_that_leave_a_car_standing_fail_as_often_as_helpers_meet_them(
    shipped: Knowledge,
    kind: str,
    names: tuple[str, ...],
    percent: float,
    of_batteries: float,
) -> None:
    # Against the batteries' .03. Electronics are half the controller, half its four
    # outputs. The statistics of other years differ by a quarter.
    battery = math.fsum(rates(shipped, "battery").values())
    found = rates(shipped, kind)

    total = math.fsum(found[name] for name in names)

    assert total == pytest.approx(battery * percent / of_batteries, rel=0.25)


def test_battery_modes_follow_the_published_shares(shipped: Knowledge) -> None:
    # MIL-HDBK-338B lead-acid battery: degraded .70, short .20, intermittent .10.
    found = rates(shipped, "battery")
    degraded = math.fsum(
        found[name]
        for name in ("discharged", "seldom_driven", "deeply_discharged", "worn_out")
    )
    groups = [degraded, found["shorted_cell"], found["inner_connection"]]

    assert shares_of(groups) == pytest.approx([0.70, 0.20, 0.10], abs=0.005)


CAR: tuple[tuple[str, str | None, int], ...] = (
    ("wire", None, 49),
    ("wire", "stud-beside", 5),
    ("wire", "half-beside", 12),
    ("wire", "live-feed", 6),
    ("wire", "battery-cable", 4),
    ("wire", "ground-strap", 2),
    ("wire", "ignition-feed", 1),
    ("wire", "controller-feed", 1),
    ("fuse", None, 12),
    ("coil", None, 6),
    ("contacts", None, 5),
    ("contacts", "starter-solenoid", 1),
    ("motor", None, 1),
    ("motor", "blower", 1),
    ("motor", "fuel-pump", 1),
    ("motor", "fan", 2),
    ("lamp", None, 4),
    ("load", None, 6),
    ("battery", "battery", 1),
    ("alternator", "alternator", 1),
    ("starter", "starter", 1),
    ("controller", "engine-controller", 1),
    ("driver", None, 4),
    ("joint", None, 8),
    ("switch-contact", None, 10),
    ("fusible-link", "main-fuse", 1),
    ("diode", None, 1),
    ("resistor", None, 1),
    ("engine", "engine", 1),
)
"""The car of the header of fault-modes.yaml: kind, role, how many."""


WIRING = ("wire", "joint", "switch-contact")
SUPPLY = ("fuse", "fusible-link", "battery", "alternator")


def expected_faults(knowledge: Knowledge, answers: dict[str, str]) -> dict[str, float]:
    """Return the expected number of faults of `CAR`, by kind."""
    result: dict[str, float] = {}
    for kind, role, count in CAR:
        for mode in knowledge.modes:
            if mode.kind == kind and _can_have(mode, role):
                factor = math.prod(
                    mode.factors.get(context, {}).get(state, 1.0)
                    for context, state in answers.items()
                )
                result[kind] = result.get(kind, 0.0) + count * mode.rate * factor
    return result


def _can_have(mode: FaultMode, role: str | None) -> bool:
    if role in mode.except_roles:
        return False
    if mode.needs:
        return role in mode.needs
    return not mode.roles or role in mode.roles


def test_a_usual_car_expects_about_half_a_fault(shipped: Knowledge) -> None:
    # fault-modes.yaml, header: .44 averaged over all answers.
    names = [context.name for context in shipped.contexts]
    total = 0.0
    for states in itertools.product(*(c.states for c in shipped.contexts)):
        answers = dict(zip(names, states, strict=True))
        chance = math.prod(c.states[answers[c.name]] for c in shipped.contexts)
        total += chance * sum(expected_faults(shipped, answers).values())

    assert total == pytest.approx(0.44, abs=0.01)


def test_contexts_without_a_reference_leave_every_rate_as_it_is_on_average(
    shipped: Knowledge,
) -> None:
    # contexts.yaml: factors are weights over their mean.
    for context in shipped.contexts:
        if context.name in {"wiring", "crimps", "water"}:
            continue
        for mode in shipped.modes:
            by = mode.factors.get(context.name, {})
            mean = sum(p * by.get(one, 1.0) for one, p in context.states.items())
            assert mean == pytest.approx(1.0, abs=1e-12)


def test_shift_is_its_weight_over_the_mean_weight(shipped: Knowledge) -> None:
    # By hand, a blown fuse: .35 x 3 + .15 x .2 + .25 x .3 + .25 x 2 = 1.655.
    blown = next(m for m in shipped.modes if (m.kind, m.name) == ("fuse", "blown"))

    assert blown.factors["began"]["suddenly"] == pytest.approx(3.0 / 1.655)
    assert blown.factors["began"]["gradually"] == pytest.approx(0.2 / 1.655)


def test_first_shift_that_names_a_mode_holds(shipped: Knowledge) -> None:
    # By hand, battery.discharged before battery.*: .55 + .2 x 2 + .25 x 3 = 1.7.
    flat = next(m for m in shipped.modes if m.name == "discharged")

    assert flat.factors["season"]["stored"] == pytest.approx(3.0 / 1.7)


def test_in_reference_context_a_usual_car_expects_a_quarter_of_a_fault(
    shipped: Knowledge,
) -> None:
    # fault-modes.yaml, header.
    assert sum(expected_faults(shipped, {}).values()) == pytest.approx(0.24, abs=0.01)


def test_wiring_that_used_to_work_fails_first_at_its_connections(
    shipped: Knowledge,
) -> None:
    # Lessons in Electric Circuits, troubleshooting: bad connections first.
    found = expected_faults(shipped, {"wiring": "in_service"})
    connections = found["wire"] + found["joint"]

    assert connections > max(v for k, v in found.items() if k not in {"wire", "joint"})


def test_fresh_wiring_is_suspected_in_the_published_order(shipped: Knowledge) -> None:
    # Lessons in Electric Circuits, troubleshooting: wiring errors, then supply and
    # blown fuses, then defective parts.
    found = expected_faults(shipped, {"wiring": "fresh"})
    wiring = sum(found[kind] for kind in WIRING)
    supply = sum(found[kind] for kind in SUPPLY)
    parts = sum(
        found[kind] for kind in found if kind not in {*WIRING, *SUPPLY, "engine"}
    )

    assert wiring > supply > parts


# Mistakes, each with its exact message


def test_missing_file_is_named(folder: Path) -> None:
    (folder / "meter.yaml").unlink()

    with pytest.raises(InvalidFileError) as caught:
        load_knowledge(folder)

    assert str(caught.value) == (
        f"{folder / 'meter.yaml'}: no such file; a knowledge folder needs all of "
        "part-kinds.yaml, fault-modes.yaml, contexts.yaml, links.yaml, triggers.yaml, "
        "symptoms.yaml, complaints.yaml, states.yaml, cautions.yaml, meter.yaml, "
        "conditions.yaml, effort.yaml, terms.yaml, procedures.yaml, design-limits.yaml"
    )


MISTAKES: dict[str, tuple[str, str, str, str]] = {
    "factor of a parameter that is none": (
        "conditions", "    internal_ohms:", "    inner_ohms:",
        'there is no parameter of battery "inner_ohms" (did you mean "internal_ohms"?)',
    ),
    "factor of a kind that is none": (
        "conditions", "  starter:", "  startr:",
        'there is no kind of part "startr" (did you mean "starter"?)',
    ),
    "factor at the usual temperature": (
        "conditions", "[20, 1.0], [27, 0.89]]", "[20, 1.1], [27, 0.89]]",
        "the factor at 20 must be 1",
    ),
    "temperatures that fall": (
        "conditions", "[[-18, 2.24], [0, 1.38]", "[[0, 1.38], [-18, 2.24]",
        "the rows must rise; -18 comes after 0",
    ),
    "factor of nothing": (
        "conditions", "[[0, 0.75], [3, 1.0]", "[[0, 0.0], [3, 1.0]",
        "every factor must be greater than 0",
    ),
    "number as text": (
        "fault-modes", "rate: 0.000435", 'rate: "0.000435"',
        'rate: found "0.000435", expected a number',
    ),
    "rate out of range": (
        "fault-modes", "rate: 0.000435", "rate: 0.483",
        "rate: found 0.483, expected a number of at most 0.2",
    ),
    "unknown key": (
        "states", "is_cranking: true", "is_crankin: true",
        '"is_crankin" is not known here (did you mean "is_cranking"?)',
    ),
    "missing key": (
        "fault-modes", "cure_probability: 0.95, ", "",
        '"cure_probability" is missing',
    ),
    "unknown basis": (
        "meter", "basis: rule}", "basis: heard}",
        'basis: found "heard", expected read, copy, rule, memory or derived',
    ),
    "two shapes": (
        "part-kinds", "{uniform: [0.6, 1.0],", "{fixed: 1, uniform: [0.6, 1.0],",
        "give one of fixed, lognormal, normal, uniform, loguniform; "
        "found fixed and uniform",
    ),
    "range turned round": (
        "part-kinds", "uniform: [0.6, 1.0]", "uniform: [1.0, 0.6]",
        "uniform: 1 must be less than 0.6",
    ),
    "spread negative": (
        "part-kinds", "normal: [11.8, 0.03]", "normal: [11.8, -0.03]",
        "normal: the spread -0.03 must not be negative",
    ),
    "logarithm of zero": (
        "fault-modes", "loguniform: [0.6, 600.0]", "loguniform: [0.0, 600.0]",
        "loguniform: 0 must be greater than 0",
    ),
    "context does not sum to 1": (
        "contexts", "fresh: 0.5, in_service: 0.5", "fresh: 0.5, in_service: 0.4",
        "the states sum to 0.9; they must sum to 1",
    ),
    "unknown parameter": (
        "fault-modes", "parameter: wire_ohms", "parameter: wire_ohm",
        'there is no parameter of wire "wire_ohm" (did you mean "wire_ohms"?)',
    ),
    "unknown kind": (
        "fault-modes", "kind: wire\n", "kind: wyre\n",
        'there is no kind of part "wyre" (did you mean "wire"?)',
    ),
    "unknown role": (
        "fault-modes", "except_roles: [battery-cable,", "except_roles: [batery-cable,",
        'there is no role "batery-cable" (did you mean "battery-cable"?)',
    ),
    "role of another kind": (
        "fault-modes", "except_roles: [battery-cable,", "except_roles: [starter,",
        'no wire can have the role "starter"; it is for starter',
    ),
    "unknown context": (
        "fault-modes", "factors: {wiring:", "factors: {wirin:",
        'there is no context "wirin" (did you mean "wiring"?)',
    ),
    "factor on the reference": (
        "fault-modes", "{wiring: {fresh: 2.0}", "{wiring: {in_service: 2.0}",
        '"in_service" is the reference answer of wiring; '
        "its factor is 1, change the rate instead",
    ),
    "factor on a context that shifts classes": (
        "fault-modes", "{wiring: {fresh: 2.0}", "{season: {cold: 2.0}",
        "season shifts whole classes of modes in contexts.yaml",
    ),
    "shift of no mode": (
        "contexts", 'modes: ["engine.flooded"', 'modes: ["engine.floded"',
        'there is no fault mode "engine.floded" (did you mean "engine.flooded"?)',
    ),
    "shift by no answer": (
        "contexts", "weights: {hot: 8.0}", "weights: {hott: 8.0}",
        'there is no answer of heat "hott" (did you mean "hot"?)',
    ),
    "comes and goes as nothing": (
        "fault-modes", "acts_as: does_not_close", "acts_as: does_not_clos",
        'there is no fault mode of contacts "does_not_clos" '
        '(did you mean "does_not_close"?)',
    ),
    "comes and goes as something of any severity": (
        "fault-modes", "acts_as: does_not_close", "acts_as: burnt",
        "burnt must last and have fixed changes",
    ),
    "unknown trigger": (
        "fault-modes",
        "triggers: {vibration: 0.3, hot: 0.6, wet: 0.1}",
        "triggers: {vibratio: 0.3, hot: 0.6, wet: 0.1}",
        'there is no trigger "vibratio" (did you mean "vibration"?)',
    ),
    "shares of triggers that do not sum to 1": (
        "fault-modes",
        "triggers: {vibration: 0.3, hot: 0.6, wet: 0.1}",
        "triggers: {vibration: 0.3, hot: 0.6, wet: 0.2}",
        "the triggers sum to 1.1; they must sum to 1",
    ),
    "trigger in no state": (
        "triggers", "present: {key-off: 0.4}", "present: {key-of: 0.4}",
        'there is no operating state "key-of" (did you mean "key-off"?)',
    ),
    "link from no mode": (
        "links",
        "parents: [alternator.set_point_high]",
        "parents: [alternator.set_point]",
        'there is no fault mode "alternator.set_point" '
        '(did you mean "alternator.set_point_low"?)',
    ),
    "link to a parent": (
        "links", "children: [driver.failed_open,", "children: [diode.open_circuit,",
        "a diode is a parent or in a spot as well",
    ),
    "spot by half of the answers": (
        "links", "chances: {dry: 0.03, wet: 0.25}", "chances: {wet: 0.25}",
        "chances must be given for each answer: dry, wet",
    ),
    "unknown caution": (
        "states", "caution: cranking", "caution: craking",
        'there is no caution "craking" (did you mean "cranking"?)',
    ),
    "unknown caution of a repair": (
        "fault-modes", "caution: [battery, charging]", "caution: [battery, chargign]",
        'there is no caution "chargign" (did you mean "charging"?)',
    ),
    "unknown caution of a rule": (
        "cautions", "at_electronics: back-probing", "at_electronics: back-probin",
        'there is no caution "back-probin" (did you mean "back-probing"?)',
    ),
    "line of a caution that does not fit": (
        "cautions", "it arcs and burns.", "for it arcs, and burns.",
        "it has 71 characters; 68 fit on a line",
    ),
    "unknown group of a complaint": (
        "complaints", "group: crank\n", "group: cranks\n",
        'there is no group "cranks" (did you mean "crank"?)',
    ),
    "words for cars without no role": (
        "complaints", 'without: {fan: "It idles', 'without: {fann: "It idles',
        'there is no role "fann" (did you mean "fan"?)',
    ),
    "kind that goes with no role": (
        "part-kinds", "joint:\n        # .1 V", "joints:\n        # .1 V",
        'there is no kind of part "joints" (did you mean "joint"?)',
    ),
    "value of what goes with a role": (
        "part-kinds",
        "joint_ohms: {lognormal: [0.000125",
        "joint_ohm: {lognormal: [0.000125",
        'there is no parameter of joint "joint_ohm" (did you mean "joint_ohms"?)',
    ),
    "term asked for in two ways": (
        "terms", 'also: ["load side"]', 'also: ["feed side"]',
        '"feed side" is asked for in two ways',
    ),
    "rule of an unknown role": (
        "cautions", "fuel-pump: [battery-disconnect, fuel]",
        "fuel-pum: [battery-disconnect, fuel]",
        'there is no role "fuel-pum" (did you mean "fuel-pump"?)',
    ),
    "state that exists by nothing known": (
        "states", "exists_when: runs-at-idle", "exists_when: runs-at-idel",
        'there is no symptom "runs-at-idel" (did you mean "runs-at-idle"?)',
    ),
    "need of an unknown symptom": (
        "symptoms", "needs: engine-starts", "needs: engine-start",
        'there is no symptom "engine-start" (did you mean "engine-starts"?)',
    ),
    "unknown state": (
        "symptoms", "state: key-on\n", "state: key-om\n",
        'there is no operating state "key-om" (did you mean "key-on"?)',
    ),
    "unknown state in a claim": (
        "symptoms", "engine-controller, state: key", "engine-controller, state: kay",
        'there is no operating state "kay-on" (did you mean "key-on"?)',
    ),
    "unknown symptom": (
        "symptoms", "symptom: engine-cranks}", "symptom: engine-crank}",
        'there is no symptom "engine-crank" (did you mean "engine-cranks"?)',
    ),
    "claim without a limit": (
        "symptoms", "at_least: 0.5, blur: 0.05", "blur: 0.05",
        "give one of at_least, below; found none of them",
    ),
    "claim with an empty blur": (
        "symptoms", "at_least: 0.5, blur: 0.05", "at_least: 0.5, blur: ",
        "the claim on is_up needs blur",
    ),
    "quantity that the kind lacks": (
        "symptoms", "is_up: engine-controller", "is_up: battery",
        'is_up is for controller; "battery" can be battery, battery-bank',
    ),
    "unknown mechanical condition": (
        "fault-modes", "mechanical: {engine_turns: 0}", "mechanical: {engine_turn: 0}",
        'there is no mechanical condition "engine_turn" (did you mean "engine_turns"?)',
    ),
    "complaint about nothing known": (
        "complaints", "{engine-cranks: true,", "{engine-crank: true,",
        'there is no symptom "engine-crank" (did you mean "engine-cranks"?)',
    ),
    "re-test not among the answers": (
        "complaints", "retest: engine-starts", "retest: pump-primes",
        'the re-test "pump-primes" is not among the answers',
    ),
    "cured means the same as the complaint": (
        "complaints", "cured_answer: true\n", "cured_answer: false\n",
        "cured_answer is the answer of the complaint itself; it must be the other one",
    ),
    "placeholder": (
        "fault-modes", '"{part}: open circuit"', '"{name}: open circuit"',
        "has '{name}'; the only placeholder is {part}",
    ),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_gets_its_exact_message(
    documents: Mapping[str, Document], folder: Path, mistake: str
) -> None:
    *spoiling, expected = MISTAKES[mistake]

    message = message_after(documents, folder, (spoiling[0], spoiling[1], spoiling[2]))
    assert message.splitlines()[0] == expected


def test_symptom_made_of_itself_is_refused(folder: Path) -> None:
    spoil(folder, "symptoms", "symptom: engine-cranks}", "symptom: engine-starts}")

    with pytest.raises(InvalidFileError, match='"engine-starts" is made of itself'):
        load_knowledge(folder)


def test_mistakes_of_several_files_come_together(folder: Path) -> None:
    spoil(folder, "meter", "percent: 0.5", "percent: -0.5")
    spoil(folder, "states", "change_minutes: 0.2", "change_minutes: soon")

    with pytest.raises(InvalidFileError) as caught:
        load_knowledge(folder)

    assert [problem.message for problem in caught.value.problems] == [
        "percent: found -0.5, expected a number of at least 0",
        'change_minutes: found "soon", expected a number',
    ]


def test_column_is_that_of_the_wrong_value(folder: Path) -> None:
    line, column = spoil(folder, "meter", "percent: 0.5", "percent: -0.5")

    with pytest.raises(InvalidFileError) as caught:
        load_knowledge(folder)

    (problem,) = caught.value.problems
    assert (problem.line, problem.column) == (line, column + len("percent: "))


def test_digest_changes_with_any_file(folder: Path) -> None:
    before = knowledge_digest(folder)
    spoil(folder, "cautions", "Read the caution", "Read each caution")

    assert knowledge_digest(folder) != before


def test_knowledge_carries_the_digest_of_its_folder(shipped: Knowledge) -> None:
    assert shipped.digest == knowledge_digest(knowledge_folder())


def test_shapes_become_distributions(shipped: Knowledge) -> None:
    found = shipped.defaults["battery"]["state_of_charge"].distribution

    assert (found.shape, found.first, found.second) == (Shape.UNIFORM, 0.6, 1.0)

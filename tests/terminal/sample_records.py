"""Records of an invented car for the tests of pages, commands and completion."""

from __future__ import annotations

from diagnose.measurement.steps import step_of_name
from diagnose.session.answer import (
    Advice,
    Answer,
    CardLine,
    ExpectedValue,
    Fit,
    ProposedStep,
    RankedCause,
    StepCard,
    Verdict,
    Weight,
)
from diagnose.session.words.vocabulary import Vocabulary

VOCABULARY = Vocabulary(
    nodes=("battery.minus", "battery.plus", "pump.plus", "pump.minus"),
    states={
        "key-off": "key off",
        "key-on": "key on, pump priming",
        "idle": "idling",
        "idle-loaded": "idling, everything on",
    },
    symptoms={
        "engine-cranks": "Does the starter turn the engine?",
        "pump-hums": "Does the pump hum at key on?",
    },
    causes={
        "pump-relay.contacts:burnt": "pump-relay: contacts burnt",
        "pump-wire:open_circuit": "pump-wire: open circuit",
    },
    complaints={"no-start": "It cranks but does not start"},
    contexts={"wiring": ("New or old wiring?", ("fresh", "in_service"))},
    parts=("pump-fuse", "battery"),
    fuses=("pump-fuse",),
    reference="battery.minus",
    look_state="key-off",
    limits={"clamp": "no clamp meter"},
    places=("bay", "tank"),
    terms={"feed end": "the end that is nearer to the battery", "87": "out"},
    complaint_groups={"it does not start": ("no-start",)},
    caution_briefs={
        "The engine may start: stand clear. Ten seconds at most.": "Stand clear.",
        "Battery off first. Then the rest.": "Battery off first.",
    },
)
CRANK_CAUTION = "The engine may start: stand clear. Ten seconds at most."
EVIDENCE = (
    Weight(fact="0.2 V at pump.plus, key-on", decibans=14.0, expected="0 to 0.4 V"),
    Weight(fact="pump-hums: no", decibans=-0.4, expected="no"),
    Weight(fact="engine-cranks: yes", decibans=-6.0, expected="yes"),
)
RELAY = RankedCause(
    name="pump-relay.contacts:burnt",
    members=("pump-relay.contacts:burnt", "pump-relay.contacts:dirty"),
    says="pump-relay: contacts burnt",
    probability=0.62,
    repair="Replace pump-relay.",
    repair_minutes=12.0,
    evidence=EVIDENCE,
)
WIRE = RankedCause(
    name="pump-wire:open_circuit",
    members=("pump-wire:open_circuit",),
    says="pump-wire: open circuit",
    probability=0.3,
    repair="Replace pump-wire.",
    repair_minutes=40.0,
    evidence=(),
)


def expected(cause: str, says: str, words: str) -> ExpectedValue:
    """Return a value with the ends of its words: ``0 to 4 V``."""
    low, _, high = words.removesuffix(" V").partition(" to ")
    return ExpectedValue(
        cause=cause, says=says, low=float(low), high=float(high), words=words
    )


VOLTS = ProposedStep(
    step=step_of_name("volts|key-on|pump.plus|battery.minus"),
    instruction="Meter on DC volts. Red lead on pump.plus, black on battery.minus.",
    cautions=(CRANK_CAUTION,),
    minutes=4.0,
    saves_minutes=11.0,
    bits=0.8,
    expected=(
        expected("", "healthy car", "11.9 to 12.4 V"),
        expected(RELAY.name, RELAY.says, "0 to 4 V"),
        expected(WIRE.name, WIRE.says, "0 to 4 V"),
    ),
    state="key-on",
    reason="saves 11 min on average",
    card=StepCard(
        act="DC volts",
        lines=(
            CardLine(name="place", text="tank"),
            CardLine(name="red", text="pump.plus"),
            CardLine(name="black", text="battery.minus"),
            CardLine(name="car", text="key on, pump priming"),
        ),
    ),
    is_for_worth=True,
)
LOOK = ProposedStep(
    step=step_of_name("look|key-off|pump-fuse|"),
    instruction="Pull pump-fuse and look at its link: blown or sound?",
    cautions=(),
    minutes=1.0,
    saves_minutes=3.0,
    bits=0.2,
    expected=(),
    state="key-off",
    reason="",
    card=StepCard(
        act="blown or sound?",
        lines=(CardLine(name="fuse", text="pull pump-fuse, look at its link"),),
    ),
)
HUMS = ProposedStep(
    step=step_of_name("symptom|pump-hums"),
    instruction="Does the pump hum at key on?",
    cautions=(),
    minutes=1.0,
    saves_minutes=2.0,
    bits=0.1,
    expected=(),
    state="key-on",
    reason="",
    card=StepCard(act="Does the pump hum at key on?"),
)
ANSWER = Answer(
    facts=("complaint: It cranks but does not start", "engine-cranks: yes"),
    causes=(RELAY, WIRE),
    next_steps=(VOLTS, LOOK, HUMS),
    advice=Advice(verdict=Verdict.OPEN, says="Take this reading.", cautions=()),
    fit=Fit(tail_probability=0.6, disagrees="", check=""),
    sound_probability=0.02,
    left_out_probability=0.001,
    notes=(),
    contexts_open={"wiring": "New or old wiring?"},
)

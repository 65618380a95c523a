"""What can be seen of a load: that it works, is weak, stays on, blows its fuse, smells.

Decisions that bind it:

- The limits are shares of the sound car's own figures: half its volts is dead for a
  motor of 5 A and for one of 50 A.
- A motor that is held is told by its amps, not by a mechanical condition: a claim then
  needs nothing but the circuit.
"""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.circuit.car import Car, Part
from diagnose.measurement.of_parts.part_claims import (
    DEAD_AMPS,
    DEAD_AMPS_BLUR,
    DEAD_BLUR,
    DEAD_VOLTS,
    JUDGED,
    LAMP_KINDS,
    LOOK_MINUTES,
    SEEN,
    SOURCE,
    LoadClaims,
    all_of,
    any_of,
    fact,
    key_for,
    words_for,
)
from diagnose.measurement.of_parts.sound_work import LoadWork
from diagnose.measurement.quantities import LIGHT_EXPONENT
from diagnose.measurement.symptoms import Claim, Group, Quantity, Symptom

# Above this many times its usual amps a motor is held or shorted and does not run. [1]
# Derived: one that is worn takes 1.5 to 2.5 times, one that is held five (part-kinds).
HELD_AMPS, HELD_BLUR = 3.3, 0.15

# Below this share of its usual light a lamp is plainly dim. [1] Derived: a change of
# 8 % is just noticed (psychology text on just noticeable differences, undated), four
# times that is plain without another beside it.
DIM_LIGHT, DIM_BLUR = 0.6, 0.03

# Below this share of its usual amps at its volts a lamp is blackened. [1] Derived: one
# that is dim has .5 to .8 of its watts (fault-modes.yaml); what the tolerance of its
# watts leaves of a sound one is above.
DIM_AMPS, DIM_AMPS_BLUR = 0.7, 0.015

# Below this share of its usual volts a motor is plainly slow, and a horn plainly weak.
# [1] Own choice: speed goes with volts, a quarter less is plainly heard.
WEAK_VOLTS, WEAK_BLUR = 0.75, 0.02

# Beyond these shares of its usual amps a motor is tight, or its brushes are worn. [1]
# Derived: 1.5 to 2.5 times and .35 to .7 of them (fault-modes.yaml); what the tolerance
# of its amps leaves of a sound one lies between.
TIGHT_AMPS, WORN_AMPS, AMPS_BLUR = 1.75, 0.55, 0.03

# What is on when it should be off takes at least this share of its usual amps; a lamp
# glows at less. [1] Own choice: a quarter turns a motor, if slowly; .1 of its amps
# leave a lamp some hundredth of its light, which is seen in the dark.
ON_AMPS, GLOWING_AMPS, ON_BLUR = 0.25, 0.1, 0.01

# Above this share of its usual volts a lamp is seen to be lit. [1] Derived: .3**3.4 is
# .017 of its light, which glows in the dark.
GLOWING_VOLTS = 0.3

# In how many of the states that it is off in a load is looked at. [1] Own choice: key
# off, and key on; each keeps a current.
MOST_OFF_STATES = 2

# Above this many times its rating a fuse opens within a second or two, below within
# minutes. [1] Read: table of a blade fuse in part-kinds.yaml, .87 s at 200 %.
AT_ONCE, AT_ONCE_BLUR = 2.0, 0.15

# Above this many times its rating a fuse opens at all. [1] Rule: 135 % within half an
# hour (ISO 8820-3); a little less when it is warm.
OVERLOADED, OVERLOADED_BLUR = 1.15, 0.04

# Watts in one part that make it smell or smoke, lasting. [W] Derived: three times those
# that make it too hot to keep a hand on (`touch.LASTING_WATTS`), 120 K over the air,
# where insulation softens.
SMELLING_WATTS = 6.0

# Width of that, as a share. [1] Own choice: hands, air and lugs differ.
SMELLING_BLUR = 0.08

# Share of its usual amps that a load still takes while its joint burns. [1] Own choice.
SMELLING_SHARE = 0.25

# What the cautions are called that such looks need, beside those of state and place.
FUSE_CAUTION = "fuse-rating"

# Minutes to put a new fuse in and see. [min] Own choice: as for what is listed.
FUSE_MINUTES = 6.0


def how_weak(part: Part) -> str:
    """Return what a load is called that works and not well: dim, slow or weak.

    Parameters
    ----------
    part : Part
        A load.

    Returns
    -------
    str
        One word.
    """
    if part.kind in LAMP_KINDS:
        return "dim"
    return "slow" if part.kind == "motor" else "weak"


def load_symptoms(load: LoadWork, car: Car) -> Iterator[Symptom]:
    """Yield what can be seen of a load.

    Parameters
    ----------
    load : LoadWork
        The load.
    car : Car
        The car.

    Yields
    ------
    Symptom
        Named after the load.
    """
    part = load.part
    claims = LoadClaims(load=load, scale=car.system_volts / 12.0)
    is_motor = part.kind == "motor"
    does = "lit" if part.kind in LAMP_KINDS else "running" if is_motor else "working"
    takes = [claims.amps(DEAD_AMPS, DEAD_AMPS_BLUR)]
    if is_motor:
        takes.append(claims.amps(HELD_AMPS, HELD_BLUR, at_least=False))
    fed = claims.volts(DEAD_VOLTS, DEAD_BLUR)
    yield _symptom(load, "works", f"{does} when switched on?", all_of(fed, *takes))
    how = how_weak(part)
    alive = fed
    if part.kind in LAMP_KINDS:
        alive = claims.volts(GLOWING_VOLTS, DEAD_BLUR)
        slope = DIM_LIGHT ** (1.0 / LIGHT_EXPONENT - 1.0) / LIGHT_EXPONENT
        share = DIM_LIGHT ** (1.0 / LIGHT_EXPONENT)
        signs = [
            claims.volts(share, DIM_BLUR * slope, at_least=False),
            claims.amps(DIM_AMPS, DIM_AMPS_BLUR, at_least=False),
        ]
    else:
        signs = [
            claims.volts(WEAK_VOLTS, WEAK_BLUR, at_least=False),
            claims.amps(WORN_AMPS, AMPS_BLUR, at_least=False),
        ]
        if is_motor:
            signs.append(claims.amps(TIGHT_AMPS, AMPS_BLUR))
    yield _symptom(
        load,
        f"is-{how}",
        f"{does}, but plainly {how}?",
        all_of(alive, *takes, any_of(*signs)),
        errors=JUDGED,
    )
    yield from _on_when_off(load, car, claims)
    yield _gets_hot(load, claims)
    if load.switched_by:
        chatters = [
            fact(car.part(name), Quantity.CHATTERS, load.state)
            for name in load.switched_by
        ]
        question = "going on and off by itself, time and again?"
        yield _symptom(
            load, "goes-on-and-off", question, any_of(*chatters), errors=JUDGED
        )
    if load.fuse is not None and load.fuse.kind != "breaker":
        yield from _of_fuse(load, load.fuse)


def _on_when_off(load: LoadWork, car: Car, claims: LoadClaims) -> Iterator[Symptom]:
    """Yield whether a load is on while it should be off, alone or with another."""
    part = load.part
    share = GLOWING_AMPS if part.kind in LAMP_KINDS else ON_AMPS

    def on_in(states: tuple[str, ...]) -> list[Claim]:
        return [claims.amps(share, ON_BLUR, state=state) for state in states]

    known = {state.name: state for state in car.states}
    off = [known[name] for name in load.off_in]
    with_others = tuple(
        one.name
        for one in off
        if one.like in known
        and one.switch_positions != known[one.like].switch_positions
    )
    alone = tuple(one.name for one in off if one.name not in with_others)
    alone = alone[:MOST_OFF_STATES]
    if alone:
        yield _symptom(
            load,
            "stays-on",
            "on although it is switched off, or the key is?",
            any_of(*on_in(alone)),
            state=alone[0],
        )
    stopped = tuple(one for one in with_others if not known[one].is_engine_running)
    others = stopped or with_others[:1]
    if others:
        still_off = [
            claims.amps(share, ON_BLUR, at_least=False, state=one) for one in alone
        ]
        yield _symptom(
            load,
            "on-with-another",
            "on, if only faintly, when something else is switched on and it is not?",
            all_of(any_of(*on_in(others)), *still_off),
            state=others[0],
        )


def _gets_hot(load: LoadWork, claims: LoadClaims) -> Symptom:
    """Return whether the wiring of a load gets hot, smells or smokes.

    By the watts of what is in line with it, as far as it still works; by a motor that
    is held; and by a fuse with a dead short behind it.
    """
    flows = claims.amps(SMELLING_SHARE, DEAD_AMPS_BLUR)
    smelling_volts = SMELLING_WATTS / load.amps / claims.scale
    drops = [
        Claim(
            role="",
            part=name,
            quantity=Quantity.VOLTS,
            state=load.state,
            at_least=True,
            limit=smelling_volts,
            blur=SMELLING_BLUR * smelling_volts,
        )
        for name in load.line
    ]
    signs: list[Claim | Group] = [all_of(flows, any_of(*drops))] if drops else []
    signs.append(claims.amps(HELD_AMPS, HELD_BLUR))
    if load.fuse is not None:
        signs.append(
            all_of(
                fact(load.fuse, Quantity.IS_BLOWN, load.state),
                _overload(load, load.fuse, AT_ONCE, AT_ONCE_BLUR),
            )
        )
    return _symptom(
        load,
        "gets-hot",
        "does it or its wiring, plug, relay or fuse get hot, smell or smoke?",
        any_of(*signs),
        errors=JUDGED,
        caution=FUSE_CAUTION,
    )


def _overload(
    load: LoadWork, fuse: Part, limit: float, blur: float, *, at_least: bool = True
) -> Claim:
    """Return a claim on what would flow through a blown fuse, over its rating."""
    return Claim(
        role="",
        part=fuse.name,
        quantity=Quantity.OVERLOAD,
        state=load.state,
        at_least=at_least,
        limit=limit,
        blur=blur,
    )


def _of_fuse(load: LoadWork, fuse: Part) -> Iterator[Symptom]:
    """Yield whether a new fuse of a load blows again, at once or after a while."""
    blown = fact(fuse, Quantity.IS_BLOWN, load.state)
    at_once = _overload(load, fuse, AT_ONCE, AT_ONCE_BLUR)
    later = all_of(
        _overload(load, fuse, OVERLOADED, OVERLOADED_BLUR),
        _overload(load, fuse, AT_ONCE, AT_ONCE_BLUR, at_least=False),
    )
    for suffix, when, what in (
        ("blows-at-once", "at once, as it is plugged in or switched on", at_once),
        ("blows-later", "after it worked for a while", later),
    ):
        yield _symptom(
            load,
            f"fuse-{suffix}",
            f"does a new {fuse.name} of the marked rating blow {when}?",
            all_of(blown, what),
            minutes=FUSE_MINUTES,
            errors=JUDGED,
            caution=FUSE_CAUTION,
        )


def _symptom(
    load: LoadWork,
    suffix: str,
    question: str,
    when: Group,
    *,
    state: str = "",
    minutes: float = LOOK_MINUTES,
    errors: tuple[float, float] = SEEN,
    caution: str = "",
) -> Symptom:
    part = load.part
    return Symptom(
        name=f"{key_for(part)}-{suffix}",
        question=f"{words_for(part).capitalize()}: {question}",
        state=state or load.state,
        when=when,
        minutes=minutes,
        missed_probability=errors[0],
        imagined_probability=errors[1],
        caution=caution,
        source=SOURCE,
        basis="derived",
        part=part.name,
    )

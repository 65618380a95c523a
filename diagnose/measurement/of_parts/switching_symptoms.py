"""What can be seen and heard of a controller, a relay and a further battery."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.circuit.car import Car, Part
from diagnose.measurement.of_parts.part_claims import (
    DEAD_AMPS,
    DEAD_AMPS_BLUR,
    DEAD_BLUR,
    DEAD_VOLTS,
    HEARD,
    JUDGED,
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
from diagnose.measurement.of_parts.sound_work import (
    CHARGED_VOLTS,
    RelayWork,
    SoundWork,
)
from diagnose.measurement.symptoms import Claim, Group, Quantity, Symptom

# Above this share of its usual volts a coil that does not pull in is heard to hum or
# twitch. [1] Own choice: pull goes with the square of the amps, a fifth is left of it.
FAINT_VOLTS, FAINT_BLUR = 0.45, 0.05

# Width of the volts from which a battery is charged. [V] Own choice: as for the car's
# own.
CHARGED_BLUR = 0.1

# Minutes to feel a relay, or to hold a meter to a battery. [min] Own choice: as for
# the listed ones.
RELAY_MINUTES = 2.0


def controller_symptoms(part: Part, up_in: tuple[str, ...]) -> Iterator[Symptom]:
    """Yield whether a controller is alive, and whether it resets.

    Parameters
    ----------
    part : Part
        The controller.
    up_in : tuple[str, ...]
        States in which it is up on the sound car, the easiest to look at first.

    Yields
    ------
    Symptom
        Named after it.
    """
    first = up_in[0]
    up = fact(part, Quantity.IS_UP, first)
    words = words_for(part).capitalize()
    yield Symptom(
        name=f"{key_for(part)}-is-up",
        question=f"{words}: alive with the key on (its lamp, screen or link)?",
        state=first,
        when=all_of(up),
        minutes=LOOK_MINUTES,
        missed_probability=HEARD[0],
        imagined_probability=SEEN[0],
        source=SOURCE,
        basis="derived",
        part=part.name,
    )
    lost = [fact(part, Quantity.IS_UP, s, at_least=False) for s in up_in[1:]]
    chatters = [fact(part, Quantity.CHATTERS, state) for state in up_in]
    yield Symptom(
        name=f"{key_for(part)}-resets",
        question=(
            f"{words}: does it reset (go off, and on again by itself), while cranking "
            "or when something else is switched on?"
        ),
        state=first,
        when=any_of(*chatters, *([all_of(up, any_of(*lost))] if lost else [])),
        minutes=LOOK_MINUTES,
        missed_probability=JUDGED[0],
        imagined_probability=JUDGED[1],
        source=SOURCE,
        basis="derived",
        part=part.name,
    )


def relay_symptoms(relay: RelayWork, work: SoundWork, car: Car) -> Iterator[Symptom]:
    """Yield whether a relay clicks, does so for nothing, hums or chatters.

    Parameters
    ----------
    relay : RelayWork
        The relay.
    work : SoundWork
        What works on the sound car.
    car : Car
        The car.

    Yields
    ------
    Symptom
        Named after it.
    """
    contacts, state = relay.contacts, relay.state
    words = words_for(contacts).capitalize()
    on = fact(contacts, Quantity.IS_CLOSED, state)
    clicks: list[Claim | Group] = [
        on,
        fact(contacts, Quantity.IS_CLOSED, relay.off_in, at_least=False),
    ]
    scale = car.system_volts / 12.0
    dead: list[Claim | Group] = [
        fact(car.part(name), Quantity.IS_UP, state, at_least=False)
        for name in relay.controllers
    ]
    for name in relay.loads:
        claims = LoadClaims(load=work.loads[name], scale=scale)
        dead.append(
            any_of(
                claims.volts(DEAD_VOLTS, DEAD_BLUR, at_least=False, state=state),
                claims.amps(DEAD_AMPS, DEAD_AMPS_BLUR, at_least=False, state=state),
            )
        )
    looks: list[tuple[str, str, list[Claim | Group]]] = [
        ("clicks", "does it click when it should pull in (finger on it)?", clicks),
        (
            "chatters",
            "does it buzz or click again and again?",
            [fact(contacts, Quantity.CHATTERS, state)],
        ),
    ]
    if relay.coil_volts and contacts.gate is not None:
        twitches = Claim(
            role="",
            part=contacts.gate,
            quantity=Quantity.VOLTS,
            state=state,
            at_least=True,
            limit=FAINT_VOLTS * relay.coil_volts / scale,
            blur=FAINT_BLUR * relay.coil_volts / scale,
        )
        still = fact(contacts, Quantity.IS_CLOSED, state, at_least=False)
        question = "only a faint click or hum, softer than its usual clack?"
        looks.append(("hums", question, [still, twitches]))
    if dead:
        looks.append(
            ("for-nothing", "does it click, and nothing it feeds works?", [on, *dead])
        )
    for suffix, question, members in looks:
        yield Symptom(
            name=f"{key_for(contacts)}-{suffix}",
            question=f"{words}: {question}",
            state=state,
            when=all_of(*members),
            minutes=RELAY_MINUTES,
            missed_probability=HEARD[0],
            imagined_probability=HEARD[1],
            source=SOURCE,
            basis="derived",
            part=contacts.name,
        )


def battery_symptom(part: Part, state: str) -> Symptom:
    """Return whether a battery beside the car's own is charged.

    Parameters
    ----------
    part : Part
        The battery.
    state : str
        In which it is on the sound car.

    Returns
    -------
    Symptom
        Named after it.
    """
    return Symptom(
        name=f"{key_for(part)}-is-charged",
        question=(
            f"{words_for(part).capitalize()}: is it charged ({CHARGED_VOLTS:g} V or "
            "more of a 12 V battery across its own posts)?"
        ),
        state=state,
        when=all_of(
            Claim(
                role="",
                part=part.name,
                quantity=Quantity.VOLTS,
                state=state,
                at_least=True,
                limit=CHARGED_VOLTS * part.volts_share,
                blur=CHARGED_BLUR * part.volts_share,
            )
        ),
        minutes=RELAY_MINUTES,
        missed_probability=JUDGED[1],
        imagined_probability=JUDGED[1],
        source=SOURCE,
        basis="derived",
        part=part.name,
    )

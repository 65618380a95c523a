"""States that a car has because of its switches and of the outputs that prime.

Every switch is worked in some state with the engine stopped, so that what lies behind
it can be looked at; switches share two such states, one for those that stay where they
are put and one for those that spring back, so that a car with many switches is not
solved in many states. Leaves putting states together to `states`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from diagnose.circuit.operating_states import ComesWith, OperatingState
from diagnose.files.car.grammar.entries import CarEntry, OutputEntry, SwitchEntry

# The state in which the key has been on for longer than anything primes.
KEY_ON = "key-on"

# What the name of an output ends with, behind that of what it switches. Own choice.
OUTPUT = "-output"

# The key of how the outputs are switched on that no role is known of.
ANY_OUTPUT = "any"

# Names of the position of a switch that springs back when it is let go. Own choice, of
# words that are used for no other position.
HELD_POSITIONS = frozenset(("pressed", "pushed", "pulled", "held"))


def switches_to_work(
    car: CarEntry, known: Mapping[str, OperatingState], *, is_held: bool
) -> Mapping[str, str]:
    """Return the switches that the usual states with the engine stopped do not move.

    Parameters
    ----------
    car : CarEntry
        The car file.
    known : Mapping[str, OperatingState]
        The states of knowledge/.
    is_held : bool
        Those that spring back, else those that stay where they are put.

    Returns
    -------
    Mapping[str, str]
        Switch to the position in which most of its terminals are live, the last of
        several. A switch that is like that at rest is not worked.
    """
    moved = _moved_at_a_stop(car, known)
    found = {}
    for name, switch in car.switches.items():
        position = _worked_position(switch)
        if name in moved or position is None:
            continue
        if (position in HELD_POSITIONS) is is_held:
            found[name] = position
    return MappingProxyType(found)


def _worked_position(switch: SwitchEntry) -> str | None:
    """Return where most terminals are live, None when that is where it rests."""
    most = max(len(terminals) for terminals in switch.live.values())
    positions = list(switch.live)
    if len(switch.live[positions[0]]) == most:
        return None
    return [name for name in positions if len(switch.live[name]) == most][-1]


def _moved_at_a_stop(
    car: CarEntry, known: Mapping[str, OperatingState]
) -> frozenset[str]:
    """Return the switches that the usual states without a running engine move.

    The key is one, and a starter button. What a state of the file's own moves is worked
    here as well, for symptoms are looked for in the usual states.
    """
    moved: set[str] = set()
    for name, state in known.items():
        if name in car.states and not (
            state.is_engine_running or _is_of_switches(state)
        ):
            moved.update(car.states[name].switches)
    return frozenset(moved)


def _is_of_switches(state: OperatingState) -> bool:
    return state.comes_with in (ComesWith.SWITCHES, ComesWith.HELD_SWITCHES)


def worked_positions(
    car: CarEntry, state: OperatingState, known: Mapping[str, OperatingState]
) -> Mapping[str, str]:
    """Return where the switches are that a state of knowledge/ is there for.

    Parameters
    ----------
    car : CarEntry
        The car file.
    state : OperatingState
        The state.
    known : Mapping[str, OperatingState]
        The states of knowledge/.

    Returns
    -------
    Mapping[str, str]
        Switch to position; empty for a state that is not there for switches.
    """
    if not _is_of_switches(state):
        return MappingProxyType({})
    is_held = state.comes_with is ComesWith.HELD_SWITCHES
    return switches_to_work(car, known, is_held=is_held)


def has_state(
    car: CarEntry, state: OperatingState, known: Mapping[str, OperatingState]
) -> bool:
    """Return whether a car has one of the states of knowledge/.

    Parameters
    ----------
    car : CarEntry
        The car file.
    state : OperatingState
        The state.
    known : Mapping[str, OperatingState]
        The states of knowledge/.

    Returns
    -------
    bool
        True when the file names it, or by `ComesWith`.
    """
    if state.name in car.states:
        return True
    if state.like and not has_state(car, known[state.like], known):
        return False
    match state.comes_with:
        case ComesWith.EVERY_CAR:
            return True
        case ComesWith.FILE:
            # with no switch there is nothing that the file could have to say
            return not car.switches and not state.like
        case ComesWith.NAMING:
            return False
        case ComesWith.PRIMING:
            return priming_seconds(car) > 0.0
        case _:
            return bool(worked_positions(car, state, known))


def priming_seconds(car: CarEntry) -> float:
    """Return how long outputs prime as the key is turned.

    Parameters
    ----------
    car : CarEntry
        The car file.

    Returns
    -------
    float
        The longest; 0 where none primes for a while. [s]
    """
    seconds = [
        output.primes
        for controller in car.controllers.values()
        for output in controller.outputs.values()
        if output.primes is not None and math.isfinite(output.primes)
    ]
    return max(seconds, default=0.0)


def is_on(output: OutputEntry, state: OperatingState) -> bool:
    """Return whether a controller wants an output on in a state.

    Parameters
    ----------
    output : OutputEntry
        The output.
    state : OperatingState
        The state.

    Returns
    -------
    bool
        By `on-in`; as with the key on where the state is there for priming or for
        switches, and by how long the output primes.
    """
    if state.name in output.on_in:
        return True
    primes = output.primes or 0.0
    is_priming = state.comes_with is ComesWith.PRIMING
    with_key = is_priming or _is_of_switches(state)
    stays_on = KEY_ON in output.on_in or math.isinf(primes)
    if with_key or state.name == KEY_ON:
        return stays_on or (is_priming and primes > 0.0)
    return False


def switched_words(
    state: OperatingState,
    base: OperatingState | None,
    switches: Mapping[str, tuple[str, ...]],
) -> str:
    """Return what is switched on in a state, beyond the state that it is like.

    Parameters
    ----------
    state : OperatingState
        The state, with its commands.
    base : OperatingState or None
        The state that it is like; None where the car does not have it.
    switches : Mapping[str, tuple[str, ...]]
        Each switch with its positions, the resting one first.

    Returns
    -------
    str
        Such as ``light-switch at head; fan on``.
    """
    before = {} if base is None else base.switch_positions
    moved: dict[str, list[str]] = {}
    for switch, position in state.switch_positions.items():
        if switch in switches and position != before.get(switch, switches[switch][0]):
            moved.setdefault(position, []).append(switch)
    words = [
        f"{_listed(names)} {'' if position in HELD_POSITIONS else 'at '}{position}"
        for position, names in moved.items()
    ]
    outputs = sorted(called for _, called in _switched_outputs(state, base))
    if outputs:
        words.append(f"{_listed(outputs)} on")
    return "; ".join(words) or "nothing else switched on"


def _listed(names: Sequence[str]) -> str:
    """Return names as a person lists them.

    Examples
    --------
    >>> _listed(["fan", "blower", "horn"])
    'fan, blower and horn'
    """
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def output_words(
    state: OperatingState,
    base: OperatingState | None,
    hows: Mapping[str, str],
    role_words: Mapping[str, str],
) -> str:
    """Return how to get controllers to switch on what they have on in a state.

    Parameters
    ----------
    state : OperatingState
        The state, with its commands.
    base : OperatingState or None
        The state that it is like; None where the car does not have it.
    hows : Mapping[str, str]
        Role to how such a part is switched on, with ``{controller}`` and ``{output}``.
    role_words : Mapping[str, str]
        Name of a part to its role.

    Returns
    -------
    str
        A sentence for each output; empty where none is on beyond the base.
    """
    said = []
    for controller, called in sorted(_switched_outputs(state, base)):
        how = hows.get(role_words.get(called, called), hows.get(ANY_OUTPUT, ""))
        said.append(how.replace("{controller}", controller).replace("{output}", called))
    return " ".join(said)


def _switched_outputs(
    state: OperatingState, base: OperatingState | None
) -> list[tuple[str, str]]:
    """Return controller and what it switches on, beyond the state that one is like."""
    before = frozenset() if base is None else base.commands
    pairs = (name.split(".", maxsplit=1) for name in state.commands - before)
    return [(controller, output.removesuffix(OUTPUT)) for controller, output in pairs]

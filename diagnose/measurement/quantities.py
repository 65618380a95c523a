"""What symptoms look at, in terms of nodes and branches of one car.

A claim names a role and a quantity; this module says which parts, node voltages,
currents and on/off facts that takes. Leaves the values to
`faults.predictions.predictor`, and to `symptom_chances` what they say of a symptom.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car, Part
from diagnose.measurement.symptoms import Claim, Group, Quantity, Symptom

# Exponent by which the light of a tungsten lamp goes with its volts. [1] D. G. Fink,
# H. W. Beaty, Standard Handbook for Electrical Engineers, 11th ed., p. 22-8 (secondary
# copy).
LIGHT_EXPONENT = 3.4

# Quantities that take the current of a part. By definition.
CURRENT_QUANTITIES = frozenset({Quantity.AMPS, Quantity.BATTERY_AMPS})

# Quantities that take whether a part conducts. By definition.
SWITCHED_QUANTITIES = frozenset(
    {Quantity.IS_UP, Quantity.IS_CLOSED, Quantity.IS_BLOWN, Quantity.CHATTERS}
)

# Kind of part to the terminals its own voltage is taken between; ``a`` and ``b`` for
# kinds not named. Rule of the trade: where a person puts the leads.
MAIN_TERMINALS: Mapping[str, tuple[str, str]] = {
    "battery": ("plus", "minus"),
    "battery-bank": ("plus", "minus"),
    "alternator": ("output", "case"),
    "starter": ("plus", "case"),
    "controller": ("supply", "ground"),
    "driver": ("out", "return"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """A current or an on/off fact of one branch in one state.

    Parameters
    ----------
    branch : str
        Branch name; a part's main branch has the part's name.
    state : str
        Operating state.
    is_current : bool
        True: the current in amps; False: 1 when the branch conducts, 0 when not, a half
        when it goes on and off by itself.
    """

    branch: str
    state: str
    is_current: bool


def _untold(state: str, node: str) -> FloatArray:
    """Refuse ohms where nobody gives them."""
    raise KeyError(f"nothing says what stands behind {node} in {state}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """The values a claim is evaluated on, over fault sets and draws.

    Parameters
    ----------
    volts : Callable[[str, str], FloatArray]
        State and node to volts, shape (n_sets, n_draws). [V]
    probe : Callable[[Probe], FloatArray]
        Value of a probe, shape (n_sets, n_draws). [A or 1]
    mechanical : Callable[[str, str], FloatArray]
        Value of a mechanical condition of a part, or of the whole car where the part is
        empty, shape (n_sets, n_draws), 1 when good. [1]
    ohms : Callable[[str, str], FloatArray]
        State and node to what stands behind its volts, shape (n_sets, n_draws). [Ω]
    """

    volts: Callable[[str, str], FloatArray]
    probe: Callable[[Probe], FloatArray]
    mechanical: Callable[[str, str], FloatArray]
    ohms: Callable[[str, str], FloatArray] = field(default=_untold)


def main_nodes(part: Part) -> tuple[str, str]:
    """Return the nodes a part's own voltage is taken between.

    Parameters
    ----------
    part : Part
        A part with two terminals or more.

    Returns
    -------
    tuple[str, str]
        The one that is fed first.
    """
    first, second = MAIN_TERMINALS.get(part.kind, ("a", "b"))
    return part.terminals[first], part.terminals[second]


def role_parts(car: Car, role: str) -> tuple[Part, ...]:
    """Return the parts with a role.

    Parameters
    ----------
    car : Car
        The car.
    role : str
        Such as ``headlamps``.

    Returns
    -------
    tuple[Part, ...]
        In the car's order.
    """
    return tuple(part for part in car.parts if part.role == role)


def claimed_parts(claim: Claim, car: Car) -> tuple[Part, ...]:
    """Return the parts that a claim looks at.

    Parameters
    ----------
    claim : Claim
        Of anything but a mechanical condition.
    car : Car
        The car.

    Returns
    -------
    tuple[Part, ...]
        The one that it names, or those with its role, in the car's order.
    """
    if claim.part:
        return tuple(part for part in car.parts if part.name == claim.part)
    return role_parts(car, claim.role)


def claims_of(group: Group, symptoms: Mapping[str, Symptom]) -> tuple[Claim, ...]:
    """Return the claims of a group, those of groups and symptoms in it included.

    Parameters
    ----------
    group : Group
        What a symptom holds by.
    symptoms : Mapping[str, Symptom]
        All symptoms by name.

    Returns
    -------
    tuple[Claim, ...]
        In the order of the group.
    """
    found: list[Claim] = []
    for member in group.members:
        if isinstance(member, Claim):
            found.append(member)
        elif isinstance(member, Group):
            found.extend(claims_of(member, symptoms))
        else:
            found.extend(claims_of(symptoms[member].when, symptoms))
    return tuple(found)


def is_applicable(claim: Claim, car: Car) -> bool:
    """Return whether the car has what the claim looks at.

    Parameters
    ----------
    claim : Claim
        Any claim.
    car : Car
        The car.

    Returns
    -------
    bool
        Whether it has the states and a part with terminals in the role.
    """
    states = {state.name for state in car.states}
    if claim.state not in states:
        return False
    if claim.relative_to is not None and claim.relative_to not in states:
        return False
    if claim.quantity is Quantity.MECHANICAL:
        return True
    return any(part.terminals for part in claimed_parts(claim, car))


def usable_symptoms(car: Car, symptoms: Mapping[str, Symptom]) -> tuple[str, ...]:
    """Return the names of the symptoms this car can show.

    Parameters
    ----------
    car : Car
        The car.
    symptoms : Mapping[str, Symptom]
        All symptoms by name.

    Returns
    -------
    tuple[str, ...]
        Those with a claim on the circuit that the car has the parts and states for,
        without those that are made for one part.
    """
    return tuple(
        name
        for name, symptom in symptoms.items()
        if not symptom.part
        and any(
            is_applicable(claim, car) and claim.quantity is not Quantity.MECHANICAL
            for claim in claims_of(symptom.when, symptoms)
        )
        and symptom.state in {state.name for state in car.states}
    )


def lacking_roles(
    car: Car, symptom: Symptom, symptoms: Mapping[str, Symptom]
) -> set[str]:
    """Return the roles that a symptom looks at and nothing on the car has.

    Parameters
    ----------
    car : Car
        The car.
    symptom : Symptom
        One symptom.
    symptoms : Mapping[str, Symptom]
        All symptoms by name.

    Returns
    -------
    set[str]
        Empty for a symptom that the car can show in full.
    """
    looked_at = {
        claim.role
        for claim in claims_of(symptom.when, symptoms)
        if claim.quantity is not Quantity.MECHANICAL
    }
    return {role for role in looked_at if role and not role_parts(car, role)}


def needed_probes(car: Car, symptoms: Mapping[str, Symptom]) -> tuple[Probe, ...]:
    """Return the probes that the car's symptoms need.

    Parameters
    ----------
    car : Car
        The car.
    symptoms : Mapping[str, Symptom]
        All symptoms by name.

    Returns
    -------
    tuple[Probe, ...]
        Each of them once.
    """
    probes: dict[Probe, None] = {}
    of_parts = (name for name, symptom in symptoms.items() if symptom.part)
    for name in (*usable_symptoms(car, symptoms), *of_parts):
        for claim in claims_of(symptoms[name].when, symptoms):
            if not is_applicable(claim, car):
                continue
            for state in filter(None, (claim.state, claim.relative_to)):
                for part in claimed_parts(claim, car):
                    probe = probe_of(claim.quantity, part, state)
                    if probe is not None:
                        probes.setdefault(probe)
    return tuple(probes)


def probe_of(quantity: Quantity, part: Part, state: str) -> Probe | None:
    """Return the probe that a quantity of a part takes in a state.

    Parameters
    ----------
    quantity : Quantity
        What is looked at.
    part : Part
        On which part.
    state : str
        In which operating state.

    Returns
    -------
    Probe or None
        None where node voltages tell it.
    """
    if quantity in CURRENT_QUANTITIES:
        # one current runs through all that is in series
        branch = part.members[0] if part.members else part.name
        return Probe(branch=branch, state=state, is_current=True)
    if quantity in SWITCHED_QUANTITIES:
        return Probe(branch=part.name, state=state, is_current=False)
    return None

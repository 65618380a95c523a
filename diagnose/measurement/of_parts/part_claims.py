"""Claims on one part, in shares of what it does on the sound car, and its words.

Leaves which claims make a symptom to `load_symptoms` and `switching_symptoms`.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.circuit.car import Part
from diagnose.measurement.of_parts.sound_work import LoadWork
from diagnose.measurement.symptoms import Claim, Group, Join, Quantity

# Stands for the part of a symptom that gathers those of all parts.
EVERY_PART = "*"

# Kinds of lamp, whose light is looked at. By definition.
LAMP_KINDS = frozenset({"lamp", "led-lamp"})

# Below this share of its usual volts a load is as good as dead. [1] Derived: light goes
# with volts**3.4 (Fink & Beaty), .5**3.4 = .09; a motor at half its volts hardly turns.
DEAD_VOLTS = 0.5

# Width of that limit. [1] Own choice, as for what is listed: half a volt of 12.
DEAD_BLUR = 0.035

# Below this share of its usual amps a load does nothing. [1] Own choice: an open one
# takes none, one at half its volts half or more.
DEAD_AMPS, DEAD_AMPS_BLUR = 0.15, 0.015

# What is 0 or 1: limit and width. By definition.
HALF, SHARP = 0.5, 0.05

# Chance that it is missed, and that it is imagined. [1] Own choice: a lamp or motor
# that does nothing is seen; dim and slow are a matter of judgement, as for the listed
# symptoms of the same sort.
SEEN = (0.02, 0.01)
JUDGED = (0.1, 0.04)
HEARD = (0.08, 0.05)

# Minutes for a look. [min] Own choice: as for the listed symptoms of the same sort.
LOOK_MINUTES = 1.0

# Where the limits come from, for what lists sources.
SOURCE = "shares of the sound car's own volts and amps; see the module's constants"


def words_for(part: Part) -> str:
    """Return what a part is called on the screen.

    Parameters
    ----------
    part : Part
        A load, a controller or a relay's contacts.

    Returns
    -------
    str
        Such as ``left headlamp``; of contacts, the relay they are in.
    """
    return key_for(part).replace("-", " ")


def key_for(part: Part) -> str:
    """Return what the names of a part's symptoms and complaints begin with.

    Parameters
    ----------
    part : Part
        As for `words_for`.

    Returns
    -------
    str
        Such as ``left-headlamp``.
    """
    name = part.assembly if part.kind == "contacts" else part.name
    return name.replace(".", "-")


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadClaims:
    """Makes claims on one load, in shares of what it does on the sound car.

    Parameters
    ----------
    load : LoadWork
        The load, with its volts and amps on the sound car.
    scale : float
        Volts of the car's system over 12. [1]
    """

    load: LoadWork
    scale: float

    def volts(
        self, share: float, blur: float, *, at_least: bool = True, state: str = ""
    ) -> Claim:
        """Return a claim on its volts, as of a 12 V system.

        Parameters
        ----------
        share, blur : float
            Limit and width, in shares of what it does on the sound car. [1]
        at_least : bool
            Above the limit; else below it.
        state : str
            Operating state; that in which it is looked at when empty.

        Returns
        -------
        Claim
        """
        usual = self.load.volts / self.scale
        return self._claim(Quantity.VOLTS, usual, (share, blur), at_least, state)

    def amps(
        self, share: float, blur: float, *, at_least: bool = True, state: str = ""
    ) -> Claim:
        """Return a claim on its amps.

        Parameters
        ----------
        share, blur : float
            Limit and width, in shares of what it does on the sound car. [1]
        at_least : bool
            Above the limit; else below it.
        state : str
            Operating state; that in which it is looked at when empty.

        Returns
        -------
        Claim
        """
        usual = self.load.amps
        return self._claim(Quantity.AMPS, usual, (share, blur), at_least, state)

    def _claim(
        self,
        quantity: Quantity,
        usual: float,
        shares: tuple[float, float],
        at_least: bool,
        state: str,
    ) -> Claim:
        return Claim(
            role="",
            part=self.load.part.name,
            quantity=quantity,
            state=state or self.load.state,
            at_least=at_least,
            limit=shares[0] * usual,
            blur=shares[1] * usual,
        )


def fact(part: Part, quantity: Quantity, state: str, *, at_least: bool = True) -> Claim:
    """Return a claim on what is 0 or 1.

    Parameters
    ----------
    part : Part
        What is looked at.
    quantity : Quantity
        Whether it is up, closed, blown, or chatters.
    state : str
        Operating state.
    at_least : bool
        True: that it is; False: that it is not.

    Returns
    -------
    Claim
    """
    return Claim(
        role="",
        part=part.name,
        quantity=quantity,
        state=state,
        at_least=at_least,
        limit=HALF,
        blur=SHARP,
    )


def all_of(*members: Claim | Group) -> Group:
    """Return a group all of whose members hold.

    Parameters
    ----------
    *members : Claim or Group
        At least one.

    Returns
    -------
    Group
    """
    return Group(join=Join.ALL, members=members)


def any_of(*members: Claim | Group) -> Group:
    """Return a group that holds where one of its members does.

    Parameters
    ----------
    *members : Claim or Group
        At least one.

    Returns
    -------
    Group
    """
    return Group(join=Join.ANY, members=members)

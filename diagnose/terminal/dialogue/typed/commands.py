"""The commands of a diagnosis: one registry for dispatch, help and completion.

Leaves what their words mean to `typed_facts` and `asked_pages`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from functools import partial
from types import MappingProxyType

from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.terminal.dialogue.typed import (
    asked_pages,
    typed_facts,
    typed_substitutions,
)
from diagnose.terminal.dialogue.typed.desk import Desk
from diagnose.terminal.dialogue.typed.requests import Request, View


class Slot(Enum):
    """What may stand at one place of a command, for completion."""

    NODE = "node"
    STATE = "state"
    SYMPTOM = "symptom"
    CAUSE = "cause"
    COMPLAINT = "complaint"
    CONTEXT = "context"
    CONTEXT_ANSWER = "context answer"
    FUSE = "fuse"
    LIMIT = "limit"
    PLACE = "place"
    WIGGLED = "wiggled"
    WARMED = "warmed"
    MISTED = "misted"
    RENEWED = "renewed"
    TOUCHED = "touched"
    HOT_OR_COOL = "hot or cool"
    SWAPPED = "swapped"
    UNPLUGGED = "unplugged"
    YES_OR_NO = "yes or no"
    BLOWN_OR_SOUND = "blown or sound"
    IS = "is"
    TERM = "term"


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """One command.

    Parameters
    ----------
    name : str
        Its word.
    usage, says : str
        How it is typed and what it does, for the help page.
    slots : tuple[tuple[Slot, ...], ...]
        What may stand at each place behind the word.
    understand : Callable[[tuple[str, ...], Desk], Request]
        Turns the words behind the command into a request, or raises `ReadingError`.
    """

    name: str
    usage: str
    says: str
    slots: tuple[tuple[Slot, ...], ...]
    understand: Callable[[tuple[str, ...], Desk], Request]


# Behind the red lead: the black lead, or the state already.
_BLACK_OR_STATE = (Slot.NODE, Slot.STATE)


# Behind a change of the circuit: what was looked at.
_SEEN = (Slot.SYMPTOM, Slot.FUSE, Slot.NODE)


# In the order of the help page.
_ALL = (
    Command(
        name="read",
        usage="read NODE [NODE] STATE VALUE",
        says="tell any reading: red lead, black lead, state, what the meter shows; "
        "lit, dim or dark for a test lamp; of what comes and goes say behind it when: "
        "12.3 while bad, 12.4 while fine",
        slots=((Slot.NODE,), _BLACK_OR_STATE, (Slot.STATE,)),
        understand=typed_facts.read,
    ),
    Command(
        name="look",
        usage="look FUSE blown|sound",
        says="tell what a fuse looks like",
        slots=((Slot.FUSE,), (Slot.BLOWN_OR_SOUND,)),
        understand=typed_facts.look,
    ),
    Command(
        name="symptom",
        usage="symptom NAME yes|no",
        says="tell what the car does; symptom fan lists those about the fan",
        slots=((Slot.SYMPTOM,), (Slot.YES_OR_NO,)),
        understand=typed_facts.symptom,
    ),
    Command(
        name="wiggle",
        usage="wiggle PLACE|PART yes|no",
        says="tell whether the fault comes or goes while you wiggle the wiring there",
        slots=((Slot.WIGGLED,), (Slot.YES_OR_NO,)),
        understand=partial(typed_facts.provoke, verb="wiggle"),
    ),
    Command(
        name="warm",
        usage="warm PLACE|PART yes|no",
        says="the same while you warm it with a hair dryer",
        slots=((Slot.WARMED,), (Slot.YES_OR_NO,)),
        understand=partial(typed_facts.provoke, verb="warm"),
    ),
    Command(
        name="damp",
        usage="damp PLACE|PART yes|no",
        says="the same while you mist it with a little water",
        slots=((Slot.MISTED,), (Slot.YES_OR_NO,)),
        understand=partial(typed_facts.provoke, verb="damp"),
    ),
    Command(
        name="bridge",
        usage="bridge NODE NODE SYMPTOM yes|no",
        says="tell what the car does with a fused lead between two points; behind the "
        "points also: FUSE holds|blows, NODE [NODE] STATE VALUE, no change, helps",
        slots=((Slot.NODE,), (Slot.NODE,), _SEEN, (Slot.YES_OR_NO,)),
        understand=partial(typed_substitutions.change, kind=SubstitutionKind.BRIDGE),
    ),
    Command(
        name="swap",
        usage="swap PART SYMPTOM yes|no",
        says="the same with a known good part put in: swap fuel-pump-relay no change",
        slots=((Slot.SWAPPED,), _SEEN, (Slot.YES_OR_NO,)),
        understand=partial(typed_substitutions.change, kind=SubstitutionKind.SWAP),
    ),
    Command(
        name="unplug",
        usage="unplug PART SYMPTOM yes|no",
        says="the same with a part unplugged: unplug fan fan-fuse holds",
        slots=((Slot.UNPLUGGED,), _SEEN, (Slot.YES_OR_NO,)),
        understand=partial(typed_substitutions.change, kind=SubstitutionKind.UNPLUG),
    ),
    Command(
        name="touch",
        usage="touch PART hot|cool",
        says="tell what a cable, fuse or wire feels like after it ran, key off; also "
        "burnt, melted, brown",
        slots=((Slot.TOUCHED,), (Slot.HOT_OR_COOL,)),
        understand=typed_facts.touch,
    ),
    Command(
        name="renewed",
        usage="renewed PART",
        says="tell that a part was renewed and did not help",
        slots=((Slot.RENEWED,),),
        understand=typed_facts.renewed,
    ),
    Command(
        name="complaint",
        usage="complaint [NAME]",
        says="tell what is wrong; alone, list what can be told",
        slots=((Slot.COMPLAINT,),),
        understand=typed_facts.complaint,
    ),
    Command(
        name="context",
        usage="context NAME ANSWER",
        says="tell about the car's history",
        slots=((Slot.CONTEXT,), (Slot.CONTEXT_ANSWER,)),
        understand=typed_facts.context,
    ),
    Command(
        name="prestart",
        usage="prestart",
        says="go through the readings before the first start, one by one",
        slots=(),
        understand=typed_facts.prestart,
    ),
    Command(
        name="skip",
        usage="skip [a|b|c]",
        says="can't or won't take this step: go on without it",
        slots=(),
        understand=typed_facts.skip,
    ),
    Command(
        name="without",
        usage="without LIMIT",
        says="you have no clamp, test lamp, helper or lift: ask for nothing needing it",
        slots=((Slot.LIMIT,),),
        understand=partial(typed_facts.limit, is_lacking=True),
    ),
    Command(
        name="with",
        usage="with LIMIT",
        says="you have it after all",
        slots=((Slot.LIMIT,),),
        understand=partial(typed_facts.limit, is_lacking=False),
    ),
    Command(
        name="takes",
        usage="takes PLACE|STATE|CAUSE MINUTES",
        says="what getting there, changing to it or mending it takes you",
        slots=((Slot.PLACE, Slot.STATE, Slot.CAUSE),),
        understand=typed_facts.takes,
    ),
    Command(
        name="done",
        usage="done [CAUSE]",
        says="the repair is done; a cause by number or name",
        slots=((Slot.CAUSE,),),
        understand=typed_facts.done,
    ),
    Command(
        name="undo",
        usage="undo",
        says="take back what the last line did",
        slots=(),
        understand=typed_facts.undo,
    ),
    Command(
        name="strike",
        usage="strike NUMBER",
        says="strike out one earlier fact, counted as in facts",
        slots=(),
        understand=typed_facts.strike,
    ),
    Command(
        name="next",
        usage="next",
        says="show the page as worked out by now (Enter alone: the same page again)",
        slots=(),
        understand=partial(asked_pages.show, view=View.NEXT),
    ),
    Command(
        name="causes",
        usage="causes",
        says="the whole ranking",
        slots=(),
        understand=partial(asked_pages.show, view=View.CAUSES),
    ),
    Command(
        name="why",
        usage="why [a|b|c|CAUSE], or why NODE [NODE] STATE",
        says="why this step, in minutes and bits; what speaks for a cause; what a "
        "reading would tell, or why it would not",
        slots=((Slot.CAUSE, Slot.NODE), _BLACK_OR_STATE, (Slot.STATE,)),
        understand=asked_pages.why,
    ),
    Command(
        name="what",
        usage="what is TERM",
        says="what a word of the page means; alone, the words that can be asked",
        slots=((Slot.IS,), (Slot.TERM,)),
        understand=asked_pages.what,
    ),
    Command(
        name="expect",
        usage="expect NODE [NODE] STATE",
        says="what a reading would show, healthy and with each leading cause",
        slots=((Slot.NODE, Slot.SYMPTOM), _BLACK_OR_STATE, (Slot.STATE,)),
        understand=asked_pages.expect,
    ),
    Command(
        name="path",
        usage="path [NODE [NODE]]",
        says="the path of this reading from supply to ground, or that of a point",
        slots=((Slot.NODE,), (Slot.NODE,)),
        understand=asked_pages.path,
    ),
    Command(
        name="facts",
        usage="facts",
        says="list what has been told so far",
        slots=(),
        understand=partial(asked_pages.show, view=View.FACTS),
    ),
    Command(
        name="cautions",
        usage="cautions",
        says="the cautions of this step in full",
        slots=(),
        understand=partial(asked_pages.show, view=View.CAUTIONS),
    ),
    Command(
        name="help",
        usage="help",
        says="this list",
        slots=(),
        understand=partial(asked_pages.show, view=View.HELP),
    ),
    Command(
        name="leave",
        usage="leave",
        says="go; the case is kept, and resume brings it back",
        slots=(),
        understand=asked_pages.leave,
    ),
)


# Every command by its name, in the order of the help page.
COMMANDS: Mapping[str, Command] = MappingProxyType(
    {command.name: command for command in _ALL}
)

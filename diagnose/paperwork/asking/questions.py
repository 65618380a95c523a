"""One question after another: what is asked, what was answered, and the way back.

A script is a generator: it yields a question and gets what the answer says. The answers
are kept as they were typed and played to the script again after each, so that taking
one back needs nothing but leaving it out. A script of 100 answers takes a millisecond.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

# What a script ends with.
OutcomeT = TypeVar("OutcomeT")


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question.

    Parameters
    ----------
    key : str
        Its name, by which the answer is kept.
    asks : str
        In plain words.
    says : tuple[str, ...]
        What helps to answer it, line by line.
    default : str
        What an empty line answers.
    read : Callable[[str], Any]
        Returns what an answer says; raises ValueError with the reason it can't be.
    """

    key: str
    asks: str
    says: tuple[str, ...] = ()
    default: str
    read: Callable[[str], Any]


# Asks questions, and returns what was answered in the end.
Script = Generator[Question, Any, OutcomeT]


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer as it was typed, with its question."""

    key: str
    text: str


@dataclass(slots=True)
class Interview(Generic[OutcomeT]):
    """Where a person stands in a script.

    Parameters
    ----------
    script : Callable[[], Script]
        Begins the script anew.
    trail : list[Answered]
        The answers so far.
    kept : dict[str, str]
        Question to the answer that was gone back from: its default when asked again.
    """

    script: Callable[[], Script[OutcomeT]]
    trail: list[Answered] = field(default_factory=list)
    kept: dict[str, str] = field(default_factory=dict)
    _question: Question | None = None
    _outcome: OutcomeT | None = None

    def __post_init__(self) -> None:
        self._play()

    @property
    def question(self) -> Question | None:
        """The question that is open; None when all are answered."""
        return self._question

    @property
    def outcome(self) -> OutcomeT:
        """What was answered, once no question is open."""
        assert self._outcome is not None
        return self._outcome

    @property
    def default(self) -> str:
        """What an empty line answers to the open question."""
        assert self._question is not None
        return self.kept.get(self._question.key, self._question.default)

    def answer(self, text: str) -> str:
        """Take an answer.

        Parameters
        ----------
        text : str
            As it was typed; empty for the default.

        Returns
        -------
        str
            The answer in full, as it is kept.

        Raises
        ------
        ValueError
            With the reason, when it can't be the answer.
        """
        assert self._question is not None
        told = text.strip() or self.default
        self._question.read(told)
        key = self._question.key
        self.trail.append(Answered(key, told))
        self.kept.pop(key, None)
        self._play()
        return told

    def back(self, *, is_forgotten: bool) -> bool:
        """Ask the question before again.

        Parameters
        ----------
        is_forgotten : bool
            Whether its answer is taken back; else it is the default now.

        Returns
        -------
        bool
            False where there is none before.
        """
        if not self.trail:
            return False
        last = self.trail.pop()
        if not is_forgotten:
            self.kept[last.key] = last.text
        self._play()
        return True

    def _play(self) -> None:
        """Play the answers to the script, as far as they answer what it asks."""
        script = self.script()
        played = 0
        try:
            question = next(script)
            while played < len(self.trail):
                answered = self.trail[played]
                try:
                    if question.key != answered.key:
                        break
                    told = question.read(answered.text)
                except ValueError:
                    break
                question = script.send(told)
                played += 1
            self._question, self._outcome = question, None
        except StopIteration as ended:
            self._question, self._outcome = None, ended.value
            played = len(self.trail)
        for unused in self.trail[played:]:
            self.kept[unused.key] = unused.text
        del self.trail[played:]

"""Checked forced-choice ballots, and their counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from ..base.errors import Fault
from ..base.spelling import same_person


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceBallot:
    """One checked ballot of a forced-choice test.

    Attributes
    ----------
    session, assessor, replicate, protocol, order
        As in the table; `protocol` is the key, `replicate` counts from 1.
    codes : tuple of str
        Codes of the coded samples in the order of serving.
    answer : tuple of str
        Codes named, in the order of serving; empty when no answer was given.
    guess : bool
    comment : str
    correct : bool or None
        Worked out from order and answer; None without an answer.
    """

    session: str
    assessor: str
    replicate: int
    protocol: str
    order: str
    codes: tuple[str, ...]
    answer: tuple[str, ...]
    guess: bool
    comment: str
    correct: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedBallots:
    """Ballots that passed, and everything that was noticed.

    Attributes
    ----------
    ballots : tuple of ChoiceBallot
        Rows without a blocking fault.
    faults : tuple of Fault
        Blocking ones and remarks, in the order of the rows.
    """

    ballots: tuple[ChoiceBallot, ...]
    faults: tuple[Fault, ...]

    @property
    def ready(self) -> int:
        """Ballots that can be counted."""
        return len(self.ballots)

    @property
    def blocking(self) -> tuple[Fault, ...]:
        """What has to be mended before counting."""
        return tuple(fault for fault in self.faults if fault.blocking)

    @property
    def remarks(self) -> tuple[Fault, ...]:
        """What is counted as it is, and reported."""
        return tuple(fault for fault in self.faults if not fault.blocking)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """Counts over the ballots of one session.

    Attributes
    ----------
    correct, trials : int
        Over the ballots with an answer.
    missing, guesses, assessors : int
        Ballots without an answer, answers marked as guesses, different people.
    by_assessor : tuple of (int, int)
        Correct answers and answers of each, in the order of their first ballot.
    orders : dict of str to int
        How often each order was served.
    """

    correct: int
    trials: int
    missing: int
    guesses: int
    assessors: int
    by_assessor: tuple[tuple[int, int], ...]
    orders: dict[str, int]

    @property
    def replicated(self) -> bool:
        """Whether somebody answered more than once."""
        return any(given > 1 for _, given in self.by_assessor)


def tally(ballots: Iterable[ChoiceBallot]) -> Tally:
    """Count ballots; a missing answer is left out and counted as missing, never as wrong."""
    kept = list(ballots)
    answered = [ballot for ballot in kept if ballot.correct is not None]
    people = Counter(same_person(ballot.assessor) for ballot in answered)
    right = Counter(same_person(ballot.assessor) for ballot in answered if ballot.correct)
    return Tally(
        correct=sum(bool(ballot.correct) for ballot in answered),
        trials=len(answered),
        missing=len(kept) - len(answered),
        guesses=sum(ballot.guess for ballot in answered),
        assessors=len(people),
        by_assessor=tuple((right[person], times) for person, times in people.items()),
        orders=dict(sorted(Counter(ballot.order for ballot in kept).items())),
    )

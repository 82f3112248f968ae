"""Forced-choice ballots: their columns, a checked one, and their counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

from ..base.spelling import same_person
from .columns import ASSESSOR, MOST_CODES, REPLICATE, BallotColumns, Column, Twice

CHOICE = BallotColumns(
    rows="choice",
    once=("session", "assessor", "replicate"),
    twice=Twice(
        rule="second ballot",
        problem="{assessor} already has a ballot in replicate {replicate}, in row {row}.",
        advice="Delete the one that does not count, or number the replicates.",
        always=True,
    ),
    columns=(
        Column(
            name="session",
            meaning="Name or number of the session. Leave out when the file holds one session.",
            in_template=False,
        ),
        replace(
            ASSESSOR,
            cell="text",
            empty=(
                "no assessor",
                "The ballot has no assessor.",
                "Write who tasted; without it a second ballot cannot be noticed.",
            ),
        ),
        replace(
            REPLICATE,
            most=1000,
            meaning="1, 2 ... when the same assessor tastes more than once. Empty means 1.",
        ),
        Column(
            name="protocol",
            cell="test",
            also=("method", "test_method"),
            meaning="triangle, duo-trio, paired comparison, 3-AFC, tetrad or two-out-of-five.",
            example="triangle",
        ),
        Column(
            name="order",
            required=True,
            cell="order",
            also=("serving_order", "sequence", "served"),
            meaning="What was served, first to last: A the reference, B the sample compared.",
            example="ABB",
        ),
        Column(
            name="codes",
            cell="codes",
            also=("code", "blinding_codes"),
            meaning="All codes in the order of serving, or one code a column: code_1, code_2 ...",
            in_template=False,
        ),
        *(
            Column(
                name=f"code_{number}",
                cell="code",
                also=(f"code{number}", f"sample_{number}"),
                meaning=f"Code of coded sample number {number}.",
                example=("412", "837", "265", "694", "158")[number - 1],
            )
            for number in range(1, MOST_CODES + 1)
        ),
        Column(
            name="answer",
            required=True,
            cell="named",
            answer=True,
            also=("chosen", "response", "choice"),
            meaning="The code named by the assessor; two codes where a pair is asked for. "
            "Leave empty when no answer was given; a guess is an answer.",
            example="412",
        ),
        Column(
            name="guess",
            cell="mark",
            also=("guessed",),
            meaning="x when the assessor said that it was a guess.",
        ),
        Column(
            name="comment",
            cell="note",
            also=("comments", "remark", "remarks"),
            meaning="Anything else.",
        ),
        Column(
            name="correct",
            cell="claim",
            meaning="Not needed: worked out from order and answer. If given, it is compared.",
            in_template=False,
        ),
    ),
)


def column_of(heading: str) -> str | None:
    """Name of the column of a forced-choice table that a heading stands for, or None.

    >>> column_of(" Serving order "), column_of("Code 2"), column_of("shoe size")
    ('order', 'code_2', None)
    """
    return CHOICE.known(heading)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceBallot:
    """One checked ballot of a forced-choice test.

    `session`, `assessor`, `replicate`, `protocol`, `order`: as in the table; `protocol` is the key,
        `replicate` counts from 1.
    `codes`: codes of the coded samples in the order of serving.
    `answer`: codes named, in the order of serving; empty when no answer was given.
    `correct`: worked out from order and answer; None without an answer.
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
class Tally:
    """Counts over the ballots of one session.

    `correct`, `trials`: over the ballots with an answer.
    `missing`, `guesses`, `assessors`: ballots without an answer, answers marked as guesses,
        different people.
    `by_assessor`: correct answers and answers of each, in the order of their first ballot.
    `orders`: how often each order was served.
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

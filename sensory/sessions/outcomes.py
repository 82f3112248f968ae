"""What the ballots of a session amount to, whatever the test: checked, then read.

The one place where ballots and decisions meet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from ..base.errors import ArgumentError, Fault, RecordError
from ..base.spelling import same_person
from ..base.standards import Standard
from ..catalogue.checking import CheckedBallots, check_lines
from ..catalogue.columns import Cells
from ..catalogue.kind import KnownTruth
from ..catalogue.outcome import Counts, Outcome, cannot_read
from ..catalogue.outcome_words import plain_reason
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..serving.ballot_line import MARKS, BallotLine, lines_from, rows_not_served


def check_ballots(cells: Cells, question: Question) -> CheckedBallots:
    """Judge numbered lines of cells as ballots of the test that the question names.

    Of a session at booths only the ballots that were sent have answers. Lines that were not
    served are left out with a remark, and are not missing.
    """
    faults: list[Fault] = []
    if any(MARKS & texts.keys() for texts in cells.values()):
        lines = lines_from(cells)
        if any(line.sent or line.consent or line.warm_up for line in lines):
            lines = [line.if_sent() for line in lines]
        cells = {line.row: line.unmarked() for line in lines if not line.not_served}
        faults = _not_served([line for line in lines if line.not_served])
    checked = check_lines(cells, find_kind(question.protocol), question)
    return replace(checked, faults=(*checked.faults, *faults)) if faults else checked


def _not_served(lines: Sequence[BallotLine]) -> list[Fault]:
    faults = [
        _answered(line.row, column, text) for line in lines for column, text in line.answers.items()
    ]
    return faults + [
        Fault(
            rule="not served",
            problem=f"Not served ({why}): {rows}.",
            advice="Left out; not counted as missing.",
            blocking=False,
        )
        for why, rows in rows_not_served(lines).items()
    ]


def _answered(line: int, name: str, text: str) -> Fault:
    return Fault(
        row=line,
        column=name,
        value=text,
        rule="answer to what was not served",
        problem="There is an answer, and the record says that this ballot was not served.",
        advice="Empty the answer; or say on the page Serving what was served.",
    )


def read_ballots_of(
    checked: CheckedBallots,
    question: Question,
    before: Mapping[str, KnownTruth] | None = None,
) -> Outcome:
    """What checked ballots show.

    `before`: what assessors made of samples of a known truth on the days before, for a test that
    takes them in; the finding says so.

    Answers from which nothing can be computed are UNDECIDED, with the reason: the question
    is frozen by then, and true answers are not to be taken out to please a formula.

    Raises RecordError when there is no answer. BallotError when ballots have to be mended.
    """
    if not checked.answered:
        raise RecordError("No ballot has an answer, so there is nothing to read.")
    people = len({same_person(name) for name in checked.answered})
    counts = Counts(answers=len(checked.answered), assessors=people, missing=checked.missing)
    try:
        kind = find_kind(question.protocol)
        if before and kind.reads_known is not None:
            outcome = kind.reads_known(checked.rows, question, before)
        else:
            outcome = kind.read(checked.rows, question)
    except ArgumentError as error:
        outcome = cannot_read(question, counts, plain_reason(error))
    if not outcome.counts.trials:
        outcome = replace(outcome, counts=counts)
    return replace(outcome, remarks=tuple(str(fault) for fault in checked.remarks))


def edition(question: Question) -> str:
    """The standard to be stamped at agreement: what of it was looked up, and what was not."""
    standard = find_kind(question.protocol).standard
    return standard.cited if isinstance(standard, Standard) else standard

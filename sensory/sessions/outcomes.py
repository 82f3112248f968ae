"""What the ballots of a session amount to, whatever the test: checked, then read.

The one place where ballots and decisions meet.
"""

from __future__ import annotations

from dataclasses import replace

from ..base.errors import ArgumentError, Fault, RecordError
from ..base.spelling import same_person
from ..catalogue.checking import CheckedBallots, check_lines
from ..catalogue.columns import CIRCUMSTANCES, MOST_CODES, Cells
from ..catalogue.outcome import Counts, Outcome, cannot_read
from ..catalogue.outcome_words import plain_reason
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..serving.marks import BOOTH_MARKS, NOT_SERVED, SENT, SERVING_MARKS

_SERVED = {"assessor", "order", "pair", "sample", "replicate", "code", "codes"}
_SERVED |= {f"code_{number}" for number in range(1, MOST_CODES + 1)} | SERVING_MARKS
_BESIDE = CIRCUMSTANCES | {"protocol", "correct", "guess", "comment"}


def check_ballots(cells: Cells, question: Question) -> CheckedBallots:
    """Judge numbered lines of cells as ballots of the test that the question names.

    Of a session at booths only the ballots that were sent have answers. Lines that were not
    served are left out with a remark, and are not missing.
    """
    cells, faults = _as_served(_as_sent(cells))
    checked = check_lines(cells, find_kind(question.protocol), question)
    return replace(checked, faults=(*checked.faults, *faults)) if faults else checked


def _as_sent(cells: Cells) -> Cells:
    """Lines without the marks of the booth, and without answers that were never sent."""
    if not any(BOOTH_MARKS & texts.keys() for texts in cells.values()):
        return cells
    return {
        line: {
            name: text
            for name, text in texts.items()
            if name not in BOOTH_MARKS and (texts.get(SENT) or name in _SERVED)
        }
        for line, texts in cells.items()
    }


def _as_served(cells: Cells) -> tuple[Cells, list[Fault]]:
    """Lines that were served, without marks; and what is to be said of the others."""
    if not any(SERVING_MARKS & texts.keys() for texts in cells.values()):
        return cells, []
    kept = {
        line: {name: text for name, text in texts.items() if name not in SERVING_MARKS}
        for line, texts in cells.items()
        if not texts.get(NOT_SERVED)
    }
    faults: list[Fault] = []
    reasons: dict[str, list[str]] = {}
    for line, texts in sorted(cells.items()):
        if why := texts.get(NOT_SERVED, ""):
            reasons.setdefault(why, []).append(str(line))
            answers = [name for name in texts if name not in _SERVED | _BESIDE]
            faults += [_answered(line, name, texts[name]) for name in answers]
    for why, lines in reasons.items():
        rows = f"row{'s' if len(lines) > 1 else ''} {', '.join(lines)}"
        faults.append(
            Fault(
                rule="not served",
                problem=f"Not served ({why}): {rows}.",
                advice="Left out; not counted as missing.",
                blocking=False,
            )
        )
    return kept, faults


def _answered(line: int, name: str, text: str) -> Fault:
    return Fault(
        row=line,
        column=name,
        value=text,
        rule="answer to what was not served",
        problem="There is an answer, and the record says that this ballot was not served.",
        advice="Empty the answer; or say on the page Serve what was served.",
    )


def read_ballots_of(checked: CheckedBallots, question: Question) -> Outcome:
    """What checked ballots show.

    Answers from which nothing can be computed are UNDECIDED, with the reason: the question
    is frozen by then, and true answers are not to be taken out to please a formula.

    Raises RecordError when there is no answer. BallotError when ballots have to be mended.
    """
    if not checked.answered:
        raise RecordError("No ballot has an answer, so there is nothing to read.")
    people = len({same_person(name) for name in checked.answered})
    counts = Counts(answers=len(checked.answered), assessors=people, missing=checked.missing)
    try:
        outcome = find_kind(question.protocol).read(checked.rows, question)
    except ArgumentError as error:
        outcome = cannot_read(question, counts, plain_reason(error))
    if not outcome.counts.trials:
        outcome = replace(outcome, counts=counts)
    return replace(outcome, remarks=tuple(str(fault) for fault in checked.remarks))


def edition(question: Question) -> str:
    """The standard to be stamped at agreement, with the date of the last look."""
    test = find_kind(question.protocol)
    checked = getattr(test.standard, "checked", "")
    return f"{test.standard} (edition looked up {checked})" if checked else str(test.standard)

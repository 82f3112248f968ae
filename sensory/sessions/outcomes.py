"""What the ballots of a session amount to, whatever the test: checked, then read.

The one place where ballots and decisions meet. A method is read by the function that
stands beside its key in `READERS`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from ..base.errors import ArgumentError, Fault, RecordError
from ..catalogue.choice_ballot import CheckedBallots, tally
from ..catalogue.choices_read import read_choices
from ..catalogue.columns import MOST_CODES
from ..catalogue.controlled import read_difference_from_control
from ..catalogue.graded import read_sureness
from ..catalogue.lines import Cells
from ..catalogue.method_columns import CIRCUMSTANCES
from ..catalogue.method_rows import CheckedRows, check_rows
from ..catalogue.methods import find_method, find_test
from ..catalogue.outcome import Counts, Outcome, cannot_read
from ..catalogue.outcome_words import plain_reason
from ..catalogue.question import Question
from ..catalogue.ranked import read_ranking
from ..catalogue.rated import read_profile
from ..catalogue.yes_no import read_a_not_a, read_same_different
from ..choices.protocols import find_protocol
from ..serving.marks import BOOTH_MARKS, NOT_SERVED, SENT, SERVING_MARKS
from .lines import check_cells

_SERVED = {"assessor", "order", "pair", "sample", "replicate", "code", "codes"}
_SERVED |= {f"code_{number}" for number in range(1, MOST_CODES + 1)} | SERVING_MARKS
_BESIDE = CIRCUMSTANCES | {"protocol", "correct", "guess", "comment"}
Checked = CheckedBallots | CheckedRows
READERS: dict[str, Callable[[Sequence[dict[str, Any]], Question], Outcome]] = {
    "A_NOT_A": read_a_not_a,
    "SAME_DIFFERENT": read_same_different,
    "SURENESS": read_sureness,
    "RANKING": read_ranking,
    "PROFILE": read_profile,
    "DIFFERENCE_FROM_CONTROL": read_difference_from_control,
}


def check_ballots(cells: Cells, question: Question) -> Checked:
    """Judge numbered lines of cells as ballots of the test that the question names.

    Of a session at booths only the ballots that were sent have answers. Lines that were not
    served are left out with a remark, and are not missing.
    """
    cells, faults = _as_served(_as_sent(cells))
    method = find_method(question.protocol)
    if method is None:
        choices = check_cells(cells, question)
        return replace(choices, faults=(*choices.faults, *faults)) if faults else choices
    rows = check_rows(cells, method, question.settings)
    return replace(rows, faults=(*rows.faults, *faults)) if faults else rows


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
                sheet="",
                row=0,
                column="",
                value="",
                rule="not served",
                problem=f"Not served ({why}): {rows}.",
                advice="Left out; not counted as missing.",
                blocking=False,
            )
        )
    return kept, faults


def _answered(line: int, name: str, text: str) -> Fault:
    return Fault(
        sheet="",
        row=line,
        column=name,
        value=text,
        rule="answer to what was not served",
        problem="There is an answer, and the record says that this ballot was not served.",
        advice="Empty the answer; or say on the page Serve what was served.",
    )


def read_ballots_of(checked: Checked, question: Question) -> Outcome:
    """What checked ballots show.

    Answers from which nothing can be computed are UNDECIDED, with the reason: the question
    is frozen by then, and true answers are not to be taken out to please a formula.

    Raises
    ------
    RecordError
        When there is no answer. BallotError when ballots have to be mended.
    """
    if isinstance(checked, CheckedBallots):
        counted = tally(checked.ballots)
        if not counted.trials:
            raise RecordError("No ballot has an answer, so there is nothing to count.")
        outcome = read_choices(find_protocol(question.protocol), counted, question)
    else:
        outcome = _of_rows(checked, question)
    return replace(outcome, remarks=tuple(str(fault) for fault in checked.remarks))


def _of_rows(checked: CheckedRows, question: Question) -> Outcome:
    if not checked.rows:
        raise RecordError("No ballot has an answer, so there is nothing to read.")
    people = len({row["assessor"] for row in checked.rows})
    counts = Counts(answers=len(checked.rows), assessors=people, missing=checked.missing)
    try:
        outcome = READERS[question.protocol](checked.rows, question)
    except ArgumentError as error:
        return cannot_read(question, counts, plain_reason(error))
    return replace(outcome, counts=counts)


def edition(question: Question) -> str:
    """The standard to be stamped at agreement, with the date of the last look."""
    test = find_test(question.protocol)
    checked = getattr(test.standard, "checked", "")
    return f"{test.standard} (edition looked up {checked})" if checked else str(test.standard)

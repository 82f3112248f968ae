"""Ballots as numbered lines of cells: how a session keeps what was typed or loaded."""

from __future__ import annotations

from ..base.errors import ArgumentError, BallotError, Fault
from ..base.spelling import same_person
from ..catalogue.choice_ballot import CheckedBallots
from ..catalogue.choice_checks import check_choices
from ..catalogue.columns import CHOICE, Headings, RawRow
from ..catalogue.lines import Cells, filled_lines
from ..catalogue.method_columns import METHOD_COLUMNS
from ..catalogue.question import Question
from ..choices.protocols import find_protocol
from .files import Source, read_cells

MOST_LINES = 5000


def cells_of_file(
    source: Source, headings: Headings = CHOICE
) -> tuple[dict[int, dict[str, str]], list[Fault]]:
    """Ballots of a file as numbered lines, with remarks on its form.

    Lines keep their row number unless several sheets hold ballots or it is above 5,000.

    Raises
    ------
    BallotError
        When the file cannot be read as a table; nothing is kept then.
    """
    raw = read_cells(source, headings)
    if blocking := [fault for fault in raw.faults if fault.blocking]:
        raise BallotError(blocking)
    if len(raw.rows) > MOST_LINES:
        raise ArgumentError(
            f"The file holds {len(raw.rows)} ballots; one session takes at most {MOST_LINES}."
        )
    single = len({row.sheet for row in raw.rows}) <= 1
    single = single and max((row.row for row in raw.rows), default=0) <= MOST_LINES
    lines = {
        (row.row if single else number): dict(row.cells)
        for number, row in enumerate(raw.rows, start=2)
    }
    return lines, list(raw.faults)


def headings_for(key: str) -> Headings:
    """The columns of a ballot of this test."""
    return METHOD_COLUMNS.get(key, CHOICE)


def check_cells(cells: Cells, question: Question) -> CheckedBallots:
    """Judge numbered lines of cells as ballots of one session."""
    protocol = find_protocol(question.protocol)
    filled = filled_lines(cells)
    present = dict.fromkeys(name for line in filled.values() for name in line)
    names = dict.fromkeys([*present, "assessor", "order", "answer", "code_1"])
    rows = [
        RawRow(
            sheet="",
            row=line,
            cells={name: filled[line].get(name, "") for name in names},
            headings={},
        )
        for line in sorted(filled)
    ]
    checked = check_choices(rows, protocol=protocol, target=question.target)
    several = sorted(
        {same_person(ballot.session): ballot.session for ballot in checked.ballots}.values()
    )
    if len(several) < 2:
        return checked
    fault = Fault(
        sheet="",
        row=0,
        column="session",
        value=", ".join(several[:5]),
        rule="several sessions",
        problem=f"The ballots belong to {len(several)} sessions: {', '.join(several[:5])}.",
        advice="Keep one session in a file, or empty the column.",
    )
    return CheckedBallots(ballots=checked.ballots, faults=(fault, *checked.faults))

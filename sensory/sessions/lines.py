"""Ballots as numbered lines of cells: how a session keeps what was typed or loaded."""

from __future__ import annotations

from ..base.errors import ArgumentError, BallotError, Fault
from ..catalogue.choice_ballot import CHOICE
from ..catalogue.columns import BallotColumns
from .files import read_cells
from .sheets import Source

MOST_LINES = 5000


def cells_of_file(
    source: Source, ballot: BallotColumns = CHOICE
) -> tuple[dict[int, dict[str, str]], list[Fault]]:
    """Ballots of a file as numbered lines, with remarks on its form.

    Lines keep their row number unless several sheets hold ballots or it is above 5,000.

    Raises BallotError when the file cannot be read as a table; nothing is kept then.
    """
    raw = read_cells(source, ballot)
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

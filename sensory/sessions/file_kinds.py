"""Which test's ballots a file holds, and what it says about the settings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from ..catalogue.checking import check_rows
from ..catalogue.choice_cells import choice_named
from ..catalogue.columns import BallotColumns, Cells, RawRow
from ..catalogue.kind import TestKind
from ..catalogue.question import Question
from ..catalogue.tests import find_kind, kinds
from .files import read_cells


def kind_of_file(source: bytes) -> str:
    """Key of the test whose ballots a file holds; a forced choice where none fits better.

    Where several tests have the columns, the one with the fewest cells to mend is taken.

    Raises BallotError when the file cannot be read as a table.
    """
    tables: dict[BallotColumns, Sequence[RawRow]] = {}
    for kind in kinds():
        if kind.ballot not in tables:
            tables[kind.ballot] = read_cells(source, kind.ballot).rows
    return _best_kind(tables.__getitem__)


def kind_of_rows(rows: Sequence[RawRow]) -> str:
    """As `kind_of_file`, of rows whose columns have the names of roles."""

    def narrowed(ballot: BallotColumns) -> list[RawRow]:
        return [
            replace(
                row,
                cells={
                    known: text
                    for name, text in row.cells.items()
                    if (known := ballot.column_of(name))
                },
            )
            for row in rows
        ]

    return _best_kind(narrowed)


def _best_kind(rows_of: Callable[[BallotColumns], Sequence[RawRow]]) -> str:
    candidates = []
    for kind in kinds():
        if kind.sets_of and _holds(rows_of(kind.ballot), kind):
            return kind.key
    for kind in kinds():
        rows = rows_of(kind.ballot)
        needed = {column.name for column in kind.ballot.required}
        if not rows or not needed <= set(rows[0].cells):
            continue
        if kind.protocol:
            return _choice_of(rows).key
        to_mend = len(check_rows(rows, kind, Question(protocol=kind.key)).blocking)
        # a table with an attribute column is a profile; else the one that needs most columns
        long = kind.ballot.attributes and "attribute" in rows[0].cells
        candidates.append((to_mend, -9 if long else -len(needed), kind.key))
    return min(candidates, key=lambda fit: fit[:2])[2] if candidates else kinds()[0].key


def _holds(rows: Sequence[RawRow], kind: TestKind) -> bool:
    """Whether rows have all columns of a test, and nothing that has to be mended."""
    needed = {column.name for column in kind.ballot.required}
    if not rows or not needed <= set(rows[0].cells):
        return False
    return not check_rows(rows, kind, Question(protocol=kind.key)).blocking


def _choice_of(rows: Sequence[RawRow]) -> TestKind:
    """The forced choice that rows name, or the first one when they name none."""
    named = (choice_named(row.cells.get("protocol", "")) for row in rows)
    return next((kind for kind in named if kind), kinds()[0])


def settings_of_file(key: str, cells: Cells) -> dict[str, str]:
    """What a file says about the settings: the attributes of a profile."""
    attributes = find_kind(key).ballot.attributes_in(cells.values())
    return {"attributes": "; ".join(attributes)} if attributes else {}

"""Which test's ballots a file holds, and what it says about the settings."""

from __future__ import annotations

from ..catalogue.columns import CHOICE
from ..catalogue.lines import Cells, protocol_of_cells
from ..catalogue.method_columns import METHOD_COLUMNS, attributes_in
from ..catalogue.method_rows import check_rows
from ..catalogue.methods import METHODS
from ..choices.protocols import PROTOCOLS
from .files import read_cells


def kind_of_file(source: bytes) -> str:
    """Key of the test whose ballots a file holds; a forced choice where none fits better.

    Where several methods have the columns, the one with the fewest cells to mend is taken.

    Raises
    ------
    BallotError
        When the file cannot be read as a table.
    """
    candidates = []
    for key, headings in (("", CHOICE), *METHOD_COLUMNS.items()):
        table = read_cells(source, headings)
        rows = table.rows
        needed = {column.name for column in headings.columns if column.required}
        if not rows or not needed <= set(rows[0].cells):
            continue
        cells = {number: dict(row.cells) for number, row in enumerate(rows)}
        if not key:
            return protocol_of_cells(cells)
        to_mend = len(check_rows(cells, METHODS[key], {}).blocking)
        # a table with an attribute column is a profile; else the one that needs most columns
        long = METHOD_COLUMNS[key].attributes and "attribute" in rows[0].cells
        fits = 9 if long else len(needed)
        candidates.append((to_mend, -fits, key))
    return min(candidates, key=lambda one: one[:2])[2] if candidates else next(iter(PROTOCOLS))


def settings_of_file(key: str, cells: Cells) -> dict[str, str]:
    """What a file says about the settings: the attributes of a profile."""
    if key not in METHOD_COLUMNS:
        return {}
    attributes = attributes_in(cells.values(), METHOD_COLUMNS[key])
    return {"attributes": "; ".join(attributes)} if attributes else {}

"""A plain table from a file: its columns by headings in everyday words.

Why so
------
A study that is no session comes as one table. Which column is which follows from its heading, so
nobody maps columns by hand; what is missing is named with the words that would do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from ..base.errors import ArgumentError, BallotError
from .sheets import HEADER_WITHIN, Line, Source, read_sheets

_YES = ("1", "yes", "right", "true", "correct", "+", "ja", "oui", "sí", "si")
_NO = ("0", "no", "wrong", "false", "-", "nein", "non")


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyColumns:
    """Columns of a study: what each may be called, and which are needed.

    `words`: by column, headings in lower case, the first of them the one that is asked for.
    """

    words: Mapping[str, tuple[str, ...]]
    needed: tuple[str, ...]

    def named(self, heading: str) -> str:
        """The column that a heading stands for; empty for one that is not known."""
        plain = " ".join("".join(c if c.isalnum() else " " for c in heading.casefold()).split())
        return next((name for name, words in self.words.items() if plain in words), "")

    def asked(self) -> str:
        """The headings, as they are asked for."""
        also = [words[0] for name, words in self.words.items() if name not in self.needed]
        rest = f"; also {', '.join(also)}" if also else ""
        return ", ".join(self.words[name][0] for name in self.needed) + rest

    def known(self, line: Sequence[str]) -> int:
        """How many columns a line of headings names."""
        return len({self.named(text) for text in line} - {""})


def read_study(
    source: Source, columns: StudyColumns, roles: Mapping[str, str] = MappingProxyType({})
) -> pd.DataFrame:
    """The table in a CSV or XLSX file, from the sheet with the most known headings; cells are text.

    Its index, named 'row', holds the rows of the file.

    `roles`: by column, the heading that was said to be it.

    Raises ArgumentError for what cannot be read as a table, or lacks a column.
    """
    lines, at = _headed(source, columns)
    told = {heading: name for name, heading in roles.items()}
    headings = lines[at][1]
    names = [
        told.get(text) or ("" if columns.named(text) in roles else columns.named(text))
        for text in headings
    ]
    doubled = [name for name in dict.fromkeys(names) if name and names.count(name) > 1]
    if doubled:
        raise ArgumentError(f"Two columns are read as {doubled[0]}. Keep one of them.")
    absent = [columns.words[name][0] for name in columns.needed if name not in names]
    if absent:
        raise ArgumentError(
            f"The file has no column {' and no column '.join(absent)}. Needed are the columns "
            f"{columns.asked()}."
        )
    below = lines[at + 1 :]
    if not below:
        raise ArgumentError("Nothing stands below the headings.")
    return pd.DataFrame(
        {
            name: [line[place] if place < len(line) else "" for _, line in below]
            for place, name in enumerate(names)
            if name
        },
        index=pd.Index([row for row, _ in below], name="row"),
    )


def study_headings(source: Source, columns: StudyColumns) -> dict[str, str]:
    """Each heading of a file with the column that it is read as, empty for none.

    Raises ArgumentError for what cannot be read as a table.
    """
    lines, at = _headed(source, columns)
    return {text: columns.named(text) for text in lines[at][1] if text.strip()}


def _headed(source: Source, columns: StudyColumns) -> tuple[list[Line], int]:
    """The lines of the sheet with the most known headings, and which of them holds these."""
    try:
        sheets = read_sheets(source, lambda lines: _best(lines, columns)[0])
    except BallotError as error:
        fault = error.faults[0]
        raise ArgumentError(f"The file cannot be read: {fault.value}. {fault.advice}") from error
    if not any(sheets.values()):
        raise ArgumentError("The file holds no filled sheet.")
    lines = max(sheets.values(), key=lambda each: _best(each, columns)[0])
    return lines, _best(lines, columns)[1]


def numbers(cells: pd.Series, column: str) -> pd.Series:
    """Cells of a column as numbers, decimal comma or point.

    Raises ArgumentError that names the first rows of the file that hold none.
    """
    text = cells.str.strip().str.replace(",", ".", regex=False)
    values = pd.to_numeric(text.where(text != ""), errors="coerce")
    wrong = values.isna() & (text != "")
    if wrong.any():
        rows = ", ".join(f"row {row}: {cells[row]}" for row in cells.index[wrong][:5])
        raise ArgumentError(f"{column} must be numbers; {rows}.")
    return values.astype(float)


def truths(cells: pd.Series, column: str) -> pd.Series:
    """Right or wrong in everyday words as 1 and 0; a count stays.

    >>> truths(pd.Series(["Yes", "nein", "3"]), "correct").tolist()
    [1.0, 0.0, 3.0]
    """
    words = dict.fromkeys(_YES, "1") | dict.fromkeys(_NO, "0")
    text = cells.str.strip()
    return numbers(text.str.casefold().map(words).fillna(text), column)


def _best(lines: Sequence[Line], columns: StudyColumns) -> tuple[int, int]:
    """The most known headings in a line near the top, and which line it is."""
    counts = [columns.known(line) for _, line in lines[:HEADER_WITHIN]]
    most = max(counts, default=0)
    return most, counts.index(most) if counts else 0

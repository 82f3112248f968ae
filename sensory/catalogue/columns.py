"""The columns of a ballot table, as data."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

MOST_CODES = 5
NOTES_SHEET = "how to fill in"
CIRCUMSTANCES = frozenset({"session", "order", "position", "serving order", "date", "time"})
"""Columns of a profile that are no attributes, whatever stands in them."""

_LONG = ("attribute", "score")  # headings of a long table of scores
Cell = Literal[
    "text", "note", "name", "count", "choice", "grade", "sample", "rank", "score",
    "test", "order", "codes", "code", "named", "mark", "claim", "ticks",
    "beside", "amount",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name, other headings it is known by, and what goes in.

    `name`: the name in code and in the checked table.
    `required`: whether a table without it can be counted.
    `also`: other headings that are read as this column.
    `meaning`, `example`: for the template that people fill in.
    `cell`: how its cells are read; see `cells`.
    `choices`: of a choice: what is stored, then other spellings of it.
    `answer`: whether the cell is the answer; an empty one is left out and reported.
    `most`: of a count.
    `empty`: rule, problem and advice where a required cell is empty.
    `in_template`: whether people are asked to fill it in.
    """

    name: str
    required: bool = False
    also: tuple[str, ...] = ()
    meaning: str
    example: str = ""
    cell: Cell = "text"
    choices: tuple[tuple[str, ...], ...] = ()
    answer: bool = False
    most: int = 9999
    empty: tuple[str, str, str] | None = None
    in_template: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Twice:
    """What is said of a second row for the same; may hold ``{assessor}`` and the like.

    `always`: whether it is also said of rows that have to be mended anyway.
    """

    rule: str
    problem: str
    advice: str
    always: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BallotColumns:
    """The columns of one kind of table, found by their headings.

    `rows`: what a row becomes: a `ChoiceBallot`, one answer, or a score for each attribute; every
        further heading is then an attribute, and so a column of its own name.
    `once`: columns that together belong to one row only.
    `twice`: what is said where they do not.
    """

    columns: tuple[Column, ...]
    rows: Literal["choice", "answer", "scores"] = "answer"
    once: tuple[str, ...]
    twice: Twice

    @property
    def attributes(self) -> bool:
        """Whether further headings are attributes."""
        return self.rows == "scores"

    @property
    def required(self) -> tuple[Column, ...]:
        """The columns without which a table cannot be counted."""
        return tuple(column for column in self.columns if column.required)

    def known(self, heading: str) -> str | None:
        """Name of the column that a heading stands for, or None."""
        squeezed = re.sub(r"[^a-z0-9]+", "_", heading.casefold()).strip("_")
        for column in self.columns:
            if squeezed in (column.name, *column.also):
                return column.name
        return None

    def column_of(self, heading: str) -> str | None:
        """As `known`; an attribute keeps its heading, without needless spaces."""
        name = self.known(heading)
        if name is None and self.attributes:
            words = " ".join(heading.split())
            return words.casefold() if words.casefold() in _LONG else words or None
        return name

    def attributes_in(self, lines: Iterable[Mapping[str, str]]) -> list[str]:
        """The attributes that a table names, in a column of their own or in `attribute`."""
        if not self.attributes:
            return []
        known = {column.name for column in self.columns} | CIRCUMSTANCES
        names: dict[str, None] = {}
        for line in lines:
            if "attribute" in line:
                names[" ".join(line["attribute"].split())] = None
            else:
                names |= dict.fromkeys(name for name in line if name.casefold() not in known)
        return [name for name in names if name]


def columns_once(
    *columns: Column, once: str = "assessor sample replicate", scores: bool = False
) -> BallotColumns:
    """Columns of a table with one row for each assessor, sample and so on."""
    names = tuple(once.split())
    advice = (
        "Give the second a replicate of 2, or take one out."
        if "replicate" in names
        else "Take one of them out."
    )
    twice = Twice(
        rule="answer twice",
        problem=f"The same {', '.join(names)} stand in row {{row}}.",
        advice=advice,
    )
    rows: Literal["scores", "answer"] = "scores" if scores else "answer"
    return BallotColumns(columns=columns, rows=rows, once=names, twice=twice)


ASSESSOR = Column(
    name="assessor",
    required=True,
    cell="name",
    also=("person", "assessor_code", "assessor_name", "name"),
    meaning="Who tasted: a name or a number, spelled the same throughout.",
    example="P01",
)
REPLICATE = Column(
    name="replicate",
    cell="count",
    also=("repetition", "round"),
    meaning="1, 2 ... when the same assessor gets the same again. Empty means 1.",
    example="1",
)
CODE = Column(name="code", also=("blinding_code",), meaning="Code on the cup.", example="412")
COMMENT = Column(name="comment", also=("comments", "remark"), meaning="Anything else.")
SAMPLE = Column(
    name="sample",
    required=True,
    cell="sample",
    also=("product", "served"),
    meaning="What was served, by the name used in the plan.",
    example="reference",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RawRow:
    """One line of a table as text.

    `sheet`: sheet of the workbook; empty for CSV and for typed ballots.
    `row`: row number as the user sees it, the header counted.
    `cells`: column name to text, stripped of spaces at the ends.
    `headings`: column name to the heading as written in the file.
    """

    sheet: str
    row: int
    cells: dict[str, str]
    headings: dict[str, str]


Cells = Mapping[int, Mapping[str, str]]
"""Ballots as numbered lines of cells: how a session keeps what was typed or loaded."""


def filled_lines(cells: Cells) -> dict[int, dict[str, str]]:
    """The lines with any text in them."""
    return {
        line: dict(texts)
        for line, texts in cells.items()
        if any(str(text).strip() for text in texts.values())
    }

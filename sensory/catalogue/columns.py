"""The columns of a ballot table, as data."""

from __future__ import annotations

import re
from dataclasses import dataclass

MOST_CODES = 5
NOTES_SHEET = "how to fill in"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name, other headings it is known by, and what goes in.

    Attributes
    ----------
    name : str
        The name in code and in the checked table.
    required : bool
        Whether a table without it can be counted.
    also : tuple of str
        Other headings that are read as this column.
    meaning, example : str
        For the template that people fill in.
    """

    name: str
    required: bool = False
    also: tuple[str, ...] = ()
    meaning: str
    example: str = ""


CHOICE_COLUMNS = (
    Column(
        name="session",
        meaning="Name or number of the session. Leave out when the file holds one session.",
        example="",
    ),
    Column(
        name="assessor",
        required=True,
        also=("person", "assessor_code", "assessor_name", "name"),
        meaning="Who tasted: a name or a number, spelled the same throughout.",
        example="P01",
    ),
    Column(
        name="replicate",
        also=("repetition", "round"),
        meaning="1, 2 ... when the same assessor tastes more than once. Empty means 1.",
        example="1",
    ),
    Column(
        name="protocol",
        also=("method", "test_method"),
        meaning="triangle, duo-trio, paired comparison, 3-AFC, tetrad or two-out-of-five.",
        example="triangle",
    ),
    Column(
        name="order",
        required=True,
        also=("serving_order", "sequence", "served"),
        meaning="What was served, first to last: A the reference, B the sample compared.",
        example="ABB",
    ),
    Column(
        name="codes",
        also=("code", "blinding_codes"),
        meaning="All codes in the order of serving, or one code a column: code_1, code_2 ...",
        example="",
    ),
    *(
        Column(
            name=f"code_{number}",
            also=(f"code{number}", f"sample_{number}"),
            meaning=f"Code of coded sample number {number}.",
            example=("412", "837", "265", "694", "158")[number - 1],
        )
        for number in range(1, MOST_CODES + 1)
    ),
    Column(
        name="answer",
        required=True,
        also=("chosen", "response", "choice"),
        meaning="The code named by the assessor; two codes where a pair is asked for. "
        "Leave empty when no answer was given; a guess is an answer.",
        example="412",
    ),
    Column(
        name="guess",
        also=("guessed",),
        meaning="x when the assessor said that it was a guess.",
    ),
    Column(name="comment", also=("comments", "remark", "remarks"), meaning="Anything else."),
    Column(
        name="correct",
        meaning="Not needed: worked out from order and answer. If given, it is compared.",
    ),
)


_LONG = ("attribute", "score")  # headings of a long table of scores


@dataclass(frozen=True, slots=True, kw_only=True)
class Headings:
    """The columns of one kind of table, found by their headings.

    Attributes
    ----------
    columns : tuple of Column
    attributes : bool
        Whether every further heading is an attribute, and so a column of its own name.
    """

    columns: tuple[Column, ...]
    attributes: bool = False

    def known(self, heading: str) -> str | None:
        """Name of the column that a heading stands for, or None."""
        squeezed = re.sub(r"[^a-z0-9]+", "_", heading.casefold()).strip("_")
        for column in self.columns:
            if squeezed in (column.name, *column.also):
                return column.name
        return None

    def column_of(self, heading: str) -> str | None:
        """As `known`; an attribute keeps its heading, without needless spaces."""
        found = self.known(heading)
        if found is None and self.attributes:
            words = " ".join(heading.split())
            return words.casefold() if words.casefold() in _LONG else words or None
        return found


CHOICE = Headings(columns=CHOICE_COLUMNS)


def column_of(heading: str) -> str | None:
    """Name of the column of a forced-choice table that a heading stands for, or None.

    >>> column_of(" Serving order "), column_of("Code 2"), column_of("shoe size")
    ('order', 'code_2', None)
    """
    return CHOICE.known(heading)


@dataclass(frozen=True, slots=True, kw_only=True)
class RawRow:
    """One line of a table as text.

    Attributes
    ----------
    sheet : str
        Sheet of the workbook; empty for CSV and for typed ballots.
    row : int
        Row number as the user sees it, the header counted.
    cells : dict of str to str
        Column name to text, stripped of spaces at the ends.
    headings : dict of str to str
        Column name to the heading as written in the file.
    """

    sheet: str
    row: int
    cells: dict[str, str]
    headings: dict[str, str]

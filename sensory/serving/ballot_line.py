"""One row of the ballots on record: who tastes, what is served, what is answered, and the marks.

The one place that knows which columns are answers, and which say what became of a row.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

from ..catalogue.ballot_row import CODE_COLUMNS
from ..catalogue.columns import CIRCUMSTANCES, Cells

SENT, CONSENT, WARM_UP = "sent", "consent", "warm-up tasted"
"""Columns that a booth adds: when the ballot was sent, when its assessor consented, and, on the
first ballot that waits in a sitting, when its warm-up sample had been tasted."""
NOT_SERVED, DEPARTURE, LEFT = "not served", "departure", "left out"
SERVING_MARKS = frozenset({NOT_SERVED, DEPARTURE, LEFT})
"""Columns that say why a row was not served, why something else was served than planned, and
when the assessor left it out at the booth."""
MARKS = SERVING_MARKS | {SENT, CONSENT, WARM_UP}
NOT_THIS_SAMPLE, NOT_TODAY, NOT_COME = "not this sample", "not today", "did not come"
"""All that is kept of why a ballot is not for an assessor. The consent of somebody who does
not taste begins with 'not today'."""
SERVED_COLUMNS = ("order", "pair", "sample")
"""Columns that can say what was served."""

_ONE_CELL = ("code", "codes")
_CODES = frozenset({*_ONE_CELL, *CODE_COLUMNS})
_FIELDS = {name: name for name in ("assessor", *SERVED_COLUMNS, "replicate", "guess", "comment")}
_FIELDS |= {SENT: "sent", CONSENT: "consent", WARM_UP: "warm_up"}
_FIELDS |= {NOT_SERVED: "not_served", DEPARTURE: "departure", LEFT: "left_out"}
_NO_ANSWER = CIRCUMSTANCES | _CODES | {*_FIELDS, "session", "protocol", "correct", "attribute"}


@lru_cache(4096)
def is_answer(column: str) -> bool:
    """Whether a column holds answers: a code, a rank, a grade, or the score of an attribute.

    >>> is_answer("answer"), is_answer("sweetness"), is_answer("comment"), is_answer("sent")
    (True, True, False, False)
    """
    return column not in _NO_ANSWER and column.casefold() not in CIRCUMSTANCES


def stands_once_sent(column: str) -> bool:
    """Whether a column is what an assessor sent: an answer, a guess, a comment, the mark of it.

    >>> stands_once_sent("answer"), stands_once_sent("comment"), stands_once_sent("sample")
    (True, True, False)
    """
    return column in (SENT, "guess", "comment") or is_answer(column)


def codes_of(texts: Mapping[str, str]) -> tuple[str, ...]:
    """The codes of a row, first served first.

    >>> codes_of({"codes": "412 837"}), codes_of({"code_1": "265", "code_2": "694"})
    (('412', '837'), ('265', '694'))
    """
    together = [code for name in _ONE_CELL for code in texts.get(name, "").split()]
    return (*together, *(texts[name] for name in CODE_COLUMNS if texts.get(name)))


@dataclass(frozen=True, slots=True, kw_only=True)
class BallotLine:
    """A row of the ballots.

    `order`, `pair`, `sample`: what was served; which of them depends on the test.
    `sent`, `consent`, `warm_up`, `not_served`, `departure`, `left_out`: the marks: a time, a
        reason, or empty.
    `code_cells`: the codes by column.
    `answers`: by column; only what is answered.
    `beside`: all other columns, as circumstances.
    """

    row: int
    assessor: str = ""
    order: str = ""
    pair: str = ""
    sample: str = ""
    replicate: str = ""
    guess: str = ""
    comment: str = ""
    sent: str = ""
    consent: str = ""
    warm_up: str = ""
    not_served: str = ""
    departure: str = ""
    left_out: str = ""
    code_cells: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, str] = field(default_factory=dict)
    beside: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def from_texts(cls, row: int, texts: Mapping[str, str]) -> BallotLine:
        """The row that these stored cells hold; an empty text is no cell.

        >>> line = BallotLine.from_texts(3, {"assessor": "Anna", "code": "412", "rank": "2"})
        >>> line.codes, dict(line.answers), line.texts["assessor"]
        (('412',), {'rank': '2'}, 'Anna')
        """
        fields: dict[str, str] = {}
        codes: dict[str, str] = {}
        answers: dict[str, str] = {}
        beside: dict[str, str] = {}
        for column, text in texts.items():
            if not text:
                continue
            if name := _FIELDS.get(column):
                fields[name] = text
            elif column in _CODES:
                codes[column] = text
            else:
                (answers if is_answer(column) else beside)[column] = text
        return cls(row=row, code_cells=codes, answers=answers, beside=beside, **fields)

    @property
    def texts(self) -> dict[str, str]:
        """The stored cells by column."""
        fields = {column: getattr(self, name) for column, name in _FIELDS.items()}
        filled = {column: text for column, text in fields.items() if text}
        return {**filled, **self.code_cells, **self.beside, **self.answers}

    @property
    def codes(self) -> tuple[str, ...]:
        """In the order of serving."""
        return codes_of(self.code_cells)

    @property
    def served_column(self) -> str:
        """The column that says what was served."""
        return next((name for name in SERVED_COLUMNS if self.text(name)), SERVED_COLUMNS[0])

    @property
    def served(self) -> str:
        """The order, pair or sample that was served."""
        return self.order or self.pair or self.sample

    @property
    def consented(self) -> bool:
        """Whether its assessor wants to taste, as told on this row."""
        return bool(self.consent) and not self.refused

    @property
    def refused(self) -> bool:
        """Whether its assessor told the booth not to taste today."""
        return self.consent.startswith(NOT_TODAY)

    @property
    def excused(self) -> bool:
        """Whether its assessor does not taste today, or no longer."""
        return self.refused or self.not_served == NOT_TODAY

    def text(self, column: str) -> str:
        """The text of a column, whatever it holds."""
        if name := _FIELDS.get(column):
            return str(getattr(self, name))
        cells = (self.answers, self.code_cells, self.beside)
        return next((texts[column] for texts in cells if column in texts), "")

    def changed(self, texts: Mapping[str, str]) -> BallotLine:
        """The row after these cells were written; an empty text removes a cell."""
        return BallotLine.from_texts(self.row, {**self.texts, **texts})

    def unmarked(self) -> dict[str, str]:
        """The stored cells without the marks."""
        return {column: text for column, text in self.texts.items() if column not in MARKS}

    def if_sent(self) -> BallotLine:
        """The row without what was answered and never sent from its booth."""
        if self.sent:
            return self
        return replace(self, answers={}, beside={}, guess="", comment="")


def lines_from(cells: Cells) -> list[BallotLine]:
    """The rows that stored cells hold, in their order."""
    return [BallotLine.from_texts(row, texts) for row, texts in sorted(cells.items())]


def rows_not_served(lines: Iterable[BallotLine]) -> dict[str, str]:
    """By reason, the rows that were not served, in words.

    >>> rows_not_served([BallotLine(row=2, not_served="spilled"), BallotLine(row=3)])
    {'spilled': 'row 2'}
    """
    rows: dict[str, list[str]] = {}
    for line in lines:
        if line.not_served:
            rows.setdefault(line.not_served, []).append(str(line.row))
    return {why: f"row{'s' * (len(of) > 1)} {', '.join(of)}" for why, of in rows.items()}


def lines_by_assessor(lines: Iterable[BallotLine]) -> dict[str, list[BallotLine]]:
    """The rows of each assessor, in the order in which the assessors come."""
    by_name: dict[str, list[BallotLine]] = {}
    for line in lines:
        by_name.setdefault(line.assessor, []).append(line)
    return by_name

"""Columns of a table of forced choices, judged text by text; those that hold blinding codes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ..base.arrays import Bools, Ints
from ..base.spelling import normal_code, split_codes, tidy_name
from .ballot_row import CODE_COLUMNS
from .column_table import ColumnTable, distinct_rows

NO_CODE = -1
"""Where a row has no sound codes."""
_NO_ANSWER = -2  # no served code is equal to it
_DIGITS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A column: what each distinct text says, and which of them each row has."""

    values: Sequence[Any]
    which: Ints

    def test(self, holds: Callable[[Any], bool]) -> Bools:
        """For each row whether its text holds."""
        return np.array([holds(value) for value in self.values], dtype=bool)[self.which]

    def taken(self, kept: Ints) -> Any:
        """The texts of some rows."""
        return pd.array(self.values, dtype="string").take(self.which[kept])


@dataclass(frozen=True, slots=True, kw_only=True)
class Codes:
    """A column of codes.

    `numbers`: the codes of each distinct text, -2 where it has not as many different ones as it
        should.
    `empty`: whether a distinct text is empty.
    `texts`: the codes as they are written, those of a sound text.
    `which`: the distinct text of each row.
    """

    numbers: Ints
    empty: Bools
    texts: list[str]
    which: Ints

    @property
    def sound(self) -> Bools:
        """Whether a distinct text holds the codes it should."""
        return self.numbers[:, 0] != _NO_ANSWER

    @property
    def written(self) -> Judged:
        """The texts."""
        return Judged(values=self.texts, which=self.which)


def judged(table: ColumnTable, name: str, read: Callable[[str], Any]) -> Judged:
    """What a column says; a column that is not there is empty in every row."""
    column = table.columns.get(name)
    if column is None:
        return Judged(values=[read("")], which=np.zeros(len(table.numbers), np.int64))
    which = np.frombuffer(column.which, dtype=np.int32).astype(np.int64)
    return Judged(values=[read(text) for text in column.texts], which=which)


def judged_codes(table: ColumnTable, name: str, number: int) -> Codes:
    """A column in which each cell should hold so many different codes."""
    column = table.columns.get(name)
    texts = list(column.texts) if column else [""]
    numbers = _usual_codes(texts, number)
    empty = np.zeros(len(texts), dtype=bool)
    for at in np.flatnonzero(numbers[:, 0] == _NO_ANSWER).tolist():
        codes = _codes(texts[at], number)
        empty[at], texts[at] = codes == (), " ".join(codes or ())
        if codes:
            numbers[at] = [int(code) for code in codes]
    which = np.frombuffer(column.which, np.int32) if column else np.zeros(len(table.numbers))
    return Codes(numbers=numbers, empty=empty, texts=texts, which=which.astype(np.int64))


def served(table: ColumnTable, number: int) -> tuple[Ints, Judged]:
    """The codes served in each row, -1 where they are in doubt, and how they are written."""
    together = judged_codes(table, "codes", number)
    apart = [judged_codes(table, name, 1) for name in CODE_COLUMNS]
    empty = [each.empty[each.which] for each in apart]
    if "codes" in table.columns:
        sound = together.sound[together.which] & np.all(empty, axis=0)
        codes = np.where(sound[:, None], together.numbers[together.which], NO_CODE)
        return codes, together.written
    codes = np.stack([each.numbers[each.which][:, 0] for each in apart[:number]], axis=1)
    sound = (codes > 0).all(axis=1)
    for rest in empty[number:]:
        sound &= rest
    codes = np.where((sound & _different(codes))[:, None], codes, NO_CODE)
    return codes, in_order(codes, np.ones(codes.shape, dtype=bool))


def in_order(codes: Ints, named: Bools) -> Judged:
    """Those of the codes that are named, in the order of serving, as text."""
    kept = np.where(named, codes, 0)
    first, which = distinct_rows(kept)
    texts = [" ".join([str(code) for code in row if code]) for row in kept[first].tolist()]
    return Judged(values=texts, which=which)


def _usual_codes(texts: list[str], number: int) -> Ints:
    """Codes of the texts of three digits and single spaces, -2 in the rows of all others."""
    numbers = np.full((len(texts), number), _NO_ANSWER, dtype=np.int64)
    width = (_DIGITS + 1) * number - 1
    places = np.flatnonzero(np.fromiter(map(len, texts), np.int64, len(texts)) == width)
    of_width = texts if len(places) == len(texts) else [texts[at] for at in places.tolist()]
    letters = np.array(of_width, dtype=f"U{width}")
    values = np.full((len(places), width + 1), ord(" "), dtype=np.int64)
    values[:, :width] = letters.view(np.uint32).reshape(-1, width)
    by_code = values.reshape(-1, number, _DIGITS + 1)
    digits = by_code[:, :, :_DIGITS] - ord("0")
    usual = (digits >= 0).all(axis=(1, 2)) & (digits <= 9).all(axis=(1, 2))
    usual &= (digits[:, :, 0] > 0).all(axis=1) & (by_code[:, :, -1] == ord(" ")).all(axis=1)
    codes = digits @ 10 ** np.arange(_DIGITS)[::-1]
    usual &= _different(codes)
    numbers[places[usual]] = codes[usual]
    return numbers


def _different(codes: Ints) -> Bools:
    """Whether no code stands twice in a row."""
    different = np.ones(len(codes), dtype=bool)
    for left in range(codes.shape[1]):
        for right in range(left):
            different &= codes[:, left] != codes[:, right]
    return different


def _codes(text: str, number: int) -> tuple[str, ...] | None:
    """So many different codes, empty for an empty cell; None for anything else."""
    texts = split_codes(tidy_name(text))
    codes = tuple(code for each in texts if (code := normal_code(each)))
    if not texts and not text:
        return ()
    return codes if len(texts) == len(codes) == len(set(codes)) == number else None

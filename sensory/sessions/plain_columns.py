"""Columns of a plain CSV text, cut out of its bytes all rows at once.

Why so
------
A reader that makes a list of each row takes forty times as long as pandas takes for the file, most
of it for strings that were made a thousand times. Where each line has as many separators as the
heading, a cell is what stands between two of them, so its bytes are compared as numbers and each
distinct text is made once. Anything else (line breaks or doubled quotes in a cell, rows of another
length, cells of a novel) is left to the row reader, which has the sentences for what is wrong.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import repeat

import numpy as np
from numpy.typing import NDArray

from ..base.arrays import Ints
from ..catalogue.column_table import DistinctTexts, distinct_rows
from .sheets import Limits

_LONGEST_LINE = 2**17
_SHORT = 48
"""Bytes up to which cells are compared as numbers; longer ones are compared as texts."""
_QUOTE = ord('"')
_AT_ONCE = 2**16
_Bytes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class TextColumns:
    """The rows below a heading: their line numbers, and the columns asked for by their place."""

    numbers: array[int]
    columns: dict[int, DistinctTexts]


def plain_columns(
    text: str, delimiter: str, *, heading: int, width: int, places: Iterable[int], limits: Limits
) -> TextColumns | None:
    """The columns below the heading in line `heading`, each line `width` cells long.

    None where lines have another length, a quote stands inside a cell or a line break inside
    quotes, or there are more rows than `limits` allow.
    """
    if text.count("\r") != text.count("\r\n"):
        return None
    content = np.frombuffer(text.encode().rstrip(b"\r\n") + b"\n", dtype=np.uint8)
    ends = np.flatnonzero(content == ord("\n"))
    between = _separators(content, ends, ord(delimiter))
    starts = np.concatenate([[0], ends[:-1] + 1])[heading:]
    ends = ends[heading:]
    ends = ends - (content[ends - 1] == ord("\r"))
    filled = ends > starts
    numbers = heading + 1 + np.flatnonzero(filled)
    starts, ends = starts[filled], ends[filled]
    if between is None or not 0 < len(starts) <= limits.most_rows:
        return None
    between = between[np.searchsorted(between, starts[0]) :]
    each = np.diff(np.searchsorted(between, ends), prepend=0)
    if (each != width - 1).any() or (ends - starts).max() > _LONGEST_LINE:
        return None
    inner = between.reshape(len(starts), width - 1)
    lefts = [starts, *(inner + 1).T]
    rights = [*inner.T, ends]
    return TextColumns(
        numbers=array("q", numbers.astype(np.int64).tobytes()),
        columns={at: _column(content, lefts[at], rights[at]) for at in places},
    )


def _separators(content: _Bytes, breaks: Ints, delimiter: int) -> Ints | None:
    """Where a separator stands outside quotes; None where quotes do more than hold a cell."""
    between = np.flatnonzero(content == delimiter)
    quotes = np.flatnonzero(content == _QUOTE)
    if not len(quotes):
        return between
    opening, closing = quotes[::2], quotes[1::2]
    before = np.concatenate([[ord("\n")], content])[opening]
    if len(opening) != len(closing) or not (
        np.isin(before, (delimiter, ord("\n"))).all()
        and np.isin(content[closing + 1], (delimiter, ord("\n"), ord("\r"))).all()
        and not (np.searchsorted(quotes, breaks) % 2).any()
    ):
        return None
    return between[np.searchsorted(quotes, between) % 2 == 0]


def _column(content: _Bytes, lefts: Ints, rights: Ints) -> DistinctTexts:
    quoted = (content[lefts] == _QUOTE) & (rights > lefts)
    lefts, rights = lefts + quoted, rights - quoted
    longest = int((rights - lefts).max())
    if longest > _SHORT:
        texts, which = _by_text(content, lefts, rights)
    else:
        texts, which = _by_number(content, lefts, rights, max(longest, 1))
    places = array("i", which.astype(np.int32).tobytes())
    at_ends = content[np.concatenate([lefts, np.maximum(rights - 1, lefts)])]
    if ((at_ends > ord(" ")) & (at_ends < 127)).all():  # nothing to strip
        return DistinctTexts(texts=tuple(texts), which=places)
    return DistinctTexts.of(texts, places)


def _by_text(content: _Bytes, lefts: Ints, rights: Ints) -> tuple[list[str], Ints]:
    whole, index = content.tobytes(), dict[bytes, int]()
    cells = map(whole.__getitem__, map(slice, lefts.tolist(), rights.tolist(), repeat(None)))
    which = np.array([index.setdefault(cell, len(index)) for cell in cells])
    return [cell.decode() for cell in index], which


def _by_number(content: _Bytes, lefts: Ints, rights: Ints, longest: int) -> tuple[list[str], Ints]:
    """Cells of at most `longest` bytes, filled up to eights of bytes with zeros."""
    bytes_each = -(-longest // 8) * 8
    cells = np.zeros((len(lefts), bytes_each), dtype=np.uint8)
    padded = np.concatenate([content, np.zeros(longest, dtype=np.uint8)])
    from_each = np.lib.stride_tricks.sliding_window_view(padded, longest)
    steps = np.arange(longest)
    for start in range(0, len(lefts), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        inside = steps < (rights[some] - lefts[some])[:, None]
        cells[some, :longest] = from_each[lefts[some]] * inside
    first, which = distinct_rows(cells.view(np.int64))
    lines = cells[first].view(f"S{bytes_each}")[:, 0].tolist()
    return b"\n".join(lines).decode().split("\n"), which

"""A ticked list from a file: assessor, sample, session if there are several, and a column a word.

Why so
------
Lists are ticked on paper or in another form, and typed as people tick: x, 1, yes, or nothing. An
empty cell is no tick, as on the paper.
"""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from ..base.errors import ArgumentError
from .sheets import Line, Source, read_sheets

_TICKS = {"x", "1", "yes", "ja", "oui", "si", "sí", "true", "✓", "✗"}
_NONE = {"", "0", "no", "nein", "non", "false", "-"}
_NAMES = {
    "assessor": "assessor",
    "name": "assessor",
    "sample": "sample",
    "product": "sample",
    "session": "session",
    "replicate": "replicate",
}


def read_ticks(source: Source) -> pd.DataFrame:
    """The first filled sheet, with 1 for a tick and 0 for none.

    Raises BallotError for what cannot be read; ArgumentError for a cell that is no tick, a heading
    that is there twice, or a file without assessor and sample.

    >>> read_ticks(b"Assessor,Sample,jammy\\nAnna,A,x\\nAnna,B,\\n")["jammy"].tolist()
    [1, 0]
    """
    sheets = read_sheets(source, _known)
    lines = next((lines for lines in sheets.values() if lines), None)
    if lines is None:
        raise ArgumentError("The file holds no filled sheet.")
    (_, head), *rest = lines
    names = [_NAMES.get(text.strip().casefold(), text.strip()) for text in head]
    if doubled := sorted({name for name in names if name and names.count(name) > 1}):
        raise ArgumentError(f"The heading {', '.join(doubled)} is there twice.")
    if missing := [name for name in ("assessor", "sample") if name not in names]:
        raise ArgumentError(f"The file lacks a column {' and '.join(missing)}.")
    rows = []
    for number, cells in rest:
        texts = dict(zip(names, [*cells, *[""] * len(names)], strict=False))
        if any(text.strip() for text in texts.values()):
            rows.append({name: _cell(name, text, number) for name, text in texts.items() if name})
    return pd.DataFrame(rows, columns=[name for name in names if name])


def _known(lines: Sequence[Line]) -> int:
    """How many headings of a sheet are known, if it is parted like this."""
    return sum(text.strip().casefold() in _NAMES for text in lines[0][1]) if lines else 0


def _cell(name: str, text: str, number: int) -> str | int:
    text = text.strip()
    if name in _NAMES.values():
        return text
    if text.casefold() in _TICKS:
        return 1
    if text.casefold() in _NONE:
        return 0
    raise ArgumentError(f"{name}, row {number}: {text[:40]!r} is neither a tick (x, 1) nor empty.")

"""A series on paper: the candidate's page, then the key."""

from __future__ import annotations

import json

from ..panel.series_sheets import SeriesSheets
from .documents import compiled


def series_pdf(sheets: SeriesSheets) -> bytes:
    """A page for the candidate; the key follows on pages of its own."""
    words = {
        "language": sheets.language,
        "title": sheets.title,
        "who": sheets.who,
        "sentences": list(sheets.sentences),
        "rows": [list(row) for row in sheets.rows],
        "key_title": sheets.key_title,
        "key": [list(row) for row in sheets.key],
    }
    files = {"data.json": json.dumps(words, ensure_ascii=False).encode()}
    return compiled("series.typ", files, sheets.printed_at)

"""The sheet that an assessor gets after a session, a page each."""

from __future__ import annotations

import json
from collections.abc import Sequence

from ..panel.feedback import Feedback, FeedbackSheets
from .documents import fitted

_SIZES = (11.0, 9.5, 8.0, 6.5)


def feedback_pdf(shown: FeedbackSheets) -> bytes:
    """A page for each assessor; the type shrinks where the attributes are many."""
    tries = [
        {"data.json": json.dumps(_words(shown.sheets, size), ensure_ascii=False).encode()}
        for size in _SIZES
    ]
    return fitted("feedback.typ", tries, shown.printed_at, pages=len(shown.sheets))


def _words(sheets: Sequence[Feedback], size: float) -> dict[str, object]:
    plain = [
        {
            "assessor": sheet.assessor,
            "language": sheet.language,
            "title": sheet.title,
            "held_on": sheet.held_on,
            "sentences": list(sheet.sentences),
            "heads": list(sheet.heads),
            "rows": [list(row) for row in sheet.rows],
        }
        for sheet in sheets
    ]
    return {"title": sheets[0].title if sheets else "", "size": size, "sheets": plain}

"""The letter on a role in the panel, a page."""

from __future__ import annotations

import json

from ..panel.letters import OutcomeLetter
from .documents import compiled


def letter_pdf(letter: OutcomeLetter) -> bytes:
    """The letter as it is handed over."""
    words = {
        "language": letter.language,
        "title": letter.title,
        "sentences": list(letter.sentences),
    }
    files = {"data.json": json.dumps(words, ensure_ascii=False).encode()}
    return compiled("letter.typ", files, letter.printed_at)

"""The '?' beside a word of the trade: its meaning, and the way to its picture on Help."""

from __future__ import annotations

from ..report.trade_words import WORDS
from .frame import current_frame


def asked(key: str, more: str = "") -> str:
    """What a '?' says: the word in a sentence, more for this field, and the link to Help.

    The page opens beside this one, so that nothing typed here is lost.
    """
    beside = "&invented=1" if current_frame().invented else ""
    parts = (WORDS[key].short, more, f"[Picture and more](/help?word={key}{beside})")
    return " ".join(filter(None, parts))

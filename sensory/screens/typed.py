"""Numbers as they are typed in lines of text, with a comma or a point."""

from __future__ import annotations

import re

NUMBER = r"-?[0-9]+(?:[.,][0-9]+)?"
SPAN = re.compile(rf"({NUMBER})\s*to\s*({NUMBER})")


def number_of(text: str) -> float:
    """The number that was typed.

    >>> number_of("4,5"), number_of("-2")
    (4.5, -2.0)
    """
    return float(text.replace(",", "."))

"""Numbers as people read them; rounding happens here and nowhere below."""

from __future__ import annotations

from collections.abc import Sequence

from ..base.results import cell_text


def percent(share: float, digits: int = 0) -> str:
    """A share in per cent.

    >>> percent(0.3333), percent(0.0493, 1)
    ('33 %', '4.9 %')
    """
    return f"{100 * share:.{digits}f} %"


def number(value: float | str | None) -> str:
    """A number as people read it: whole numbers whole, others with four digits; text as it is.

    >>> number(24), number(1.63831), number(float("inf")), number(1.306e-19), number(None)
    ('24', '1.638', 'infinite', '0', '')
    """
    return cell_text(value)


def listed(names: Sequence[str], most: int = 6) -> str:
    """Names in a row, and how many more there are.

    >>> listed(["a", "b", "c"], most=2)
    'a, b and 1 more'
    """
    if len(names) <= most:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"


def clipped(text: str, letters: int) -> str:
    """A text of so many letters at the most.

    >>> clipped("too sweet", 20), clipped("too sweet", 5)
    ('too sweet', 'too …')
    """
    return text if len(text) <= letters else f"{text[: letters - 1]}…"

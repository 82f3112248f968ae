"""Blinding codes: three digits that say nothing and that nobody remembers."""

from __future__ import annotations

from collections.abc import Iterable

from ..base.errors import ArgumentError
from ..base.results import several
from .chance import Draw


def _remembered(number: int) -> bool:
    """Whether people remember the number, or read something into it."""
    first, second, third = (int(digit) for digit in str(number))
    steps = (second - first, third - second)
    return steps in ((0, 0), (1, 1), (-1, -1)) or number % 100 == 0 or number in _OF_EVERYDAY_LIFE


_OF_EVERYDAY_LIFE = frozenset({112, 911})

REMEMBERED = frozenset(str(number) for number in range(100, 1000) if _remembered(number))
"""Codes that are never served: three digits alike, in a row up or down, whole hundreds,
emergency numbers. Common practice; no source."""

CODES = tuple(str(number) for number in range(100, 1000) if str(number) not in REMEMBERED)
"""All codes that may be served."""


def blinding_codes(count: int, *, draw: Draw, used: Iterable[str] = ()) -> tuple[str, ...]:
    """So many different codes, none of them among those used before.

    `used`: codes that this assessor has met already.

    Returns three digits each, 102 to 998, without those in `REMEMBERED`.

    Raises ArgumentError when fewer codes are left than needed, or `used` is one text.

    >>> codes = blinding_codes(3, draw=Draw(7), used=["412"])
    >>> len(set(codes)), all(100 < int(code) < 1000 for code in codes)
    (3, True)
    """
    if isinstance(used, str):
        raise ArgumentError(f"used codes must be a list of codes, not one text; got {used!r}.")
    taken = {str(code) for code in used}
    free = [code for code in CODES if code not in taken]
    if count > len(free):
        raise ArgumentError(
            f"one assessor needs {several(count, 'code')}, and of {len(CODES)} three-digit codes "
            f"only {len(free)} are left beside those used before; plan fewer samples, or leave "
            "the codes of older sittings out of used_codes."
        )
    return tuple(draw.shuffled(free)[:count])

"""Lists as people type them into a setting: parts between semicolons, in one cell.

Why so
------
Words to tick stand in an order of their own on every ballot, since the first ones of a list are
ticked more often (common practice, no source). The order follows from line and code, so that it can
be told again from the record; it says nothing of the sample, whose code was drawn.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from hashlib import sha256

from ..base.errors import ArgumentError

NO_WORD = "-"
"""What stands for 'none of these words': an answer, where an empty cell is none."""
TICKED_BETWEEN = "; "
MOST_WORDS, MOST_LETTERS = 60, 1000
_AT_LEAST_TWO = ("grades",)
_COLUMNS = ("assessor", "sample", "session", "replicate")


def parts_of(text: str) -> list[str]:
    """The parts between semicolons, without needless spaces.

    >>> parts_of("same; not  sure ;")
    ['same', 'not sure']
    """
    return [" ".join(part.split()) for part in text.split(";") if part.strip()]


def check_list(key: str, parts: Sequence[str]) -> None:
    """Refuse a list with a part twice, with too few, or with words that cannot be ticked.

    Raises ArgumentError: which one, and what is allowed.
    """
    seen: set[str] = set()
    for part in parts:
        if part.casefold() in seen:
            raise ArgumentError(f"{key.rstrip('s')} {part!r} stands twice.")
        seen.add(part.casefold())
    if key in _AT_LEAST_TWO and len(parts) < 2:
        raise ArgumentError(f"at least two {key} are needed, separated by semicolons.")
    if key != "words":
        return
    if taken := sorted(seen & {NO_WORD, *_COLUMNS}):
        raise ArgumentError(f"{taken[0]!r} cannot be a word to tick; choose another one.")
    letters = len(TICKED_BETWEEN.join(parts))
    if len(parts) > MOST_WORDS or letters > MOST_LETTERS:
        raise ArgumentError(
            f"at most {MOST_WORDS} words of {MOST_LETTERS} letters together can be ticked; "
            f"got {len(parts)} of {letters}."
        )


def in_own_order(words: Sequence[str], line: int, code: str) -> list[str]:
    """Words in the order of one ballot, by its line and its first code: any order is as likely.

    >>> in_own_order(["sweet", "sour", "jammy"], 1, "412")
    ['jammy', 'sour', 'sweet']
    """
    return sorted(words, key=lambda word: sha256(f"{line} {code} {word}".encode()).digest())


def in_words(value: object) -> str:
    """An agreed text, or numbers by attribute, as it is typed.

    >>> in_words({"sweet": 1.2345678, "sour": 1.0})
    'sweet 1.2345678; sour 1.0'
    """
    if isinstance(value, Mapping):
        return "; ".join(f"{name} {size}" for name, size in value.items())
    return str(value)


def name_and_size(part: str) -> tuple[str, float | None]:
    """A margin as typed; None where it ends in no number."""
    whole = " ".join(part.split())
    name, _, size = whole.rpartition(" ")
    try:
        return name.rstrip(":= "), float(size.replace(",", "."))
    except ValueError:
        return whole, None

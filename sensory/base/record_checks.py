"""Checks that the nouns share: each refuses with one clear RecordError."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from enum import StrEnum
from math import isfinite
from typing import TypeVar

from .errors import RecordError

Word = TypeVar("Word", bound=StrEnum)


def iso_date(name: str, value: object) -> date:
    """A date written as year, month and day.

    Raises RecordError for anything else, a time of day included.

    >>> iso_date("made_on", "2026-09-14")
    datetime.date(2026, 9, 14)
    """
    try:
        day = date.fromisoformat(str(value))
        if day.isoformat() != value:  # a week and a weekday too
            raise ValueError
        return day
    except ValueError:
        raise RecordError(
            f"{name} must be a date as in 2026-09-14 (ISO 8601); got {value!r}."
        ) from None


def named(name: str, value: object) -> None:
    """Refuse a text that is empty."""
    if not isinstance(value, str) or not value.strip():
        raise RecordError(f"{name} must be a text that is not empty; got {value!r}.")


def number(name: str, value: object, needed: bool = False) -> None:
    """Refuse what is no finite number; None passes unless `needed`."""
    if value is None and not needed:
        return
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not isfinite(value):
        raise RecordError(f"{name} must be a finite number; got {value!r}.")


def one_of(name: str, value: str, words: type[Word]) -> Word:
    """The member of an enumeration with that value."""
    try:
        return words(value)
    except ValueError:
        allowed = ", ".join(words)
        raise RecordError(f"{name} must be one of {allowed}; got {value!r}.") from None


def once(name: str, given: Iterable[str]) -> None:
    """Refuse a name that stands there twice."""
    seen: set[str] = set()
    for text in given:
        if text in seen:
            raise RecordError(f"{name} {text!r} is there twice.")
        seen.add(text)


def parts(name: str, given: object, kind: type) -> None:
    """Refuse what is no tuple of such records or texts."""
    if not isinstance(given, tuple) or not all(isinstance(part, kind) for part in given):
        word = "texts" if kind is str else f"{kind.__name__} records"
        raise RecordError(f"{name} must be a tuple of {word}; got {given!r}.")

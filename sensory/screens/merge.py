"""Two windows on one session: only what was typed in this window is written."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, TypeVar

Record = TypeVar("Record")


def merged(stored: Record, shown: Record, typed: Record) -> Record:
    """The stored record with the fields that this window changed since it last drew them.

    Parameters
    ----------
    stored, shown, typed : dataclass instances of one type
        On record now; as this window had it before; as it is in the window now.
    """
    touched: dict[str, Any] = {
        entry.name: getattr(typed, entry.name)
        for entry in fields(typed)  # type: ignore[arg-type]
        if getattr(typed, entry.name) != getattr(shown, entry.name)
    }
    return replace(stored, **touched)  # type: ignore[type-var]

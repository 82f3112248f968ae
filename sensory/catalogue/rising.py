"""Concentrations of a rising series, as they are agreed with a question."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from ..base.errors import ArgumentError
from .kind import TestKind

_NUMBER = re.compile(r"[0-9]*[.,]?[0-9]+(?:[eE][+-]?[0-9]+)?")


def amount_of(text: str) -> float | None:
    """The number with which a text begins, decimal comma or point; None where there is none.

    >>> amount_of("0,5 µg/l"), amount_of("blank")
    (0.5, None)
    """
    met = _NUMBER.match(text.strip())
    return float(met[0].replace(",", ".")) if met else None


def concentrations(
    kind: TestKind, settings: Mapping[str, Any], key: str = "concentrations"
) -> list[float]:
    """The agreed concentrations; ArgumentError for a part that is no number."""
    amounts = []
    for part in kind.listed(settings, key):
        amount = amount_of(part)
        if amount is None:
            raise ArgumentError(f"a concentration must be a number; got {part!r}.")
        amounts.append(amount)
    return amounts


def named_steps(kind: TestKind, settings: Mapping[str, Any]) -> list[str]:
    """What each concentration is called in plan and ballots."""
    unit = str(kind.setting(settings, "unit") or "").strip()
    return [f"{step:g} {unit}".strip() for step in concentrations(kind, settings)]

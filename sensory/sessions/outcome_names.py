"""An outcome without names: kept by row, so that erasing a person leaves no name in it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from ..catalogue.columns import Cells

_PLACES = (
    "because",
    "cannot_tell",
    "notes",
    "remarks",
    "panel",
    "panel_lines",
    "panel_says",
    "panel_tables",
)
"""Where the outcome of a test may name assessors."""
_ROW = re.compile(r"assessor of row (\d+)")


def without_names(plain: Mapping[str, Any], cells: Cells) -> dict[str, Any]:
    """The outcome with the first row of an assessor in the place of each name.

    >>> without_names({"remarks": ["Mia left row 4 empty."]}, {3: {"assessor": "Mia"}})
    {'remarks': ['assessor of row 3 left row 4 empty.']}
    """
    rows: dict[str, int] = {}
    for line, texts in sorted(cells.items()):
        name = texts.get("assessor", "")
        for spelling in (name, " ".join(name.split())):
            if spelling:
                rows.setdefault(spelling, line)
    if not rows:
        return dict(plain)
    longest_first = sorted(rows, key=len, reverse=True)
    named = re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, longest_first))})(?!\w)")
    return _changed(
        plain, lambda text: named.sub(lambda met: f"assessor of row {rows[met[0]]}", text)
    )


def with_names(plain: Mapping[str, Any], cells: Cells) -> dict[str, Any]:
    """The outcome with the names that stand in these rows now.

    >>> with_names({"remarks": ["assessor of row 3 left"]}, {3: {"assessor": "erased 1"}})
    {'remarks': ['erased 1 left']}
    """

    def name(met: re.Match[str]) -> str:
        return cells.get(int(met[1]), {}).get("assessor") or met[0]

    return _changed(plain, lambda text: _ROW.sub(name, text))


def _changed(plain: Mapping[str, Any], change: Callable[[str], str]) -> dict[str, Any]:
    def walked(value: Any) -> Any:
        if isinstance(value, str):
            return change(value)
        if isinstance(value, list):
            return [walked(each) for each in value]
        if isinstance(value, dict):
            return {key: walked(each) for key, each in value.items()}
        return value

    return {key: walked(value) if key in _PLACES else value for key, value in plain.items()}

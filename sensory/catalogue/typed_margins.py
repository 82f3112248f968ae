"""Margins by attribute, as they are typed with a question."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..base.errors import ArgumentError
from .typed_lists import name_and_size


def typed_margins(given: object, attributes: Sequence[str]) -> dict[str, float]:
    """Margins by attribute, from text or from a mapping; see `kind.TestKind.margins`.

    Raises ArgumentError for a part that is no attribute with a positive number.

    >>> typed_margins("sweet 1; after taste 0,8", ["sweet", "after taste"])
    {'sweet': 1.0, 'after taste': 0.8}
    """
    known = {name.casefold(): name for name in attributes}
    margins: dict[str, float] = {}
    typed = map(name_and_size, str(given).split(";"))
    for name, size in given.items() if isinstance(given, Mapping) else typed:
        if not name and size is None:
            continue
        attribute = known.get(name.casefold())
        if size is None or not 0 < size < 1e6 or (name and attribute is None):
            part = name if size is None else f"{name} {size:g}".strip()
            raise ArgumentError(
                f"margin {part!r} must be one of the attributes and a number above 0, "
                f"or one number for all; attributes are {', '.join(known.values())}."
            )
        margins |= {attribute: size} if attribute else dict.fromkeys(known.values(), size)
    return margins

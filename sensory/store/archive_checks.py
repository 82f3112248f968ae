"""What of an archived session pages and booths could not read: settings and serving."""

from __future__ import annotations

import re
from typing import Any

from ..base.errors import SensoryError
from ..base.languages import languages
from ..serving.marks import LATE
from ..serving.plan import ServingPlan
from .archive_form import SESSION

_SEAT = re.compile(r"seat [1-9][0-9]{0,5}", re.ASCII)


def settings_faults(settings: Any) -> list[str]:
    """A sentence where settings of a question hold more than texts and numbers."""
    sound = isinstance(settings, dict)
    sound = sound and all(isinstance(one, str | int | float) for one in settings.values())
    return [] if sound else [f"{SESSION} has settings that are neither text nor number."]


def serving_faults(serving: Any) -> list[str]:
    """What pages and booths could not read: the plan is read where it is shown."""
    if not serving:
        return []
    if not isinstance(serving, dict) or not isinstance(serving.get("plan"), dict):
        return [f"{SESSION} has no plan in what is served."]
    if serving["plan"] and not _plan(serving["plan"]):
        return [f"{SESSION} has a plan that cannot be read in what is served."]
    booths, late = serving.get("booths", {}), serving.get(LATE, {})
    seats = booths.values() if isinstance(booths, dict) else ("",)
    if serving.get("language") not in languages():
        return [f"{SESSION} has ballots in a language that is not known."]
    if not all(isinstance(one, str) and _SEAT.fullmatch(one) for one in seats):
        return [f"{SESSION} has booths without seats."]
    if not _texts(late):
        return [f"{SESSION} has late ballots without a time."]
    return [
        f"{SESSION}, {name} of what is served cannot be read."
        for name, sound in _MARKS.items()
        if name in serving and not sound(serving[name])
    ]


def _plan(plain: dict[str, Any]) -> bool:
    """Whether a plan is one: its parts are read one by one by booths and pages."""
    design, rows = plain.get("design"), plain.get("rows")
    if not isinstance(design, dict) or not isinstance(rows, list):
        return False
    sets = design.get("samples")
    named = isinstance(sets, list) and all(
        isinstance(names, list) and all(isinstance(one, str) for one in names) for names in sets
    )
    try:
        return named and bool(ServingPlan.from_dict(plain))
    except SensoryError:
        return False


def _texts(plain: Any) -> bool:
    return isinstance(plain, dict) and all(isinstance(one, str) for one in plain.values())


def _lists(plain: Any) -> bool:
    return isinstance(plain, dict) and all(
        isinstance(some, list) and all(isinstance(one, str) for one in some)
        for some in plain.values()
    )


def _counts(plain: Any) -> bool:
    return (
        isinstance(plain, dict)
        and {"minutes", "started"} <= plain.keys()
        and all(isinstance(one, int) and 0 <= one < 10**6 for one in plain.values())
    )


_MARKS = {"allergens": _texts, "served": _texts, "excluded": _lists, "breaks": _counts}
"""What else a session may keep of its serving, and how it is told to be sound."""

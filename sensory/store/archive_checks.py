"""What of an archived session pages and booths could not read: settings and serving."""

from __future__ import annotations

import re
from typing import Any

from ..base.errors import SensoryError
from ..base.languages import languages
from ..sessions.serving import Serving
from .archive_form import SESSION

_SEAT = re.compile(r"seat [1-9][0-9]{0,5}", re.ASCII)


def settings_faults(settings: Any) -> list[str]:
    """A sentence where settings of a question hold more than texts and numbers."""
    sound = all(isinstance(value, str | int | float) for value in settings.values())
    return [] if sound else [f"{SESSION} has settings that are neither text nor number."]


def serving_faults(serving: Serving | None) -> list[str]:
    """What pages and booths could not read of a serving, though its kinds are right."""
    if serving is None:
        return []
    try:
        _ = serving.plan
    except SensoryError as error:
        return [f"{SESSION} has a plan that cannot be read in what is served: {error}"]
    if serving.language not in languages():
        return [f"{SESSION} has ballots in a language that is not known."]
    if not all(_SEAT.fullmatch(seat) for seat in serving.booths.values()):
        return [f"{SESSION} has booths without seats."]
    breaks = serving.breaks
    if breaks and not (0 <= breaks.minutes < 10**6 and 0 <= breaks.started < 10**6):
        return [f"{SESSION} has breaks that cannot be."]
    return []

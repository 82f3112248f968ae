"""Who comes regularly: the assessors of the latest sessions, to be ticked instead of typed.

Why so
------
The list follows from the ballots on record and is kept nowhere else, so a name that is erased is
gone from it at once.
"""

from __future__ import annotations

from collections import Counter

from ..base.spelling import same_person, tidy_name
from .store import Store

_LATEST = 12


def regular_assessors(store: Store, latest: int = _LATEST) -> list[str]:
    """Names on the ballots of the latest sessions, those who came most often first.

    Each person once, in the spelling of the latest session. Who was erased is left out.
    """
    spelled: dict[str, str] = {}
    times: Counter[str] = Counter()
    for session in store.sessions(latest):
        here: dict[str, str] = {}
        for texts in store.cells(session.id).values():
            if name := tidy_name(texts.get("assessor", "")):
                here.setdefault(same_person(name), name)
        times.update(here.keys())
        spelled = here | spelled
    return sorted(
        (spelled[key] for key in times if not key.startswith("erased ")),
        key=lambda name: (-times[same_person(name)], name.casefold()),
    )

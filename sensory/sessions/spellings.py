"""Names on ballots that look like one person in several spellings, and one name for them.

Why so
------
'A.B.' and 'AB' are most often one person, and now and then two. Nobody is put together without
being asked; the leader merges with one click, before closing. The reason on record names rows,
not people, so that a name can still be erased.
"""

from __future__ import annotations

from collections import Counter

from ..base.errors import RecordError
from ..base.results import several
from ..base.spelling import look_alikes, looks_like, same_person, tidy_name
from ..catalogue.columns import Cells
from .samples import SAMPLE, reference_of
from .store import Store
from .workflow import enter_cells

_NAME = "assessor"


def alike_on_ballots(cells: Cells) -> list[tuple[str, ...]]:
    """Names that look like one person, the commonest spelling first.

    >>> alike_on_ballots({2: {"assessor": "A.B."}, 3: {"assessor": "AB"}, 4: {"assessor": "AB"}})
    [('AB', 'A.B.')]
    """
    times = Counter(_spelled(cells).values())
    return [
        tuple(sorted(group, key=lambda name: -times[name])) for group in look_alikes(times.keys())
    ]


def merge_spellings(store: Store, session_id: str, name: str, *, who: str) -> int:
    """Give all rows of whoever looks like `name` this spelling. Returns how many were changed.

    Raises RecordError where no other spelling is there, or as `enter_cells`.
    """
    names = _spelled(store.cells(session_id))
    rows = {
        line: spelled for line, spelled in names.items() if looks_like(spelled) == looks_like(name)
    }
    changes = {line: {_NAME: name} for line, spelled in rows.items() if spelled != name}
    if not changes:
        raise RecordError("The names were changed meanwhile: nothing is left to merge.")
    listed = ", ".join(map(str, sorted(rows)))
    why = f"one person in {several(len(set(rows.values())), 'spelling')}: rows {listed}"
    return enter_cells(store, session_id, changes, who=who, why=why)


def name_reference(store: Store, session_id: str, sample: str, *, who: str) -> int:
    """Give a sample on the ballots the name under which the question agreed the reference.

    Returns how many rows were changed. Raises RecordError for a sample that no ballot names, or as
    `enter_cells`.
    """
    session, cells = store.session(session_id), store.cells(session_id)
    agreed = reference_of(session.question)
    rows = {
        line: {SAMPLE: agreed}
        for line, texts in cells.items()
        if same_person(texts.get(SAMPLE, "")) == same_person(sample)
    }
    if not rows or not agreed:
        raise RecordError(f"No ballot names a sample {sample!r}.")
    why = f"{sample} is the reference, agreed as {agreed}"
    return enter_cells(store, session_id, rows, who=who, why=why)


def _spelled(cells: Cells) -> dict[int, str]:
    """The name on each line, in the spelling in which the checks count it."""
    first: dict[str, str] = {}
    return {
        line: first.setdefault(same_person(name), name)
        for line, texts in sorted(cells.items())
        if (name := tidy_name(texts.get(_NAME, "")))
    }

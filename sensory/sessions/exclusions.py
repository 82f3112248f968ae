"""Use cases of the leader before serving: allergens of each sample, and who is not served what.

Of a reason nothing is asked and nothing is kept but 'not today' and 'not this sample'.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from ..base.errors import RecordError
from ..serving.marks import CONSENT, LEFT, NOT_SERVED, NOT_THIS_SAMPLE, NOT_TODAY, samples_by_line
from .allergens import allergens_in, served_samples
from .booth_ballots import answered, ballots_of
from .booth_plans import (
    EXCLUDED,
    excluded_of,
    lines_holding,
    lines_of,
    people_of,
    rows_of_seat,
    seats_of,
)
from .session import StoredSession

if TYPE_CHECKING:  # a booth loads no statistics
    from .workflow import Store

_LONGEST = 200


def declare_allergens(
    store: Store, session_id: str, declared: Mapping[str, str], *, who: str
) -> StoredSession:
    """Declare the allergens of served samples; 'none' is a declaration.

    Parameters
    ----------
    declared : mapping of str to str
        By sample, several allergens separated by semicolons; an empty text takes back what
        was declared here.

    Raises
    ------
    RecordError
        When there is no serving plan, the session is closed, or a sample is not served.
    """
    session = _open(store, session_id)
    served = served_samples(session)
    if strange := [name for name in declared if name not in served]:
        raise RecordError(f"Not served: {', '.join(strange)}; there are {', '.join(served)}.")
    texts = {name: " ".join(text.split())[:_LONGEST] for name, text in declared.items()}
    before = session.serving.get("allergens", {})
    now = {name: text for name, text in {**before, **texts}.items() if text}
    changed = replace(session, serving={**session.serving, "allergens": now})
    store.update(changed, expect=session, who=who, what="allergens declared", why="before serving")
    return changed


def excluded_samples(store: Store, session_id: str) -> dict[str, tuple[str, ...]]:
    """The samples that are not for an assessor, by name; only where there are any."""
    session = store.session(session_id)
    seats = seats_of(people_of(store, session_id))
    return {name: out for name, seat in seats.items() if (out := excluded_of(session, seat))}


def allergens_by_line(store: Store, session_id: str) -> dict[int, str]:
    """What the samples of each ballot line hold together; empty for nothing declared."""
    session = store.session(session_id)
    found: dict[int, str] = {}
    for assessor, seat in seats_of(people_of(store, session_id)).items():
        lines = lines_of(store, session_id, assessor)
        holds = samples_by_line(rows_of_seat(session, seat), lines)
        found |= {line: allergens_in(session, samples) for line, samples in holds.items()}
    return found


def exclude(
    store: Store, session_id: str, assessor: str, samples: Collection[str], *, who: str
) -> StoredSession:
    """State which samples are not for an assessor; none takes all of it back.

    Ballots that hold one of them are not served; those that are answered already stay, and
    so do those that the assessor left out at the booth.

    Raises
    ------
    RecordError
        When there is no serving plan, the session is closed, or a name is not in the plan.
    """
    session = _open(store, session_id)
    seat = _seat(store, session_id, assessor)
    served = served_samples(session)
    if strange := [name for name in samples if name not in served]:
        raise RecordError(f"Not served: {', '.join(strange)}; there are {', '.join(served)}.")
    before = session.serving.get(EXCLUDED, {})
    now = {**before, seat: [name for name in served if name in samples]}
    now = {one: names for one, names in now.items() if names}
    changed = replace(session, serving={**session.serving, EXCLUDED: now})
    more = set(samples) - set(before.get(seat, ()))
    why = NOT_THIS_SAMPLE if more else f"taken back: {NOT_THIS_SAMPLE}"
    mine = lines_of(store, session_id, assessor)
    marks = {
        line: {NOT_SERVED: mark}
        for line, mark in _marks(session, seat, mine, samples).items()
        if mine[line].get(NOT_SERVED, "") in ("", NOT_THIS_SAMPLE)
    }
    store.write_cells(session_id, marks, who=who, why=why)
    store.update(changed, expect=session, who=who, what="excluded", why=why)
    return changed


def not_today(
    store: Store, session_id: str, assessor: str, *, taken_back: bool = False, who: str
) -> int:
    """Serve an assessor nothing more today, or take that back; how many lines changed.

    It goes before 'not this sample', which stands again when it is taken back.
    Taken back, the booth asks for consent again if it was told 'not today' there.

    Raises
    ------
    RecordError
        When there is no serving plan, the session is closed, or the name is not in the plan.
    """
    session = _open(store, session_id)
    seat, mine = _seat(store, session_id, assessor), lines_of(store, session_id, assessor)
    marks = _marks(session, seat, mine, excluded_of(session, seat))
    if not taken_back:
        changes = {
            line: {NOT_SERVED: NOT_TODAY}
            for ballot in ballots_of(session, mine)
            if not answered(session, mine, ballot)
            for line in ballot
            if mine[line].get(NOT_SERVED, "") in ("", NOT_THIS_SAMPLE) and not mine[line].get(LEFT)
        }
        return store.write_cells(session_id, changes, who=who, why=NOT_TODAY)
    again = {
        line: {NOT_SERVED: mark}
        for line, mark in marks.items()
        if mine[line].get(NOT_SERVED) == NOT_TODAY
    }
    for line, texts in mine.items():
        if texts.get(CONSENT, "").startswith(NOT_TODAY):
            again.setdefault(line, {})[CONSENT] = ""
    return store.write_cells(session_id, again, who=who, why=f"taken back: {NOT_TODAY}")


def _marks(
    session: StoredSession,
    seat: str,
    mine: Mapping[int, Mapping[str, str]],
    excluded: Collection[str],
) -> dict[int, str]:
    """The mark that each line ought to have, but those that were left out at the booth.

    An answered line ought to have none, even where booth and leader crossed each other.
    """
    out = lines_holding(session, seat, mine, excluded)
    return {
        line: NOT_THIS_SAMPLE if line in out and not answered(session, mine, ballot) else ""
        for ballot in ballots_of(session, mine)
        if not mine[ballot[0]].get(LEFT)
        for line in ballot
    }


def _open(store: Store, session_id: str) -> StoredSession:
    session = store.session(session_id)
    if not session.serving:
        raise RecordError("Plan the serving first.")
    if session.closed:
        raise RecordError("The session is closed; reopen it with a reason to change it.")
    return session


def _seat(store: Store, session_id: str, assessor: str) -> str:
    seats = seats_of(people_of(store, session_id))
    if assessor not in seats:
        raise RecordError(f"{assessor!r} is not in the plan; there are {', '.join(seats)}.")
    return seats[assessor]

"""Minors: nobody under age is served without a guardian's consent on file.

Why so
------
The record knows no ages. A booth asks whoever consents to say that they are of age, or that they
are a minor; the leader can say it beforehand. Kept is only, by seat, the day of the guardian's
form; the form itself stays on paper. Where a substance is for adults only, no consent helps.
"""

from __future__ import annotations

from dataclasses import replace

from ..base.errors import RecordError
from ..base.record_checks import iso_date
from ..base.records import utc_now
from .booth_places import place_of
from .booth_plans import open_serving, people_of
from .exclusions import not_today
from .serving import seats_of
from .session import StoredSession
from .store import Action, Store


def state_minor(
    store: Store, session_id: str, assessor: str, *, consent_on: str = "", who: str
) -> StoredSession:
    """State that an assessor is a minor, and of which day the guardian's consent on file is.

    Without a consent on file, or where the samples are for adults only, nothing is served to them;
    with one they are served as planned.

    Raises RecordError without a serving plan, for somebody who is not in it, or a day to come.
    """
    if consent_on:
        iso_date("the day of the consent", consent_on)
        if consent_on > utc_now()[:10]:
            raise RecordError(f"The guardian's consent cannot be of {consent_on}, still to come.")
    why = f"guardian's consent of {consent_on}" if consent_on else "no guardian's consent on file"
    with store.action(who=who, why=why) as act:
        changed, before = _stated(act, session_id, assessor, consent_on, f"minor; {why}")
        barred = not consent_on or changed.details.care.adults_only
        if barred or before == "":
            not_today(act, session_id, assessor, taken_back=not barred, who=who)
        return changed


def state_adult(store: Store, session_id: str, assessor: str, *, who: str) -> StoredSession:
    """Take back that an assessor is a minor.

    Raises RecordError without a serving plan, or for somebody who is not in it.
    """
    with store.action(who=who, why="of age") as act:
        changed, before = _stated(act, session_id, assessor, None, "of age")
        if before is not None:
            not_today(act, session_id, assessor, taken_back=True, who=who)
        return changed


def _stated(
    act: Action, session_id: str, assessor: str, guardian: str | None, why: str
) -> tuple[StoredSession, str | None]:
    """The session with another statement about an assessor, and what was stated before."""
    session, serving = open_serving(act, session_id)
    seats = seats_of(people_of(act, session_id))
    if assessor not in seats:
        raise RecordError(f"{assessor!r} is not in the plan; there are {', '.join(seats)}.")
    seat, others = seats[assessor], dict(serving.guardians)
    before = others.pop(seat, None)
    guardians = others if guardian is None else {**others, seat: guardian}
    changed = replace(session, serving=replace(serving, guardians=guardians))
    act.put(changed, expect=session, what="minor", why=f"{seat}: {why}")
    return changed, before


def say_minor(store: Store, token: str) -> None:
    """Say at a booth that one is a minor; what is on file stands.

    Raises RecordError for a link that is not valid, or a closed session.
    """
    with store.action(who="booth", why="said at the booth") as act:
        at = place_of(act, token)
        if at is None or at.session.serving is None:
            raise RecordError("This link is not valid, or no longer.")
        if at.seat not in at.session.serving.guardians:
            state_minor(act, at.session.id, act.name_of(at.by), who="booth")


def minors_of(store: Store, session_id: str) -> dict[str, str]:
    """The minors of a session with the day of their guardian's consent, empty where none is."""
    session = store.session(session_id)
    guardians = session.serving.guardians if session.serving else {}
    seats = seats_of(people_of(store, session_id))
    return {name: guardians[seat] for name, seat in seats.items() if seat in guardians}

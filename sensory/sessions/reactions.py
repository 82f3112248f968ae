"""Adverse reactions: reported in one click, by the booth or by the leader, and then taken up.

From the report on nothing more is served in the session, until the leader says what was done and
whether the tasting goes on. A session that was ended stays stopped; its ballots can be closed.

Why so
------
A report is written also after closing: people fall ill later. Reporting twice from one seat, with
the first report still open, is one report: somebody who feels unwell taps twice. The journal
names seat and time, and nobody's complaint; what a person felt stays outside the record.
"""

from __future__ import annotations

from dataclasses import replace

from ..base.errors import RecordError
from ..base.records import utc_now
from .booth_places import place_of
from .booth_plans import people_of
from .care import Reaction
from .serving import seats_of
from .session import StoredSession
from .store import Action, Store


def feel_unwell(store: Store, token: str) -> None:
    """Report an adverse reaction from the booth of a link, open or closed.

    Raises RecordError for a link that is not valid.
    """
    with store.action(who="booth", why="reported at the booth") as act:
        at = place_of(act, token)
        if at is None:
            raise RecordError("This link is not valid, or no longer.")
        _report(act, act.session(at.session.id), at.seat)


def report_reaction(store: Store, session_id: str, assessor: str = "", *, who: str) -> None:
    """Report an adverse reaction for the leader; `assessor` may be said later, or never.

    Raises RecordError for somebody who is not in the session.
    """
    with store.action(who=who, why="reported by the leader") as act:
        seats = seats_of(people_of(act, session_id))
        if assessor and assessor not in seats:
            raise RecordError(f"{assessor!r} is not in this session; there are {', '.join(seats)}.")
        _report(act, act.session(session_id), seats.get(assessor, ""))


def _report(act: Action, session: StoredSession, seat: str) -> None:
    care = session.details.care
    if any(reaction.seat == seat for reaction in care.unwell):
        return
    reaction = Reaction(at=utc_now(), seat=seat)
    new = replace(care, reactions=(*care.reactions, reaction))
    changed = replace(session, details=replace(session.details, care=new))
    why = f"{seat or 'seat not said'}: nothing more is served"
    act.put(changed, expect=session, what="adverse reaction", why=why)


def take_up(
    store: Store, session_id: str, *, by: str, done: str, goes_on: bool, who: str
) -> StoredSession:
    """Say what was done about every reaction that is open, and whether the tasting goes on.

    `done`: without names and nothing about health: it stays in the journal.

    Raises RecordError where no reaction waits, without a name, or without what was done.
    """
    with store.action(who=who) as act:
        session = act.session(session_id)
        care = session.details.care
        if not care.unwell:
            raise RecordError("No adverse reaction waits to be taken up.")
        for what, text in (("who takes it up", by), ("what was done", done)):
            if not text.strip():
                raise RecordError(f"Say {what}.")
        done, name, now = " ".join(done.split()), " ".join(by.split()), utc_now()
        reactions = tuple(
            reaction
            if reaction.taken_up_at
            else replace(reaction, taken_up_at=now, taken_up_by=name, goes_on=goes_on, done=done)
            for reaction in care.reactions
        )
        new = replace(session.details, care=replace(care, reactions=reactions))
        changed = replace(session, details=new)
        why = f"tasting {'goes on' if goes_on else 'is ended'}: {done}"
        act.put(changed, expect=session, what="reaction taken up", why=why)
        return changed


def unwell(store: Store, session: StoredSession) -> list[tuple[str, str]]:
    """When, and who, of each reaction that is open; the name empty where it is not known."""
    names = {seat: name for name, seat in seats_of(people_of(store, session.id)).items()}
    return [
        (reaction.at, names.get(reaction.seat, reaction.seat))
        for reaction in session.details.care.unwell
    ]

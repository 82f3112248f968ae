"""A copy of a session as a new one: asked the same way, cleared and agreed anew."""

from __future__ import annotations

from dataclasses import replace

from ..catalogue.question import Question
from .attempts import IN_TWO
from .care import Care
from .search import ALL
from .session import SessionDetails, StoredSession
from .store import Store
from .workflow import new_session_id, open_session


def copy_session(store: Store, session_id: str, *, who: str) -> StoredSession:
    """Open a new session with the question and the description of another one.

    What belongs to one day stays behind: date, deviations, ballots and serving, allergens and
    clearance of the samples, the answers to the cautions. A suspicion goes along. On the same
    batch the copy counts as a further attempt.

    Raises RecordError when there is no such session.
    """
    old = store.session(session_id)
    care = old.details.care
    details = replace(
        old.details,
        samples=tuple(replace(sample, allergens="") for sample in old.details.samples),
        held_on="",
        deviations="",
        file_remarks="",
        care=Care(suspected=care.suspected, contains=care.contains, most=care.most),
    )
    rule = "" if old.question.retest_rule == IN_TWO else old.question.retest_rule
    return open_session(
        store,
        new_session_id(),
        details=details,
        question=replace(old.question, standard="", retest_rule=rule),
        who=who,
        why=f"copy of session {old.id[:8]}",
    )


def open_copy_of(store: Store, details: SessionDetails, question: Question) -> StoredSession | None:
    """The newest session of exactly this description and question that nobody has agreed yet."""
    likely = store.sessions(ALL, naming=details.title, unclosed=True)
    same = (
        each
        for each in likely
        if not each.agreed and (each.details, each.question) == (details, question)
    )
    return next(same, None)

"""Every session: what it showed, of which batch, when, and what is next."""

from __future__ import annotations

import streamlit as st

from ..base.findings import Finding
from ..catalogue.tests import name_of_test
from ..sessions.copies import copy_session
from ..sessions.search import ALL, find_sessions
from ..sessions.session import StoredSession
from ..sessions.steps import next_in_words, next_step
from .care import care_of_the_record
from .frame import acting, day, desk, go, plain, shown_errors, title_of
from .parts import SIGNS, act, pressed, way
from .record_check import check_record, damaged_sessions, last_daily_check

_LISTED = 12
_MORE = "sessions-listed"
"""How many times as many are listed."""
_ALL, _OPEN, _CLOSED = "all", "open", "closed"


def page() -> None:
    """List the sessions, newest first."""
    title, new = st.columns([5, 1.4], vertical_alignment="bottom")
    title.title("Sessions", anchor=False)
    way("New session", "new-session", "new", place=new.container(horizontal_alignment="right"))
    with shown_errors():
        stored, damaged = desk().listed_sessions(_LISTED * st.session_state.get(_MORE, 1) + 1)
        damaged_sessions(damaged)
        if stored:
            _list(stored)
        else:
            st.markdown("No session is on record yet.")
    care_of_the_record()
    with shown_errors():
        last_daily_check()
        check_record()


def _list(newest: list[StoredSession]) -> None:
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    wanted = left.text_input("Find by title, test, sample or batch", key="find-session")
    states = [_ALL, _OPEN, _CLOSED]
    state = right.radio("Show", states, horizontal=True, key="sessions-state")
    wanted = wanted.strip()
    sought = find_sessions(desk(), wanted) if wanted else newest
    if not wanted and state != _ALL:
        sought = desk().listed_sessions(ALL)[0]
    matching = [
        session for session in sought if state == _ALL or session.closed == (state == _CLOSED)
    ]
    if not matching:
        st.markdown("No match.")
    many = _LISTED * st.session_state.get(_MORE, 1)
    for session in matching[:many]:
        _row(session)
    if len(matching) > many and pressed("Show more", "sessions-more"):
        st.session_state[_MORE] = 1 + st.session_state.get(_MORE, 1)
        st.rerun()


def _row(session: StoredSession) -> None:
    name, shows, when, buttons = st.columns([5, 4, 2, 3], vertical_alignment="center")
    row = buttons.container(horizontal=True, horizontal_alignment="right")
    batches = ", ".join(sample.batch for sample in session.details.samples[1:] if sample.batch)
    test = name_of_test(session.question)
    about = f"{test}, batch {batches}" if batches else test
    name.markdown(f"**{title_of(session)}**  \n{plain(about)}")
    shows.markdown(_standing(session))
    when.markdown(day(session.details.held_on or session.created_at[:10]))
    key = f"open-{session.id}"
    way("Open", key, next_step(desk(), session), session.id, primary=False, place=row)

    def copied() -> None:
        go("question", copy_session(desk(), session.id, who=acting()).id)

    act("Copy", f"copy-{session.id}", copied, place=row)


def _standing(session: StoredSession) -> str:
    """Its finding, or what it waits for."""
    shown = desk().outcome(session.id) if session.closed else None
    if shown is None:
        return f"Next: {next_in_words(desk(), session)}"
    finding = Finding(shown["finding"])
    return f"{SIGNS[finding]} {finding.heading}"

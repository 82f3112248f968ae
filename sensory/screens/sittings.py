"""Sittings on the Serve page: the break that the leader ends."""

from __future__ import annotations

import streamlit as st

from ..sessions.booth_sittings import done_with, next_sitting, not_done_with, start_sitting
from ..sessions.session import StoredSession
from .frame import desk, plain, who


def sittings_panel(session: StoredSession) -> None:
    """Which sitting the booths are in, and the button for the next; nothing for one sitting."""
    if session.serving is None or session.serving.breaks is None or session.closed:
        return
    breaks, last = session.serving.breaks, session.serving.design.sittings
    if breaks.minutes:
        st.markdown(
            f"**{last} sittings**; after each a break of at least {breaks.minutes} min, "
            "counted from an assessor's own last ballot."
        )
        return
    _led(session, breaks.started, last)


@st.fragment(run_every=5.0)
def _led(session: StoredSession, started: int, last: int) -> None:
    """Who is done with the sitting that is open, and the button for the next one."""
    store = desk()
    done, people = done_with(store, session.id, started)
    st.markdown(
        f"**Sitting {started} of {last}** is open: {done} of {people} assessors are done with it"
        + ("." if started == last else " and wait.")
    )
    following = next_sitting(session)
    if not following:
        return
    sure = True
    if missing := not_done_with(store, session.id, started):
        st.markdown(f"Not done yet: {plain(', '.join(missing))}.")
        sure = st.checkbox(
            f"Start sitting {following} before they are done", key=f"start-before-{following}"
        )
    # The number is in the key: a late second tap cannot start the sitting after it.
    key = f"start-sitting-{following}"
    if st.button(f"Start sitting {following}", key=key, disabled=not sure) and sure:
        start_sitting(store, session.id, following, who=who(session))
        st.rerun()

"""Whether the record is as it was written: damaged sessions, the daily check, a check by hand."""

from __future__ import annotations

import streamlit as st

from ..sessions.session import DamagedSession
from ..sessions.soundness import last_check
from .frame import desk, minute, plain
from .parts import pressed

_LISTED = 20


def damaged_sessions(damaged: list[DamagedSession]) -> None:
    """Sessions that cannot be read any more; all others work."""
    for session in damaged:
        name = session.title or f"Session {session.id}"
        st.error(
            f"**{plain(name)}** is damaged and cannot be opened: {plain(session.why)} "
            "Restore it from a backup or an archive."
        )


def last_daily_check() -> None:
    """When the record was last checked by itself, and with what result."""
    check = last_check(desk())
    if check is None:
        return
    if check.wrong:
        more = f", and {len(check.wrong) - 1} more" if len(check.wrong) > 1 else ""
        st.error(f"Daily check, {minute(check.at)}: {plain(check.wrong[0])}{more}")
    else:
        st.markdown(f"Daily check, {minute(check.at)}: the record is as it was written.")


def check_record() -> None:
    """Check it now, with how far that is and the way to stop it."""
    if pressed("Check the record", "verify"):
        shown = st.empty()
        with shown.container():
            bar = st.progress(0.0, "Checking the record")
            st.button("Stop check", key="verify-stop")  # any click ends this run of the page
            broken = desk().verify(watched=lambda share: bool(bar.progress(share)))
        shown.empty()
        for line in broken[:_LISTED]:
            st.error(plain(line))
        if len(broken) > _LISTED:
            st.error(f"and {len(broken) - _LISTED} more")
        if not broken:
            st.success("The record is as it was written.")

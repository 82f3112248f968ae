"""Sessions to choose from: the newest, and older ones by a part of their name."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from ..base.results import several
from ..sessions.search import holding
from ..sessions.session import StoredSession

MOST = 50


def offered_sessions(sessions: Sequence[StoredSession], key: str) -> list[StoredSession]:
    """The newest of them; where there are more, a field to find older ones by, and how many are
    left out."""
    if len(sessions) <= MOST:
        return list(sessions)
    words = st.text_input("Find an earlier session by title, sample or batch", key=f"{key}-find")
    named = holding(sessions, words)
    left = len(named) - MOST
    if not named:
        st.markdown("No match")
    elif left > 0:
        st.markdown(f"Not offered below: {several(left, 'earlier session')}.")
    return named[:MOST]

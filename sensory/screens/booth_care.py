"""What stands at the head of a booth: that somebody feels unwell, or tasting is stopped."""

from __future__ import annotations

import streamlit as st

from ..base.errors import UnreachableError
from ..sessions.booths import BoothVisit, visit
from ..sessions.reactions import feel_unwell
from .ballot_view import view_of
from .booth_training import learns
from .components import Words
from .frame import desk

_FELT, _WATCHED = "booth-felt", "booth-watched"


def show_unwell(token: str, here: BoothVisit, words: Words) -> None:
    """One click reports that somebody feels unwell: at any time once they have consented."""
    if here.stopped:
        st.title(words["stopped"])
        st.error(words["stopped_hint"])
        st.markdown(words["unwell_hint"])
    elif here.paused:
        st.title(words["paused"])
        st.markdown(words["paused_hint"])
    with st.container(key="booth-top", horizontal=True, horizontal_alignment="right"):
        if here.consented and not here.unwell and st.button(words["unwell"], key="booth-unwell"):
            st.session_state[_FELT] = True
            st.rerun()
    by_script = view_of(here) is not None and not learns(here)  # asks by itself how it stands
    if here.stopped or here.paused or (here.consented and not here.closed and not by_script):
        st.session_state[_WATCHED] = True
        _watch(token, here.stopped, here.paused)


def report(token: str) -> None:
    """Report who feels unwell before anything else, and again until it is on record."""
    if st.session_state.pop(_FELT, False):
        try:
            feel_unwell(desk(), token)
        except UnreachableError:
            st.session_state[_FELT] = True
            raise


@st.fragment(run_every=10.0)
def _watch(token: str, stopped: bool, paused: bool) -> None:
    """A booth on which nobody taps learns as well that tasting is stopped, or goes on."""
    if st.session_state.pop(_WATCHED, False):  # drawn with the page, which has just looked
        return
    try:
        here = visit(desk(), token)
    except UnreachableError:
        st.rerun()
    if here is None or (here.stopped, here.paused) != (stopped, paused):
        st.rerun()

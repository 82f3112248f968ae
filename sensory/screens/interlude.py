"""What a booth shows before a ballot: a warm-up sample, a break between two sittings, or that the
record is away for a while."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from ..base.errors import UnreachableError
from ..base.languages import ballot_words, languages
from ..sessions.booth_sittings import Halt
from ..sessions.booths import leave_warm_up, tasted, visit
from .components import Words, show_signal
from .frame import desk, plain

_WAITS = "away-waits"


def show_halt(token: str, halt: Halt, words: Words, *, smelling: bool = False) -> None:
    """The warm-up sample with its code, or the break until it is over."""
    if halt.sittings > 1:
        st.markdown(words["sitting_of"].format(number=halt.sitting, all=halt.sittings))
    if halt.kind == "break":
        st.title(words["break"])
        _wait(token, words)
        # All that was answered is sent by now.
        show_signal("signal-break", f"{words['away']}. {words['away_hint']}")
        return
    st.title(words["warm_up"])
    st.markdown(words["warm_up_smell" if smelling else "warm_up_asks"])
    with st.container(border=True, width="content"):
        st.markdown(f"## {plain(halt.code)}")
    if halt.allergens:
        st.warning(words["warm_up_allergens"].format(allergens=plain(halt.allergens)))
    # The code is in the key: a late second tap cannot hit the next warm-up sample.
    done = words["warm_up_smelled" if smelling else "warm_up_done"]
    if st.button(done, key=f"warm-up-{halt.code}", type="primary"):
        tasted(desk(), token, halt.code)
        st.rerun()
    if halt.allergens and st.button(words["warm_up_leave"], key=f"leave-warm-up-{halt.code}"):
        leave_warm_up(desk(), token, halt.code)
        st.rerun()
    show_signal(f"signal-{halt.code}", words["offline"])


@st.fragment(run_every=5.0)
def _wait(token: str, words: Words) -> None:
    try:
        here = visit(desk(), token)
    except UnreachableError:
        show_away()
        return
    halt = here.halt if here and not here.closed else None
    if halt is None or halt.kind != "break":
        st.rerun()
    elif halt.minutes is None:
        st.info(words["break_leader"])
    else:
        st.info(words["break_minutes"].format(minutes=halt.minutes))


def reached(open_record: Callable[[], object]) -> None:
    """Do what needs the record; while it is away the page says so and tries again by itself."""
    try:
        open_record()
    except UnreachableError:
        show_away()
        wait_for(open_record)
        st.stop()


def show_away(language: str = "") -> None:
    """Say that nothing is lost while the record is away; in all languages where none is known."""
    for number, code in enumerate([language] if language else languages()):
        words = ballot_words(code)
        (st.subheader if number else st.title)(words["away"])
        st.markdown(words["away_hint"])


def wait_for(attempt: Callable[[], object]) -> None:
    """Try again every few seconds, and draw the page anew once nothing stands against it."""
    st.session_state[_WAITS] = True
    _tried(attempt)


@st.fragment(run_every=3.0)
def _tried(attempt: Callable[[], object]) -> None:
    if st.session_state.pop(_WAITS, False):  # drawn with the page, which has just tried
        return
    try:
        attempt()
    except UnreachableError:
        return
    st.rerun()

"""The booth: cautions and consent once, then one ballot at a time.

Why so
------
A ballot is drawn by a script of this page, which hands each answer over to the route of answers
and draws what that gives as the next ballot: a tap costs one short transaction and no run of the
page. The page is run where something else comes next: cautions, a warm-up sample, a break, the own
marks in training, the thanks. While the record is away it draws the ballot seen last, so that what
is marked meanwhile stays in its script until it is acknowledged.
"""

from __future__ import annotations

import streamlit as st

from ..base.errors import UnreachableError
from ..base.languages import ballot_words
from ..base.records import JsonObject
from ..sessions.booths import BoothVisit, late, visit
from .ballot_view import left_out_words, view_of
from .booth_care import report, show_unwell
from .booth_training import go_on, learns, show_learned
from .components import Words, asset, show_ballot
from .consent import show_cautions, show_excused, show_stop
from .frame import desk
from .interlude import show_away, show_halt, wait_for

_CSS = f"<style>{asset('booth.css')}</style>"
_SEEN = "booth-seen"


def page(token: str) -> None:
    """Show what this link has to show next; while the record is away, its ballot seen last."""
    st.html(_CSS)
    seen: tuple[BoothVisit, JsonObject | None] | None = st.session_state.get(_SEEN)
    try:
        report(token)
        here = visit(desk(), token)
        st.session_state[_SEEN] = here and (here, None)
        if here is None:
            _no_link(ballot_words("en"))
        else:
            _next(token, here)
    except UnreachableError:
        if seen is None or seen[1] is None:
            show_away(seen[0].language if seen else "")
        else:
            _still(token, *seen)
        st.session_state[_SEEN] = seen
        wait_for(lambda: visit(desk(), token))


def _still(token: str, here: BoothVisit, view: JsonObject | None) -> None:
    """The ballot as it was seen last: its fields keep what is marked meanwhile."""
    words = ballot_words(here.language)
    show_unwell(token, here, words)
    if view is not None:
        show_ballot(token, view, here.language)
    st.error(f"{words['away']}. {words['away_hint']}")


def _no_link(words: Words) -> None:
    st.title(words["not_valid"])
    st.markdown(words["sign_in_hint"])


def _next(token: str, here: BoothVisit) -> None:
    words = ballot_words(here.language)
    show_unwell(token, here, words)
    view = None if learns(here) else view_of(here)
    if here.training and view is None:
        st.info(words["training"])
    if here.stopped or here.paused:
        return
    if here.closed:
        late(desk(), token)
        st.title(words["closed"])
        show_learned(here, words)
    elif here.barred:
        st.title(words[here.barred])
    elif here.excused:
        show_excused(token, here, words)
    elif not here.consented:
        show_cautions(token, here, words)
    else:
        _on(token, here, words, view)


def _on(token: str, here: BoothVisit, words: Words, view: JsonObject | None) -> None:
    """What comes next for somebody who tastes."""
    if here.ballot is None:
        st.title(words["thanks" if here.sent else "excused"])
        _left_out(here)
        show_learned(here, words)
    elif learns(here):
        show_learned(here, words)
        go_on(here, words)
    elif here.halt is not None:
        _left_out(here)
        show_halt(token, here.halt, words, smelling=here.smelling)
    elif view is not None:
        show_ballot(token, view, here.language)
        show_stop(token, words)
        st.session_state[_SEEN] = here, view


def _left_out(here: BoothVisit) -> None:
    if here.left_out:
        st.info(left_out_words(here))

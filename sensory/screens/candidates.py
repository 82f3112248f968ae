"""Candidate words on the page Words: from comments, and from lists ticked here or elsewhere."""

from __future__ import annotations

import streamlit as st

from ..base.results import several
from ..base.spelling import key_of
from ..catalogue.attributes import Vocabulary
from ..panel.candidate_words import candidate_words, ticked_lists
from ..ratings.ticked import TickedWords, ticked_words
from ..report.ticked_figures import ticks_figure
from ..sessions.search import find_sessions
from ..sessions.tick_file import read_ticks
from .frame import desk, plain, shown_errors
from .parts import listed, show_figure, show_table

TAKEN = "candidate-taken"
"""Where the word stands that the form takes over."""
_LISTED = 15


def candidates_part(product: str, words: Vocabulary | None) -> None:
    """Words of comments with their counts, ticked lists, and the way into the form."""
    with st.expander("Candidate words"):
        with shown_errors():
            offered = _from_comments(product, words)
        st.markdown("**From ticked lists** (check all that apply)")
        with shown_errors():
            offered += _from_sessions(product)
        with shown_errors():
            offered += _from_file()
        free = [w for w in dict.fromkeys(offered) if words is None or words.of(w) is None]
        chosen = st.selectbox("Make a candidate a word", free, index=None, key="candidate",
                              placeholder="choose")  # fmt: skip
        if chosen and st.button("Define it below", key="candidate-take"):
            st.session_state[TAKEN] = chosen
            st.rerun()


def _from_comments(product: str, words: Vocabulary | None) -> list[str]:
    st.markdown("**From comments**")
    sessions = [
        session
        for session in find_sessions(desk(), product)
        if session.closed and key_of(product) in key_of(session.details.title)
    ]
    comments = [(each.id, text) for each in sessions for _, text in desk().comments(each.id)]
    listed_words = candidate_words(comments, words)
    if not listed_words:
        st.markdown("No comment on record in closed sessions whose title names the product.")
        return []
    of = len({key for key, _ in comments})
    st.markdown(f"{several(len(comments), 'comment')} of {several(of, 'session')}.")
    show_table(
        [
            {
                "word": plain(each.word),
                "comments": str(each.comments),
                "sessions": str(each.sessions),
                "": "defined" if each.known else "",
            }
            for each in listed_words[:_LISTED]
        ]
    )
    if (more := len(listed_words) - _LISTED) > 0:
        st.markdown(f"and {more} more. Words that are not defined yet are offered below.")
    return [each.word for each in listed_words]


def _from_sessions(product: str) -> list[str]:
    """What was ticked in closed sessions, those with the same samples together."""
    offered = ticked_lists(desk().sittings(), product)
    if not offered:
        st.markdown("No words were ticked in closed sessions whose title names the product.")
        return []
    at = 0
    if len(offered) > 1:
        at = st.selectbox(
            "Ticked at which samples?",
            range(len(offered)),
            format_func=lambda at: ", ".join(offered[at].samples),
            key="ticks-of",
        )
    chosen = offered[at]
    st.markdown(f"{several(len(chosen.titles), 'session')}: {plain('; '.join(chosen.titles))}")
    if chosen.left_out:
        left_out = plain(", ".join(chosen.left_out))
        st.markdown(f"Left out, since not on every list: {left_out}.")
    return _shown(ticked_words(chosen.ticks), "sessions")


def _from_file() -> list[str]:
    upload = st.file_uploader(
        "Ticked elsewhere, CSV or XLSX: assessor, sample, session if several, then a column a "
        "word; x where ticked",
        type=["csv", "txt", "tsv", "xlsx"], key="ticks-upload",
    )  # fmt: skip
    if upload is None:
        return []
    return _shown(ticked_words(read_ticks(upload.getvalue())), "file")


def _shown(result: TickedWords, where: str) -> list[str]:
    listed(result.says())
    words = "Share of ticks by word and sample; the numbers are below."
    show_figure(f"ticks-{where}", ticks_figure(result, "container"), words)
    show_table(result.summary())
    listed(result.cannot_tell)
    return list(result.words)

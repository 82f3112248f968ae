"""Candidate words on the page Words: from comments, and from ticked lists."""

from __future__ import annotations

import streamlit as st

from ..base.results import several
from ..base.spelling import key_of
from ..catalogue.attributes import Vocabulary
from ..panel.candidate_words import candidate_words
from ..ratings.ticked import ticked_words
from ..report.ticked_figures import ticks_figure
from ..sessions.search import find_sessions
from ..sessions.tick_file import read_ticks
from .frame import desk, plain, shown_errors
from .parts import listed, show_figure, show_table

TAKEN = "candidate-taken"
"""Where the word stands that the form takes over."""


def candidates_part(product: str, words: Vocabulary | None) -> None:
    """Words of comments with their counts, a ticked list of a file, and the way into the form."""
    with st.expander("Candidate words"):
        with shown_errors():
            offered = _from_comments(product, words)
        with shown_errors():
            offered += _from_ticks()
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
            for each in listed_words[:15]
        ]
    )
    return [each.word for each in listed_words]


def _from_ticks() -> list[str]:
    st.markdown("**From ticked lists** (check all that apply)")
    upload = st.file_uploader(
        "CSV or XLSX: assessor, sample, session if several, then a column a word; x where ticked",
        type=["csv", "txt", "tsv", "xlsx"], key="ticks-upload",
    )  # fmt: skip
    if upload is None:
        return []
    result = ticked_words(read_ticks(upload.getvalue()))
    listed(result.says())
    words = "Share of ticks by word and sample; the numbers are below."
    show_figure("ticks-figure", ticks_figure(result, "container"), words)
    show_table(result.summary())
    listed(result.cannot_tell)
    return list(result.words)

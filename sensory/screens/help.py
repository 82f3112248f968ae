"""What do the words mean? Each with its picture; then how serving, booths, files and batches go."""

from __future__ import annotations

import streamlit as st

from ..report.guides import GUIDES
from ..report.help_figures import picture_of_word
from ..report.trade_words import WORDS
from .parts import show_figure

_WORD = "word"


def page() -> None:
    """Show the word in the address, or the one chosen; the guides folded."""
    st.title("Help")
    wanted = st.query_params.get(_WORD, "")
    keys = list(WORDS)
    key = st.pills(
        "Words of the trade",
        keys,
        default=wanted if wanted in WORDS else keys[0],
        format_func=lambda key: WORDS[key].name,
        key="help-word",
    )
    word = WORDS[key or keys[0]]
    st.subheader(word.name, anchor=False)
    st.markdown(f"**{word.short}**")
    show_figure("help-figure", picture_of_word(word.key, width="container"), word.more)
    st.markdown(word.more)
    st.subheader("How things are done", anchor=False)
    for heading, text in GUIDES.items():
        with st.expander(heading):
            st.markdown(text)

"""The page of a booth."""

from __future__ import annotations

import streamlit as st


def page(token: str) -> None:
    """What an assessor sees who opens a link; no link is given out yet, so none is valid."""
    st.title("This link is not valid (any more).")
    st.markdown("Ask the panel leader for a new one.")

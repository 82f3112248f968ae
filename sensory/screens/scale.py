"""A line to mark with a thumb or with keys: no preset mark, and never a number."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import streamlit as st

_WORDS = ("saving", "saved", "marked", "not_answered")
_ASSETS = Path(__file__).parent / "assets"
_mount = st.components.v2.component(
    "line scale",
    html='<div class="line"></div>',
    css=(_ASSETS / "scale.css").read_text(encoding="utf-8"),
    js=(_ASSETS / "scale.js").read_text(encoding="utf-8"),
)


def fresh(key: str) -> Any:
    """What the browser sent since it was last saved, unchecked; None for nothing."""
    state = st.session_state.get(key)
    sent = state.get("mark") if isinstance(state, Mapping) else None
    if not isinstance(sent, Mapping) or sent.get("number") == st.session_state.get(f"{key}-done"):
        return None
    return sent.get("at")


def marked(key: str) -> float | None:
    """Where the browser put the mark since it was last saved, from 0 to 1; None for nowhere."""
    at = fresh(key)
    if isinstance(at, bool) or not isinstance(at, (int, float)) or not 0 <= at <= 1:
        return None
    return float(at)


def saved(key: str) -> None:
    """Say that the mark is on record; only then does the browser say so."""
    state = st.session_state.get(key)
    sent = state.get("mark") if isinstance(state, Mapping) else None
    if isinstance(sent, Mapping):
        st.session_state[f"{key}-done"] = sent.get("number")


def show_scale(
    key: str, *, at: float | None, label: str, low: str, high: str, words: Mapping[str, Any]
) -> None:
    """Draw the line with the mark on record, if there is one."""
    _mount(
        key=key,
        data={
            "at": at,
            "label": label,
            "low": low,
            "high": high,
            "received": st.session_state.get(f"{key}-done", ""),
            # A tuple: a mapping here is searched for tables, which takes 2 ms a line.
            "words": tuple((name, words[name]) for name in _WORDS),
        },
        on_mark_change=lambda: None,
    )

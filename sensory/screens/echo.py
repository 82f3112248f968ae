"""A line that says 'saving' until all fields of the page are on record, and sees to it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import streamlit as st

_ASSETS = Path(__file__).parent / "assets"
_LONGEST = 64
_mount = st.components.v2.component(
    "echo",
    html='<p class="echo"></p>',
    css=".echo { margin: 0; min-height: 1.5em; font-size: 0.85rem; }",
    js=(_ASSETS / "echo.js").read_text(encoding="utf-8"),
)


def show_echo(key: str, words: Mapping[str, Any]) -> None:
    """Echo what the browser sent last; call it when all that came is on record."""
    state = st.session_state.get(key)
    sent = state.get("touch") if isinstance(state, Mapping) else None
    _mount(
        key=key,
        data={
            "received": sent if isinstance(sent, str) and len(sent) <= _LONGEST else "",
            # Texts only: a list or mapping is searched for tables, which takes 2 ms.
            "saving": words["saving"],
            "saved": words["saved"],
        },
        on_touch_change=lambda: None,
    )

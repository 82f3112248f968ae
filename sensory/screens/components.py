"""What booths and the grid draw in the browser by scripts of their own: no preset mark, never a
number, and 'saved' only when it is on record."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import streamlit as st

from ..base.records import JsonObject
from .answers import ANSWERS
from .ballot_view import script_words

Words = Mapping[str, Any]
"""Words of a ballot in the language of the session."""

_SIGNAL = """.echo { margin: 0; min-height: 1.5em; font-size: 0.85rem; }
.echo.offline { padding: 0.4rem 0.6rem; border-left: 4px solid #e69f00; font-size: 1rem; }"""


def asset(name: str) -> str:
    """A script or style sheet that is sent to the browser."""
    return (Path(__file__).parent / "assets" / name).read_text(encoding="utf-8")


_ballot = st.components.v2.component(
    "ballot",
    html='<div class="ballot"></div>',
    css=asset("ballot.css"),
    js=f"{asset('marks.js')}\n{asset('ballot.js')}",
)
_signal = st.components.v2.component(
    "signal", html='<p class="echo" role="status"></p>', css=_SIGNAL, js=asset("echo.js")
)


def sent(key: str, name: str) -> object:
    """What the browser sent of a component, unchecked; None for nothing."""
    state = st.session_state.get(key)
    return state.get(name) if isinstance(state, Mapping) else None


def show_ballot(token: str, view: JsonObject, language: str) -> None:
    """Draw a ballot; its script draws those that follow, as the route gives them.

    `view`: of `ballot_view.view_of`.
    """
    data = {
        "route": ANSWERS,
        "token": token,
        "invented": bool(st.query_params.get("invented")),
        "view": json.dumps(view),  # a text: a mapping is searched for tables, which takes 2 ms
        "words": json.dumps(script_words(language)),
    }
    _ballot(key="booth-ballot", data=data, on_again_change=lambda: None)


def show_signal(key: str, offline: str) -> None:
    """Say so while the server does not answer, on a page that has nothing to be saved."""
    with st.container(key="booth-signal"):
        _signal(key=key, data={"offline": offline})

"""What booths and the grid draw in the browser by scripts of their own: no preset mark, never a
number, and 'saved' only when it is on record."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import streamlit as st

Words = Mapping[str, Any]
"""Words of a ballot in the language of the session."""

_LONGEST = 4096
_ECHO = """.open:empty { display: none; }
.echo { margin: 0; min-height: 1.5em; font-size: 0.85rem; }
.echo.offline { padding: 0.4rem 0.6rem; border-left: 4px solid #e69f00; font-size: 1rem; }"""


def asset(name: str) -> str:
    """A script or style sheet that is sent to the browser."""
    return (Path(__file__).parent / "assets" / name).read_text(encoding="utf-8")


_line = st.components.v2.component(
    "line scale", html='<div class="line"></div>', css=asset("scale.css"), js=asset("scale.js")
)
_categories = st.components.v2.component(
    "category scale",
    html='<div class="categories"></div>',
    css=asset("categories.css"),
    js=asset("categories.js"),
)
_echo = st.components.v2.component(
    "echo", html='<p class="echo"></p>', css=_ECHO, js=asset("echo.js")
)
_answers = st.components.v2.component(
    "answers",
    html='<p class="open"></p><p class="echo" role="status"></p>',
    css=_ECHO,
    js=asset("answers.js"),
)


def sent(key: str, name: str = "mark") -> object:
    """What the browser sent of a component, unchecked; None for nothing."""
    state = st.session_state.get(key)
    return state.get(name) if isinstance(state, Mapping) else None


def _fresh(key: str) -> object:
    """Where the mark was put since it was last saved; None for nowhere."""
    mark = sent(key)
    if not isinstance(mark, Mapping) or mark.get("number") == st.session_state.get(f"{key}-done"):
        return None
    at: object = mark.get("at")
    return None if isinstance(at, bool) else at


def marked(key: str) -> float | None:
    """Where the browser put the mark since it was last saved, from 0 to 1; None for nowhere."""
    at = _fresh(key)
    return float(at) if isinstance(at, (int, float)) and 0 <= at <= 1 else None


def chosen_category(key: str, choices: Sequence[str]) -> str | None:
    """The category that was chosen since it was last saved; None for none."""
    at = _fresh(key)
    return choices[at] if isinstance(at, int) and 0 <= at < len(choices) else None


def marked_over(key: str) -> object:
    """Where the mark on record was as this one was put; it may be None, for nowhere."""
    mark = sent(key)
    return mark.get("over") if isinstance(mark, Mapping) else None


def saved(key: str) -> None:
    """Say that the mark is on record; only then does the browser say so."""
    mark = sent(key)
    if isinstance(mark, Mapping):
        st.session_state[f"{key}-done"] = mark.get("number")


def show_scale(
    key: str,
    *,
    at: float | None,
    label: str,
    ends: tuple[str, str],
    words: Words,
    route: bool,
    anchors: Sequence[float] = (),
) -> None:
    """Draw the line with the mark on record, if there is one, and a tick at each anchor.

    `route`: whether `show_answers` hands the mark over.
    """
    names = ("saving", "saved", "marked", "not_answered")
    # A tuple: a mapping here is searched for tables, which takes 2 ms a line.
    texts = tuple((name, words[name]) for name in names)
    ticks = " ".join(f"{anchor:.4f}" for anchor in anchors)
    data = {"at": at, "words": texts, "ticks": ticks, **_beside(key, label, ends, route)}
    _line(key=key, data=data, on_mark_change=lambda: None)


def show_categories(
    key: str,
    *,
    given: str,
    choices: Sequence[str],
    label: str,
    ends: tuple[str, str],
    words: Words,
    route: bool,
) -> None:
    """Draw the categories, lowest first, with the one on record marked (empty for none)."""
    at = choices.index(given) if given in choices else None
    texts = {name: words[name] for name in ("saving", "saved", "not_answered")}
    data: dict[str, object] = {"at": at, "choices": list(choices), "words": texts}
    data |= _beside(key, label, ends, route)
    _categories(key=key, data=data, on_mark_change=lambda: None)


def _beside(key: str, label: str, ends: tuple[str, str], route: bool) -> dict[str, str]:
    received = st.session_state.get(f"{key}-done", "")
    field = key if route else ""
    return {"label": label, "low": ends[0], "high": ends[1], "received": received, "field": field}


def show_echo(key: str, held: Mapping[str, str], words: Words) -> None:
    """Say 'saving' until all that the browser sent is on record; call it when it is.

    `held`: what the record holds, by the key of the field.
    """
    # Texts only: a list or mapping is searched for tables, which takes 2 ms.
    data = {
        "received": _touch(key)[0],
        "held": " ".join(f"{field}={_mark_of(text)}" for field, text in held.items()),
        "saving": words["saving"],
        "saved": words["saved"],
        "offline": words["offline"],
    }
    _echo(key=key, data=data, on_touch_change=lambda: None)


def show_answers(
    key: str,
    place: Mapping[str, object],
    fields: Sequence[Mapping[str, object]],
    missing: Sequence[str],
    words: Words,
) -> None:
    """Hand the answers of a ballot, and that it is sent, to the route, and say what became of it.

    `place`: route, token and line, as the route needs them.
    `fields`: of the page: key, row, name, kind, choices, and what the record holds.
    `missing`: what is still to be answered, by label.
    """
    data = {
        **place,
        "fields": json.dumps(fields),  # a text: a list is searched for tables, which takes 2 ms
        "missing": json.dumps(missing),
        "open": words["still_open"],
        **{name: words[name] for name in ("saving", "saved", "offline")},
    }
    _answers(key=key, data=data)


def show_signal(key: str, offline: str) -> None:
    """Say so while the server does not answer, on a page that has nothing to be saved."""
    texts = dict.fromkeys(("received", "held", "saving", "saved"), "")
    with st.container(key="booth-signal"):
        _echo(key=key, data={**texts, "offline": offline}, on_touch_change=lambda: None)


def touched_over(key: str, field: str, recorded: str) -> bool:
    """Whether the record held this of a field as the page was touched last."""
    return f"{field}={_mark_of(recorded)}" in _touch(key)[1:]


def _touch(key: str) -> list[str]:
    """Number of the last touch, and what the record held then of each field."""
    touch = sent(key, "touch")
    return touch.split(" ") if isinstance(touch, str) and len(touch) <= _LONGEST else [""]


def _mark_of(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:12]

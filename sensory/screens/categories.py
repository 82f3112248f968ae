"""Categories of a scale as large buttons, for a thumb or for keys: none is chosen before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import streamlit as st

from .scale import fresh

_ASSETS = Path(__file__).parent / "assets"
_mount = st.components.v2.component(
    "category scale",
    html='<div class="categories"></div>',
    css=(_ASSETS / "categories.css").read_text(encoding="utf-8"),
    js=(_ASSETS / "categories.js").read_text(encoding="utf-8"),
)


def chosen_category(key: str, choices: Sequence[str]) -> str | None:
    """The category that was chosen since it was last saved; None for none."""
    touched = fresh(key)
    if isinstance(touched, int) and not isinstance(touched, bool) and 0 <= touched < len(choices):
        return choices[touched]
    return None


def show_categories(
    key: str,
    *,
    given: str,
    choices: Sequence[str],
    label: str,
    ends: tuple[str, str],
    words: Mapping[str, Any],
) -> None:
    """Draw the categories, with the one on record marked.

    Parameters
    ----------
    given : str
        The category on record; empty for none.
    choices : sequence of str
        Lowest first.
    label : str
        What is asked about.
    ends : (str, str)
        Words at the lowest and the highest category.
    """
    _mount(
        key=key,
        data={
            "at": choices.index(given) if given in choices else None,
            "choices": list(choices),
            "label": label,
            "low": ends[0],
            "high": ends[1],
            "received": st.session_state.get(f"{key}-done", ""),
            "words": {name: words[name] for name in ("saving", "saved", "not_answered")},
        },
        on_mark_change=lambda: None,
    )

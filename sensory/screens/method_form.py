"""What is agreed where the test is no forced choice."""

from __future__ import annotations

from typing import Any

import streamlit as st

from ..catalogue.kind import TestKind, in_words
from ..catalogue.question import Question
from ..catalogue.scales import Setting
from ..report.words import number
from ..sessions.session import StoredSession
from .fields import field_key


def settings_fields(session: StoredSession, kind: TestKind) -> dict[str, Any]:
    """The settings of a test, as they are typed."""
    typed: dict[str, Any] = {}
    chosen: dict[str, Any] = {}
    for one in kind.settings:
        if one not in kind.offered_settings(chosen):
            continue
        chosen[one.key] = said = _typed(session, kind, one)
        if not one.optional or one.kind == "number" or said != one.default:
            typed[one.key] = said
    return typed


def _typed(session: StoredSession, kind: TestKind, one: Setting) -> Any:
    """What stands in the input of a setting."""
    now = kind.setting(session.question.settings, one.key)
    key = field_key(session, f"{kind.key}-{one.key}")
    if one.kind == "text":
        typed = st.text_input(one.label, value=in_words(now), key=key).strip()
        return now if typed == in_words(now) else typed
    if one.kind == "choice":
        index = one.choices.index(now) if now in one.choices else 0
        return st.radio(one.label, one.choices, index=index, key=key, horizontal=True)
    if one.whole:
        return float(st.number_input(one.label, int(one.low), int(one.high), int(now), key=key))
    return st.number_input(one.label, float(one.low), float(one.high), float(now), key=key)


def method_panel(kind: TestKind, question: Question) -> None:
    """What such a session can find, beside its question."""
    st.subheader("What this session can find")
    st.markdown(
        "A difference, with a risk of at most "
        f"alpha = {number(question.alpha)} of finding one where there is none."
    )
    if kind.similarity:
        st.markdown(
            f"Similarity, where the upper limit (risk beta = {number(question.beta)}) lies below "
            "what was agreed."
        )
    else:
        st.markdown("No similarity: 'no difference found' is not 'the same'.")


def settings_agreed(kind: TestKind, question: Question) -> list[tuple[str, str]]:
    """The settings as labelled text."""
    return [(label, _shown(value)) for label, value in kind.agreed_settings(question.settings)]


def _shown(value: Any) -> str:
    return value if isinstance(value, str) else number(value)

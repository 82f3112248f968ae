"""What is agreed where the test is no forced choice."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from ..catalogue.kind import TestKind, in_words
from ..catalogue.question import Question
from ..catalogue.scales import Setting
from ..catalogue.tests import find_kind, kinds
from ..report.words import number
from ..sessions.session import StoredSession
from .fields import field_key, level_field


def method_fields(session: StoredSession) -> Question:
    """The test, the ballots planned, alpha, beta and the settings of the method."""
    asked = session.question
    first, second = st.columns(2)
    keys = [kind.key for kind in kinds() if kind.protocol is None]
    with first:
        key = st.selectbox(
            "Test",
            keys,
            index=keys.index(asked.protocol),
            format_func=lambda one: find_kind(one).name,
            key=field_key(session, "method"),
        )
    with second:
        planned = st.number_input(
            "Ballots planned",
            min_value=1,
            max_value=5000,
            value=asked.assessors,
            key=field_key(session, "assessors"),
        )
    method = find_kind(key)
    st.markdown(f"The ballot asks: *{method.asks}* ({method.standard}) {method.letters}")
    alpha = level_field(session, "alpha")
    beta = level_field(session, "beta") if method.similarity else asked.beta
    settings = _settings(session, method)
    return replace(
        asked, protocol=key, assessors=int(planned), alpha=alpha, beta=beta, settings=settings
    )


def _settings(session: StoredSession, method: TestKind) -> dict[str, Any]:
    typed: dict[str, Any] = {}
    chosen: dict[str, Any] = {}
    for one in method.settings:
        if one not in method.offered_settings(chosen):
            continue
        chosen[one.key] = said = _typed(session, method, one)
        if not one.optional or one.kind == "number" or said != one.default:
            typed[one.key] = said
    return typed


def _typed(session: StoredSession, method: TestKind, one: Setting) -> Any:
    """What stands in the input of a setting."""
    now = method.setting(session.question.settings, one.key)
    key = field_key(session, f"{method.key}-{one.key}")
    if one.kind == "text":
        typed = st.text_input(one.label, value=in_words(now), key=key).strip()
        return now if typed == in_words(now) else typed
    if one.kind == "choice":
        index = one.choices.index(now) if now in one.choices else 0
        return st.radio(one.label, one.choices, index=index, key=key, horizontal=True)
    if one.whole:
        return float(st.number_input(one.label, int(one.low), int(one.high), int(now), key=key))
    return st.number_input(one.label, float(one.low), float(one.high), float(now), key=key)


def method_panel(method: TestKind, question: Question) -> None:
    """What such a session can find, beside its question."""
    st.subheader("What this session can find")
    st.markdown(
        "A difference, with a risk of at most "
        f"alpha = {number(question.alpha)} of finding one where there is none."
    )
    if method.similarity:
        st.markdown(
            f"Similarity, where the upper limit (risk beta = {number(question.beta)}) lies below "
            "what was agreed."
        )
    else:
        st.markdown("No similarity: 'no difference found' is not 'the same'.")


def settings_agreed(method: TestKind, question: Question) -> list[tuple[str, str]]:
    """The settings as labelled text."""
    return [(label, _shown(value)) for label, value in method.agreed_settings(question.settings)]


def _shown(value: Any) -> str:
    return value if isinstance(value, str) else number(value)

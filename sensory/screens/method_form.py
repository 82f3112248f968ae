"""What is agreed where the test is no forced choice."""

from __future__ import annotations

import streamlit as st

from ..catalogue.kind import TestKind, in_words
from ..catalogue.question import Question
from ..catalogue.scales import Setting
from ..report.words import number
from ..sessions.session import StoredSession
from .fields import field_key

SettingValue = float | str


def settings_fields(session: StoredSession, kind: TestKind) -> dict[str, SettingValue]:
    """The settings of a test, as they are typed."""
    typed: dict[str, SettingValue] = {}
    chosen: dict[str, SettingValue] = {}
    for setting in kind.settings:
        if setting in kind.offered_settings(chosen):
            chosen[setting.key] = value = _typed(session, kind, setting)
            if not setting.optional or setting.kind == "number" or value != setting.default:
                typed[setting.key] = value
    return typed


def _typed(session: StoredSession, kind: TestKind, setting: Setting) -> SettingValue:
    """What stands in the input of a setting."""
    now = kind.setting(session.question.settings, setting.key)
    label, key = setting.label, field_key(session, f"{kind.key}-{setting.key}")
    if setting.kind == "text":
        typed = st.text_input(label, value=in_words(now), key=key).strip()
        return now if typed == in_words(now) else typed
    if setting.kind == "choice":
        index = setting.choices.index(now) if now in setting.choices else 0
        return st.radio(label, setting.choices, index=index, key=key, horizontal=True)
    if setting.whole:
        low, high = int(setting.low), int(setting.high)
        return float(st.number_input(label, low, high, int(now), key=key))
    return st.number_input(label, float(setting.low), float(setting.high), float(now), key=key)


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
    return [(label, number(value)) for label, value in kind.agreed_settings(question.settings)]

"""What is agreed where the test is no forced choice, and what a session can find."""

from __future__ import annotations

import streamlit as st

from ..base.results import several
from ..base.spelling import key_of, same_person
from ..catalogue.attributes import Vocabulary
from ..catalogue.kind import TestKind
from ..catalogue.question import Question
from ..catalogue.scales import Setting, agreed_scale
from ..catalogue.typed_lists import in_words, parts_of
from ..choices.risks import SessionRisks
from ..report.words import number, percent
from ..sessions.samples import REFERENCES, samples_on
from ..sessions.session import StoredSession
from ..sessions.workflow import planned_risks
from .ask import asked
from .fields import field_key
from .frame import desk, shown_errors
from .limits import dprime_help, points_help

SettingValue = float | str
_WORDS = {"margins": "margin", "control": "blind-control"}
"""The words of the trade that settings stand for."""


def settings_fields(session: StoredSession, kind: TestKind) -> dict[str, SettingValue]:
    """The settings of a test, as they are typed."""
    typed: dict[str, SettingValue] = {}
    chosen: dict[str, SettingValue] = {}
    if kind.answer == "ticks":
        _words_of_product(session, kind)
    for setting in kind.settings:
        if setting in kind.offered_settings(chosen):
            value = _typed(session, kind, setting)
            if value is None:
                continue
            chosen[setting.key] = value
            if not setting.optional or setting.kind == "number" or value != setting.default:
                typed[setting.key] = value
    return typed


def _words_of_product(session: StoredSession, kind: TestKind) -> None:
    """Offer the words of a product for the list to tick, behind those that stand there."""
    field, at = field_key(session, f"{kind.key}-words"), f"words-of-{session.id}"
    offered = {each.words: each for each in desk().nouns(Vocabulary)}
    if not offered:
        return

    def take() -> None:
        chosen = offered.get(st.session_state.get(at) or "")
        agreed = in_words(kind.setting(session.question.settings, "words"))
        now = parts_of(st.session_state.get(_filled(field, agreed)[0], agreed))
        have = set(map(key_of, now))
        more = [word.attribute for word in chosen.attributes] if chosen else []
        more = [word for word in more if key_of(word) not in have]
        st.session_state[f"{field}-filled"] = "; ".join([*now, *more])

    label = "Add the words of a product"
    st.selectbox(label, list(offered), index=None, placeholder="none", key=at, on_change=take)


def _filled(field: str, now: str) -> tuple[str, str]:
    """Key and text of a field to begin with: once words were added it is another field."""
    text = st.session_state.get(f"{field}-filled")
    return (field, now) if text is None else (f"{field}-{text}", text)


def vocabulary_field(session: StoredSession, kind: TestKind) -> Vocabulary | None:
    """What the attributes mean: the words of a product, or no definitions."""
    if kind.answer != "scores":
        return None
    now = session.question.vocabulary
    offered = {each.words: each.for_question() for each in desk().nouns(Vocabulary)}
    if now is not None:
        offered = {now.words: now} | offered
    if not offered:
        return None
    chosen = st.selectbox(
        "Definitions and reference standards",
        list(offered),
        index=None if now is None else 0,
        placeholder="none",
        key=field_key(session, "vocabulary"),
    )
    newer = [each for each in offered.values() if now and each.product == now.product]
    if now and len(newer) > 1:
        st.markdown(f"{newer[-1].words} is on record by now; choose it if it is meant.")
    return offered[chosen] if chosen else None


def _typed(session: StoredSession, kind: TestKind, setting: Setting) -> SettingValue | None:
    now = kind.setting(session.question.settings, setting.key)
    label, key = setting.label, field_key(session, f"{kind.key}-{setting.key}")
    if setting.key in REFERENCES and (there := samples_on(desk().cells(session.id))):
        what = asked(_WORDS[setting.key]) if setting.key in _WORDS else None
        return _among(label, there, str(now), key, optional=not setting.needed, what=what)
    if setting.kind == "text":
        what = asked(_WORDS[setting.key]) if setting.key in _WORDS else None
        key, text = _filled(key, in_words(now))
        typed = st.text_input(label, value=text, key=key, help=what).strip()
        return now if typed == in_words(now) else typed
    if setting.kind == "choice":
        index = setting.choices.index(now) if now in setting.choices else 0
        return st.radio(label, setting.choices, index=index, key=key, horizontal=True)
    if setting.whole:
        low, high = int(setting.low), int(setting.high)
        return float(st.number_input(label, low, high, int(now), key=key))
    if setting.default is None:
        return _limit(session, setting, now, key)
    return st.number_input(label, float(setting.low), float(setting.high), float(now), key=key)


def _among(
    label: str, there: tuple[str, ...], now: str, key: str, *, optional: bool, what: str | None
) -> str:
    """One of the samples on the ballots; none as long as the one agreed on is none of them."""
    known = {same_person(name): at for at, name in enumerate(there)}
    place = "none" if optional else "choose among the samples on the ballots"
    at = known.get(same_person(now))
    chosen = st.selectbox(label, there, index=at, placeholder=place, key=key, help=what)
    return chosen or ("" if optional else now)


def _limit(
    session: StoredSession, setting: Setting, now: float | None, key: str
) -> SettingValue | None:
    """A limit, empty until somebody gives a number, with what it means."""
    low, high = float(setting.low), float(setting.high)
    start = None if now is None else float(now)
    of_dprime = setting.key == "dprime_limit"
    what = asked("d-prime" if of_dprime else "limit")
    typed = st.number_input(setting.label, low, high, start, key=key, help=what)
    if of_dprime:
        dprime_help(typed)
    else:
        scale = agreed_scale(session.question.settings)
        points_help(typed, scale.high - scale.low)
    return typed


def method_panel(kind: TestKind, question: Question) -> None:
    """What such a session can find, beside its question."""
    st.subheader("What this session can find")
    if kind.finds:
        numbers = {"alpha": number(question.alpha), "beta": number(question.beta)}
        _told(kind.finds.format(**numbers), *kind.planning(question))
        return
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
    _told(*kind.planning(question))


def _told(*lines: str) -> None:
    for line in lines:
        st.markdown(line)


def settings_agreed(kind: TestKind, question: Question) -> list[tuple[str, str]]:
    """The settings as labelled text."""
    return [(label, number(value)) for label, value in kind.agreed_settings(question.settings)]


def risks_panel(question: Question) -> None:
    """Chances and counts of the planned session."""
    st.subheader("What this session can find")
    with shown_errors():
        risks = planned_risks(question)
        st.markdown(f"**{risks.consequence()}**")
        st.markdown(
            f"If nothing changed, the session shows similarity with a chance of "
            f"**{percent(risks.fair_pass, 1)}**. If {percent(question.limit, 1)} of the "
            f"assessors can notice, it does so with a risk of **{percent(risks.wrong_pass, 1)}**, "
            f"and it finds the difference with a chance of **{percent(risks.power, 1)}**."
        )
        with st.expander("Which counts show what"):
            st.markdown(_counts(risks))


def _counts(risks: SessionRisks) -> str:
    answers = several(risks.trials, "answer")
    what = "for one sample" if risks.two_sided else "correct"
    similar, critical = risks.similar_count, risks.critical_count
    parts = [
        f"{similar} or fewer {what} show similarity"
        if similar is not None
        else "no outcome can show similarity",
        f"{critical} or more show a difference"
        if critical is not None
        else "no outcome can show a difference",
    ]
    words = f"Of {answers}, " + " and ".join(parts) + ". "
    if similar is not None and critical is not None and critical <= similar:
        words += (
            f"From {critical} to {similar} both hold: a difference that can be perceived, and is "
            "below the limit. "
        )
    if risks.deciding_size == risks.trials:
        return words + "Every outcome decides."
    if risks.deciding_size is None:
        return words + "No panel of a possible size would always decide at this limit."
    return words + (
        f"In between the session cannot tell; with **{risks.deciding_size} ballots** every "
        "outcome would decide."
    )

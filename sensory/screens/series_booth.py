"""The booth of a screening series: cautions and consent once, then one set or the whole series."""

from __future__ import annotations

from typing import Any

import streamlit as st

from ..base.errors import RecordError, UnreachableError
from ..base.languages import ballot_words
from ..panel.series import NO_ANSWER, Series
from ..panel.series_booth import (
    SeriesVisit,
    consent_to_series,
    keep_answers,
    offered,
    say_under_age,
    series_visit,
    stop_series,
)
from .components import asset
from .consent import asked_twice
from .frame import desk, plain
from .interlude import show_away, wait_for

Words = dict[str, Any]
_CSS = f"<style>{asset('booth.css')}</style>"
_LANGUAGE = "booth-language"
_KEYS = {
    Series.TRIANGLES: "booth_triangles",
    Series.TASTES: "booth_tastes",
    Series.ODOURS: "booth_odours",
    Series.STRENGTHS: "booth_ranking",
    Series.SCALE: "booth_scale",
}


def page(token: str) -> None:
    """What this link has to show next; what is marked stays while the record is away."""
    st.html(_CSS)
    language = str(st.session_state.get(_LANGUAGE, ""))
    try:
        here = series_visit(desk(), token)
        if here is None:
            st.title(ballot_words("en")["not_valid"])
            return
        st.session_state[_LANGUAGE] = language = here.language
        _next(token, here, ballot_words(language))
    except UnreachableError:
        show_away(language)
        wait_for(lambda: series_visit(desk(), token))
    except RecordError as error:  # another window was faster
        st.error(plain(str(error)))


def _next(token: str, here: SeriesVisit, words: Words) -> None:
    if here.stopped:
        st.title(words["stopped"])
        st.error(words["stopped_hint"])
        st.markdown(words["unwell_hint"])
    elif here.closed:
        st.title(words["closed"])
    elif here.barred:
        st.title(words["guardian_missing"])
        st.markdown(words["guardian_law"])
    elif here.refused:
        st.title(words["excused"])
    elif not here.consented:
        _cautions(token, here, words)
    else:
        if st.button(words["unwell"], key="series-unwell"):
            stop_series(desk(), token)
            st.rerun()
        if here.done:
            st.title(words["thanks"])
        elif here.series is Series.TRIANGLES:
            _triangle(token, here, words)
        else:
            _whole(token, here, words)


def _cautions(token: str, here: SeriesVisit, words: Words) -> None:
    st.title(words["welcome"].format(assessor=plain(here.assessor)))
    st.subheader(words["before"])
    for text in here.told[:-2]:
        st.warning(plain(text))
    st.markdown("\n".join(f"- {text}" for text in here.told[-2:]))
    text = ("consent_smell" if here.smelling else "consent") + ("_minor" if here.minor else "")
    agreed = st.checkbox(words[text], key="series-yes")
    if st.button(words["begin"], key="series-start", type="primary", disabled=not agreed):
        consent_to_series(desk(), token)
        st.rerun()
    if asked_twice("series-not-today", words, "not_today"):
        consent_to_series(desk(), token, wants=False)
        st.rerun()
    if not here.minor and st.button(words["minor"], key="series-under-age"):
        say_under_age(desk(), token)
        st.rerun()


def _triangle(token: str, here: SeriesVisit, words: Words) -> None:
    """One set; its number is in the keys, so that a late second tap cannot hit the next one."""
    ((number, asked), own) = next(zip(here.numbers, here.asked, strict=True)), words["series"]
    st.title(own["set"].format(number=number + 1))
    st.markdown(own[_KEYS[here.series]])
    answer = st.radio(
        own["set"].format(number=number + 1), asked.answers, index=None,
        key=f"series-answer-{number}", label_visibility="collapsed",
    )  # fmt: skip
    pressed = st.button(own["send"], key=f"series-send-{number}", type="primary")
    if pressed and answer:
        keep_answers(desk(), token, {number: str(answer)}, send=True)
        st.rerun()
    if pressed:
        what = own["set"].format(number=number + 1)
        st.error(words["still_open"].format(what=what))
    st.markdown(own["rest"])


def _whole(token: str, here: SeriesVisit, words: Words) -> None:
    """All questions of a series; what is chosen is kept at once."""
    own = words["series"]
    st.title(own["title"])
    st.markdown(own[_KEYS[here.series]])
    keys = [f"series-choice-{at}" for at in here.numbers]
    for key, kept in zip(keys, here.given, strict=True):
        if key not in st.session_state and kept:
            st.session_state[key] = kept
    given = [str(st.session_state.get(key) or "") for key in keys]
    named: dict[str, str] = own["samples"] | {NO_ANSWER: own["no_answer"]}
    for place, (key, asked) in enumerate(zip(keys, here.asked, strict=True)):
        last = len(keys) - 1
        label = named.get(asked.label, asked.label)
        if here.series is Series.STRENGTHS:
            label = own["place"].format(number=place + 1)
            label += f" ({own['weakest']})" if not place else ""
            label += f" ({own['strongest']})" if place == last else ""
        st.selectbox(
            plain(label), offered(here, place, given), index=None, key=key,
            placeholder=own["choose"], format_func=lambda text: named.get(text, text),
        )  # fmt: skip
    marked = dict(zip(here.numbers, given, strict=True))
    if given != list(here.given):
        keep_answers(desk(), token, marked)
    if st.button(own["send"], key="series-send-all", type="primary"):
        if all(given):
            keep_answers(desk(), token, marked, send=True)
            st.rerun()
        missing = [
            named.get(asked.label, asked.label) if here.series is not Series.STRENGTHS
            else own["place"].format(number=place + 1)
            for place, asked in enumerate(here.asked)
            if not given[place]
        ]  # fmt: skip
        st.error(words["still_open"].format(what=plain(", ".join(missing))))
    st.markdown(own["rest"])

"""The booth: cautions and consent once, then one ballot at a time.

Every run compares what is marked in the browser with the record and writes what differs,
so that an answer survives a reload, a lost connection and a restart of the server.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from ..base.errors import RecordError
from ..base.languages import ballot_words
from ..booth_ballots import Asked, BoothBallot, mark_of, score_of, still_open
from ..booths import BoothVisit, consent, keep, late, send, visit
from .echo import show_echo
from .frame import current_frame, plain
from .scale import marked, saved, show_scale

Words = Mapping[str, Any]
_CSS = """<style>
.stMainBlockContainer { max-width: 46rem; }
.stRadio label, .stCheckbox label { min-height: 48px; align-items: center; }
.stRadio label p, .stCheckbox label p { font-size: 1.25rem; }
.stButton button { min-height: 56px; }
.stButton button p { font-size: 1.15rem; }
.stButton button:disabled { color: #767676; }
.stRadio label:not(:has(:checked)) span + div > div:first-child,
.stCheckbox label:not(:has(:checked)) > span + div { border-color: #767676; }
</style>"""


def page(token: str) -> None:
    """Show what this link has to show next."""
    st.html(_CSS)
    store = current_frame().store
    here = visit(store, token)
    if here is None:
        words = ballot_words("en")
        st.title(words["not_valid"])
        st.markdown(words["sign_in_hint"])
        return
    words = ballot_words(here.language)
    if here.closed:
        late(store, token)
        st.title(words["closed"])
    elif here.excused:
        st.title(words["excused"])
    elif not here.consented:
        _cautions(token, here, words)
    elif here.ballot is None:
        st.title(words["thanks"])
    else:
        _ballot(token, here, here.ballot, words)


def _cautions(token: str, here: BoothVisit, words: Words) -> None:
    st.title(words["welcome"].format(assessor=plain(here.assessor)))
    st.subheader(words["before"])
    if here.allergens:
        st.warning(words["caution_allergens"].format(allergens=plain(here.allergens)))
    st.markdown(f"- {words['caution_general']}\n- {words['caution_swallow']}")
    agreed = st.checkbox(words["consent"], key="booth-consent")
    if st.button(words["begin"], key="booth-begin", type="primary", disabled=not agreed):
        consent(current_frame().store, token)
        st.rerun()
    if st.button(words["not_today"], key="booth-not-today"):
        consent(current_frame().store, token, wants=False)
        st.rerun()


def _ballot(token: str, here: BoothVisit, ballot: BoothBallot, words: Words) -> None:
    store = current_frame().store
    st.markdown(words["ballot_of"].format(number=ballot.number, all=ballot.all))
    st.title(plain(ballot.asks))
    if ballot.number > 1:
        st.info(words["pause"])
    _samples(ballot, words)
    given: dict[int, dict[str, str]] = {}
    for one in ballot.asked:
        text = _answer(one, here, ballot, words)
        if text is not None and text != one.given:
            given.setdefault(one.line, {})[one.name] = text
    given = _beside(ballot, words, given)
    if given:
        try:
            keep(store, token, ballot.line, given)
        except RecordError as error:
            st.error(plain(str(error)))
            return
        for one in ballot.asked:
            saved(_key(ballot, one))
        st.rerun()
    missing = still_open(ballot)
    if named := ", ".join(plain(name) for name in missing if name != "?"):
        st.markdown(words["still_open"].format(what=named))
    show_echo(f"echo-{ballot.line}", words)  # everything that came is on record here
    # The line is in the key: a late second tap cannot hit the next ballot.
    if st.button(words["send"], key=f"send-{ballot.line}", type="primary", disabled=bool(missing)):
        send(store, token, ballot.line)
        st.rerun()


def _samples(ballot: BoothBallot, words: Words) -> None:
    st.markdown(words["samples"])
    row = st.container(horizontal=True)
    for code in ballot.codes:
        with row, st.container(border=True, width="content"):
            st.markdown(f"## {plain(code) if code else words['reference']}")


def _answer(one: Asked, here: BoothVisit, ballot: BoothBallot, words: Words) -> str | None:
    """What is marked in the browser; None where nothing was touched."""
    key = _key(ballot, one)
    shown = dict(one.choices)
    if one.kind == "scale":
        return _mark(key, one, here, words)
    if one.kind == "two":
        before = one.given.split()
        return " ".join(
            stored
            for stored, label in one.choices
            if st.checkbox(label, value=stored in before, key=f"{key}-{stored}")
        )
    label = words["place"].format(code=one.label) if one.kind == "place" else ballot.asks
    stored = [choice for choice, _ in one.choices]
    chosen = st.radio(
        label,
        stored,
        index=stored.index(one.given) if one.given in stored else None,
        format_func=lambda choice: shown[choice],
        horizontal=one.kind == "place",
        label_visibility="visible" if one.kind == "place" else "collapsed",
        key=key,
    )
    return None if chosen is None else str(chosen)


def _mark(key: str, one: Asked, here: BoothVisit, words: Words) -> str | None:
    name = "far" if not one.label else "scale"
    if one.label:
        st.markdown(f"**{plain(one.label)}**")
    touched = marked(key)
    text = None if touched is None else score_of(touched, here.scale)
    now = one.given if text is None else text
    if text is not None and text == one.given:
        saved(key)
    show_scale(
        key,
        at=mark_of(now, here.scale),
        label=one.label or words["samples"],
        low=words[f"{name}_low"],
        high=words[f"{name}_high"],
        words=words,
    )
    return text


def _beside(
    ballot: BoothBallot, words: Words, given: dict[int, dict[str, str]]
) -> dict[int, dict[str, str]]:
    """Guess mark and comment."""
    if ballot.guess is not None:
        guess = st.checkbox(words["guess"], value=ballot.guess, key=f"guess-{ballot.line}")
        if guess != ballot.guess:
            given.setdefault(ballot.line, {})["guess"] = "x" if guess else ""
    comment = st.text_area(
        words["comment"], value=ballot.comment, max_chars=300, key=f"comment-{ballot.line}"
    )
    comment = " ".join(comment.split())
    if comment != ballot.comment:
        given.setdefault(ballot.line, {})["comment"] = comment
    return given


def _key(ballot: BoothBallot, one: Asked) -> str:
    """A key without any name of a sample: keys travel to the browser as CSS classes."""
    return f"answer-{one.line}-{ballot.asked.index(one)}"

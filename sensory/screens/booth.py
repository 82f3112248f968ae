"""The booth: cautions and consent once, then one ballot at a time.

Every run begins by comparing what is marked in the browser with the record and writing what
differs, so that an answer survives a reload, a lost connection and a restart of the server,
and a tap costs one run. What did not change since this window last showed the record is not
written: another window on the same link may have been answered meanwhile, and its answers
are taken over.

Why so
------
A tap at a booth is one run and reads one seat. What was marked goes on record before anything is
drawn, instead of after it and a second run; the record gives the lines of one seat, and a long
JSON text (the plan) is parsed once. With 50 booths of 20 ballots and 2 s between taps, on two
busy cores, the 95th percentile fell from 9.8 s to 0.2 s. What is given to a component is flat: a
mapping in it is searched for tables, 2 ms each.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import streamlit as st

from ..base.errors import RecordError, UnreachableError
from ..base.languages import ballot_words
from ..sessions.booth_ballots import Asked, BoothBallot, mark_of, score_of, still_open
from ..sessions.booths import BoothVisit, keep, late, leave_out, send, visit
from .answers import served
from .booth_care import report, show_unwell
from .booth_send import echo_key, fields_of, send_key, show_send
from .booth_training import go_on, learns, show_learned
from .components import (
    Words,
    asset,
    chosen_category,
    marked,
    marked_over,
    saved,
    show_categories,
    show_scale,
    touched_over,
)
from .consent import asked_twice, show_cautions, show_excused, show_stop
from .frame import desk, plain
from .interlude import show_away, show_halt, wait_for

_CSS = f"<style>{asset('booth.css')}</style>"

_LANGUAGE, _SEEN = "booth-language", "booth-seen"


def page(token: str) -> None:
    """Show what this link has to show next; while the record is away, its ballot seen last."""
    st.html(_CSS)
    language = st.session_state.get(_LANGUAGE, "")
    try:
        report(token)
        here = visit(desk(), token)
        language, st.session_state[_SEEN] = here.language if here else "", None
        if here is None:
            _no_link(ballot_words("en"))
        else:
            _next(token, here)
    except UnreachableError:
        if (ballot_seen := st.session_state.get(_SEEN)) is None:
            show_away(language)
        else:
            _still(token, ballot_seen)
        wait_for(lambda: visit(desk(), token))
    st.session_state[_LANGUAGE] = language


def _still(token: str, here: BoothVisit) -> None:
    """The ballot as it was seen last: its fields keep what is marked meanwhile."""
    words = ballot_words(here.language)
    show_unwell(token, here, words)
    if here.ballot is not None:
        _ballot(token, here, here.ballot, words, f"{words['away']}. {words['away_hint']}")


def _no_link(words: Words) -> None:
    st.title(words["not_valid"])
    st.markdown(words["sign_in_hint"])


def _next(token: str, here: BoothVisit) -> None:
    words, fault = ballot_words(here.language), ""
    try:
        here = _taken(token, here)
    except UnreachableError:
        st.session_state[_SEEN] = here
        raise
    except RecordError as error:
        fault = str(error)
    show_unwell(token, here, words)
    if here.training:
        st.info(words["training"])
    if here.stopped or here.paused:
        return
    if here.closed:
        late(desk(), token)
        st.title(words["closed"])
        show_learned(here, words)
    elif here.barred:
        st.title(words[here.barred])
    elif here.excused:
        show_excused(token, here, words)
    elif not here.consented:
        show_cautions(token, here, words)
    else:
        _on(token, here, words, fault)


def _on(token: str, here: BoothVisit, words: Words, fault: str) -> None:
    """What comes next for somebody who tastes."""
    if here.ballot is None:
        st.title(words["thanks" if here.sent else "excused"])
        _left_out(here, words)
        show_learned(here, words)
    elif learns(here):
        show_learned(here, words)
        go_on(here, words)
    elif here.halt is not None:
        _left_out(here, words)
        show_halt(token, here.halt, words, smelling=here.smelling)
    else:
        _ballot(token, here, here.ballot, words, fault)
        st.session_state[_SEEN] = here


def _taken(token: str, here: BoothVisit) -> BoothVisit:
    """Put on record what was marked or sent; what the link shows after it."""
    ballot = here.ballot
    if ballot is None or here.closed or here.paused or not here.consented or here.halt:
        return here
    shown: dict[int, dict[str, str]] = {}
    for key, line, name, text, recorded in _fields(here, ballot):
        seen = st.session_state.get(_shown_key(key), recorded) if text is None else text
        shown.setdefault(line, {})[name] = seen
    if given := _given(here, ballot):
        here = keep(desk(), token, ballot.line, given)
    for asked in ballot.asked:
        saved(_key(ballot, asked))
    pressed = st.session_state.get(send_key(ballot))
    if pressed and here.ballot and not still_open(here.ballot):
        here = send(desk(), token, ballot.line, shown=shown)
    return here


def _given(here: BoothVisit, ballot: BoothBallot) -> dict[int, dict[str, str]]:
    given: dict[int, dict[str, str]] = {}
    for key, line, name, text, recorded in _fields(here, ballot):
        if text is not None and text != recorded and _is_new(here, ballot, key, text, recorded):
            given.setdefault(line, {})[name] = text
    return given


def _is_new(here: BoothVisit, ballot: BoothBallot, key: str, text: str, recorded: str) -> bool:
    """Whether a field was marked since this window last showed the record.

    A server that was started anew does not know what the window showed; the window says it.
    """
    if (shown := _shown_key(key)) in st.session_state:
        return text != st.session_state[shown]
    asked = next((each for each in ballot.asked if _key(ballot, each) == key), None)
    if asked is not None and asked.kind == "scale":
        return marked_over(key) == mark_of(recorded, here.scale)
    if asked is not None and asked.kind == "category":
        stored = [choice for choice, _ in asked.choices]
        return marked_over(key) == (stored.index(recorded) if recorded in stored else None)
    return touched_over(echo_key(ballot), key, recorded)


def _fields(
    here: BoothVisit, ballot: BoothBallot
) -> Iterator[tuple[str, int, str, str | None, str]]:
    """Key, row, column, what the browser has, or None, and what is on record."""
    for asked in ballot.asked:
        text = _marked(here, ballot, asked)
        yield _key(ballot, asked), asked.line, asked.name, text, asked.given
    row = ballot.line
    yield f"guess-{row}", row, "guess", _guess(row), "x" if ballot.guess else ""
    yield f"comment-{row}", row, "comment", _comment(row), ballot.comment


def _guess(line: int) -> str | None:
    return {None: None, True: "x", False: ""}[st.session_state.get(f"guess-{line}")]


def _comment(line: int) -> str | None:
    typed = st.session_state.get(f"comment-{line}")
    return None if typed is None else " ".join(typed.split())


def _fill(
    key: str, text: str | None, recorded: str, parts: Mapping[str, object], kept: bool
) -> None:
    """Let a field show what is on record, unless it holds what could not be kept.

    `parts` are the widgets of the field, by key, with what each has to show.
    """
    lacking = any(part not in st.session_state for part in parts) or (served() and kept)
    if kept or lacking:
        if lacking or (text or "") != recorded:
            for part, value in parts.items():
                st.session_state[part] = value
        st.session_state[_shown_key(key)] = recorded


def _shown_key(key: str) -> str:
    """Where this window keeps what it last showed, or wrote, of a field."""
    return f"{key}-shown"


def _marked(here: BoothVisit, ballot: BoothBallot, asked: Asked) -> str | None:
    """What is marked in the browser; None where nothing was touched."""
    key, stored = _key(ballot, asked), [choice for choice, _ in asked.choices]
    if asked.kind == "scale":
        at = marked(key)
        return None if at is None else score_of(at, here.scale)
    if asked.kind == "category":
        return chosen_category(key, stored)
    if asked.between:
        boxes = {choice: st.session_state.get(box) for box, choice in _boxes(key, asked).items()}
        return None if None in boxes.values() else asked.between.join(filter(boxes.get, stored))
    chosen = st.session_state.get(key)
    return None if chosen is None else str(chosen)


def _ballot(token: str, here: BoothVisit, ballot: BoothBallot, words: Words, fault: str) -> None:
    _left_out(here, words)
    st.title(plain(ballot.asks))
    if ballot.number > 1:
        st.info(words["smell_pause" if here.smelling else "pause"])
    if ballot.allergens:
        st.warning(words["ballot_allergens"].format(allergens=plain(ballot.allergens)))
    st.markdown(words["smell_samples" if here.smelling else "samples"])
    with fields_of(ballot):
        picked = [asked for asked in ballot.asked if _picks_a_card(ballot, asked)]
        with st.container(horizontal=True, key="booth-cards"):
            _cards(ballot, words)
            for asked in picked:
                _answer(asked, here, ballot, words, kept=not fault)
        for asked in ballot.asked:
            if asked not in picked:
                _answer(asked, here, ballot, words, kept=not fault)
        _beside(ballot, words, kept=not fault)
        if fault:
            st.error(plain(fault))
        held = {key: recorded for key, _, _, _, recorded in _fields(here, ballot)}
        show_send(token, ballot, held, words, keys=_keys(ballot), shut=bool(fault))
    _ways_out(token, ballot, words)


def _picks_a_card(ballot: BoothBallot, asked: Asked) -> bool:
    """Whether the samples themselves are the answers: their cards are the buttons."""
    return bool(asked.choices) and {stored for stored, _ in asked.choices} <= set(ballot.codes)


def _cards(ballot: BoothBallot, words: Words) -> None:
    """The samples whose code stands at no answer."""
    shown = {asked.label for asked in ballot.asked if asked.kind == "place"}
    shown |= {stored for asked in ballot.asked for stored, _ in asked.choices}
    for code in ballot.codes:
        if code not in shown:
            with st.container(border=True, width="content"):
                st.markdown(f"**{plain(code) if code else words['reference']}**")


def _left_out(here: BoothVisit, words: Words) -> None:
    if here.left_out:
        numbers = ", ".join(map(str, here.left_out))
        st.info(words["left_out"].format(numbers=numbers))


def _ways_out(token: str, ballot: BoothBallot, words: Words) -> None:
    """Past a ballot whose samples hold an allergen, and home; no code is named."""
    if ballot.allergens and asked_twice(f"leave-{ballot.line}", words, "leave_out"):
        leave_out(desk(), token, ballot.line)
        st.rerun()
    show_stop(token, words)


def _answer(asked: Asked, here: BoothVisit, ballot: BoothBallot, words: Words, kept: bool) -> None:
    key, shown, given = _key(ballot, asked), dict(asked.choices), asked.given
    if asked.kind in ("scale", "category"):
        _scale(key, asked, here, words)
        return
    text = _marked(here, ballot, asked)
    if asked.between:
        boxes = _boxes(key, asked)
        ticked = {box: choice in asked.chosen(given) for box, choice in boxes.items()}
        _fill(key, text, given, ticked, kept)
        with st.container(key=f"booth-ticks-{asked.line}"):
            for box, choice in boxes.items():
                st.checkbox(plain(shown[choice]), key=box)
        return
    _fill(key, text, given, {key: given if given in shown else None}, kept)
    place = asked.kind == "place"
    st.radio(
        words["place"].format(code=asked.label) if place else asked.label or ballot.asks,
        list(shown),
        index=None,
        format_func=shown.__getitem__,
        horizontal=place,
        width="content" if place else "stretch",
        label_visibility="visible" if asked.label else "collapsed",
        key=key,
    )


def _scale(key: str, asked: Asked, here: BoothVisit, words: Words) -> None:
    if asked.label:
        st.markdown(f"**{plain(asked.label)}**")
    if asked.about:
        st.markdown("\n".join(f"- {plain(line)}" for line in asked.about))
    label, ends, given = asked.label or words["samples"], asked.ends, asked.given
    st.session_state[_shown_key(key)] = given
    if asked.kind == "scale":
        at, route = mark_of(given, here.scale), served()
        show_scale(
            key, at=at, label=label, ends=ends, words=words, anchors=asked.anchors, route=route
        )
    else:
        stored = [choice for choice, _ in asked.choices]
        show_categories(
            key, given=given, choices=stored, label=label, ends=ends, words=words, route=served()
        )


def _beside(ballot: BoothBallot, words: Words, kept: bool) -> None:
    line, key = ballot.line, f"guess-{ballot.line}"
    if ballot.guess is not None:
        _fill(key, _guess(line), "x" if ballot.guess else "", {key: ballot.guess}, kept)
        st.checkbox(words["guess"], key=key)
    key = f"comment-{line}"
    _fill(key, _comment(line), ballot.comment, {key: ballot.comment}, kept)
    st.text_area(words["comment"], max_chars=300, key=key)


def _keys(ballot: BoothBallot) -> dict[str, Asked]:
    return {_key(ballot, asked): asked for asked in ballot.asked}


def _boxes(key: str, asked: Asked) -> dict[str, str]:
    """The choices by the key of their box; numbered, since a key is to be no word of anybody."""
    return {f"{key}-{at}": choice for at, (choice, _) in enumerate(asked.choices)}


def _key(ballot: BoothBallot, asked: Asked) -> str:
    """A key without any name of a sample: keys travel to the browser as CSS classes."""
    return f"answer-{asked.line}-{ballot.asked.index(asked)}"

"""How the answers of a ballot leave the booth page: past it where the server has a route, or by it.

Why so
------
Where there is a route the fields stand in a form, so that a tap on them draws nothing anew; the
script hands each answer over by itself, and so it does with 'send', after which the page is drawn
once. Both ways write by the same use cases. The form itself comes only where its button was faster
than the script; it is taken as a page without a route is: what differs from the record is written
first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

import streamlit as st

from ..sessions.booth_ballots import Asked, BoothBallot, still_open
from .answers import ANSWERS, served
from .components import Words, show_answers, show_echo
from .frame import plain


@contextmanager
def fields_of(ballot: BoothBallot) -> Iterator[None]:
    """What holds the fields of a ballot."""
    if not served():
        yield
        return
    with st.form(key=f"ballot-{ballot.line}", border=False, enter_to_submit=False):
        yield
    st.button("", key="booth-again")


def echo_key(ballot: BoothBallot) -> str:
    """Of the line that says whether all is saved."""
    return f"echo-{ballot.line}"


def send_key(ballot: BoothBallot) -> str:
    """The line is in the key: a late second tap cannot hit the next ballot."""
    return f"send-{ballot.line}"


def show_send(
    token: str,
    ballot: BoothBallot,
    held: Mapping[str, str],
    words: Words,
    *,
    keys: Mapping[str, Asked],
    shut: bool,
) -> None:
    """What is still open, whether all is saved, and the button: in view on a phone too.

    `held`: what the record holds, by the key of the field.
    `keys`: what is asked, by the key of its field.
    `shut`: whether something could not be kept, so that nothing is sent.
    """
    missing, button = still_open(ballot), send_key(ballot)
    with st.container(key="booth-send"):
        if served():
            _show_answers(token, ballot, held, words, keys)
            st.form_submit_button(words["send"], key=button, type="primary", width="stretch")
        elif not shut:
            if named := ", ".join(plain(name) for name in missing if name != "?"):
                st.markdown(words["still_open"].format(what=named))
            show_echo(echo_key(ballot), held, words)  # everything that came is on record here
            shown, off = words["send"], bool(missing)
            st.button(shown, key=button, type="primary", disabled=off, width="stretch")


def _show_answers(
    token: str,
    ballot: BoothBallot,
    held: Mapping[str, str],
    words: Words,
    keys: Mapping[str, Asked],
) -> None:
    place = {
        "route": ANSWERS,
        "token": token,
        "line": ballot.line,
        "invented": bool(st.query_params.get("invented")),
    }
    kinds = {"guess": "guess", "comment": "text"}
    fields = []
    for key, recorded in held.items():
        asked, name = keys.get(key), key.partition("-")[0]
        fields.append(
            {
                "key": key,
                "row": asked.line if asked else ballot.line,
                "name": asked.name if asked else name,
                "kind": asked.kind if asked else kinds[name],
                "choices": [stored for stored, _ in asked.choices] if asked else [],
                "between": asked.between if asked else "",
                "held": recorded,
            }
        )
    if ballot.guess is None:
        fields = [field for field in fields if field["name"] != "guess"]
    show_answers(echo_key(ballot), place, fields, still_open(ballot), words)

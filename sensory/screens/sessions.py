"""Which session? Demo sessions, a file, an empty grid, or one from the record."""

from __future__ import annotations

from datetime import date

import streamlit as st

from ..base.records import Question, SessionDetails
from ..protocols import PROTOCOLS, find_protocol
from ..workflow import (
    cells_of_file,
    new_session_id,
    open_session,
    protocol_of_cells,
    read_prepared,
)
from .frame import current_frame, go, show_faults, shown_errors

_PREPARED = {
    "reformulation": ("Reformulation", "66 triangles: is less sugar undetectable?"),
    "suspect_batch": ("Suspect batch", "24 triangles: may this batch go out?"),
    "new_supplier": ("New supplier", "32 duo-trios: and if the session cannot tell?"),
    "mistakes": ("Typed in a hurry", "18 triangles with eight kinds of mistakes."),
}


def page() -> None:
    """List what can be opened."""
    st.title("Does the batch still match the reference?")
    st.markdown(
        "Choose a session. Then its **question** is agreed, its **ballots** are closed, and "
        "the **finding** is shown."
    )
    _demo()
    left, right = st.columns(2, gap="large")
    with left:
        _file()
    with right:
        _empty()
    _on_record()


def _demo() -> None:
    st.subheader("Try it with invented sessions")
    for column, (name, (title, words)) in zip(st.columns(4), _PREPARED.items(), strict=True):
        with column, st.container(border=True):
            st.markdown(f"**{title}**  \n{words}")
            if st.button("Open", key=f"demo-{name}", type="primary"):
                _open_prepared(name)


def _open_prepared(name: str) -> None:
    frame = current_frame()
    with shown_errors():
        prepared = read_prepared(frame.demo, name)
        session = open_session(
            frame.store, new_session_id(), **prepared, who="demo", why=f"demo data {name}"
        )
        go("ballots" if name == "mistakes" else "question", session.id)


def _file() -> None:
    st.subheader("Load ballots from a file")
    upload = st.file_uploader("CSV or XLSX", type=["csv", "txt", "tsv", "xlsx"], key="upload")
    st.markdown("A template to fill in is on the page *Ballots*.")
    if upload is None:
        return
    with shown_errors():
        cells, remarks = cells_of_file(upload.getvalue())
        st.success(f"{len(cells)} ballots read.")
        if remarks:
            show_faults(remarks)
        if st.button("Use these ballots", key="use-file", type="primary"):
            _new(protocol_of_cells(cells), upload.name.rsplit(".", 1)[0], cells, "file loaded")


def _empty() -> None:
    st.subheader("Type ballots from paper")
    names = [entry.name for entry in PROTOCOLS.values()]
    name = st.selectbox("Test", names, key="new-protocol")
    title = st.text_input("Title of the session", key="new-title", placeholder="product, batch")
    if st.button("New session", key="new-session"):
        _new(find_protocol(name).key, title.strip(), {}, "typed from paper")


def _new(protocol: str, title: str, cells: dict[int, dict[str, str]], why: str) -> None:
    planned = len(cells) or 24
    with shown_errors():
        session = open_session(
            current_frame().store,
            new_session_id(),
            details=SessionDetails(title=title, held_on=date.today().isoformat()),
            question=Question(protocol=protocol, assessors=planned),
            cells=cells,
            who="unnamed, on this machine",
            why=why,
        )
        go("question", session.id)


def _on_record() -> None:
    st.subheader("On record")
    with shown_errors():
        stored = current_frame().store.sessions()
        if not stored:
            st.markdown("Nothing yet. What is opened or typed is kept on this machine.")
        for session in stored:
            name, stage, when, button = st.columns([5, 2, 2, 1], vertical_alignment="center")
            name.markdown(_plain(session.details.title or "Untitled session"))
            stage.markdown(session.stage)
            when.markdown(session.created_at[:16].replace("T", " ") + " UTC")
            if button.button("Open", key=f"open-{session.id}"):
                go(
                    "finding" if session.closed else "ballots" if session.agreed else "question",
                    session.id,
                )


def _plain(text: str) -> str:
    """User text without markup."""
    return "".join(
        f"\\{letter}" if letter in r"\`*_{}[]()#+-.!|<>~:$" else letter for letter in text
    )

"""Which session? Demo sessions, a file, an empty grid, or one from the record."""

from __future__ import annotations

from typing import Literal

import streamlit as st

from ..base.results import several
from ..catalogue.question import Question
from ..catalogue.tests import find_kind, kinds
from ..sessions.file_kinds import kind_of_file, settings_of_file
from ..sessions.lines import cells_of_file
from ..sessions.session import SessionDetails, StoredSession
from ..sessions.template import template_xlsx
from ..sessions.workflow import new_session_id, open_session, read_prepared
from .care import care_of_the_record
from .frame import current_frame, go, minute, nameless, plain, show_faults, shown_errors

_PREPARED = {
    "reformulation": ("Reformulation", "66 triangles: is less sugar undetectable?"),
    "suspect_batch": ("Suspect batch", "24 triangles: may this batch go out?"),
    "new_supplier": ("New supplier", "32 duo-trios: and if the session cannot tell?"),
    "mistakes": ("Typed in a hurry", "18 triangles with eight kinds of mistakes."),
}
_OTHER = {
    "shop_light": ("Shop light", "A - not A, 24 assessors, both samples each."),
    "new_thickener": ("Lingering ginger", "60 same-different pairs, one each."),
    "water": ("Two waters", "Graded by sureness, two products at once."),
    "pressing": ("New press", "A profile: six attributes, ten assessors, twice."),
    "gasket": ("Worn gasket", "Difference from control: two batches."),
    "aftertaste": ("Aftertaste", "Four sweetenings in order."),
}
_LISTED = 20


def page() -> None:
    """List what can be opened."""
    st.title("Does the batch still match the reference?")
    st.markdown(
        "Choose a session. Then its **question** is agreed, its **ballots** are closed, and "
        "the **finding** is shown. How many assessors? See *Plan*."
    )
    _demo()
    left, right = st.columns(2, gap="large")
    with left:
        _file()
    with right:
        _empty()
    _on_record()
    care_of_the_record()
    if place := current_frame().place:
        st.caption(f"The record is kept in {plain(place)}")


def _demo() -> None:
    st.subheader("Try it with invented sessions")
    _tiles(_PREPARED, primary=True)
    with st.expander("Other methods"):
        names = list(_OTHER)
        for row in (names[:3], names[3:]):
            _tiles({name: _OTHER[name] for name in row}, primary=False)


def _tiles(prepared: dict[str, tuple[str, str]], *, primary: bool) -> None:
    columns = st.columns(len(prepared))
    for column, (name, (title, words)) in zip(columns, prepared.items(), strict=True):
        with column, st.container(border=True, height="stretch"):
            st.markdown(f"**{title}**  \n{words}")
            kind: Literal["primary", "secondary"] = "primary" if primary else "secondary"
            if st.button("Open", key=f"demo-{name}", type=kind):
                _open_prepared(name)


def _open_prepared(name: str) -> None:
    """Open the demo session; a copy that nobody has agreed yet is used again."""
    frame = current_frame()
    with shown_errors():
        prepared = read_prepared(frame.demo, name)
        untouched = (
            session
            for session in frame.store.sessions(200)
            if not session.agreed
            and session.details == prepared["details"]
            and session.question == prepared["question"]
        )
        session = next(untouched, None) or open_session(
            frame.store, new_session_id(), **prepared, who="demo", why=f"demo data {name}"
        )
        go("ballots" if name == "mistakes" else "question", session.id)


def _file() -> None:
    st.subheader("Load ballots from a file")
    upload = st.file_uploader("CSV or XLSX", type=["csv", "txt", "tsv", "xlsx"], key="upload")
    if upload is None:
        return
    with shown_errors():
        content = upload.getvalue()
        key = _which_test("Ballots of which test?", kind_of_file(content), f"of-{upload.file_id}")
        cells, remarks = cells_of_file(content, find_kind(key).ballot)
        if remarks:
            show_faults(remarks)
        if not cells:
            st.warning("The file has headings but no ballots.")
            return
        st.success(f"{several(len(cells), 'ballot')} read.")
        if st.button("Use these ballots", key="use-file", type="primary"):
            details = SessionDetails(
                title=upload.name.rsplit(".", 1)[0],
                file_remarks="\n".join(str(remark) for remark in remarks),
            )
            question = Question(
                protocol=key, assessors=len(cells), settings=settings_of_file(key, cells)
            )
            _new(question, details, cells, f"file {upload.name} loaded")


def _empty() -> None:
    st.subheader("Type ballots from paper")
    test = find_kind(_which_test("Test", Question().protocol, "new-protocol"))
    title = st.text_input("Title of the session", key="new-title", placeholder="product, batch")
    row = st.container(horizontal=True)
    if row.button("New session", key="new-session"):
        question = Question(protocol=test.key, assessors=24)
        _new(question, SessionDetails(title=title.strip()), {}, "typed from paper")
    row.download_button(
        "Template to fill in, XLSX",
        template_xlsx(test),
        f"ballots-{test.name}.xlsx",
        key="new-template",
    )


def _which_test(label: str, key: str, widget: str) -> str:
    """A choice among every test, forced choices first."""
    keys = [kind.key for kind in kinds()]
    chosen = st.selectbox(
        label, keys, index=keys.index(key), format_func=lambda one: find_kind(one).name, key=widget
    )
    return str(chosen)


def _new(
    question: Question, details: SessionDetails, cells: dict[int, dict[str, str]], why: str
) -> None:
    with shown_errors():
        session = open_session(
            current_frame().store,
            new_session_id(),
            details=details,
            question=question,
            cells=cells,
            who=nameless(),
            why=why,
        )
        go("question", session.id)


def _on_record() -> None:
    st.subheader("On record")
    with shown_errors():
        stored = current_frame().store.sessions(1000)
        if not stored:
            st.markdown("Nothing yet. What is opened or typed is kept here.")
            return
        wanted = st.text_input("Find by title, test or batch", key="find").casefold().strip()
        found = [session for session in stored if wanted in _words(session).casefold()]
        for session in found[:_LISTED]:
            _row(session)
        if len(found) > _LISTED:
            st.markdown(f"and {len(found) - _LISTED} more: write a part of the title above.")
        if st.button("Check the record", key="verify"):
            broken = current_frame().store.verify()
            for line in broken:
                st.error(plain(line))
            if not broken:
                st.success("The record is as it was written.")


def _row(session: StoredSession) -> None:
    name, test, stage, when, button = st.columns([5, 2, 2, 2, 1], vertical_alignment="center")
    name.markdown(plain(session.details.title or "Untitled session"))
    test.markdown(find_kind(session.question.protocol).name)
    stage.markdown(session.stage)
    when.markdown(minute(session.created_at))
    if button.button("Open", key=f"open-{session.id}"):
        stage_page = "finding" if session.closed else "ballots" if session.agreed else "question"
        go(stage_page, session.id)


def _words(session: StoredSession) -> str:
    batches = [sample.batch for sample in session.details.samples]
    return " ".join([session.details.title, find_kind(session.question.protocol).name, *batches])

"""Which session? Demo sessions, a file, an empty grid, or one from the record."""

from __future__ import annotations

from functools import partial

import streamlit as st

from ..base.results import several
from ..catalogue.question import Question
from ..catalogue.tests import find_kind, kinds
from ..sessions.file_kinds import kind_of_file, settings_of_file
from ..sessions.lines import cells_of_file
from ..sessions.search import find_sessions
from ..sessions.session import DamagedSession, SessionDetails, StoredSession
from ..sessions.soundness import last_check
from ..sessions.template import template_xlsx
from ..sessions.workflow import new_session_id, open_session, read_prepared
from .care import care_of_the_record
from .frame import (
    acting,
    current_frame,
    desk,
    go,
    minute,
    plain,
    show_faults,
    shown_errors,
    title_of,
)
from .parts import choose, download, pressed, way

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
    st.subheader("Try it with invented sessions")
    _tiles(_PREPARED, primary=True)
    with st.expander("Other methods"):
        others = list(_OTHER.items())
        _tiles(dict(others[:3]), primary=False)
        _tiles(dict(others[3:]), primary=False)
    left, right = st.columns(2, gap="large")
    with left:
        _file()
    with right:
        _empty()
    _on_record()
    care_of_the_record()
    if place := current_frame().place:
        st.caption(f"The record is kept in {plain(place)}")


def _tiles(prepared: dict[str, tuple[str, str]], *, primary: bool) -> None:
    columns = st.columns(len(prepared))
    for column, (name, (title, words)) in zip(columns, prepared.items(), strict=True):
        with column, st.container(border=True, height="stretch"):
            st.markdown(f"**{title}**  \n{words}")
            if pressed("Open", f"demo-{name}", primary=primary):
                _open_prepared(name)


def _open_prepared(name: str) -> None:
    """Open the demo session; a copy that nobody has agreed yet is used again."""
    with shown_errors():
        prepared = read_prepared(current_frame().demo, name)
        wanted = (prepared["details"], prepared["question"])
        untouched = (
            session
            for session in desk().sessions(200)
            if not session.agreed and (session.details, session.question) == wanted
        )
        session = next(untouched, None) or open_session(
            desk(), new_session_id(), **prepared, who="demo", why=f"demo data {name}"
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
        if pressed("Use these ballots", "use-file", primary=True):
            title, remarked = upload.name.rsplit(".", 1)[0], "\n".join(map(str, remarks))
            settings = settings_of_file(key, cells)
            _new(
                Question(protocol=key, assessors=len(cells), settings=settings),
                SessionDetails(title=title, file_remarks=remarked),
                cells,
                f"file {upload.name} loaded",
            )


def _empty() -> None:
    st.subheader("Type ballots from paper")
    test = find_kind(_which_test("Test", Question().protocol, "new-protocol"))
    title = st.text_input("Title of the session", key="new-title", placeholder="product, batch")
    row = st.container(horizontal=True)
    if pressed("New session", "new-session", place=row):
        question = Question(protocol=test.key, assessors=24)
        _new(question, SessionDetails(title=title.strip()), {}, "typed from paper")
    file = f"ballots-{test.name}.xlsx"
    download("Template to fill in, XLSX", template_xlsx(test), file, "new-template", place=row)


def _which_test(label: str, key: str, widget: str) -> str:
    keys = [kind.key for kind in kinds()]
    return choose(label, keys, key, widget, words=lambda key: find_kind(key).name)


def _new(
    question: Question, details: SessionDetails, cells: dict[int, dict[str, str]], why: str
) -> None:
    new = partial(open_session, details=details, question=question, cells=cells)
    with shown_errors():
        go("question", new(desk(), new_session_id(), who=acting(), why=why).id)


def _on_record() -> None:
    st.subheader("On record")
    with shown_errors():
        stored, damaged = desk().listed_sessions(_LISTED + 1)
        _damaged(damaged)
        if not stored:
            st.markdown("Nothing yet. What is opened or typed is kept here.")
        else:
            _found(stored)
    with shown_errors():
        _last_check()
        _check()


def _found(stored: list[StoredSession]) -> None:
    wanted = st.text_input("Find by title, test or batch", key="find").strip()
    matching = find_sessions(desk(), wanted) if wanted else stored
    for session in matching[:_LISTED]:
        _row(session)
    if len(matching) > _LISTED:
        left = f"{len(matching) - _LISTED} more" if wanted else "older ones"
        st.markdown(f"and {left}: write a part of the title above.")


def _damaged(damaged: list[DamagedSession]) -> None:
    """Sessions that cannot be read any more; all others work."""
    for session in damaged:
        name = session.title or f"Session {session.id}"
        st.error(
            f"**{plain(name)}** is damaged and cannot be opened: {plain(session.why)} "
            "Restore it from a backup or an archive."
        )


def _last_check() -> None:
    """When the record was last checked by itself, and with what result."""
    check = last_check(desk())
    if check is None:
        return
    if check.wrong:
        more = f", and {len(check.wrong) - 1} more" if len(check.wrong) > 1 else ""
        st.error(f"Daily check, {minute(check.at)}: {plain(check.wrong[0])}{more}")
    else:
        st.caption(f"Daily check, {minute(check.at)}: the record is as it was written.")


def _check() -> None:
    if pressed("Check the record", "verify"):
        shown = st.empty()
        with shown.container():
            bar = st.progress(0.0, "Checking the record")
            st.button("Stop check", key="verify-stop")  # any click ends this run of the page
            broken = desk().verify(watched=lambda share: bool(bar.progress(share)))
        shown.empty()
        for line in broken[:_LISTED]:
            st.error(plain(line))
        if len(broken) > _LISTED:
            st.error(f"and {len(broken) - _LISTED} more")
        if not broken:
            st.success("The record is as it was written.")


def _row(session: StoredSession) -> None:
    name, test, stage, when, button = st.columns([5, 2, 2, 2, 1], vertical_alignment="center")
    name.markdown(title_of(session))
    test.markdown(find_kind(session.question.protocol).name)
    stage.markdown(session.stage)
    when.markdown(minute(session.created_at))
    page = "finding" if session.closed else "ballots" if session.agreed else "question"
    way("Open", f"open-{session.id}", page, session.id, primary=False, place=button)

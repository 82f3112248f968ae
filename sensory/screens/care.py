"""Care of the record: archive of a session and its way back, backup, names to be erased."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

import streamlit as st

from ..base.errors import RecordError
from ..base.results import Table
from ..base.version import __version__
from ..report.sheets import ballots_csv
from ..sessions.session import StoredSession
from ..store.archive import archive_session, import_archive
from ..store.repository import Repository
from .frame import current_frame, go, plain, shown_errors


def take_along(
    session: StoredSession, name: str, *, pdf: Callable[[], bytes], csv: bytes, numbers: Table
) -> None:
    """Report, numbers, ballots and the whole session, to download; the row wraps when narrow."""
    st.subheader("Take it along")
    store = current_frame().store
    row = st.container(horizontal=True)
    row.download_button(
        "Report, PDF",
        pdf,
        f"report-{name}.pdf",
        "application/pdf",
        key="pdf",
        type="primary",
        on_click="ignore",
    )
    row.download_button(
        "Numbers, CSV", csv, f"numbers-{name}.csv", "text/csv", key="numbers", on_click="ignore"
    )
    row.download_button(
        "Ballots, CSV",
        ballots_csv(store.cells(session.id)),
        f"ballots-{name}.csv",
        "text/csv",
        key="ballots-csv",
        on_click="ignore",
    )
    record = _repository()
    row.download_button(
        "Archive, ZIP",
        lambda: archive_session(
            record, session.id, numbers=numbers, report=pdf(), version=__version__
        ),
        f"session-{name}.zip",
        "application/zip",
        key="archive",
        on_click="ignore",
        help="Question, ballots, numbers and journal as CSV and JSON, with sums. It holds names.",
    )


def care_of_the_record() -> None:
    """What is done to the record as a whole."""
    with st.expander("Archive, backup, names"):
        left, middle, right = st.columns(3, gap="large")
        with left, shown_errors():
            _import()
        with middle, shown_errors():
            _backup()
        with right, shown_errors():
            _erase()


def _import() -> None:
    st.markdown("**Bring back an archived session**")
    upload = st.file_uploader("ZIP of a session", type=["zip"], key="archive-upload")
    if upload is not None and st.button("Import it", key="archive-import"):
        session = import_archive(
            _repository(), upload.getvalue(), who="unnamed, on this machine", why="archive"
        )
        go("sessions", session.id)


def _backup() -> None:
    st.markdown("**Backup of the whole record**")
    st.markdown("A copy while it is in use; keep it on another machine.")
    if st.button("Make a copy", key="backup"):
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / "record.sqlite3"
            _repository().backup(copy)
            st.session_state["backup-copy"] = copy.read_bytes()
    if content := st.session_state.get("backup-copy"):
        st.download_button(
            "Take the copy", content, "record-backup.sqlite3", key="backup-take", on_click="ignore"
        )


def _erase() -> None:
    st.markdown("**Erase a name**")
    name = st.text_input("Name of the person", key="erase-name")
    why = st.text_input("Reason, without the name", key="erase-why")
    sure = st.checkbox("This cannot be undone", key="erase-sure")
    if st.button("Erase", key="erase", disabled=not (name.strip() and why.strip() and sure)):
        done = _repository().erase_person(name, who="unnamed, on this machine", why=why)
        st.success(f"Shown as '{plain(done.shown_as)}' from now on.")
        if done.remains:
            st.warning(
                "Free texts that seem to hold the name stay as they were written:\n"
                + "\n".join(f"- {plain(str(line))}" for line in done.remains[:20])
            )


def _repository() -> Repository:
    store = current_frame().store
    if not isinstance(store, Repository):
        raise RecordError("This record cannot be archived from here.")
    return store

"""Care of the record: archive of a session and its way back, backup, names to be erased."""

from __future__ import annotations

import tempfile
from pathlib import Path

import streamlit as st

from ..base.errors import RecordError
from ..store.archive import import_archive
from ..store.archive_form import holds_study
from ..store.repository import Repository
from ..store.study_archive import import_study
from .frame import acting, desk, go, plain, shown_errors
from .parts import download, listed, pressed
from .study import open_study

_IN_SIGHT = 10


def care_of_the_record() -> None:
    """What is done to the record as a whole."""
    with st.expander("Archive, backup, names"):
        for column, part in zip(
            st.columns(3, gap="large"), (_import, _backup, _erase), strict=True
        ):
            with column, shown_errors():
                part()


def _import() -> None:
    st.markdown("**Bring back an archived session or study**")
    upload = st.file_uploader("ZIP of a session or a study", type=["zip"], key="archive-upload")
    if upload is not None and pressed("Import it", "archive-import"):
        content, record = upload.getvalue(), _repository()
        if holds_study(content):
            open_study(import_study(record, content, who=acting(), why="archive"))
        go("sessions", import_archive(record, content, who=acting(), why="archive").id)


def _backup() -> None:
    st.markdown("**Backup of the whole record**")
    st.markdown("A copy while it is in use; keep it on another machine.")
    if pressed("Make a copy", "backup"):
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / "record.sqlite3"
            _repository().backup(copy)
            st.session_state["backup-copy"] = copy.read_bytes()
    if content := st.session_state.get("backup-copy"):
        download("Take the copy", content, "record-backup.sqlite3", "backup-take")


def _erase() -> None:
    st.markdown("**Erase a name**")
    name = st.text_input("Name of the person", key="erase-name")
    why = st.text_input("Reason, without the name", key="erase-why")
    sure = st.checkbox("This cannot be undone", key="erase-sure")
    if pressed("Erase", "erase", ready=name.strip() and why.strip() and sure):
        erased = _repository().erase_person(name, who=acting(), why=why)
        st.success(f"Shown as '{plain(erased.shown_as)}' from now on.")
        if erased.remains:
            st.warning("Free texts that seem to hold the name stay as they were written:")
            with st.container(height=320 if len(erased.remains) > _IN_SIGHT else "content"):
                listed(erased.remains)


def _repository() -> Repository:
    store = desk()
    if not isinstance(store, Repository):
        raise RecordError("This record cannot be archived from here.")
    return store

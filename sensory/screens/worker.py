"""Heavy work in one process beside the server, so that nobody else waits for it.

Why so
------
The report is made in a worker process, which imports `app.py`; hence the guard at its end.
"""

from __future__ import annotations

import copyreg
import multiprocessing
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import singledispatch
from types import MappingProxyType

import streamlit as st

from ..release.batch_file import BatchFile
from ..release.month import MonthReport
from ..report.batch_documents import batch_pdf
from ..report.documents import session_pdf
from ..report.month_documents import month_pdf
from ..sessions.finding import SessionReport


def _read_only(table: dict[object, object]) -> MappingProxyType[object, object]:
    return MappingProxyType(table)


# Results hold read-only tables, which do not travel to another process by themselves.
copyreg.pickle(MappingProxyType, lambda table: (_read_only, (dict(table),)))


@st.cache_resource(show_spinner=False)
def _pool() -> ProcessPoolExecutor:
    return ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"))


@singledispatch
def made(shown: object) -> bytes:
    """The document of what is shown."""
    raise TypeError(f"there is no document of a {type(shown).__name__}")


made.register(SessionReport, session_pdf)
made.register(BatchFile, batch_pdf)
made.register(MonthReport, month_pdf)


def pdf_of(shown: SessionReport | BatchFile | MonthReport) -> bytes:
    """The document of a session, a batch or a month, by the worker; one that died is replaced
    once."""
    try:
        return _pool().submit(made, shown).result(timeout=60)
    except BrokenProcessPool:
        _pool.clear()
        return _pool().submit(made, shown).result(timeout=60)

"""Heavy work in one process beside the server, so that nobody else waits for it."""

from __future__ import annotations

import copyreg
import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from types import MappingProxyType
from typing import Any

import streamlit as st

from ..release.batch_file import BatchFile
from ..release.month import MonthReport
from ..report.batch_documents import batch_pdf
from ..report.documents import session_pdf
from ..report.month_documents import month_pdf
from ..report.reading_documents import reading_pdf
from ..sessions.read_session import ReadSession
from ..sessions.summary import SessionSummary


def _read_only(table: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(table)


# Results hold read-only tables, which do not travel to another process by themselves.
copyreg.pickle(MappingProxyType, lambda table: (_read_only, (dict(table),)))


@st.cache_resource(show_spinner=False)
def _pool() -> ProcessPoolExecutor:
    return ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"))


def pdf_of(summary: SessionSummary) -> bytes:
    """The report of a forced-choice session."""
    return _made(session_pdf, summary)


def reading_pdf_of(read: ReadSession) -> bytes:
    """The report of any other session."""
    return _made(reading_pdf, read)


def batch_pdf_of(file: BatchFile) -> bytes:
    """Everything about one batch."""
    return _made(batch_pdf, file)


def month_pdf_of(month: MonthReport) -> bytes:
    """The month of a product on two pages."""
    return _made(month_pdf, month)


def _made(make: Callable[[Any], bytes], what: Any) -> bytes:
    """Made by the worker; one that died is replaced once."""
    try:
        return _pool().submit(make, what).result(timeout=60)
    except BrokenProcessPool:
        _pool.clear()
        return _pool().submit(make, what).result(timeout=60)

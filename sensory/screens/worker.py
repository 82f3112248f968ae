"""Heavy work in one process beside the server, so that nobody else waits for it."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any

import streamlit as st

from ..decisions.reading import ReadSession
from ..decisions.summary import SessionSummary
from ..report.documents import session_pdf
from ..report.reading_documents import reading_pdf


@st.cache_resource(show_spinner=False)
def _pool() -> ProcessPoolExecutor:
    return ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"))


def pdf_of(summary: SessionSummary) -> bytes:
    """The report of a forced-choice session."""
    return _made(session_pdf, summary)


def reading_pdf_of(read: ReadSession) -> bytes:
    """The report of any other session."""
    return _made(reading_pdf, read)


def _made(make: Callable[[Any], bytes], what: Any) -> bytes:
    """Made by the worker; one that died is replaced once."""
    try:
        return _pool().submit(make, what).result(timeout=60)
    except BrokenProcessPool:
        _pool.clear()
        return _pool().submit(make, what).result(timeout=60)

"""Heavy work in one process beside the server, so that nobody else waits for it."""

from __future__ import annotations

import multiprocessing
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool

import streamlit as st

from ..decisions.summary import SessionSummary
from ..report.documents import session_pdf


@st.cache_resource(show_spinner=False)
def _pool() -> ProcessPoolExecutor:
    return ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"))


def pdf_of(summary: SessionSummary) -> bytes:
    """The report of a session as PDF; a worker that died is replaced once."""
    try:
        return _pool().submit(session_pdf, summary).result(timeout=60)
    except BrokenProcessPool:
        _pool.clear()
        return _pool().submit(session_pdf, summary).result(timeout=60)

"""Heavy work in one process beside the server, so that nobody else waits for it.

Why so
------
The report and the outcome of a closing are made in a worker process: pingouin and the fit of a
profile in the server's process would hold up every booth. It imports `app.py`; hence the guard
at its end.
"""

from __future__ import annotations

import copyreg
import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import singledispatch
from types import MappingProxyType
from typing import ParamSpec, TypeVar

import streamlit as st

from ..catalogue.checking import CheckedBallots
from ..catalogue.outcome import Outcome
from ..catalogue.question import Question
from ..release.batch_file import BatchFile
from ..release.month import MonthReport
from ..report.batch_documents import batch_pdf
from ..report.documents import session_pdf
from ..report.month_documents import month_pdf
from ..sessions.finding import SessionReport
from ..sessions.outcomes import read_ballots_of

Given = ParamSpec("Given")
Made = TypeVar("Made")


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
    """The document of a session, a batch or a month, by the worker."""
    return _done(made, shown)


def outcome_of(checked: CheckedBallots, question: Question) -> Outcome:
    """What checked ballots show, by the worker."""
    return _done(read_ballots_of, checked, question)


def _done(work: Callable[Given, Made], *given: Given.args, **named: Given.kwargs) -> Made:
    """The work of the worker; one that died is replaced once."""
    try:
        return _pool().submit(work, *given, **named).result(timeout=60)
    except BrokenProcessPool:
        _pool.clear()
        return _pool().submit(work, *given, **named).result(timeout=60)

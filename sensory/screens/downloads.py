"""Everything of a closed session to take along: report, tables, ballots, pictures, archive."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import streamlit as st

from ..base.errors import RecordError
from ..base.records import utc_now
from ..base.version import __version__
from ..catalogue.tests import find_kind
from ..panel.feedback import FeedbackSheets, feedback_of_all
from ..report.session_pictures import session_pictures
from ..report.sheets import tidy_csv
from ..report.workbooks import workbook
from ..sessions.finding import SessionReport
from ..store.archive import archive_session
from ..store.repository import Repository
from .frame import desk
from .parts import download
from .worker import pdf_of, picture_file


def downloads(report: SessionReport, name: str) -> None:
    """The report, and one popover with the rest; files are made when they are asked for."""
    row = st.container(horizontal=True)
    pdf = partial(pdf_of, report)
    download("Report, PDF", pdf, f"report-{name}.pdf", "pdf", place=row)
    with row.container(key="downloads").popover("Download"):
        _files(report, name, pdf)
        st.markdown("**Pictures at slide size**")
        for picture in session_pictures(report.outcome):
            _picture(picture.title, picture.text, name)


def _files(report: SessionReport, name: str, pdf: Callable[[], bytes]) -> None:
    session = report.session.id
    kind = find_kind(report.outcome.test)
    results, ballots = partial(workbook, report.tables()), tidy_csv(desk().cells(session), kind)
    download("Results, XLSX", results, f"results-{name}.xlsx", "results")
    download("Ballots, CSV", ballots, f"ballots-{name}.csv", "ballots-csv")
    sheets = partial(_feedback, desk(), report)
    told = "A page for each assessor: own answers beside the panel's, in the ballots' language."
    file = f"feedback-{name}.pdf"
    download("Feedback sheets, PDF", sheets, file, "feedback-all", explained=told)
    held = "Question, ballots, numbers and journal as CSV and JSON, with sums. It holds names."
    archive = partial(_archive, desk(), report, pdf)
    download("Archive, ZIP", archive, f"session-{name}.zip", "archive", explained=held)


def _feedback(record: Repository, report: SessionReport) -> bytes:
    session = report.session
    language = session.serving.language if session.serving else "en"
    sheets = feedback_of_all(session, record.sitting(session.id), language=language)
    if not sheets:
        raise RecordError("There is nobody to give feedback to: no name is known.")
    return pdf_of(FeedbackSheets(sheets=tuple(sheets), printed_at=utc_now()))


def _archive(record: Repository, report: SessionReport, pdf: Callable[[], bytes]) -> bytes:
    numbers = report.outcome.tables[0].table
    return archive_session(
        record, report.session.id, version=__version__, numbers=numbers, report=pdf()
    )


def _picture(title: str, chart: str, name: str) -> None:
    row = st.container(horizontal=True, vertical_alignment="center")
    row.markdown(title.capitalize())
    for ending in ("svg", "png"):
        key = f"{title.replace(' ', '-')}-{ending}"
        drawn = partial(picture_file, chart, ending)
        download(
            ending.upper(), drawn, f"{title}-{name}.{ending}".replace(" ", "-"), key, place=row
        )

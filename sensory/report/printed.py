"""The document of whatever is shown: session, batch, month, panel, letter, study."""

from __future__ import annotations

import json
from functools import singledispatch

import typst

from ..panel.feedback import FeedbackSheets
from ..panel.letters import OutcomeLetter
from ..panel.panel_month import PanelMonth
from ..panel.series_sheets import SeriesSheets
from ..release.batch_file import BatchFile
from ..release.month import MonthReport
from ..sessions.finding import SessionReport
from .batch_documents import batch_pdf
from .documents import FONT_OPTIONS, session_pdf
from .feedback_sheets import feedback_pdf
from .figure_parts import as_png, as_svg, column, dressed, marks
from .letters import letter_pdf
from .month_documents import month_pdf
from .panel_month_documents import panel_month_pdf
from .series_papers import series_pdf
from .study_documents import StudyReport, study_pdf

Shown = (
    SessionReport
    | BatchFile
    | MonthReport
    | PanelMonth
    | FeedbackSheets
    | OutcomeLetter
    | SeriesSheets
    | StudyReport
)


@singledispatch
def printed(shown: object) -> bytes:
    """The document of what is shown."""
    raise TypeError(f"there is no document of a {type(shown).__name__}")


printed.register(SessionReport, session_pdf)
printed.register(BatchFile, batch_pdf)
printed.register(MonthReport, month_pdf)
printed.register(PanelMonth, panel_month_pdf)
printed.register(FeedbackSheets, feedback_pdf)
printed.register(OutcomeLetter, letter_pdf)
printed.register(SeriesSheets, series_pdf)
printed.register(StudyReport, study_pdf)


def drawn(chart: str, ending: str) -> bytes:
    """A chart in the grammar of our pictures, as SVG or PNG at the size of a slide."""
    ways = {"svg": as_svg, "png": as_png}
    return ways[ending](json.loads(chart))


def get_ready() -> None:
    """Draw a chart and set a page that nobody sees: the first ones load fonts and programs."""
    as_svg(dressed(marks("rule", [{"at": 0.0}], {"x": column("at:Q")})))
    typst.compile({"main.typ": b"ready"}, format="pdf", **FONT_OPTIONS)

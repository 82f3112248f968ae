"""The monthly report of the panel, one page: month, with or without names, and its button."""

from __future__ import annotations

from datetime import date

import streamlit as st

from ..base.records import utc_now
from ..panel.panel_month import months_on_record, panel_month
from .frame import desk
from .parts import choose, download
from .worker import pdf_of

_PERSONAL = "Who was away, who needs attention and whose qualification ends."


def panel_month_part() -> None:
    """Choose the month and whether people are named; the page is made when it is asked for."""
    with st.expander("Monthly report of the panel"):
        months = months_on_record(desk(), date.today().isoformat())
        month = choose("Month", months, months[0], "panel-month")
        names = st.checkbox("With names", key="panel-month-names", help=_PERSONAL)

        def made() -> bytes:
            return pdf_of(panel_month(desk(), month, names=names, printed_at=utc_now()))

        download("Panel report, PDF", made, f"panel-{month}.pdf", "panel-month-pdf")

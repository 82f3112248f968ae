"""Graders at the line: on the page Panel what each finds by month, on Trend the defects named."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from ..base.results import several
from ..panel.line_graders import GraderMonths, grader_months
from ..release.batch_records import BatchRecord
from ..release.defect_months import DefectBatch, defect_months
from ..release.defect_rates import LIMITS_OF_RATES, DefectRises
from ..report.panel_figures import grader_chart
from ..report.words import percent
from ..sessions.sitting import Sitting
from .frame import day, plain
from .parts import listed, show_figure, show_table, way

_LISTED = 6


def graders_part(sittings: Sequence[Sitting]) -> None:
    """Who drifts, and what each grader finds by month; nothing without a grading."""
    result = grader_months(sittings)
    if not result.sessions:
        return
    st.subheader("Graders at the line")
    for sentence in result.says():
        st.warning(plain(sentence))
    st.markdown(_drift(result))
    with st.expander("What each grader finds, by month"):
        _months(result)
    with st.expander("What these gradings cannot tell"):
        listed(result.cannot_tell)


def _drift(result: GraderMonths) -> str:
    """Whether drift is named, and what was compared."""
    graded = several(result.sessions, "grading")
    if result.signals.empty:
        return f"{graded}, none before {day(result.since)}: no drift can be seen yet."
    named = "" if result.says() else "No drift is named. "
    return (
        f"{named}{graded}; the days from {day(result.since)} on against those before, laid out for "
        f"a chance of {percent(result.alpha)} in a year of monthly looks that any grader is named "
        "without cause."
    )


def _months(result: GraderMonths) -> None:
    months = result.months
    names = [str(each) for each in result.graders["grader"]]
    name = str(st.selectbox("Grader", names, key="grader-months-of"))
    own = months[months["grader"] == name]
    words = "Share of spiked samples found and of controls called out, by month, with limits."
    show_figure("grader-months", grader_chart(result, name), words)
    show_table(
        [
            {
                "month": row["month"],
                "spiked found": f"{row['hits']} of {row['spiked']}",
                "limits, found": _limits(row["hit_low"], row["hit_high"]),
                "false alarms": f"{row['false_alarms']} of {row['controls']}",
                "limits, false alarms": _limits(row["false_low"], row["false_high"]),
            }
            for row in own.to_dict("records")
        ]
    )


def _limits(low: float, high: float) -> str:
    return "" if low != low else f"{percent(low)} to {percent(high)}"


def defects_part(records: Sequence[BatchRecord], rises: DefectRises) -> None:
    """Defects named in gradings of these batches: by month, and the batches themselves."""
    named = defect_months(records)
    if not named.batches:
        return
    st.subheader("Defects named in gradings")
    st.markdown(_compared(rises))
    show_table(
        [
            {
                "defect": plain(each.defect),
                "month": each.month,
                "batches": f"{each.batches} of {each.graded}",
                "95 % limits": _limits(each.low, each.high),
            }
            for each in named.months
        ]
    )
    with st.expander("What these rates cannot tell"):
        listed(LIMITS_OF_RATES)
    for each in named.batches[:_LISTED]:
        _batch(each)
    if older := named.batches[_LISTED:]:
        with st.expander(f"{len(older)} earlier"):
            for each in older:
                _batch(each)


def _compared(rises: DefectRises) -> str:
    """Whether a rise is named, and what was compared."""
    if not rises.compared:
        return f"Nothing was graded before {day(rises.since)}: no rise can be seen yet."
    named = "" if rises.rises else "No defect is named in more batches than before. "
    return (
        f"{named}Batches graded from {day(rises.since)} on against those before; the chance that "
        f"any rise is named without cause in a year of {rises.looks} days of grading is "
        f"{percent(rises.alpha)} at most."
    )


def _batch(each: DefectBatch) -> None:
    row = st.container(horizontal=True, vertical_alignment="center")
    told = f"{plain(each.defect)}, named by {each.by} of {several(each.graders, 'grader')}"
    row.markdown(f"**{plain(each.batch)}**, {day(each.held_on)}: {told}")
    key = f"defect-{each.batch}-{each.defect}"
    way("Open", key, "batch", batch=each.batch, primary=False, place=row)

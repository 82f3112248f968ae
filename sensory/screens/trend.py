"""How do the batches run? The chart of a product, its signals, and the month for management."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial

import pandas as pd
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from ..release.batch_causes import ProductCauses
from ..release.batch_desk import IN_A_CHART, month_report, product_trend
from ..release.batch_records import BatchRecord, ProductRecord
from ..release.batch_trend import ProductTrend, attributes_of, line_title, materials_of
from ..release.cause_desk import product_causes
from ..release.charted import Charted
from ..release.defect_rates import defect_rises
from ..release.month import months_to
from ..release.plant_desk import the_plant
from ..release.product_desk import rule_of
from ..release.rule import ReleaseRule
from ..release.signal_desk import (
    Signal,
    acknowledge,
    baseline,
    graded_of_a_year,
    keep_baseline,
    signals_of,
    signals_of_rises,
)
from ..report.trend_drawn import trend_sentences
from ..report.trend_figures import trend_figure, trend_words
from ..report.words import number
from .ask import asked
from .causes import causes_in_full, causes_part
from .frame import acting, chosen_batch, day, desk, plain, shown_errors
from .line_graders import defects_part
from .parts import (
    act,
    choose,
    download,
    listed,
    paged,
    scroll,
    show_figure,
    show_table,
    side_by_side,
    way,
)
from .worker import pdf_of

_WIDE, _HIGH, _LISTED, _LINES = 600, 260, 3, "lines"
_IN_FULL = "Causes in full"
# Narrow windows scroll a chart that is wider.
_STYLE = """<style>
.st-key-trend-figure { overflow-x: auto; }
</style>"""
_SPANS = {"the last 12 months": 365, "the last 3 months": 92, "everything": 0}


def page() -> None:
    """Choose product and span; chart, sentences, batches that stand out, the month."""
    st.title("Trend")
    with shown_errors():
        ruled = {
            record.name: record
            for record in desk().nouns(ProductRecord)
            if record.product.release_rule
        }
        if not ruled:
            st.info("No product with a release rule is on record yet.")
            way("To the batches", "to-batches", "batches")
            return
        # At first the product of the batch looked at last.
        batch = desk().noun(BatchRecord, chosen_batch()) if chosen_batch() else None
        now = batch.batch.product if batch else None
        row = st.container(horizontal=True, vertical_alignment="bottom")
        record = ruled[choose("Product", list(ruled), now, "trend-product", place=row)]
        rule = rule_of(record)
        if rule is not None:
            _charted(record, rule, row)


def _charted(record: ProductRecord, rule: ReleaseRule, row: DeltaGenerator) -> None:
    latest = desk().batches(product=record.name, most=IN_A_CHART)
    if not latest:
        st.info("No batch of this product is on record yet.")
        return
    end = latest[-1].batch.made_on
    names, attribute = attributes_of(latest, rule), ""
    days = _SPANS[str(row.selectbox("Span", list(_SPANS), key="trend-span"))]
    since = (date.fromisoformat(end) - timedelta(days=days)).isoformat() if days else ""
    if len(names) > 1:
        attribute = str(row.selectbox("Attribute", names, key="trend-attribute"))
    materials = materials_of(latest, the_plant(desk()))
    sources = {f"suppliers or lots of {name}": name for name in materials}
    beside = row.selectbox("Side by side", [_LINES, *sources], key="trend-beside")
    kept = baseline(record, latest) or 0
    base = row.number_input(
        "Baseline batches (0: all)",
        min_value=0,
        max_value=200,
        value=kept,
        key=f"trend-base-{record.name}",
        help=asked("baseline"),
    )
    if base != kept:
        keep = partial(keep_baseline, desk(), record.name, int(base), who=acting())
        act("Keep this baseline", "keep-baseline", keep, place=row)
    source, usual = sources.get(str(beside), ""), int(base) or None
    total = desk().how_many(product=record.name, since=since)
    skip = paged(total, IN_A_CHART, "trend-page")
    span = partial(product_trend, desk(), record.name, since=since, most=IN_A_CHART, skip=skip)
    trend = span(attribute=attribute, beside=source, base=usual)
    causes = None
    if rule.by != "votes":
        causes = product_causes(desk(), record.name, attribute=attribute)
    graded = graded_of_a_year(desk(), record.name, latest)
    rises = defect_rises(graded)
    left, right = side_by_side("trend", [5, 3], gap="medium")
    with left:
        _drawn(trend)
    with right:
        if causes is not None:
            causes_part(causes)
        if trend.shown is not None or rises.since:
            _signals(record, [*signals_of_rises(rises, record), *signals_of(trend, record)])
    if trend.shown is not None:
        _told(trend, trend.shown, causes)
    elif causes is not None and causes.result is not None:
        with st.expander(_IN_FULL):
            causes_in_full(causes, causes.result)
    defects_part(graded, rises)
    _month(record, end)


def _drawn(trend: ProductTrend) -> None:
    """The chart, or why there is none."""
    if trend.shown is None:
        st.info(" ".join(map(plain, trend.remarks)) or "No batch has a finding yet.")
        return
    st.html(_STYLE)
    if (figure := trend_figure(trend, width=_WIDE, height=_HIGH)) is not None:
        show_figure("trend-figure", figure, trend_words(trend), "content")
        if trend.marks:
            st.markdown("▴ at the foot: a lot changed. Dotted upright line: the reference changed.")


def _told(trend: ProductTrend, chart: Charted, causes: ProductCauses | None) -> None:
    """What the chart shows, in view; what it cannot tell, and all numbers, one tap away."""
    shows, not_told, each_line, numbers, full = st.tabs(
        ["What it shows", "What it cannot tell", "Line by line", "Numbers", _IN_FULL]
    )
    with shows:
        listed(trend_sentences(trend))
    with not_told:
        listed(chart.cannot_tell)
    with each_line:
        listed(trend.says())
    with numbers:
        if len(chart.lines) > 1:
            _levels(chart.lines)
        scroll(chart.summary(), 380)
    with full:
        if causes is not None and causes.result is not None:
            causes_in_full(causes, causes.result)
        else:
            st.markdown("No cause can be sought in these batches yet.")


def _levels(lines: pd.DataFrame) -> None:
    of = "estimate" if "estimate" in lines else "dprime"
    st.markdown("**Where each lies**")
    show_table(
        [
            {
                "": plain(line_title(row["line"])),
                "batches": str(row["batches"]),
                "mean" if of == "estimate" else "d-prime": number(float(row[of])),
                "95 % limits": f"{number(float(row['low']))} to {number(float(row['high']))}",
            }
            for row in lines.sort_values(of, ascending=False).to_dict("records")
        ]
    )


def _signals(record: ProductRecord, signals: Sequence[Signal]) -> None:
    """Open signals, each to be opened or acknowledged; those acknowledged are folded."""
    still = [signal for signal in signals if signal.known is None]
    known = [signal for signal in signals if signal.known is not None]
    st.subheader("Batches with signals")
    if not still:
        st.markdown("None is open.")
    newest = sorted(still, key=lambda signal: signal.date, reverse=True)
    for signal in newest[:_LISTED]:
        _signal(record, signal)
    if earlier := newest[_LISTED:]:
        with st.expander(f"{len(earlier)} earlier signals"):
            for signal in earlier:
                _signal(record, signal)
    if known:
        with st.expander(f"Acknowledged ({len(known)})"):
            listed(
                f"{signal.batch}: {signal.says}. {signal.known.cause} ({signal.known.by}, "
                f"{day(signal.known.on)})"
                for signal in known
                if signal.known
            )


def _signal(record: ProductRecord, signal: Signal) -> None:
    """What it says, the way to its batch, and to acknowledge it."""
    batch, line = plain(signal.batch), plain(signal.line)
    row = st.container(horizontal=True, vertical_alignment="center")
    row.markdown(f"**{batch}**{f', {line}' if line else ''}: {plain(signal.says)}")
    key = f"{signal.place}-{signal.batch}"
    way("Open", f"signal-{key}", "batch", batch=signal.batch, primary=False, place=row)
    with row.popover("Acknowledge", key=f"known-{key}"):
        _acknowledged(record, signal, key)


def _acknowledged(record: ProductRecord, signal: Signal, key: str) -> None:
    """The cause and the name with which a signal leaves the lists."""
    cause = st.text_input("What explains it?", key=f"cause-{key}")
    by = st.text_input("Name", value=acting(), key=f"by-{key}")
    keep = partial(acknowledge, desk(), record.name, signal, cause=cause, who=by)
    act("Acknowledge signal", f"acknowledge-{key}", keep, primary=True)


def _month(record: ProductRecord, end: str) -> None:
    st.subheader("The month on two pages, for management")
    row = st.container(horizontal=True, vertical_alignment="bottom")
    month = str(row.selectbox("Month", months_to(end[:7])[::-1], key="month", width=240))
    report = month_report(desk(), record.name, month)
    label, file = f"Month {month}, PDF", f"month-{month}.pdf"
    download(label, partial(pdf_of, report), file, "month-pdf", place=row)
    with st.expander("The month in sentences"):
        listed(report.says())

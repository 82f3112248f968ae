"""How do the batches run? The chart of a product, its signals, and the month for management."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from functools import partial

import pandas as pd
import streamlit as st

from ..release.batch_desk import IN_A_CHART, month_report, product_trend
from ..release.batch_records import BatchRecord, ProductRecord
from ..release.batch_trend import ProductTrend, attributes_of, line_title, materials_of
from ..release.month import months_to
from ..release.plant_desk import the_plant
from ..release.product_desk import rule_of
from ..release.rule import ReleaseRule
from ..release.signal_desk import (
    Signal,
    acknowledge,
    baseline,
    keep_baseline,
    signals_of,
)
from ..report.trend_drawn import trend_sentences
from ..report.trend_figures import trend_figure, trend_words
from ..report.words import number
from .ask import asked
from .causes import causes_part
from .frame import acting, chosen_batch, day, desk, plain, shown_errors
from .parts import act, choose, download, listed, paged, scroll, show_figure, show_table, way
from .worker import pdf_of

_WIDE, _HIGH, _LISTED, _LINES = 1000, 260, 5, "lines"
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
        record = ruled[choose("Product", list(ruled), now, "trend-product")]
        rule = rule_of(record)
        if rule is not None:
            _charted(record, rule)


def _charted(record: ProductRecord, rule: ReleaseRule) -> None:
    latest = desk().batches(product=record.name, most=IN_A_CHART)
    if not latest:
        st.info("No batch of this product is on record yet.")
        return
    end = latest[-1].batch.made_on
    names, attribute = attributes_of(latest, rule), ""
    several = len(names) > 1
    first, *second, third, fourth = st.columns(4 if several else 3)
    days = _SPANS[str(first.selectbox("Span", list(_SPANS), key="trend-span"))]
    since = (date.fromisoformat(end) - timedelta(days=days)).isoformat() if days else ""
    if several:
        attribute = str(second[0].selectbox("Attribute", names, key="trend-attribute"))
    materials = materials_of(latest, the_plant(desk()))
    sources = {f"suppliers or lots of {name}": name for name in materials}
    beside = third.selectbox("Side by side", [_LINES, *sources], key="trend-beside")
    kept = baseline(record, latest) or 0
    base = fourth.number_input(
        "Baseline batches (0: all)",
        min_value=0,
        max_value=200,
        value=kept,
        key=f"trend-base-{record.name}",
        help=asked("baseline"),
    )
    if base != kept:
        keep = partial(keep_baseline, desk(), record.name, int(base), who=acting())
        act("Keep this baseline", "keep-baseline", keep, place=fourth)
    source, usual = sources.get(str(beside), ""), int(base) or None
    total = desk().how_many(product=record.name, since=since)
    skip = paged(total, IN_A_CHART, "trend-page")
    span = partial(product_trend, desk(), record.name, since=since, most=IN_A_CHART, skip=skip)
    trend = span(attribute=attribute, beside=source, base=usual)
    _drawn(trend)
    causes_part(record.name, attribute)
    _shown(record, trend)
    _month(record, end)


def _drawn(trend: ProductTrend) -> None:
    """The chart, or why there is none."""
    if trend.shown is None:
        st.info(" ".join(map(plain, trend.remarks)) or "No batch has a finding yet.")
        return
    st.html("<style>.st-key-trend-figure { overflow-x: auto; }</style>")  # narrow windows scroll
    if (figure := trend_figure(trend, width=_WIDE, height=_HIGH)) is not None:
        show_figure("trend-figure", figure, trend_words(trend), "content")
        if trend.marks:
            st.markdown("▴ at the foot: a lot changed. Dotted upright line: the reference changed.")


def _shown(record: ProductRecord, trend: ProductTrend) -> None:
    if (chart := trend.shown) is None:
        return
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.subheader("What it shows")
        listed(trend_sentences(trend))
    with right:
        if len(chart.lines) > 1:
            _levels(chart.lines)
        _signals(record, signals_of(trend, record))
    with st.expander("What it cannot tell"):
        listed(chart.cannot_tell)
    with st.expander("Every sentence, line by line"):
        listed(trend.says())
    with st.expander("The numbers of each batch"):
        scroll(chart.summary(), 380)


def _levels(lines: pd.DataFrame) -> None:
    of = "estimate" if "estimate" in lines else "dprime"
    st.subheader("Where each lies")
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
    st.markdown(f"**{batch}**{f', {line}' if line else ''}: {plain(signal.says)}")
    row = st.container(horizontal=True)
    key = f"{signal.line or 'shift'}-{signal.batch}"
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
    month = str(st.selectbox("Month", months_to(end[:7])[::-1], key="month"))
    report = month_report(desk(), record.name, month)
    listed(report.says())
    download(f"Month {month}, PDF", partial(pdf_of, report), f"month-{month}.pdf", "month-pdf")

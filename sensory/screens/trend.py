"""How do the batches run? The chart of a product, its signals, and the month for management."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial

import pandas as pd
import streamlit as st

from ..release.batch_desk import IN_A_CHART, month_report, product_trend, usual_base
from ..release.batch_records import BatchRecord, ProductRecord
from ..release.batch_trend import ProductTrend, attributes_of, line_title, materials_of
from ..release.month import months_to
from ..release.plant_desk import the_plant
from ..release.product_desk import rule_of
from ..release.rule import ReleaseRule
from ..release.trend_words import by_itself
from ..report.trend_figures import trend_figure, trend_words
from ..report.words import number
from .frame import chosen_batch, desk, plain, shown_errors
from .parts import choose, download, listed, paged, scroll, show_figure, show_table, way
from .worker import pdf_of

_WIDE, _LISTED, _LINES = 1000, 20, "lines"
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
    first, second, third, fourth = st.columns(4)
    days = _SPANS[str(first.selectbox("Span", list(_SPANS), key="trend-span"))]
    since = (date.fromisoformat(end) - timedelta(days=days)).isoformat() if days else ""
    names, attribute = attributes_of(latest, rule), ""
    if len(names) > 1:
        attribute = str(second.selectbox("Attribute", names, key="trend-attribute"))
    materials = materials_of(latest, the_plant(desk()))
    sources = {f"suppliers or lots of {name}": name for name in materials}
    beside = third.selectbox("Side by side", [_LINES, *sources], key="trend-beside")
    base = fourth.number_input(
        "Batches that set what is usual (0: all)",
        min_value=0,
        max_value=200,
        value=usual_base(latest) or 0,
        key="trend-base",
        help="The first ones of each line. With all of them a change widens the limits that "
        "should show it.",
    )
    source, usual = sources.get(str(beside), ""), int(base) or None
    total = desk().how_many(product=record.name, since=since)
    skip = paged(total, IN_A_CHART, "trend-page")
    span = partial(product_trend, desk(), record.name, since=since, most=IN_A_CHART, skip=skip)
    _shown(span(attribute=attribute, beside=source, base=usual))
    _month(record, end)


def _shown(trend: ProductTrend) -> None:
    if (chart := trend.result) is None:
        st.info(" ".join(map(plain, trend.remarks)) or "No batch has a finding yet.")
        return
    st.html("<style>.st-key-trend-figure { overflow-x: auto; }</style>")  # narrow windows scroll
    if (figure := trend_figure(trend, width=_WIDE)) is not None:
        show_figure("trend-figure", figure, trend_words(trend), "content")
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.subheader("What it shows")
        listed(trend.says())
        st.subheader("What it cannot tell")
        listed(chart.cannot_tell)
    with right:
        if len(chart.lines) > 1:
            _levels(chart.lines)
        _signals(chart.signals)
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


def _signals(signals: pd.DataFrame) -> None:
    st.subheader("Batches that stand out")
    alone: dict[tuple[str, str], list[str]] = {}
    for row in signals.to_dict("records"):
        if by_itself(str(row["signal"])):
            key = str(row["batch"]), str(row["line"])
            alone.setdefault(key, []).append(str(row["signal"]))
    if not alone:
        st.markdown("None by itself.")
    for (batch, line), shown in list(alone.items())[-_LISTED:]:
        words, button = st.columns([2, 1], vertical_alignment="center")
        words.markdown(f"**{plain(batch)}**, {plain(line)}: {plain('; '.join(shown))}")
        label = f"signal-{line}-{batch}"
        way("Open", label, "batch", batch=batch, primary=False, place=button)
    if len(alone) > _LISTED:
        st.markdown(f"and {len(alone) - _LISTED} earlier ones, in the numbers below")


def _month(record: ProductRecord, end: str) -> None:
    st.subheader("The month on two pages, for management")
    month = str(st.selectbox("Month", months_to(end[:7])[::-1], key="month"))
    report = month_report(desk(), record.name, month)
    listed(report.says())
    download(f"Month {month}, PDF", partial(pdf_of, report), f"month-{month}.pdf", "month-pdf")

"""How do the batches run? The chart of a product, its signals, and the month for management."""

from __future__ import annotations

from datetime import date, timedelta

import streamlit as st

from ..release.batch_desk import month_report, product_trend, usual_base
from ..release.batch_records import BatchRecord, ProductRecord
from ..release.batch_trend import ProductTrend, attributes_of, line_title, materials_of
from ..release.month import months_to
from ..release.product_desk import Desk, rule_of
from ..release.rule import ReleaseRule
from ..release.trend_words import by_itself
from ..report.trend_figures import trend_figure, trend_words
from ..report.words import number
from .frame import chosen_batch, current_frame, go, plain, shown_errors
from .worker import pdf_of

_WIDE, _LISTED, _LINES = 1000, 20, "lines"
_SPANS = {"the last 12 months": 365, "the last 3 months": 92, "everything": 0}


def page() -> None:
    """Choose product and span; chart, sentences, batches that stand out, the month."""
    st.title("How do the batches run?")
    desk = current_frame().store
    with shown_errors():
        ruled = [one for one in desk.nouns(ProductRecord) if one.product.release_rule]
        if not ruled:
            st.info("No product with a release rule is on record yet.")
            if st.button("To the batches", key="to-batches", type="primary"):
                go("batches")
            return
        record = _product(desk, ruled)
        rule = rule_of(record)
        if rule is not None:
            _charted(desk, record, rule)


def _product(desk: Desk, ruled: list[ProductRecord]) -> ProductRecord:
    """The product chosen; at first that of the batch looked at last."""
    batch = desk.noun(BatchRecord, chosen_batch()) if chosen_batch() else None
    names = [one.name for one in ruled]
    at = names.index(batch.batch.product) if batch and batch.batch.product in names else 0
    chosen = st.selectbox("Product", names, index=at, key="trend-product")
    return ruled[names.index(str(chosen))]


def _charted(desk: Desk, record: ProductRecord, rule: ReleaseRule) -> None:
    latest = desk.batches(product=record.name, most=400)
    if not latest:
        st.info("No batch of this product is on record yet.")
        return
    end = latest[-1].batch.made_on
    first, second, third, fourth = st.columns(4)
    span = first.selectbox("Span", list(_SPANS), key="trend-span")
    days = _SPANS[str(span)]
    since = (date.fromisoformat(end) - timedelta(days=days)).isoformat() if days else ""
    names = attributes_of(latest, rule)
    attribute = ""
    if len(names) > 1:
        attribute = str(second.selectbox("Attribute", names, key="trend-attribute"))
    sources = {f"suppliers or lots of {one}": one for one in materials_of(latest)}
    chosen = third.selectbox("Side by side", [_LINES, *sources], key="trend-beside")
    base = fourth.number_input(
        "Batches that set what is usual (0: all)",
        min_value=0,
        max_value=200,
        value=usual_base(latest) or 0,
        key="trend-base",
        help="The first ones of each line. With all of them a change widens the limits that "
        "should show it.",
    )
    found = product_trend(
        desk,
        record.name,
        since=since,
        attribute=attribute,
        beside=sources.get(str(chosen), ""),
        base=int(base) or None,
    )
    _shown(found)
    _month(record, end)


def _shown(found: ProductTrend) -> None:
    if found.result is None:
        st.info(" ".join(map(plain, found.remarks)) or "No batch has a finding yet.")
        return
    st.html("<style>.st-key-trend-figure { overflow-x: auto; }</style>")  # narrow windows scroll
    with st.container(key="trend-figure"):
        chart = trend_figure(found, width=_WIDE)
        if chart is not None:
            st.altair_chart(chart, theme=None, width="content", alt=trend_words(found))
    left, right = st.columns([3, 2], gap="large")
    with left:
        st.subheader("What it shows")
        st.markdown("\n".join(f"- {plain(line)}" for line in found.says()))
        st.subheader("What it cannot tell")
        st.markdown("\n".join(f"- {plain(line)}" for line in found.result.cannot_tell))
    with right:
        _levels(found)
        _signals(found)
    with st.expander("The numbers of each batch"):
        rows = [
            {name: number(cell) for name, cell in row.items()}
            for row in found.result.table().records()
        ]
        st.dataframe(rows, hide_index=True, width="stretch", height=380)


def _levels(found: ProductTrend) -> None:
    """Where each line, supplier or lot lies, the farthest first."""
    if found.result is None or len(found.result.lines) < 2:
        return
    of = "estimate" if "estimate" in found.result.lines else "dprime"
    ordered = found.result.lines.sort_values(of, ascending=False)
    st.subheader("Where each lies")
    st.table(
        [
            {
                "": plain(line_title(row["line"])),
                "batches": str(row["batches"]),
                "mean" if of == "estimate" else "d-prime": number(float(row[of])),
                "95 % limits": f"{number(float(row['low']))} to {number(float(row['high']))}",
            }
            for row in ordered.to_dict("records")
        ],
        hide_index=True,
    )


def _signals(found: ProductTrend) -> None:
    """Batches that stand out by themselves, each with the way to it; then the weighted mean."""
    st.subheader("Batches that stand out")
    if found.result is None:
        return
    alone: dict[tuple[str, str], list[str]] = {}
    for row in found.result.signals.to_dict("records"):
        if by_itself(str(row["signal"])):
            key = str(row["batch"]), str(row["line"])
            alone.setdefault(key, []).append(str(row["signal"]))
    if not alone:
        st.markdown("None by itself.")
    for (batch, line), signals in list(alone.items())[-_LISTED:]:
        words, button = st.columns([2, 1], vertical_alignment="center")
        words.markdown(f"**{plain(batch)}**, {plain(line)}: {plain('; '.join(signals))}")
        if button.button("Open", key=f"signal-{line}-{batch}"):
            go("batch", batch=batch)
    if len(alone) > _LISTED:
        st.markdown(f"and {len(alone) - _LISTED} earlier ones, in the numbers below")


def _month(record: ProductRecord, end: str) -> None:
    st.subheader("The month on two pages, for management")
    months = months_to(end[:7])[::-1]
    chosen = str(st.selectbox("Month", months, key="month"))
    report = month_report(current_frame().store, record.name, chosen)
    st.markdown("\n".join(f"- {plain(line)}" for line in report.says()))
    st.download_button(
        f"Month {chosen}, PDF",
        lambda: pdf_of(report),
        f"month-{chosen}.pdf",
        "application/pdf",
        key="month-pdf",
        on_click="ignore",
    )

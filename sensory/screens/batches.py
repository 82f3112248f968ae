"""Which batch waits for what? The board of open batches, and the way to any batch."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import streamlit as st

from ..base.errors import RecordError
from ..release.batch_desk import board
from ..release.batch_records import BatchRecord, ProductRecord
from ..release.batches import Batch, RawLot
from ..release.prepared_year import load_year
from ..release.product_desk import enter_batch
from ..release.trend_words import batch_count
from .frame import current_frame, go, nameless, plain, shown_errors

_LISTED = 30
_FIRST_DECISIONS = ("decision", "the planned second tasting", "ballots", "tasting")


def page() -> None:
    """Find a batch, or see what the open ones wait for."""
    st.title("Which batch waits for what?")
    desk = current_frame().store
    with shown_errors():
        products = desk.nouns(ProductRecord)
        wanted = st.text_input(
            "Find a batch: number, raw-material lot, reference or product",
            key="find-batch",
            placeholder="as on the label of the bottle or on the complaint",
        )
        if wanted.strip():
            _results(desk.seek(wanted), wanted)
        elif products:
            _board(board(desk))
        if not products:
            _first_steps()
        else:
            _enter(products)


def _results(found: Sequence[BatchRecord], wanted: str) -> None:
    st.subheader(f"{batch_count(len(found))} for '{plain(wanted.strip())}'")
    if not found:
        st.markdown("Nothing holds these letters. A part of the number is enough.")
    _rows(found, "found")


def _board(records: Sequence[BatchRecord]) -> None:
    st.subheader(f"{batch_count(len(records))} open")
    if not records:
        st.markdown("Every batch on record is released, rejected or reworked.")
        return
    groups: dict[str, list[BatchRecord]] = {}
    for one in records:
        groups.setdefault(one.waits_for, []).append(one)
    for waits_for in sorted(groups, key=_urgency):
        st.markdown(f"#### Waits for {plain(waits_for)}")
        _rows(groups[waits_for], waits_for.replace(" ", "-"))


def _urgency(waits_for: str) -> tuple[int, str]:
    """Complaints first, then what is nearest to its end."""
    if "complaint" in waits_for:
        return -1, waits_for
    for place, words in enumerate(_FIRST_DECISIONS):
        if waits_for.startswith(words):
            return place, waits_for
    return len(_FIRST_DECISIONS), waits_for


def _rows(records: Sequence[BatchRecord], where: str) -> None:
    for one in records[:_LISTED]:
        _row(one, where)
    if len(records) > _LISTED:
        st.markdown(f"and {len(records) - _LISTED} more: write a part of the number above.")


def _row(one: BatchRecord, where: str) -> None:
    columns = st.columns([2, 3, 2, 2, 4, 1], vertical_alignment="center")
    number, product, made, line, found, button = columns
    number.markdown(f"**{plain(one.name)}**")
    product.markdown(plain(one.batch.product))
    made.markdown(f"made {one.batch.made_on}")
    line.markdown(plain(one.batch.line))
    found.markdown(plain(_said(one)))
    if button.button("Open", key=f"batch-{where}-{one.name}"):
        go("batch", batch=one.name)


def _said(one: BatchRecord) -> str:
    decision = one.decision
    if decision is not None:
        return f"{decision.disposition.value.lower()}: {decision.reason}"[:90]
    if one.recommended is not None and one.found is not None:
        return f"{one.found.heading}; {one.recommended.value.lower()} is recommended"
    return "not tasted"


def _first_steps() -> None:
    st.markdown("No product is on record yet.")
    left, right = st.columns(2, gap="large")
    with left, st.container(border=True):
        st.markdown(
            "**A year of an invented cordial**  \nTwo lines, some 120 batches, three things that "
            "went wrong. Takes a few seconds to load."
        )
        if st.button("Open the year", key="demo-year", type="primary"):
            with st.spinner("Putting a year on record"), shown_errors():
                load_year(current_frame().store, current_frame().demo, who="demo")
                st.rerun()
    with right, st.container(border=True):
        st.markdown(
            "**Your own product**  \nIts release rule and its reference come first, its batches "
            "after."
        )
        if st.button("To the products", key="to-product"):
            go("product")


def _enter(products: Sequence[ProductRecord]) -> None:
    with st.expander("Enter a batch that was made"):
        names = [one.name for one in products]
        first, second, third = st.columns(3)
        product = first.selectbox("Product", names, key="batch-product")
        number = second.text_input("Number of the batch", key="batch-number")
        made_on = third.date_input("Made on", value=date.today(), key="batch-made")
        line = first.text_input("Line", key="batch-line")
        amount = second.number_input("Amount", min_value=0.0, value=None, key="batch-amount")
        unit = third.text_input("Unit", value="kg", key="batch-unit")
        lots = st.text_area(
            "Raw-material lots, one a line: material; lot; supplier",
            key="batch-lots",
            placeholder="sweetener; SW-118; north mill",
        )
        rework = st.text_input("Rework of, batch numbers separated by commas", key="batch-rework")
        if st.button("Enter the batch", key="batch-enter", type="primary"):
            with shown_errors():
                batch = Batch(
                    number=number,
                    product=str(product),
                    made_on=made_on.isoformat(),
                    line=line.strip(),
                    amount=amount or None,
                    unit=unit.strip() if amount else "",
                    raw_lots=_lots(lots),
                    rework_of=tuple(part.strip() for part in rework.split(",") if part.strip()),
                )
                record = enter_batch(current_frame().store, batch, who=nameless())
                go("batch", batch=record.name)


def _lots(text: str) -> tuple[RawLot, ...]:
    lots = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        parts = [part.strip() for part in line.split(";")]
        if not 2 <= len(parts) <= 3:
            raise RecordError(
                f"Raw-material lots, line {number}: write material; lot; supplier (which may "
                f"be left out), as in sweetener; SW-118. Got {line.strip()!r}."
            )
        lots.append(RawLot(material=parts[0], lot=parts[1], supplier="".join(parts[2:])))
    return tuple(lots)

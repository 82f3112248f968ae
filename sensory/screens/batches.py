"""Open batches by next step, and the way to any batch."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import groupby

import streamlit as st

from ..base.errors import RecordError
from ..release.batch_desk import ON_A_PAGE, board
from ..release.batch_records import AGAIN, OPEN, BatchRecord, ProductRecord
from ..release.batches import Batch, RawLot
from ..release.complaint_desk import open_complaints
from ..release.product_desk import enter_batch
from ..release.trend_words import batch_count
from .frame import acting, day, desk, go, plain, shown_errors
from .parts import paged, pressed, way

_LISTED, _FOUND = 30, 50
_FIRST_DECISIONS = ("decision", "the planned second tasting", "ballots", "tasting")


def page() -> None:
    """Find a batch, or see what the open ones wait for."""
    st.title("Batches")
    with shown_errors():
        products = desk().nouns(ProductRecord)
        wanted = st.text_input(
            "Find a batch: number, raw-material lot, reference, product or cause",
            key="find-batch",
            placeholder="as on the label of the bottle or on the complaint",
        )
        if wanted.strip():
            _sought(wanted)
        elif products:
            total = desk().how_many(state=OPEN)
            st.subheader(f"{batch_count(total)} open")
            skip = paged(total, ON_A_PAGE, "board-page")
            _board(board(desk(), most=ON_A_PAGE, skip=skip))
            _complaints()
        if not products:
            _first_steps()
        else:
            _enter(products)


def _sought(wanted: str) -> None:
    within = bool(st.session_state.get("find-parts"))
    matching = desk().seek(wanted, most=_FOUND + 1, within=within)
    more, name = len(matching) > _FOUND, plain(wanted.strip())
    count = f"More than {batch_count(_FOUND)}" if more else batch_count(len(matching))
    st.subheader(f"{count} for '{name}'")
    if not matching:
        st.markdown("No match. A part of the number is enough.")
    elif more:
        st.markdown("Only the latest are listed: write more letters.")
    _rows(matching[:_FOUND], "found")
    st.checkbox("Also list batches that only contain these letters", key="find-parts")


def _board(records: Sequence[BatchRecord]) -> None:
    if not records:
        st.markdown("Every batch on record is released, rejected or reworked.")
    for awaited, waiting in groupby(sorted(records, key=_urgency), lambda each: each.next_in_words):
        st.markdown(f"#### {plain(awaited)}")
        _rows(list(waiting), awaited.replace(" ", "-"))


def _complaints() -> None:
    """Batches that are decided anew while somebody still sees to their complaint."""
    decided = [record for record in open_complaints(desk()) if not record.complained]
    if decided:
        st.markdown("#### Complaints not closed yet")
        _rows(decided, "complaints")


def _urgency(record: BatchRecord) -> tuple[int, str]:
    """Complaints first, then what is nearest to its end."""
    words = record.waits_for
    starts = [words.startswith(decision) for decision in _FIRST_DECISIONS]
    return -1 if "complaint" in words else [*starts, True].index(True), words


def _rows(records: Sequence[BatchRecord], where: str) -> None:
    for record in records[:_LISTED]:
        _row(record, where)
    if len(records) > _LISTED:
        st.markdown(f"and {len(records) - _LISTED} more: write a part of the number above.")


def _row(record: BatchRecord, where: str) -> None:
    batch = record.batch
    *columns, button = st.columns([2, 3, 2.2, 1.6, 4, 1.9], vertical_alignment="center")
    number, made = f"**{plain(record.name)}**", f"made {day(batch.made_on)}"
    texts = number, plain(batch.product), made, plain(batch.line), plain(_standing(record))
    for column, text in zip(columns, texts, strict=True):
        column.markdown(text)
    key = f"batch-{where}-{record.name}"
    way("Open", key, "batch", batch=record.name, primary=False, place=button)


def _standing(record: BatchRecord) -> str:
    if record.standing.startswith(AGAIN):
        return record.standing
    if decision := record.decision:
        return f"{decision.disposition.value.lower()}: {decision.reason}"[:90]
    if record.recommended is not None and record.found is not None:
        return f"{record.found_in_words}; {record.recommended.value.lower()} is recommended"
    return "not tasted"


def _first_steps() -> None:
    st.markdown(
        "No product is on record yet. Its release rule and its reference come first, its batches "
        "after."
    )
    way("Enter a product", "to-product", "product")


def _enter(products: Sequence[ProductRecord]) -> None:
    with st.expander("Enter a batch that was made"):
        names = [product.name for product in products]
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
        if pressed("Enter the batch", "batch-enter", primary=True):
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
                go("batch", batch=enter_batch(desk(), batch, who=acting()).name)


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

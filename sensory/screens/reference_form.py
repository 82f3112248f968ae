"""The form by which a new reference takes over, with its bridges."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from typing import Any

import streamlit as st

from ..base.findings import Finding
from ..release.batch_records import ProductRecord
from ..release.product_desk import compare_again, count_stock, take_over
from ..release.references import Bridge, Reference, ReferenceKind
from .frame import acting, desk, plain, shown_errors
from .parts import act, pressed

_NONE = "not compared"


def reference_form(record: ProductRecord) -> None:
    """A new reference; every one but the first is bridged to the one before and to the first."""
    first = not record.references
    with st.expander("The first reference" if first else "A new reference takes over"):
        typed = _fields(record)
        with shown_errors():
            bridges: dict[str, Any] = {} if first else _bridges(record, typed["name"])
            why = st.text_input("Reason", key=f"ref-why-{record.name}")
            ready = typed["name"] and why.strip()
            if pressed("It takes over", "ref-enter", primary=True, ready=ready):
                reference = Reference(product=record.name, **typed, **bridges)
                take_over(desk(), reference, who=acting(), why=why.strip())
                st.rerun()


def compared_again_form(record: ProductRecord) -> None:
    """The reference in use was compared with the first once more: its drift from that day on."""
    first = record.references[0]
    if record.in_use == first:
        return
    label = f"{plain(record.in_use)} was compared with the first again"
    with st.expander(label), shown_errors():
        bridge = _bridge(record, record.in_use, first, "the first, again", "again-")
        why = st.text_input("Why it was compared", key=f"again-why-{record.name}").strip()
        if pressed("Record the comparison", "again", ready=bridge is not None and why) and bridge:
            compare_again(desk(), bridge, who=acting(), why=why)
            st.rerun()


def stock_form(record: ProductRecord, reference: Reference) -> None:
    """How many servings are left, counted by hand: nothing is taken off by itself."""
    name = reference.name
    with st.expander(f"Count the stock of {plain(name)}"):
        key = f"stock-{record.name}"
        left = st.number_input("Servings left", 0.0, value=reference.stock, key=key)
        count = partial(count_stock, desk(), name, float(left or 0), who=acting())
        act("Record the count", "stock", count, ready=left is not None)


def _fields(record: ProductRecord) -> dict[str, Any]:
    key = record.name
    left, right = st.columns(2)
    name = left.text_input("Name of the reference", key=f"ref-name-{key}")
    kinds = [ReferenceKind.STORED_STABLE, ReferenceKind.FRESHLY_MADE]
    kind = right.selectbox(
        "Kind", kinds, format_func=lambda kind: kind.words, key=f"ref-kind-{key}"
    )
    made = left.date_input("Made on", value=date.today(), key=f"ref-made-{key}")
    until = right.date_input(
        "Usable until", value=date.today() + timedelta(days=180), key=f"ref-until-{key}"
    )
    storage = left.text_input("Stored how", key=f"ref-storage-{key}")
    batch = right.text_input("Taken from batch", key=f"ref-batch-{key}")
    stock = left.number_input("Servings in stock", 0.0, value=None, key=f"ref-stock-{key}")
    needed = right.number_input("Servings a tasting takes", 0.0, value=None, key=f"ref-need-{key}")
    return {
        "name": name.strip(),
        "kind": ReferenceKind(kind),
        "made_on": made.isoformat(),
        "usable_until": until.isoformat(),
        "storage": storage.strip(),
        "batch": batch.strip(),
        "stock": stock,
        "needed": needed,
    }


def _bridges(record: ProductRecord, name: str) -> dict[str, Bridge | None]:
    """One to the reference before and one to the first; the same one where they are the same."""
    before, first = record.references[-1], record.references[0]
    to_before = _bridge(record, name, before, "the one before")
    to_first = to_before if first == before else _bridge(record, name, first, "the first")
    return {"bridged_to_previous": to_before, "bridged_to_first": to_first}


def _bridge(record: ProductRecord, name: str, to: str, words: str, form: str = "") -> Bridge | None:
    key = f"{form}{to}-{record.name}"
    st.markdown(f"**Against {plain(to)}, {words}**")
    finding = st.selectbox("Finding", [_NONE, *(kind.value for kind in Finding)], key=f"br-{key}")
    left, right = st.columns(2)
    estimate = left.number_input("New less old, points", value=None, key=f"br-est-{key}")
    se = right.number_input("Standard error", 0.0, value=None, key=f"br-se-{key}")
    held_on = st.date_input("Compared on", value=date.today(), key=f"br-on-{key}")
    reason = st.text_input(
        "Reason, where similarity was not shown or nothing was compared", key=f"br-why-{key}"
    ).strip()
    if not name.strip() or (finding == _NONE and not reason):
        return None
    return Bridge(
        reference=name.strip(),
        to=to,
        held_on=held_on.isoformat(),
        finding=None if finding == _NONE else Finding(str(finding)),
        reason=reason,
        estimate=estimate,
        se=se,
    )

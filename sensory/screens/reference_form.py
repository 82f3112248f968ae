"""The form by which a new reference takes over, with its bridges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from typing import Any

import streamlit as st

from ..catalogue.tests import find_kind, kinds
from ..release.batch_records import ProductRecord
from ..release.product_desk import rule_of
from ..release.reference_desk import (
    bridging_sessions,
    compare_again,
    count_stock,
    open_comparison,
    take_over,
    tasted_bridge,
)
from ..release.references import Bridge, Reference, ReferenceKind
from ..sessions.session import StoredSession
from ..sessions.signing import Right
from .batch_forms import recorded
from .frame import acting, current_frame, desk, go, plain, shown_errors
from .parts import act, pressed
from .sign import Hand, hand


def reference_form(record: ProductRecord) -> None:
    """A new reference; every one but the first is bridged to the one before and to the first."""
    first = not record.references
    with st.expander("The first reference" if first else "A new reference takes over"):
        typed = _fields(record)
        with shown_errors():
            bridges: dict[str, Any] = {}
            by: Hand | None = None
            if not first:
                bridges = _bridges(record, typed["name"], typed["batch"])
                bridges, by = _decided(record, bridges)
            why = st.text_input("Reason", key=f"ref-why-{record.name}")
            ready = typed["name"] and why.strip() and (by is None or by.ready)
            if pressed("It takes over", "ref-enter", primary=True, ready=ready):
                reference = Reference(product=record.name, **typed, **bridges)
                if by is not None:
                    by.put_on_record()
                how = current_frame().how
                take_over(desk(), reference, who=acting(), why=why.strip(), how=how)
                recorded(f"ref-name-{record.name}", f"ref-why-{record.name}")


def compared_again_form(record: ProductRecord, known: Sequence[Reference]) -> None:
    """The reference in use was compared with the first once more: its drift from that day on."""
    first = record.references[0]
    if record.in_use == first:
        return
    label = f"{plain(record.in_use)} was compared with the first again"
    with st.expander(label), shown_errors():
        batch = next((each.batch for each in known if each.name == record.in_use), "")
        bridge = _bridge(record, record.in_use, batch, first, "the first, again", "again-")
        why = st.text_input("Why it was compared", key=f"again-why-{record.name}").strip()
        if pressed("Record the comparison", "again", ready=bridge is not None and why) and bridge:
            compare_again(desk(), bridge, who=acting(), why=why)
            st.rerun()


def stock_form(record: ProductRecord, reference: Reference) -> None:
    """How many servings are left, counted by hand; each tasting takes off what it needs."""
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


def _bridges(record: ProductRecord, name: str, batch: str) -> dict[str, Bridge | None]:
    """One to the reference before and one to the first; the same one where they are the same."""
    before, first = record.references[-1], record.references[0]
    to_before = _bridge(record, name, batch, before, "the one before")
    if first == before:
        return {"bridged_to_previous": to_before, "bridged_to_first": to_before}
    to_first = _bridge(record, name, batch, first, "the first")
    return {"bridged_to_previous": to_before, "bridged_to_first": to_first}


def _bridge(
    record: ProductRecord, name: str, batch: str, to: str, words: str, form: str = ""
) -> Bridge | None:
    """A bridge read off a session on record; without similarity, with who decided."""
    key = f"{form}{to}-{record.name}"
    st.markdown(f"**Against {plain(to)}, {words}**")
    sessions = {each.id: each for each in bridging_sessions(desk(), name, to, batch=batch)}
    read: Bridge | None = None
    with shown_errors():
        read = _read(record, sessions, (name, batch, to), key)
    if not sessions:
        st.markdown(
            f"No closed session on record compares {plain(name.strip() or 'the new reference')} "
            f"with {plain(to)}, sample A."
        )
    if read is not None:
        st.markdown(plain(read.words()))
    _open_comparison(record, name, batch, to, key)
    if (read is not None and read.similar) or form:
        return read
    return _exception(record, read, name.strip(), to, key)


def _read(
    record: ProductRecord, sessions: dict[str, StoredSession], of: tuple[str, str, str], key: str
) -> Bridge | None:
    """What the chosen session showed of the references named; None where none is chosen."""
    name, batch, to = of
    chosen = st.selectbox(
        "Session in which both were tasted",
        list(sessions),
        index=None,
        format_func=lambda id_: f"{sessions[id_].details.title or 'Untitled session'} ({id_[:8]})",
        key=f"br-session-{key}",
    )
    if chosen is None:
        return None
    margins = list(record.product.margins)
    attribute = st.selectbox(
        "Attribute in which the drift is followed (a profile only)",
        margins,
        index=None,
        key=f"br-attribute-{key}",
        help="The one that ages most. Steps of several references are added in it.",
    )
    more = {"batch": batch, "attribute": attribute or ""}
    return tasted_bridge(desk(), str(chosen), name.strip(), to, **more)


def _open_comparison(record: ProductRecord, name: str, batch: str, to: str, key: str) -> None:
    rule = rule_of(record)
    if rule is None:
        return
    tests = [rule.test]
    if record.product.margins:
        terms = {each.key: each.release for each in kinds()}
        tests += [test for test, each in terms.items() if each and each.by == "margins"]
    test = st.selectbox(
        "Not tasted yet: by which test?",
        list(dict.fromkeys(tests)),
        format_func=lambda test: find_kind(test).name,
        key=f"br-test-{key}",
    )
    if pressed("Open the comparison", f"br-open-{key}", ready=name.strip()):
        more = {"batch": batch, "test": str(test), "who": acting()}
        go("question", open_comparison(desk(), record.name, name, to, **more).id)


def _exception(
    record: ProductRecord, read: Bridge | None, name: str, to: str, key: str
) -> Bridge | None:
    """Why it takes over without similarity; None as long as that is not complete."""
    rule = rule_of(record)
    if rule is None:
        return read
    role = rule.decides
    label = f"Exception: {plain(role)} decided that it takes over without similarity"
    if not st.checkbox(label, key=f"br-role-{key}"):
        return read
    with st.container(border=True):
        st.markdown("The reason stands on every batch that is tasted against the new reference.")
        reason = st.text_input("Reason, such as: none is left", key=f"br-why-{key}").strip()
        on = st.date_input("Decided on", value=date.today(), key=f"br-on-{key}").isoformat()
    if not (reason and name):
        return read
    shown = read or Bridge(reference=name, to=to, held_on=on, reason=reason)
    return replace(shown, reason=reason)


def _decided(
    record: ProductRecord, bridges: dict[str, Bridge | None]
) -> tuple[dict[str, Bridge | None], Hand | None]:
    """The same with who decided the exceptions, and the hand of that person; None without any."""
    rule = rule_of(record)
    excepted = {which: each for which, each in bridges.items() if each and each.reason}
    if rule is None or not excepted:
        return bridges, None
    label, key, role = "Exception decided by", f"br-by-{record.name}", rule.decides
    by = hand(label, key, Right.DECIDE, role=role, asked=role)
    if not by.ready:
        return bridges, by
    own = {which: replace(each, decided_by=by.name, role=role) for which, each in excepted.items()}
    return bridges | own, by

"""Forms of a batch: clearance by food safety, declaration of allergens, a complaint."""

from __future__ import annotations

from datetime import date
from functools import partial

import streamlit as st

from ..release.batch_records import BatchRecord
from ..release.product_desk import clear_batch, record_complaint
from ..sessions.signing import Right
from .frame import desk, plain, shown_errors
from .parts import pressed
from .sign import Hand, hand

_RECORDED = "recorded"
_CLEARED, _NOT = "cleared for tasting and release", "NOT cleared"


def recorded(*keys: str) -> None:
    """Empty the fields of a form that was recorded, say so, and draw the page anew."""
    for key in keys:
        st.session_state.pop(key, None)
    st.session_state[_RECORDED] = True
    st.rerun()


def say_recorded() -> None:
    """Say that the form of the run before was recorded."""
    if st.session_state.pop(_RECORDED, False):
        st.toast("Recorded.")


def clearance_form(record: BatchRecord, *, folded: bool) -> None:
    """What food safety decided, and which allergens are declared."""
    with st.expander("Change the clearance" if folded else "Enter it", expanded=not folded):
        food, allergens = st.columns(2, gap="large")
        with food:
            _food_safety(record)
        with allergens:
            _allergens(record)


def _food_safety(record: BatchRecord) -> None:
    name, choices = record.name, [_CLEARED, _NOT]
    decided = st.radio("Food safety has decided", choices, index=None, key=f"safe-{name}")
    by = hand("Decided by", f"safe-by-{name}", Right.CLEAR, role="food safety")
    on = st.date_input("On", value=date.today(), key=f"safe-on-{name}")
    ready = decided is not None and by.ready
    if pressed("Record the clearance", "safe", primary=True, ready=ready):
        _clear(name, "safe", by, on, food_safe=decided == _CLEARED)


def _allergens(record: BatchRecord) -> None:
    typed = st.text_input(
        "Allergens declared, separated by commas",
        key=f"allergens-{record.name}",
        placeholder="sulphites, or: none",
        help="'none' is a declaration. A new supplier can bring a new allergen under an old name.",
    )
    by = hand("Declared by", f"allergens-by-{record.name}", Right.CLEAR, role="food safety")
    on = st.date_input("Declared on", value=date.today(), key=f"allergens-on-{record.name}")
    names = tuple(part.strip() for part in typed.split(",") if part.strip())
    ready = names and by.ready
    if pressed("Record the declaration", "allergens", primary=True, ready=ready):
        none = [name.casefold() for name in names] == ["none"]
        _clear(record.name, "allergens", by, on, allergens=() if none else names)


def _clear(
    name: str,
    form: str,
    by: Hand,
    on: date,
    *,
    food_safe: bool | None = None,
    allergens: tuple[str, ...] | None = None,
) -> None:
    day, clear = on.isoformat(), partial(clear_batch, food_safe=food_safe, allergens=allergens)
    with shown_errors():
        by.put_on_record()
        clear(desk(), name, by=by.name, on=day, who=by.name, how=by.how)
        recorded(f"{form}-{name}", f"{form}-by-{name}")


def complaint_form(record: BatchRecord) -> None:
    """A complaint opens the batch again; it is not tasted until food safety has cleared it."""
    name = record.name
    with st.expander("A complaint names this batch"):
        st.markdown(
            f"Batch {plain(name)} will wait for food safety again. It is not tasted until "
            "it is cleared."
        )
        text = st.text_area(
            "What is complained of, without names and nothing about health",
            key=f"complaint-{name}",
            help="It stays in the journal and cannot be erased.",
        )
        on = st.date_input("Received on", value=date.today(), key=f"complaint-on-{name}")
        by = hand("Recorded by", f"complaint-by-{name}", None, role="panel leader")
        if pressed("Record the complaint", "complaint", ready=text.strip() and by.ready):
            with shown_errors():
                by.put_on_record()
                signed = {"who": by.name, "how": by.how}
                record_complaint(desk(), name, text, received_on=on.isoformat(), **signed)
                recorded(f"complaint-{name}", f"complaint-by-{name}")

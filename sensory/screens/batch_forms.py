"""Forms of a batch: clearance by food safety, declaration of allergens, a complaint."""

from __future__ import annotations

from datetime import date

import streamlit as st

from ..release.batch_records import BatchRecord
from ..release.product_desk import clear_batch, record_complaint
from .frame import current_frame, nameless, plain, shown_errors

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
    said = st.radio(
        "Food safety has decided", [_CLEARED, _NOT], index=None, key=f"safe-{record.name}"
    )
    by = st.text_input("Decided by", key=f"safe-by-{record.name}")
    on = st.date_input("On", value=date.today(), key=f"safe-on-{record.name}")
    ready = said is not None and by.strip()
    if st.button("Record the clearance", key="safe", disabled=not ready, type="primary"):
        with shown_errors():
            clear_batch(
                current_frame().store,
                record.name,
                food_safe=said == _CLEARED,
                by=by.strip(),
                on=on.isoformat(),
                who=nameless(),
            )
            recorded(f"safe-{record.name}", f"safe-by-{record.name}")


def _allergens(record: BatchRecord) -> None:
    typed = st.text_input(
        "Allergens declared, separated by commas",
        key=f"allergens-{record.name}",
        placeholder="sulphites, or: none",
        help="'none' is a declaration. A new supplier can bring a new allergen under an old name.",
    )
    by = st.text_input("Declared by", key=f"allergens-by-{record.name}")
    on = st.date_input("Declared on", value=date.today(), key=f"allergens-on-{record.name}")
    names = [part.strip() for part in typed.split(",") if part.strip()]
    if st.button(
        "Record the declaration",
        key="allergens",
        disabled=not (names and by.strip()),
        type="primary",
    ):
        with shown_errors():
            none = [one.casefold() for one in names] == ["none"]
            clear_batch(
                current_frame().store,
                record.name,
                allergens=() if none else tuple(names),
                by=by.strip(),
                on=on.isoformat(),
                who=nameless(),
            )
            recorded(f"allergens-{record.name}", f"allergens-by-{record.name}")


def complaint_form(record: BatchRecord) -> None:
    """A complaint opens the batch again; it is not tasted until food safety has cleared it."""
    with st.expander("A complaint names this batch"):
        st.markdown(
            f"Batch {plain(record.name)} will wait for food safety again. It is not tasted until "
            "it is cleared."
        )
        text = st.text_area(
            "What is complained of, without names and nothing about health",
            key=f"complaint-{record.name}",
            help="It stays in the journal and cannot be erased.",
        )
        on = st.date_input("Received on", value=date.today(), key=f"complaint-on-{record.name}")
        if st.button("Record the complaint", key="complaint", disabled=not text.strip()):
            with shown_errors():
                record_complaint(
                    current_frame().store,
                    record.name,
                    text,
                    received_on=on.isoformat(),
                    who=nameless(),
                )
                recorded(f"complaint-{record.name}")

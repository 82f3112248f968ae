"""Forms of a batch: clearance by food safety, declaration of allergens."""

from __future__ import annotations

from datetime import date
from functools import partial

import streamlit as st

from ..base.results import Table
from ..base.spelling import name_and_role
from ..release.batch_records import BatchRecord
from ..release.product_desk import clear_batch
from ..release.smelling import allow_smelling, open_smelling
from ..sessions.care import SUSPICIONS
from ..sessions.signing import Right
from .frame import acting, desk, go, plain, shown_errors
from .parts import pressed, show_table, way
from .sign import hand

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


def clearance_form(record: BatchRecord, now: Table, *, folded: bool) -> None:
    """What food safety decided, and which allergens are declared; `now`: as it is on record.

    Once it is complete it is one sentence, and the form is folded.
    """
    if folded:
        st.markdown(f"**Clearance:** {plain(_in_short(now))}")
    else:
        st.subheader("Clearance")
        show_table(now)
    with st.expander("Change the clearance" if folded else "Enter it", expanded=not folded):
        food, allergens = st.columns(2, gap="large")
        with food:
            _food_safety(record)
        with allergens:
            _allergens(record)


def _in_short(now: Table) -> str:
    """What each row of the clearance says, with who said it and when."""
    rows = []
    for what, words, *signed in now.texts():
        by = ", ".join(filter(None, signed))
        rows.append(f"{what}: {words}" + f" ({by})" * bool(by))
    return "; ".join(rows) + "."


def _food_safety(record: BatchRecord) -> None:
    name, choices = record.name, [_CLEARED, _NOT]
    decided = st.radio("Food safety has decided", choices, index=None, key=f"safe-{name}")
    under = record.clearance.suspected if record.clearance else ""
    suspected, safe = "", decided == _CLEARED
    if decided == _NOT:
        suspected = suspicion(f"safe-suspected-{name}", under)
    elif under:
        st.warning(f"{under.capitalize()} is suspected. What lifts the suspicion?")
    evidence = st.text_input(
        "What the decision rests on",
        key=f"safe-evidence-{name}",
        placeholder="such as: residue test passed",
    )
    by = hand("Decided by", f"safe-by-{name}", Right.CLEAR, role="food safety")
    on = st.date_input("On", value=date.today(), key=f"safe-on-{name}")
    ready = decided is not None and by.ready
    if pressed("Record the clearance", "safe", primary=True, ready=ready):
        with shown_errors():
            by.put_on_record()
            clear = partial(clear_batch, food_safe=safe, evidence=evidence, suspected=suspected)
            clear(desk(), name, by=by.name, on=on.isoformat(), who=by.name, how=by.how)
            recorded(f"safe-{name}", f"safe-by-{name}", f"safe-evidence-{name}")


def suspicion(key: str, now: str = "") -> str:
    """What is suspected; empty for nothing of the kind."""
    options = ["", *SUSPICIONS]
    chosen = st.radio(
        "Suspected",
        options,
        index=options.index(now),
        format_func=lambda kind: kind or "neither taint nor foreign matter",
        key=key,
        horizontal=True,
        help="Under such a suspicion the batch is not tasted.",
    )
    return str(chosen or "")


def smelling_form(record: BatchRecord) -> None:
    """A suspected batch is smelled only where food safety allows it, by name."""
    clearance = record.clearance
    if clearance is None or not clearance.suspected:
        return
    name = record.name
    st.error(
        f"{clearance.suspected.capitalize()} is suspected: batch {plain(name)} is **not tasted**."
    )
    for number, session in enumerate(record.smelled, start=1):
        way(f"To session {number} by smell", f"smelled-{session}", "question", session)
    with st.expander("Smelling only", expanded=not record.smelled):
        if clearance.smelling_by:
            allowed_by = name_and_role(clearance.smelling_by, clearance.smelling_role)
            allowed = f"{allowed_by} on {clearance.smelling_on}"
            st.markdown(f"Allowed by {plain(allowed)}. No release rests on it.")
            if pressed("Open session by smell", "open-smelling", primary=True):
                with shown_errors():
                    go("question", open_smelling(desk(), name, who=acting()).id)
            return
        label = "Food safety allows smelling: who?"
        by = hand(label, f"smell-by-{name}", Right.CLEAR, role="food safety")
        on = st.date_input("Allowed on", value=date.today(), key=f"smell-on-{name}")
        if pressed("Record the permission", "allow-smelling", ready=by.ready):
            with shown_errors():
                by.put_on_record()
                signed = {"by": by.name, "who": by.name, "how": by.how}
                allow_smelling(desk(), name, on=on.isoformat(), **signed)
                recorded(f"smell-by-{name}")


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
        with shown_errors():
            by.put_on_record()
            declare = partial(clear_batch, allergens=() if none else names, by=by.name, how=by.how)
            declare(desk(), record.name, on=on.isoformat(), who=by.name)
            recorded(f"allergens-{record.name}", f"allergens-by-{record.name}")

"""The form by which a second person confirms a decision, or sends it back."""

from __future__ import annotations

import streamlit as st

from ..base.spelling import same_person
from ..release.batch_records import BatchRecord, Decision
from ..release.rule import ReleaseRule
from ..release.second_person import confirm, take_back
from ..sessions.signing import Right
from .batch_forms import recorded
from .frame import current_frame, desk, plain, shown_errors
from .parts import pressed
from .sign import hand


def confirm_form(record: BatchRecord, proposed: Decision, rule: ReleaseRule) -> None:
    """What the first person decided, and what the second says to it."""
    name, asked = record.name, rule.decides
    st.subheader("Second person")
    st.markdown(
        f"Decided: **{proposed.disposition.value.lower()}**, by {plain(proposed.signers)}. "
        f"Reason: {plain(proposed.reason)}"
    )
    with st.container(border=True):
        person = current_frame().person
        first = person is not None and same_person(person.name) == same_person(proposed.decided_by)
        if first:
            st.info("You decided it: another person has to confirm the decision.")
        by = hand("Confirmed by", f"confirm-by-{name}", Right.DECIDE, role=asked, asked=asked)
        if pressed("Confirm decision", "confirm", primary=True, ready=by.ready and not first):
            with shown_errors():
                by.put_on_record()
                confirm(desk(), name, by=by.name, how=by.how)
                recorded(f"confirm-by-{name}")
        words = "Reason to take it back" if first else "Reason not to confirm"
        why = st.text_input(words, key=f"confirm-why-{name}")
        label = "Take back" if first else "Send back"
        if pressed(label, "send-back", ready=by.ready and why.strip()):
            with shown_errors():
                by.put_on_record()
                take_back(desk(), name, by=by.name, reason=why, how=by.how)
                recorded(f"confirm-by-{name}", f"confirm-why-{name}")

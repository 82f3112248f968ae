"""Complaints of a batch: recorded, looked into, closed."""

from __future__ import annotations

from datetime import date
from functools import partial

import streamlit as st

from ..base.spelling import name_and_role
from ..release.batch_records import BatchRecord, Complaint
from ..release.complaint_desk import close_complaint, look_into, record_complaint
from ..release.plant_desk import the_plant
from .batch_forms import recorded, suspicion
from .frame import acting, desk, plain, shown_errors
from .parts import act, pressed
from .sign import hand


def complaint_lines(record: BatchRecord) -> None:
    """Each complaint with what became of it."""
    for complaint in record.complaints:
        text = f"Complaint of {complaint.received_on}: {plain(complaint.text)}"
        if told := name_and_role(complaint.recorded_by, complaint.recorded_role):
            text += f" (recorded by {plain(told)})"
        if complaint.closed:
            by = plain(name_and_role(complaint.closed_by, complaint.closed_role))
            on = complaint.closed_on
            st.markdown(f"{text}. Closed on {on} by {by}: {_known(complaint)}")
            continue
        st.warning(f"{text}. {_known(complaint)}")
        if record.latest and record.latest.held_on < complaint.received_on:
            st.markdown("Its tasting is older than this complaint.")


def _known(complaint: Complaint) -> str:
    owner = complaint.owner or "nobody yet"
    parts = [f"Owner: {plain(owner)}", f"cause: {plain(complaint.cause or 'not named')}"]
    if complaint.action:
        parts.append(f"done: {plain(complaint.action)}")
    return "; ".join(parts) + "."


def complaint_forms(record: BatchRecord) -> None:
    """A form for each open complaint, and the one for a new complaint."""
    for place, complaint in enumerate(record.complaints, start=1):
        if not complaint.closed:
            _follow_up(record, place, complaint)
    _new(record)


def _follow_up(record: BatchRecord, place: int, complaint: Complaint) -> None:
    name, key = record.name, f"{place}-{record.name}"
    with st.expander(f"Follow up the complaint of {complaint.received_on}"):
        owner = st.text_input("Owner", value=complaint.owner, key=f"owner-{key}")
        causes = list(dict.fromkeys((*the_plant(desk()).causes, complaint.cause or "unknown")))
        at = causes.index(complaint.cause) if complaint.cause else None
        cause = st.selectbox("Cause", causes, index=at, key=f"complaint-cause-{key}")
        action = st.text_area("What was done", value=complaint.action, key=f"action-{key}")
        told = {"owner": owner, "cause": cause or "", "action": action, "who": acting()}
        act(
            "Save follow-up",
            f"look-into-{place}",
            partial(look_into, desk(), name, place, **told),
            ready=owner.strip(),
        )
        by = hand("Closed by", f"closed-by-{key}", None, role="panel leader")
        if record.complained:
            st.markdown(f"Decide {plain(name)} anew first; then the complaint can be closed.")

        def close() -> None:
            by.put_on_record()
            close_complaint(desk(), name, place, by=by.name, who=by.name, how=by.how)

        ready = by.ready and not record.complained
        act("Close complaint", f"close-complaint-{place}", close, ready=ready)


def _new(record: BatchRecord) -> None:
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
        suspected = suspicion(f"complaint-suspected-{name}")
        owner = st.text_input("Owner: who sees to it", key=f"complaint-owner-{name}")
        by = hand("Recorded by", f"complaint-by-{name}", None, role="panel leader")
        if pressed("Record the complaint", "complaint", ready=text.strip() and by.ready):
            with shown_errors():
                by.put_on_record()
                complain = partial(record_complaint, received_on=on.isoformat(), owner=owner)
                complain(desk(), name, text, suspected=suspected, who=by.name, how=by.how)
                typed = (f"complaint-{name}", f"complaint-owner-{name}", f"complaint-by-{name}")
                recorded(*typed)

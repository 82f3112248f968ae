"""May this batch go out? All about one batch, what it waits for, and the decision."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

import streamlit as st

from ..base.findings import Finding
from ..base.results import Table, several
from ..catalogue.tests import find_kind
from ..release.batch_desk import against_release, batch_file, decide, up_to_date
from ..release.batch_file import BatchFile, Kin
from ..release.batch_records import DONE, BatchRecord
from ..release.batches import Disposition
from ..release.tastings import attach, give_up, open_tasting
from ..release.trend_words import batch_count
from ..report.words import number
from ..sessions.session import ADVICE
from .batch_forms import clearance_form, complaint_form, recorded, say_recorded
from .finding import SIGNS
from .frame import chosen_batch, current_frame, go, nameless, plain, shown_errors
from .worker import pdf_of

_KIN_SHOWN = 12


def page() -> None:
    """Show one batch."""
    chosen = chosen_batch()
    say_recorded()
    if not chosen:
        st.title("May this batch go out?")
        st.info("Choose a batch first.")
        if st.button("To the batches", key="to-batches", type="primary"):
            go("batches")
        return
    with shown_errors():
        up_to_date(current_frame().store, chosen, who=nameless())
        file = batch_file(current_frame().store, chosen)
        _head(file)
        left, right = st.columns([3, 2], gap="large")
        with left:
            _next(file)
            _tastings(file)
            if file.record.decisions:
                st.subheader("Decisions")
                _table(file.decisions())
        with right:
            _origin(file)
            _kin(file.kin)
        _events(file)


def _head(file: BatchFile) -> None:
    record = file.record
    st.markdown(f"Batch **{plain(record.name)}**, {plain(record.batch.product)}")
    st.title(_headline(file), anchor=False)
    if record.waits_for:
        st.markdown(f"It waits for **{plain(record.waits_for)}**.")
    for one in record.complaints:
        st.warning(f"Complaint of {one.received_on}: {plain(one.text)}")
        if record.latest and record.latest.held_on < one.received_on:
            st.markdown("Its tasting is older than this complaint.")
    found = file.finding
    if file.why_none:
        st.warning(plain(file.why_none))
    if found is not None:
        if found.finding is not None:
            st.markdown(
                f"**Finding: {found.finding.heading}.** {SIGNS[found.finding]} "
                f"{found.finding.sentence}"
            )
        st.markdown("\n".join(f"- {plain(one)}" for one in found.reasons))
    st.download_button(
        "Everything about this batch, PDF",
        lambda: pdf_of(file),
        f"batch-{_file_name(record.name)}.pdf",
        "application/pdf",
        key="batch-pdf",
        on_click="ignore",
    )


def _headline(file: BatchFile) -> str:
    decision = file.record.decision
    if decision is not None and file.record.state == DONE:
        return f"Decided: {decision.disposition.value.lower()}"
    if file.finding is None:
        return "No recommendation yet"
    if decision is not None and decision.disposition is Disposition.HOLD:
        return "Held"
    if file.finding.finding is None:
        return "Not tasted: hold the batch"
    return file.finding.disposition.sentence


def _next(file: BatchFile) -> None:
    """The form of what it waits for, first; the others folded away."""
    record = file.record
    cleared = record.clearance is not None and record.clearance.complete
    st.subheader("Clearance")
    _table(file.clearance())
    clearance_form(record, folded=cleared or record.state == DONE)
    if record.state == DONE:
        complaint_form(record)
        return
    if cleared:
        _taste(file)
    if file.rule is not None:
        _decide(file)
    complaint_form(record)


def _taste(file: BatchFile) -> None:
    desk, record = current_frame().store, file.record
    waiting = [one for one in record.tastings if not one.over]
    if waiting:
        with st.container(border=True):
            st.markdown("Its tasting is open.")
            if st.button("To its session", key="to-tasting", type="primary"):
                go("question", waiting[0].session)
            why = st.text_input(
                "Give it up: reason, without names and nothing about health",
                key=f"give-up-{record.name}",
            )
            if st.button("Give the tasting up", key="give-up", disabled=not why.strip()):
                give_up(desk, record.name, waiting[0].session, who=nameless(), why=why)
                st.rerun()
        return
    if file.rule is None:
        return
    name = find_kind(file.rule.test).name
    again = bool(record.tastings)
    planned = record.recommended is Disposition.RETEST
    if file.rule.retest is not None and again and not planned and record.found is not None:
        st.markdown("Its tastings are over by the plan: there is no further one.")
        return
    label = f"Open {'the second' if planned else 'another' if again else 'its'} tasting: {name}"
    if again and not planned:
        st.markdown(
            "It was tasted. Another tasting was not planned: it counts, and its true risk is shown."
        )
    if st.button(
        label, key="open-tasting", type="secondary" if again and not planned else "primary"
    ):
        with shown_errors():
            session = open_tasting(desk, record.name, who=nameless())
            go("question", session.id)


def _decide(file: BatchFile) -> None:
    record, found, rule = file.record, file.finding, file.rule
    if rule is None:
        return
    against = against_release(record, found, file.why_none)
    shown = found is not None and (found.finding is not None or found.blocked)
    with st.expander("Decide", expanded=shown):
        st.markdown(f"Decides: **{plain(rule.decides)}**. {ADVICE}")
        offered = [
            one
            for one in Disposition
            if not (one is Disposition.RELEASE and against)
            and (one is not Disposition.RETEST or record.recommended is Disposition.RETEST)
        ]
        if against:
            st.markdown(f"Release is blocked: {plain(against)}")
        chosen = st.radio(
            "What is decided",
            offered,
            index=None,
            format_func=lambda one: one.value.capitalize(),
            horizontal=True,
            key=f"decide-{record.name}",
        )
        by = st.text_input("Name", key=f"decide-by-{record.name}")
        reason = st.text_input(
            "Reason",
            key=f"decide-why-{record.name}",
            help="It stays in the journal and cannot be erased: no names, nothing about health.",
        )
        sure = st.checkbox(f"I am {plain(rule.decides)}", key=f"decide-role-{record.name}")
        ready = chosen is not None and by.strip() and reason.strip() and sure
        if st.button("Record the decision", key="decide", type="primary", disabled=not ready):
            with shown_errors():
                decide(
                    current_frame().store,
                    record.name,
                    Disposition(str(chosen)),
                    by=by,
                    role=rule.decides,
                    reason=reason,
                )
                recorded(f"decide-{record.name}", f"decide-by-{record.name}")


def _tastings(file: BatchFile) -> None:
    st.subheader("Tastings")
    if not file.record.tastings:
        st.markdown("None yet.")
    else:
        _table(file.tastings())
        row = st.container(horizontal=True)
        for place, session in enumerate(file.sessions, start=1):
            words = "finding" if session.closed else "session"
            if row.button(f"To the {words} of tasting {place}", key=f"tasting-{session.id}"):
                go("finding" if session.closed else "ballots", session.id)
    _attach(file.record)


def _attach(record: BatchRecord) -> None:
    known = {one.session for one in record.tastings}
    with st.expander("A session on record was a tasting of this batch"):
        offered = {
            one.id: f"{one.details.title or 'Untitled session'} ({one.id[:8]})"
            for one in current_frame().store.sessions(200)
            if one.id not in known and one.agreed
        }
        chosen = st.selectbox(
            "Session",
            list(offered),
            index=None,
            format_func=lambda one: offered[one],
            key=f"attach-{record.name}",
        )
        if st.button("It was a tasting of this batch", key="attach", disabled=chosen is None):
            with shown_errors():
                attach(current_frame().store, record.name, str(chosen), who=nameless())
                st.rerun()


def _origin(file: BatchFile) -> None:
    st.subheader("Where it came from")
    _table(file.facts())
    if file.reference is not None:
        st.markdown(f"On {file.reference.today}:")
        st.markdown("\n".join(f"- {plain(line)}" for line in file.reference.says()))
    if st.button("To the trend of its product", key="to-trend"):
        go("trend", batch=file.record.name)


def _kin(kin: Sequence[Kin]) -> None:
    """Other batches of the same lots, with what was found in them."""
    if not kin:
        return
    st.subheader("Made of the same")
    for place, one in enumerate(kin):
        with st.expander(f"{plain(one.name)}: {batch_count(len(one.batches))} more"):
            found = [other.found for other in one.batches if other.found]
            off = sum(finding is Finding.DIFFERENT for finding in found)
            st.markdown(f"{off} of {len(found)} tasted were found different.")
            for other in one.batches[:_KIN_SHOWN]:
                _kin_row(other, place)
            if len(one.batches) > _KIN_SHOWN:
                st.markdown(f"and {len(one.batches) - _KIN_SHOWN} more: seek the lot on Batches.")


def _kin_row(other: BatchRecord, place: int) -> None:
    words, button = st.columns([2, 1], vertical_alignment="center")
    found = other.found.heading if other.found else "not tasted"
    decided = other.decision.disposition.value.lower() if other.decision else "open"
    words.markdown(f"{plain(other.name)}, {other.batch.made_on}: {found.lower()}, {decided}")
    if button.button("Open", key=f"kin-{place}-{other.name}"):
        go("batch", batch=other.name)


def _events(file: BatchFile) -> None:
    with st.expander(f"The journal of this batch: {several(len(file.journal), 'event')}"):
        # Cells of a grid are no markup: texts as they are.
        rows = [{name: str(cell) for name, cell in row.items()} for row in file.events().records()]
        st.dataframe(rows, hide_index=True, width="stretch", height=320)


def _table(table: Table) -> None:
    rows = [
        {name: plain(number(cell)) for name, cell in zip(table.columns, row, strict=True)}
        for row in table.rows
    ]
    st.table(rows, hide_index=True)


def _file_name(text: str) -> str:
    return "-".join(re.findall(r"[a-z0-9]+", text.lower()))[:60] or date.today().isoformat()

"""May this batch go out? All about one batch, what it waits for, and the decision."""

from __future__ import annotations

import re
from datetime import date
from functools import partial

import streamlit as st

from ..base.findings import Finding
from ..base.results import several
from ..catalogue.tests import find_kind
from ..release.batch_desk import (
    against_release,
    batch_file,
    cause_needed,
    decide,
    up_to_date,
)
from ..release.batch_file import BatchFile
from ..release.batch_records import AGAIN, DONE, BatchRecord
from ..release.batches import Disposition
from ..release.plant_desk import the_plant
from ..release.rule import ReleaseRule
from ..release.tastings import attach, give_up, open_tasting, sessions_to_attach
from ..release.trend_words import batch_count
from ..sessions.session import ADVICE
from ..sessions.signing import Right
from .batch_complaints import complaint_forms, complaint_lines
from .batch_forms import clearance_form, recorded, say_recorded, smelling_form
from .confirm_form import confirm_form
from .evidence import evidence_part
from .frame import acting, chosen_batch, current_frame, desk, go, plain, shown_errors
from .offered_sessions import offered_sessions
from .parts import SIGNS, act, download, listed, pressed, scroll, show_table, side_by_side, way
from .sign import hand
from .study import kept_studies
from .worker import pdf_of

_KIN_SHOWN = 12


def page() -> None:
    """Show one batch."""
    chosen = chosen_batch()
    say_recorded()
    if not chosen:
        st.title("Batch")
        st.info("Choose a batch first.")
        way("To the batches", "to-batches", "batches")
        return
    with shown_errors():
        up_to_date(desk(), chosen, who=acting())
        file = batch_file(desk(), chosen)
        _head(file)
        left, right = side_by_side("batch", [3, 2])
        with left:
            _next(file)
            _tastings(file)
            evidence_part("All tastings together", file.evidence, f"evidence-{file.record.name}")
            if file.record.decisions:
                st.subheader("Decisions")
                show_table(file.decisions())
        with right:
            _likely(file)
            _origin(file)
            _kin(file)
            kept_studies("batch-study", batch=file.record.name)
        with st.expander(f"The journal of this batch: {several(len(file.journal), 'event')}"):
            scroll(file.events(), 320)


def _head(file: BatchFile) -> None:
    record, shown = file.record, file.finding
    row = st.container(horizontal=True, vertical_alignment="center")
    row.markdown(f"Batch **{plain(record.name)}**, {plain(record.batch.product)}")
    name = "-".join(re.findall(r"[a-z0-9]+", record.name.lower()))[:60]
    name = f"batch-{name or date.today().isoformat()}.pdf"
    whole = "Everything about this batch, PDF"
    download(whole, partial(pdf_of, file), name, "batch-pdf", place=row)
    st.title(_headline(file), anchor=False)
    if record.waits_for:
        st.markdown(f"**{plain(record.next_in_words)}.**")
    complaint_lines(record)
    if file.why_none:
        st.warning(plain(file.why_none))
    if shown is not None:
        finding = shown.finding
        if shown.repeated:
            st.warning(plain(shown.headline))
        elif finding:
            st.markdown(f"**Finding: {finding.heading}.** {SIGNS[finding]} {finding.sentence}")
        listed(shown.reasons)


def _headline(file: BatchFile) -> str:
    decision, standing = file.record.decision, file.record.standing
    if standing.startswith(AGAIN):
        return f"{standing[:1].upper()}{standing[1:]}"
    if decision is not None and file.record.state == DONE:
        return f"Decided: {decision.disposition.value.lower()}"
    if (first := file.record.proposed) is not None:
        return f"Not confirmed yet: {first.disposition.value.lower()}"
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
    folded = cleared or record.state == DONE
    if not folded:
        clearance_form(record, file.clearance(), folded=False)
    smelling_form(record)
    if record.state != DONE:
        _taste_or_decide(file, cleared)
    if folded:
        clearance_form(record, file.clearance(), folded=True)
    complaint_forms(record)


def _taste_or_decide(file: BatchFile, cleared: bool) -> None:
    """The tasting comes first as long as it is planned; after it the decision."""
    record, rule = file.record, file.rule
    again = record.complained or record.recommended is Disposition.RETEST
    done = record.found is not None and not again and all(each.over for each in record.tastings)
    if cleared and not done:
        _taste(file)
    if rule is not None and record.proposed is not None:
        confirm_form(record, record.proposed, rule)
    elif rule is not None:
        _decide(file, rule)
    if cleared and done:
        with st.expander("Taste it again"):
            _taste(file)


def _taste(file: BatchFile) -> None:
    record, rule = file.record, file.rule
    waiting = [tasting for tasting in record.tastings if not tasting.over]
    if waiting:
        _waiting(record, waiting[0].session)
        return
    if rule is None:
        return
    again, planned = bool(record.tastings), record.recommended is Disposition.RETEST
    if rule.retest is not None and again and not planned and record.found is not None:
        st.markdown("The plan allows no further tasting.")
        return
    which = "the second" if planned else "another" if again else "its"
    unplanned = again and not planned
    if unplanned:
        st.markdown(
            "It was tasted. Another tasting was not planned: it counts, and its true risk is shown."
        )
    label = f"Open {which} tasting: {find_kind(rule.test).name}"
    if pressed(label, "open-tasting", primary=not unplanned):
        with shown_errors():
            go("question", open_tasting(desk(), record.name, who=acting()).id)


def _waiting(record: BatchRecord, session: str) -> None:
    with st.container(border=True):
        st.markdown("Its tasting is open.")
        way("To its session", "to-tasting", "question", session)
        why = st.text_input(
            "Cancel session: reason (no names, no health details)",
            key=f"give-up-{record.name}",
        )
        stop = partial(give_up, desk(), record.name, session, who=acting(), why=why)
        act("Give the tasting up", "give-up", stop, ready=why.strip())


def _decide(file: BatchFile, rule: ReleaseRule) -> None:
    record, shown = file.record, file.finding
    name, against = record.name, against_release(record, shown, file.why_none)
    opened = shown is not None and (shown.finding is not None or shown.blocked)
    with st.expander("Decide", expanded=opened):
        st.markdown(f"Decides: **{plain(rule.decides)}**. {ADVICE}")
        barred = {Disposition.RELEASE} if against else set()
        if record.recommended is not Disposition.RETEST:
            barred.add(Disposition.RETEST)
        if against:
            st.markdown(f"Release is blocked: {plain(against)}")
        chosen = st.radio(
            "What is decided",
            [disposition for disposition in Disposition if disposition not in barred],
            index=None,
            format_func=lambda disposition: disposition.value.capitalize(),
            horizontal=True,
            key=f"decide-{name}",
        )
        why, who = st.columns(2, gap="medium")
        reason = why.text_input(
            "Reason",
            key=f"decide-why-{name}",
            help="It stays in the journal and cannot be erased: no names, nothing about health.",
        )
        role, proven = rule.decides, current_frame().person is not None
        with who:
            by = hand("Name", f"decide-by-{name}", Right.DECIDE, role=role, asked=role)
        recommended = shown.disposition if shown else None
        needed = chosen is not None and cause_needed(Disposition(str(chosen)), recommended)
        with why:
            cause = _cause(name, needed)
        sure = proven or st.checkbox(f"I am {plain(role)}", key=f"decide-role-{name}")
        told = by.ready and reason.strip() and (cause or not needed)
        ready = chosen is not None and told and sure
        if pressed("Record the decision", "decide", primary=True, ready=ready):
            with shown_errors():
                by.put_on_record()
                what = Disposition(str(chosen))
                more = {"reason": reason, "cause": cause, "how": by.how}
                decide(desk(), name, what, by=by.name, role=role, **more)
                recorded(f"decide-{name}", f"decide-by-{name}", f"decide-cause-{name}")


def _cause(name: str, needed: bool) -> str:
    """What was wrong, from the plant's list; empty where nothing was chosen."""
    label = "Cause" if needed else "Cause, if the batch was off"
    causes, key = list(the_plant(desk()).causes), f"decide-cause-{name}"
    chosen = st.selectbox(label, causes, index=None, format_func=plain, key=key)
    return chosen or ""


def _tastings(file: BatchFile) -> None:
    st.subheader("Tastings")
    if not file.record.tastings:
        st.markdown("None yet.")
    else:
        show_table(file.tastings())
        row = st.container(horizontal=True)
        for place, session in enumerate(file.sessions, start=1):
            words, page = ("finding", "finding") if session.closed else ("session", "ballots")
            label, key = f"To the {words} of tasting {place}", f"tasting-{session.id}"
            way(label, key, page, session.id, primary=False, place=row)
        if file.comments:
            with st.expander(f"{several(len(file.comments), 'comment')} of assessors"):
                scroll(file.remarks())
    _attach(file.record)


def _attach(record: BatchRecord) -> None:
    name = record.name
    with st.expander("A session on record was a tasting of this batch"):
        there = sessions_to_attach(desk(), name)
        if not there:
            st.markdown("No other agreed session names this batch among its samples.")
            return
        offered = {
            session.id: f"{session.details.title or 'Untitled session'} ({session.id[:8]})"
            for session in offered_sessions(there, f"attach-{name}")
        }
        words = offered.__getitem__
        chosen = st.selectbox(
            "Session", list(offered), index=None, format_func=words, key=f"attach-{name}"
        )
        put = partial(attach, desk(), name, str(chosen), who=acting())
        act("It was a tasting of this batch", "attach", put, ready=chosen is not None)


def _origin(file: BatchFile) -> None:
    st.subheader("Where it came from")
    show_table(file.facts())
    if file.reference is not None:
        with st.expander(f"The reference on {file.reference.today}"):
            listed(file.reference.says())
    name = file.record.name
    way("To the trend of its product", "to-trend", "trend", batch=name, primary=False)


def _likely(file: BatchFile) -> None:
    """Causes that the batches of its year name and that this batch has."""
    if not file.causes:
        return
    st.subheader("Likely causes")
    listed(f"Most likely: {cause}" for cause in file.causes)
    st.markdown("They went with deviations in the batches of the year; more stands on Trend.")


def _kin(file: BatchFile) -> None:
    """What few batches share comes first, and within it the most telling batch."""
    if not file.kin:
        return
    st.subheader("Batches from the same lots")
    order = {sister.record.name: at for at, sister in enumerate(file.sisters())}
    for place, lot in enumerate(file.kin):
        with st.expander(f"{plain(lot.name)}: {batch_count(len(lot.batches))} more"):
            findings = [other.found for other in lot.batches if other.found]
            beyond = findings.count(Finding.BEYOND_LIMIT)
            off = beyond + findings.count(Finding.DIFFERENT)
            st.markdown(
                f"Of {len(findings)} tasted {off} were found different, {beyond} of them beyond "
                "the limit."
            )
            for other in sorted(lot.batches, key=lambda each: order[each.name])[:_KIN_SHOWN]:
                _kin_row(other, place)
            if len(lot.batches) > _KIN_SHOWN:
                st.markdown(f"and {len(lot.batches) - _KIN_SHOWN} more: seek the lot on Batches.")
            if lot.left:
                st.markdown(f"{batch_count(lot.left)} made earlier are not counted here.")


def _kin_row(other: BatchRecord, place: int) -> None:
    words, button = st.columns([2, 1], vertical_alignment="center")
    standing = f"{other.found_in_words.lower()}, {other.standing}"
    words.markdown(f"{plain(other.name)}, {other.batch.made_on}: {standing}")
    key = f"kin-{place}-{other.name}"
    way("Open", key, "batch", batch=other.name, primary=False, place=button)

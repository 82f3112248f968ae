"""What does the session show? The finding, its numbers, and what it cannot tell."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial

import streamlit as st

from ..base.results import several
from ..base.spelling import name_and_role
from ..base.version import __version__
from ..catalogue.outcome import QUANTITIES, NamedTable, Outcome, Places
from ..release.batches import Disposition
from ..release.tastings import open_tasting, reopen_and_note
from ..report.outcome_figures import (
    lines_figure,
    map_figure,
    outcome_figure,
    panel_figure,
    profile_figure,
)
from ..report.words import percent
from ..sessions.attempts import IN_TWO
from ..sessions.copies import copy_session
from ..sessions.finding import SessionReport, session_report
from ..sessions.in_short import panel_in_short
from ..sessions.session import ADVICE, StoredSession
from .ask import asked
from .downloads import downloads
from .frame import (
    CLOSING,
    acting,
    chosen_session,
    desk,
    go,
    minute,
    plain,
    shown_errors,
    who,
)
from .parts import SIGNS, act, listed, scroll, show_figure, show_table, way
from .served import show_served
from .step_bar import onward, session_head
from .training_session import closed_training

_LONG, _MOST = 14, 12


def page() -> None:
    """Show the finding of a closed session."""
    session = chosen_session()
    st.session_state.pop(CLOSING, None)
    if not session.closed:
        st.title("Finding")
        session_head(session)
        st.info(
            "Not yet: the finding is shown when the question is agreed and the ballots are closed."
        )
        onward(session)
        return
    session_head(session)
    with shown_errors():
        if session.question.training is not None:
            closed_training(session)
            return
        _shown(session)
    _open_again(session)


def _what_next(session: StoredSession) -> None:
    """The ways on: to the batch where it is decided, the planned second tasting, a copy."""
    planned = session.question.retest_rule == IN_TWO
    records = desk().linked("session", session.id)
    if len(records) > 1 and not planned:
        st.markdown(f"Tastings of batches **{plain(', '.join(each.name for each in records))}**.")
    for record in records if len(records) == 1 or planned else ():
        of_two = (
            " It is one of two of a plan: the counts of both decide, and what counts stands on "
            "the page Batch, not here."
        )
        st.markdown(f"A tasting of batch **{plain(record.name)}**.{of_two if planned else ''}")
    row = st.container(horizontal=True)
    for place, record in enumerate(records):
        second = record.recommended is Disposition.RETEST and record.waits_for
        if second:
            open_second = partial(_second, record.name)
            act("Open second tasting", "second-tasting", open_second, primary=True, place=row)
        key, first = f"to-batch-{record.name}", place == 0 and not second
        label = "To the batch" if len(records) == 1 else f"To {record.name}"
        way(label, key, "batch", batch=record.name, primary=first, place=row)
    act("Copy as new session", "copy-session", partial(_copy, session),
        primary=not records, place=row)  # fmt: skip


def _second(batch: str) -> None:
    go("question", open_tasting(desk(), batch, who=acting()).id)


def _copy(session: StoredSession) -> None:
    go("question", copy_session(desk(), session.id, who=acting()).id)


def _comments(report: SessionReport) -> None:
    rows = [{"sample or order": sample, "comment": text} for sample, text in report.comments]
    if rows:
        with st.expander(f"{several(len(rows), 'comment')} of assessors"):
            scroll(rows)


def _shown(session: StoredSession) -> None:
    report = session_report(desk(), session.id, version=__version__)
    outcome = report.outcome
    _head(report)
    _what_next(session)
    if outcome.panel_says:
        look = "Assessors who need a look" if outcome.panel else "Assessors"
        differences, assessors = st.tabs(["Differences" if outcome.panel else "Result", look])
        with differences:
            _picture(report)
        with assessors:
            _panel(outcome)
    else:
        _picture(report)
    downloads(report, _file_name(session))
    st.subheader("Limits of this result")
    listed(report.limits())
    _numbers(report)
    _comments(report)
    _agreed(report)


def _head(report: SessionReport) -> None:
    """The headline, what was agreed for it and who decides, and what it rests on."""
    head = report.headline
    st.title(f"{SIGNS[head.finding]}  {plain(head.words)}", anchor=False)
    action, decides = plain(head.action or "nothing"), plain(head.decides or "not stated")
    st.markdown(
        f"**Finding: {head.finding.heading}.** Agreed for this: **{action}**. "
        f"Decides: **{decides}**."
    )
    for warning in report.warnings:
        st.warning(plain(warning))
    if report.direction:
        st.markdown(
            f"Attribute: {plain(report.question.attribute)}; more expected in: {report.direction}."
        )
    if len(report.reasons) > 1:
        listed(report.reasons)
    else:
        st.markdown(plain(report.reasons[0]))


def _picture(report: SessionReport) -> None:
    outcome, figure = report.outcome, report.outcome.figure
    if figure is None:
        return
    show_figure("outcome-figure", outcome_figure(figure), outcome.words())
    if figure.says:
        st.markdown(figure.says, help=asked("limits"))
        return
    words = f"Points with {percent(figure.spans[0].limits.level)} limits"
    agreed = any(span.margin is not None for span in figure.spans)
    ticks = "; orange ticks: the agreed margin." if agreed else "."
    st.markdown(words + ticks, help=asked("margin" if agreed else "limits"))


def _numbers(report: SessionReport) -> None:
    """Every number and every limit in full, folded."""
    outcome, limits = report.outcome, report.cannot_tell()
    with st.expander("All numbers"):
        if outcome.means:
            words = "; ".join(
                f"{point.attribute}, {point.sample}: {point.estimate:.2f}"
                for point in outcome.means
            )
            show_figure("profile-figure", profile_figure(outcome), words)
        _tables(outcome.tables)
        if outcome.notes:
            st.subheader("How it was computed")
            listed(outcome.notes)
    if outcome.places is not None:
        _map(outcome.places)
    with st.expander(f"Limits in full ({len(limits)})"):
        listed(limits)


def _map(places: Places) -> None:
    with st.expander("Map of the samples"):
        words = "Samples on the first two principal axes; the numbers are below."
        show_figure("map-figure", map_figure(places), words, "content")
        st.markdown(
            "Principal components of the sample means, not standardised; ellipses are where the "
            f"sample would lie with other assessors ({percent(places.level)}). Dotted "
            "lines are the attributes. The map describes; it tests nothing."
        )
        _tables(places.tables)


def _panel(outcome: Outcome) -> None:
    """Which assessors need a look, with their picture; the rest of the scorecard folded."""
    short = panel_in_short(outcome)
    listed(short.says or ("None: no assessor stands out.",))
    if short.pictured.panel_lines:
        words = "Means of each assessor over the samples; disagreement is named above."
        show_figure("lines-figure", lines_figure(short.pictured), words, "content")
        st.markdown(
            "Each thin line is an assessor; samples are in the order of the panel mean. "
            "Lines that cross the others are disagreement."
        )
    with st.expander("The whole panel"):
        listed(short.others)
        if outcome.panel_lines:
            words = "Means of each assessor over the samples, attribute by attribute."
            show_figure("all-lines-figure", lines_figure(outcome), words, "content")
        if outcome.panel:
            words = "Agreement of each assessor with the others; the numbers are below."
            show_figure("panel-figure", panel_figure(outcome), words, "content")
            st.markdown(
                "Agreement is the correlation with the mean of the other assessors, on "
                "attributes that the panel as a whole discriminates."
            )
        _tables(outcome.panel_tables)


def _tables(tables: Sequence[NamedTable]) -> None:
    """Tables with their headings; long ones of other things than quantities scroll."""
    for heading, table in tables:
        of_p = any(name == "p" or name.startswith("p_") for name in table.columns)
        st.subheader(plain(heading), help=asked("p") if of_p else None)
        if len(table.rows) > _LONG and table.columns != QUANTITIES:
            scroll(table, 380)
        else:
            show_table(table)


def _agreed(report: SessionReport) -> None:
    """What was agreed and when, what the checks remarked, and what was done afterwards."""
    session = report.session
    agreed_by = name_and_role(session.agreed_by, session.agreed_role)
    with st.expander("What was agreed, and when"):
        st.markdown(
            f"- Agreed by {plain(agreed_by)}, {minute(session.agreed_at)}, with "
            f"{session.ballots_at_agreement} ballots entered by then\n"
            f"- Ballots closed {minute(session.closed_at)}"
        )
        for heading, lines in (
            ("Remarks of the checks", report.remarks),
            ("Done after the finding was seen", report.afterwards),
        ):
            if lines:
                st.subheader(heading)
                listed(lines, _MOST, ", in the record")
        show_served(report.served)
    st.markdown(ADVICE)


def _file_name(session: StoredSession) -> str:
    """Title and date of the session, in letters that every file system takes."""
    words = re.findall(r"[a-z0-9]+", f"{session.details.title} {session.details.held_on}".lower())
    return "-".join(words)[:60] or "session"


def _open_again(session: StoredSession) -> None:
    with st.expander("Reopen the ballots"):
        st.markdown(
            "Every change from here on is listed in the report as made after the finding was seen."
        )
        why = st.text_input("Reason", key=f"why-{session.id}")
        reopen = partial(reopen_and_note, desk(), session.id, who=who(session), why=why)
        act("Reopen ballots", "reopen", reopen, then=partial(go, "ballots"))

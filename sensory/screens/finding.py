"""What does the session show? The finding, its numbers, and what it cannot tell."""

from __future__ import annotations

import re

import streamlit as st

from ..base.findings import Finding
from ..base.results import several
from ..base.version import __version__
from ..catalogue.tests import find_kind
from ..release.tastings import reopen_and_note
from ..report.figures import interval_figure, interval_words
from ..report.sheets import table_csv
from ..report.words import number
from ..sessions.attempts import IN_TWO
from ..sessions.session import ADVICE, StoredSession
from ..sessions.summary import SessionSummary
from ..sessions.workflow import summarise
from .care import take_along
from .frame import CLOSING, chosen_session, current_frame, go, minute, plain, shown_errors, who
from .reading import reading_page
from .served import show_served
from .worker import pdf_of

_SHOWN = 12
_SIGNS = {
    Finding.DIFFERENT: "≠",
    Finding.SIMILAR: "≈",
    Finding.DIFFERENT_WITHIN_LIMIT: "≠ but ≈",
    Finding.UNDECIDED: "?",
}


def page() -> None:
    """Show the finding of a closed session."""
    session = chosen_session()
    st.session_state.pop(CLOSING, None)
    if not session.closed:
        st.title("What does the session show?")
        st.info(
            "Not yet: the finding is shown when the question is agreed and the ballots are closed."
        )
        if st.button(
            "To the ballots" if session.agreed else "To the question", key="back", type="primary"
        ):
            go("ballots" if session.agreed else "question")
        return
    with shown_errors():
        _of_batches(session)
        _found(session)
        _comments(session)
    _open_again(session)


def _of_batches(session: StoredSession) -> None:
    """The way to the batches of which this was a tasting, which is where they are decided."""
    for record in current_frame().store.linked("session", session.id):
        words, button = st.columns([4, 1], vertical_alignment="center")
        said = f"A tasting of batch **{plain(record.name)}**."
        if session.question.retest_rule == IN_TWO:
            said += (
                " It is one of two of a plan: the counts of both decide, and what counts stands on "
                "the page Batch, not here."
            )
        words.markdown(said)
        if button.button("To the batch", key=f"to-batch-{record.name}"):
            go("batch", batch=record.name)


def _comments(session: StoredSession) -> None:
    """What assessors wrote, beside what they tasted; without names."""
    cells = current_frame().store.cells(session.id)
    rows = [
        {
            "sample or order": texts.get("sample") or texts.get("order") or texts.get("pair", ""),
            "comment": texts["comment"],
        }
        for _, texts in sorted(cells.items())
        if texts.get("comment")
    ]
    if rows:
        with st.expander(f"{several(len(rows), 'comment')} of assessors", expanded=len(rows) <= 12):
            st.dataframe(rows, hide_index=True, width="stretch")


def _found(session: StoredSession) -> None:
    if find_kind(session.question.protocol).protocol is None:
        reading_page(session, _SIGNS, _file_name(session))
        return
    summary = summarise(current_frame().store, session.id, version=__version__)
    _finding(summary)
    numbers, words = st.columns([1, 1], gap="large")
    with numbers:
        _downloads(session, summary)
        st.subheader("The numbers")
        st.table(_rounded(summary), hide_index=True)
    with words:
        _cannot_tell(summary)
        _agreed(summary)


def _finding(summary: SessionSummary) -> None:
    result = summary.result
    st.markdown(plain(summary.details.title or "Untitled session"))
    st.title(f"{_SIGNS[result.finding]}  {result.sentence}", anchor=False)
    st.markdown(f"**Finding: {result.finding.heading}.** {result.because}")
    if summary.direction:
        st.markdown(
            f"Attribute: {plain(summary.question.attribute)}; more expected in: "
            f"{summary.direction}."
        )
    words = interval_words(summary)
    with st.container(key="interval-figure"):
        st.altair_chart(interval_figure(summary), theme=None, width="stretch", alt=words)
    st.markdown(words)


def _rounded(summary: SessionSummary) -> list[dict[str, str]]:
    table = summary.table()
    return [
        {name: plain(number(cell)) for name, cell in zip(table.columns, row, strict=True)}
        for row in table.rows
    ]


def _cannot_tell(summary: SessionSummary) -> None:
    st.subheader("What this session cannot tell")
    st.markdown("\n".join(f"- {line}" for line in summary.cannot_tell()))
    if summary.remarks:
        st.subheader("Remarks of the checks")
        st.markdown("\n".join(f"- {plain(line)}" for line in summary.remarks))
    show_served(summary.served)


def _agreed(summary: SessionSummary) -> None:
    question = summary.question
    st.subheader("What was agreed")
    action = {
        Finding.DIFFERENT: question.if_different,
        Finding.UNDECIDED: question.if_undecided,
    }.get(summary.result.finding, question.if_similar)
    st.markdown(
        f"- For this finding: **{plain(action)}**\n"
        f"- Decides: {plain(summary.details.decides or 'not stated')}\n"
        f"- Agreed by {plain(summary.session.agreed_by)}, {minute(summary.session.agreed_at)}, "
        "with "
        f"{summary.session.ballots_at_agreement} ballots entered by then"
    )
    if summary.afterwards:
        st.subheader("Done after the finding was seen")
        st.markdown("\n".join(f"- {plain(line)}" for line in summary.afterwards[:_SHOWN]))
        if len(summary.afterwards) > _SHOWN:
            st.markdown(f"and {len(summary.afterwards) - _SHOWN} more changes, in the record")
    st.markdown(ADVICE)


def _downloads(session: StoredSession, summary: SessionSummary) -> None:
    take_along(
        session,
        _file_name(session),
        pdf=lambda: pdf_of(summary),
        csv=table_csv(summary.table()),
        numbers=summary.table(),
    )


def _file_name(session: StoredSession) -> str:
    """Title and date of the session, in letters that every file system takes."""
    words = re.findall(r"[a-z0-9]+", f"{session.details.title} {session.details.held_on}".lower())
    return "-".join(words)[:60] or "session"


def _open_again(session: StoredSession) -> None:
    with st.expander("Open the ballots again"):
        st.markdown(
            "Every change from here on is listed in the report as made after the finding was seen."
        )
        why = st.text_input("Reason", key=f"why-{session.id}")
        if st.button("Open again", key="reopen"):
            with shown_errors():
                reopen_and_note(current_frame().store, session.id, who=who(session), why=why)
                go("ballots")

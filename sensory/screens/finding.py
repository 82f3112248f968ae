"""What does the session show? The finding, its numbers, and what it cannot tell."""

from __future__ import annotations

from importlib.metadata import version

import streamlit as st

from ..base.records import ADVICE, Finding, StoredSession
from ..decisions.summary import SessionSummary
from ..report.figures import interval_figure, interval_words
from ..report.sheets import ballots_csv, table_csv
from ..report.words import number
from ..workflow import reopen, summarise
from .frame import chosen_session, current_frame, go, shown_errors, who
from .worker import pdf_of

_SIGNS = {
    Finding.DIFFERENT: "≠",
    Finding.SIMILAR: "≈",
    Finding.DIFFERENT_WITHIN_LIMIT: "≠ but ≈",
    Finding.UNDECIDED: "?",
}


def page() -> None:
    """Show the finding of a closed session."""
    session = chosen_session()
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
        summary = summarise(current_frame().store, session.id, version=version("sensory"))
        _finding(summary)
        numbers, words = st.columns([1, 1], gap="large")
        with numbers:
            st.subheader("The numbers")
            st.table(_rounded(summary), hide_index=True)
        with words:
            _cannot_tell(summary)
            _agreed(summary)
        _downloads(session, summary)
        _open_again(session)


def _finding(summary: SessionSummary) -> None:
    result = summary.result
    st.markdown(f"{summary.details.title or 'Untitled session'}".replace("*", ""))
    st.title(f"{_SIGNS[result.finding]}  {result.sentence}", anchor=False)
    st.markdown(f"**Finding: {result.finding.title}.** {result.because}")
    words = interval_words(summary)
    with st.container(key="interval-figure"):
        st.altair_chart(interval_figure(summary), theme=None, width="stretch", alt=words)
    st.markdown(words)


def _rounded(summary: SessionSummary) -> list[dict[str, str]]:
    table = summary.table()
    return [
        {name: number(cell) for name, cell in zip(table.columns, row, strict=True)}
        for row in table.rows
    ]


def _cannot_tell(summary: SessionSummary) -> None:
    st.subheader("What this session cannot tell")
    st.markdown("\n".join(f"- {line}" for line in summary.result.cannot_tell))
    if summary.remarks:
        st.subheader("Remarks of the checks")
        st.markdown("\n".join(f"- {line}" for line in summary.remarks))


def _agreed(summary: SessionSummary) -> None:
    question = summary.question
    st.subheader("Agreed before")
    action = {
        Finding.DIFFERENT: question.if_different,
        Finding.UNDECIDED: question.if_undecided,
    }.get(summary.result.finding, question.if_similar)
    st.markdown(
        f"- For this finding: **{action}**\n"
        f"- Decides: {summary.details.decides or 'not stated'}\n"
        f"- Agreed by {summary.agreed_by}, {summary.agreed_at[:16].replace('T', ' ')} UTC, with "
        f"{summary.ballots_at_agreement} ballots entered by then"
    )
    if summary.afterwards:
        st.subheader("Done after the finding was seen")
        st.markdown("\n".join(f"- {line}" for line in summary.afterwards))
    st.markdown(ADVICE)


def _downloads(session: StoredSession, summary: SessionSummary) -> None:
    st.subheader("Take it along")
    pdf, numbers, ballots = st.columns(3)
    pdf.download_button(
        "Report, PDF",
        lambda: pdf_of(summary),
        "report.pdf",
        "application/pdf",
        key="pdf",
        type="primary",
        on_click="ignore",
    )
    numbers.download_button(
        "Numbers, CSV",
        table_csv(summary.table()),
        "numbers.csv",
        "text/csv",
        key="numbers",
        on_click="ignore",
    )
    ballots.download_button(
        "Ballots, CSV",
        ballots_csv(current_frame().store.cells(session.id)),
        "ballots.csv",
        "text/csv",
        key="ballots-csv",
        on_click="ignore",
    )


def _open_again(session: StoredSession) -> None:
    with st.expander("Open the ballots again"):
        st.markdown(
            "Every change from here on is listed in the report as made after the finding was seen."
        )
        why = st.text_input("Reason", key=f"why-{session.id}")
        if st.button("Open again", key="reopen"):
            with shown_errors():
                reopen(current_frame().store, session.id, who=who(session), why=why)
                go("ballots")

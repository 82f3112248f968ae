"""What does a session show that is no forced choice?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import streamlit as st

from ..base.findings import Finding
from ..base.results import Table
from ..base.version import __version__
from ..catalogue.reading import Reading
from ..ratings.sample_map import SampleMap
from ..report.reading_figures import map_figure, panel_figure, profile_figure, reading_figure
from ..report.sheets import tables_csv
from ..report.words import number, percent
from ..sessions.read_session import ReadSession
from ..sessions.session import ADVICE, StoredSession
from ..sessions.workflow import read_session
from .care import take_along
from .frame import current_frame, minute, plain
from .served import show_served
from .worker import reading_pdf_of

_LONG, _SHOWN = 14, 12


def reading_page(session: StoredSession, signs: Mapping[Finding, str], name: str) -> None:
    """Show the reading: sentence, chart, tables, and what it cannot tell."""
    read = read_session(current_frame().store, session.id, version=__version__)
    reading = read.reading
    st.markdown(plain(read.details.title or "Untitled session"))
    st.title(f"{signs[reading.finding]}  {plain(reading.sentence)}", anchor=False)
    st.markdown(f"**Finding: {reading.finding.heading}.** {plain(reading.because)}")
    if reading.spans:
        with st.container(key="reading-figure"):
            figure = reading_figure(reading)
            st.altair_chart(figure, theme=None, width="stretch", alt=reading.words())
        words = f"Points with {percent(reading.spans[0].limits.level)} limits"
        agreed = any(span.margin is not None for span in reading.spans)
        st.markdown(words + ("; the ticks are what was agreed." if agreed else "."))
    left, right = st.columns([3, 2], gap="large")
    with left:
        _downloads(read, name)
        wide = bool(reading.means)
        if not wide:
            _tables(reading.tables)
        st.subheader("How it was computed")
        st.markdown("\n".join(f"- {plain(line)}" for line in reading.notes))
    with right:
        st.subheader("What this session cannot tell")
        st.markdown("\n".join(f"- {plain(line)}" for line in read.cannot_tell()))
        _agreed(read)
    if wide:
        _profile(reading)
        _tables(reading.tables[:1])
        if reading.places is not None:
            _map(reading.places)
        with st.expander("More tables: analysis of variance, means, components"):
            _tables(reading.tables[1:])
    if reading.panel_says:
        _panel(reading)


def _profile(reading: Reading) -> None:
    st.subheader("The profile")
    with st.container(key="profile-figure"):
        words = "; ".join(
            f"{one.attribute}, {one.sample}: {one.estimate:.2f}" for one in reading.means
        )
        st.altair_chart(profile_figure(reading), theme=None, width="stretch", alt=words)


def _map(places: SampleMap) -> None:
    with st.expander("The map of the samples"):
        with st.container(key="map-figure"):
            words = "Samples on the first two principal axes; the numbers are below."
            st.altair_chart(map_figure(places), theme=None, width="content", alt=words)
        st.markdown(
            "Principal components of the sample means, not standardised; ellipses are where the "
            f"sample would lie with other assessors ({percent(places.regions[0].level)}). Dotted "
            "lines are the attributes. The map describes; it tests nothing."
        )
        _tables((("Places", places.table()), ("Axes and loadings", places.axes())))


def _panel(reading: Reading) -> None:
    """The panel's own scorecard: could these people have seen it?"""
    st.subheader("How did the panel do?")
    st.markdown("\n".join(f"- {plain(line)}" for line in reading.panel_says))
    if reading.panel:
        with st.container(key="panel-figure"):
            words = "Agreement of each assessor with the others; the numbers are below."
            st.altair_chart(panel_figure(reading), theme=None, width="content", alt=words)
        st.markdown(
            "Agreement is the correlation with the mean of the other assessors, on attributes "
            "that the panel as a whole tells apart."
        )
    with st.expander("The panel in numbers"):
        _tables(reading.panel_tables)


def _tables(tables: Sequence[tuple[str, Table]]) -> None:
    """The first as a table; long ones scroll."""
    for heading, table in tables:
        st.subheader(plain(heading))
        if len(table.rows) > _LONG:
            st.dataframe(_rounded(table, str), hide_index=True, width="stretch", height=380)
        else:
            st.table(_rounded(table, plain), hide_index=True)


def _agreed(read: ReadSession) -> None:
    question = read.question
    action = {
        Finding.DIFFERENT: question.if_different,
        Finding.UNDECIDED: question.if_undecided,
    }.get(read.reading.finding, question.if_similar)
    st.subheader("What was agreed")
    st.markdown(
        f"- For this finding: **{plain(action)}**\n"
        f"- Decides: {plain(read.details.decides or 'not stated')}\n"
        f"- Agreed by {plain(read.session.agreed_by)}, {minute(read.session.agreed_at)}, with "
        f"{read.session.ballots_at_agreement} ballots entered by then"
    )
    for heading, lines in (
        ("Remarks of the checks", read.remarks),
        ("Done after the finding was seen", read.afterwards),
    ):
        if lines:
            st.subheader(heading)
            st.markdown("\n".join(f"- {plain(line)}" for line in lines[:_SHOWN]))
            if len(lines) > _SHOWN:
                st.markdown(f"and {len(lines) - _SHOWN} more, in the record")
    show_served(read.served)
    st.markdown(ADVICE)


def _downloads(read: ReadSession, name: str) -> None:
    tables = (*read.reading.tables, *read.reading.panel_tables)
    take_along(
        read.session,
        name,
        pdf=lambda: reading_pdf_of(read),
        csv=tables_csv(tables),
        numbers=tables[0][1],
    )


def _rounded(table: Table, shown: Callable[[str], str]) -> list[dict[str, str]]:
    """Texts of the cells; those of a table are markup, those of a grid are not."""
    return [
        {name: shown(number(cell)) for name, cell in zip(table.columns, row, strict=True)}
        for row in table.rows
    ]

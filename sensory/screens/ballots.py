"""Ballots coming in: typed, loaded, mended; kept as they are typed."""

from __future__ import annotations

import streamlit as st

from ..ballots.choice_ballot import CheckedBallots
from ..ballots.template import template_csv, template_xlsx
from ..base.errors import Fault
from ..base.records import StoredSession
from ..protocols import find_protocol
from ..workflow import (
    cells_of_file,
    checked_ballots,
    close,
    enter_cells,
)
from .frame import chosen_session, current_frame, go, show_faults, shown_errors, who
from .grid import show_grid, typed_cells


def page() -> None:
    """The grid, what is wrong beside it, and the way on."""
    session = chosen_session()
    st.title("Ballots")
    st.markdown(
        f"**{_plain_title(session)}** · {find_protocol(session.question.protocol).name} test, "
        f"{session.question.assessors} ballots planned"
    )
    cells = current_frame().store.cells(session.id)
    if session.closed:
        st.info(
            "The ballots are closed and the finding is shown. They can be opened again, with "
            "a reason, on the page Finding."
        )
        st.dataframe(_read_only(_names(session, cells), cells), hide_index=True, width="stretch")
        return
    names, lines, key = _names(session, cells), _lines(session, cells), f"grid-{session.id}"
    if changes := typed_cells(key, names, lines):
        with shown_errors():
            enter_cells(current_frame().store, session.id, changes, who=who(session))
        cells = current_frame().store.cells(session.id)
    checked = checked_ballots(current_frame().store, session.id)
    _way_on(session, checked)
    show_grid(key, names, lines, cells, checked.faults)
    if st.button("Six more rows", key="more-rows"):
        st.session_state[_extra(session)] = st.session_state.get(_extra(session), 0) + 6
        st.rerun()
    _whole_faults(checked)
    _files(session, cells)


def _plain_title(session: StoredSession) -> str:
    return (session.details.title or "Untitled session").replace("*", "").replace("_", " ")


def _way_on(session: StoredSession, checked: CheckedBallots) -> None:
    wrong, remarks = len(checked.blocking), len(checked.remarks)
    words, button = st.columns([3, 2], vertical_alignment="center")
    words.markdown(
        f"**{len(checked.ballots)}** ballots ready, **{wrong}** "
        f"{'thing' if wrong == 1 else 'things'} to mend, **{remarks}** "
        f"{'remark' if remarks == 1 else 'remarks'}. Kept as you type."
    )
    if not session.agreed:
        with button:
            st.markdown("The question comes before the finding.")
            if st.button("To the question", key="to-question", type="primary"):
                go("question")
    elif button.button(
        "Close the ballots and show the finding",
        key="close",
        type="primary",
        disabled=bool(wrong or not checked.ballots),
    ):
        with shown_errors():
            close(current_frame().store, session.id, who=who(session))
            go("finding")


def _names(session: StoredSession, cells: dict[int, dict[str, str]]) -> list[str]:
    """Columns of the grid: what the test needs, then what else the ballots bring."""
    present = dict.fromkeys(name for line in cells.values() for name in line)
    coded = [f"code_{n}" for n in range(1, find_protocol(session.question.protocol).coded + 1)]
    codes = ["codes"] if "codes" in present and "code_1" not in present else coded
    needed = ["assessor", "order", *codes, "answer", "guess", "comment"]
    return [*needed, *(name for name in present if name not in needed)]


def _read_only(names: list[str], cells: dict[int, dict[str, str]]) -> list[dict[str, str]]:
    return [
        {"row": str(line)} | {name.replace("_", " "): texts.get(name, "") for name in names}
        for line, texts in sorted(cells.items())
    ]


def _lines(session: StoredSession, cells: dict[int, dict[str, str]]) -> list[int]:
    start = min(cells, default=1)
    start = start if start <= 2 else 1
    planned = start + session.question.assessors - 1
    last = max([planned, *cells]) + st.session_state.get(_extra(session), 0)
    return list(range(start, last + 1))


def _whole_faults(checked: CheckedBallots) -> None:
    rows = [fault for fault in checked.faults if fault.row and fault.blocking]
    whole = [fault for fault in checked.faults if not fault.row and checked.ballots]
    _listed("To mend", rows)
    _listed("About the table as a whole", whole)


def _listed(heading: str, faults: list[Fault]) -> None:
    if faults:
        st.subheader(heading)
        show_faults(faults)


def _files(session: StoredSession, cells: dict[int, dict[str, str]]) -> None:
    protocol = find_protocol(session.question.protocol)
    with st.expander("Load a file, or get the template", expanded=not cells):
        xlsx, csv, _ = st.columns([1, 1, 2])
        xlsx.download_button(
            "Template, XLSX",
            template_xlsx(protocol),
            f"ballots-{protocol.name}.xlsx",
            key="template-xlsx",
        )
        csv.download_button(
            "Template, CSV",
            template_csv(protocol),
            f"ballots-{protocol.name}.csv",
            "text/csv",
            key="template-csv",
        )
        if cells:
            st.markdown("This session has ballots. For another file open a new session.")
            return
        upload = st.file_uploader(
            "CSV or XLSX", type=["csv", "txt", "tsv", "xlsx"], key=f"upload-{session.id}"
        )
        if upload is not None:
            with shown_errors():
                loaded, remarks = cells_of_file(upload.getvalue())
                show_faults(remarks) if remarks else None
                enter_cells(
                    current_frame().store,
                    session.id,
                    loaded,
                    who=who(session),
                    why=f"file {upload.name} loaded",
                )
                st.rerun()


def _extra(session: StoredSession) -> str:
    return f"extra-{session.id}"

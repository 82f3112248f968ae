"""Ballots coming in: typed, loaded, mended; kept as they are typed."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from ..base.results import several
from ..catalogue.checking import CheckedBallots
from ..catalogue.tests import find_kind
from ..release.tastings import close_and_note
from ..serving.ballot_line import SERVING_MARKS
from ..sessions.booth_plans import progress
from ..sessions.lines import cells_of_file
from ..sessions.session import StoredSession
from ..sessions.template import template_columns, template_csv, template_xlsx
from ..sessions.workflow import checked_ballots, describe, enter_cells
from .frame import CLOSING, chosen_session, current_frame, go, plain, show_faults, shown_errors, who
from .grid import received, show_grid, typed_cells
from .serve import sent_so_far


def page() -> None:
    """The grid, what is wrong beside it, and the way on."""
    session = chosen_session()
    st.title("Ballots")
    st.markdown(
        f"**{plain(session.details.title or 'Untitled session')}** · "
        f"{find_kind(session.question.protocol).name} test, "
        f"{session.question.assessors} ballots planned"
    )
    cells = current_frame().store.cells(session.id)
    if session.closed:
        lost = _typed_too_late(session, cells)
        if st.session_state.pop(CLOSING, "") == session.id and not lost:
            go("finding")  # the run that closed was overtaken by another one
        st.info(
            "The ballots are closed and the finding is shown. They can be opened again, with "
            "a reason, on the page Finding."
        )
        st.dataframe(_read_only(_names(session, cells), cells), hide_index=True, width="stretch")
        return
    if session.serving and session.serving.booths:
        _at_booths(session)
        return
    names, key = _names(session, cells), _key(session)
    number, changes = typed_cells(key, names)
    if number:
        with shown_errors():
            enter_cells(current_frame().store, session.id, changes, who=who(session))
            received(key, number)
        cells = current_frame().store.cells(session.id)
        if current_frame().store.session(session.id).closed:
            st.rerun()
    checked = checked_ballots(current_frame().store, session.id)
    _way_on(session, checked, bool(cells))
    show_grid(key, names, _lines(session, cells), cells, checked.faults)
    st.markdown(_order_hint(session))
    if st.button("Six more rows", key="more-rows"):
        st.session_state[_extra(session)] = st.session_state.get(_extra(session), 0) + 6
        st.rerun()
    _listed("Remarks on the file", session.details.file_remarks.splitlines())
    _whole_faults(checked)
    _files(session, cells)


def _at_booths(session: StoredSession) -> None:
    """Counts of what was sent, never an answer; closing opens the finding."""
    checked = checked_ballots(current_frame().store, session.id)
    counts = _sent(session)
    _way_on(session, checked, True, counts)
    st.markdown(
        "Assessors answer at booths. What they answered is shown when the ballots are closed."
    )
    sent_so_far(session)
    _anew(session, counts)


def _sent(session: StoredSession) -> tuple[int, int]:
    """Ballots sent from the booths, of how many that are expected."""
    counts = progress(current_frame().store, session.id)
    return sum(done for _, done, _ in counts), sum(whole for _, _, whole in counts)


@st.fragment(run_every=5.0)
def _anew(session: StoredSession, counts: tuple[int, int]) -> None:
    """Run the page anew once another ballot was sent: what closing means has changed."""
    if _sent(session) != counts:
        st.rerun()


def _typed_too_late(session: StoredSession, cells: dict[int, dict[str, str]]) -> list[str]:
    """Say what arrived after closing, instead of losing it in silence."""
    number, changes = typed_cells(_key(session), _names(session, cells))
    if not number:
        return []
    lost = [
        f"row {line}, {name}: {text}"
        for line, texts in changes.items()
        for name, text in texts.items()
        if cells.get(line, {}).get(name, "") != text
    ]
    if lost:
        st.warning("Typed after the ballots were closed, and not kept: " + plain("; ".join(lost)))
    return lost


def _way_on(
    session: StoredSession,
    checked: CheckedBallots,
    any_cells: bool,
    sent: tuple[int, int] | None = None,
) -> None:
    """Where the ballots stand, and closing them; `sent` counts those of booths."""
    wrong = len(checked.blocking) if any_cells else 0
    words, button = st.columns([3, 2], vertical_alignment="center")
    words.markdown(_standing(checked, wrong, sent))
    if not session.agreed:
        with button:
            st.markdown("The question comes before the finding.")
            if st.button("To the question", key="to-question", type="primary"):
                go("question")
        return
    few = _fewer(session, checked, sent)
    # The count is in the key: what was ticked of two ballots is not said of three.
    key = f"sure-{sent[0]}" if sent else "sure"
    sure = not few or button.checkbox(few, key=key)
    waits = bool(wrong or not checked.ready or not sure)
    clicked = button.button(
        "Close the ballots and show the finding", key="close", type="primary", disabled=waits
    )
    if clicked and not waits:
        with shown_errors():
            st.session_state[CLOSING] = session.id
            close_and_note(current_frame().store, session.id, who=who(session))
            go("finding")


def _standing(checked: CheckedBallots, wrong: int, sent: tuple[int, int] | None) -> str:
    mend = f"**{several(wrong, 'thing')}** to mend"
    if sent:
        return f"**{sent[0]} of {sent[1]} ballots** sent" + (f", {mend}." if wrong else ".")
    remarks = several(len(checked.remarks), "remark")
    return f"**{several(checked.ready, 'ballot')}** ready, {mend}, **{remarks}**. Kept as you type."


def _fewer(session: StoredSession, checked: CheckedBallots, sent: tuple[int, int] | None) -> str:
    """What is to be ticked before closing with fewer ballots than planned; empty for nothing."""
    if sent and sent[0] < sent[1]:
        return f"These {sent[0]} of {sent[1]} are all there will be"
    ready, planned = checked.ready, session.question.assessors
    if 0 < ready < planned:
        return f"These {ready} of {planned} planned ballots are all there will be"
    return ""


def _order_hint(session: StoredSession) -> str:
    test = find_kind(session.question.protocol)
    out = "To take a row out, empty it."
    if test.together:
        return f"{test.letters} {out}"
    return f"{test.letters} Somebody who left: leave the answer empty. {out}"


def _names(session: StoredSession, cells: dict[int, dict[str, str]]) -> list[str]:
    """Columns of the grid: what the test needs, then what else the ballots bring."""
    present = dict.fromkeys(name for line in cells.values() for name in line)
    test = find_kind(session.question.protocol)
    columns = template_columns(test, test.attributes(session.question))
    needed = [column.name for column in columns]
    if test.protocol:
        coded = [name for name in needed if name.startswith("code_")]
        codes = ["codes"] if "codes" in present and "code_1" not in present else coded
        needed = ["assessor", "order", *codes, "answer", "guess", "comment", "replicate"]
    # Stated on Serve; here they could be typed over.
    marks = () if session.closed else SERVING_MARKS
    return [*needed, *(name for name in present if name not in needed and name not in marks)]


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
    whole = [fault for fault in checked.faults if not fault.row and checked.ready]
    for heading, faults in (("To mend", rows), ("About the table as a whole", whole)):
        if faults:
            st.subheader(heading)
            show_faults(faults)


def _listed(heading: str, lines: list[str]) -> None:
    if lines:
        st.subheader(heading)
        st.markdown("\n".join(f"- {plain(line)}" for line in lines))


def _files(session: StoredSession, cells: dict[int, dict[str, str]]) -> None:
    test = find_kind(session.question.protocol)
    attributes = test.attributes(session.question)
    with st.expander("Load a file, or get the template", expanded=not cells):
        xlsx, csv, _ = st.columns([1, 1, 2])
        xlsx.download_button(
            "Template, XLSX",
            template_xlsx(test, attributes),
            f"ballots-{test.name}.xlsx",
            key="template-xlsx",
        )
        csv.download_button(
            "Template, CSV",
            template_csv(test, attributes),
            f"ballots-{test.name}.csv",
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
                loaded, remarks = cells_of_file(upload.getvalue(), test.ballot)
                store, by = current_frame().store, who(session)
                why = f"file {upload.name} loaded"
                enter_cells(store, session.id, loaded, who=by, why=why)
                form = "\n".join(str(remark) for remark in remarks)
                details = replace(session.details, file_remarks=form)
                describe(store, session.id, details=details, who=by)
                st.rerun()


def _key(session: StoredSession) -> str:
    return f"grid-{session.id}"


def _extra(session: StoredSession) -> str:
    return f"extra-{session.id}"

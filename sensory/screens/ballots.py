"""Ballots coming in: typed, loaded, mended; kept as they are typed."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import streamlit as st

from ..base.results import several
from ..catalogue.checking import CheckedBallots
from ..catalogue.tests import find_kind
from ..release.tastings import close_and_note
from ..serving.ballot_line import SERVING_MARKS
from ..sessions.booth_plans import progress
from ..sessions.lines import cells_of_file
from ..sessions.replaced import replace_ballots
from ..sessions.session import StoredSession
from ..sessions.spellings import alike_on_ballots, merge_spellings
from ..sessions.template import template_columns, template_csv, template_xlsx
from ..sessions.workflow import checked_ballots, enter_cells
from .cautions import reactions_panel
from .frame import (
    CLOSING,
    chosen_session,
    desk,
    go,
    plain,
    show_faults,
    shown_errors,
    title_of,
    who,
)
from .grid import received, show_grid, typed_cells
from .parts import act, download, listed, pressed, scroll, way
from .serve import sent_so_far

Cells = Mapping[int, Mapping[str, str]]


def page() -> None:
    """The grid, what is wrong beside it, and the way on."""
    session = chosen_session()
    st.title("Ballots")
    st.markdown(
        f"**{title_of(session)}** · "
        f"{find_kind(session.question.protocol).name} test, "
        f"{session.question.assessors} ballots planned"
    )
    reactions_panel(session)
    cells = desk().cells(session.id)
    if session.closed:
        _closed(session, cells)
        return
    if session.serving and session.serving.booths:
        _at_booths(session)
        return
    names, key, extra = _names(session, cells), f"grid-{session.id}", f"extra-{session.id}"
    number, changes = typed_cells(key, names)
    if number:
        with shown_errors():
            enter_cells(desk(), session.id, changes, who=who(session))
            received(key, number)
        cells = desk().cells(session.id)
        if desk().session(session.id).closed:
            st.rerun()
    checked = checked_ballots(desk(), session.id)
    _way_on(session, checked, bool(cells))
    if not session.serving:
        _one_person(session, cells)
    rows = _rows(session, cells, st.session_state.get(extra, 0))
    show_grid(key, names, rows, cells, checked.faults)
    st.markdown(_order_hint(session))
    if pressed("Add six rows", "more-rows"):
        st.session_state[extra] = st.session_state.get(extra, 0) + 6
        st.rerun()
    if remarks := session.details.file_remarks.splitlines():
        st.subheader("Remarks on the file")
        listed(remarks)
    _whole_faults(checked)
    _files(session, cells)


def _closed(session: StoredSession, cells: Cells) -> None:
    lost = _typed_too_late(session, cells)
    if st.session_state.pop(CLOSING, "") == session.id and not lost:
        go("finding")  # the run that closed was overtaken by another one
    st.info(
        "The ballots are closed and the finding is shown. They can be opened again, with "
        "a reason, on the page Finding."
    )
    names = {name: name.replace("_", " ") for name in _names(session, cells)}
    scroll(
        [
            {"row": str(row)} | {title: texts.get(name, "") for name, title in names.items()}
            for row, texts in sorted(cells.items())
        ]
    )


def _at_booths(session: StoredSession) -> None:
    """Counts of what was sent, never an answer; closing opens the finding."""
    checked = checked_ballots(desk(), session.id)
    counts = _sent(session)
    _way_on(session, checked, True, counts)
    st.markdown(
        "Assessors answer at booths. What they answered is shown when the ballots are closed."
    )
    sent_so_far(session)
    _anew(session, counts)


def _sent(session: StoredSession) -> tuple[int, int]:
    counts = progress(desk(), session.id)
    return sum(done for _, done, _ in counts), sum(whole for _, _, whole in counts)


@st.fragment(run_every=5.0)
def _anew(session: StoredSession, counts: tuple[int, int]) -> None:
    """Run the page anew once another ballot was sent: what closing means has changed."""
    if _sent(session) != counts:
        st.rerun()


def _typed_too_late(session: StoredSession, cells: Cells) -> list[str]:
    """Say what arrived after closing, instead of losing it in silence."""
    _, changes = typed_cells(f"grid-{session.id}", _names(session, cells))
    lost = [
        f"row {row}, {name}: {text}"
        for row, texts in changes.items()
        for name, text in texts.items()
        if cells.get(row, {}).get(name, "") != text
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
            way("To the question", "to-question", "question")
        return
    few = _fewer(session, checked, sent)
    # The count is in the key: what was ticked of two ballots is not said of three.
    sure = not few or button.checkbox(few, key=f"sure-{sent[0]}" if sent else "sure")
    ready = not wrong and checked.ready and sure
    label = "Close the ballots and show the finding"
    if pressed(label, "close", primary=True, ready=ready, place=button):
        with shown_errors():
            st.session_state[CLOSING] = session.id
            close_and_note(desk(), session.id, who=who(session))
            go("finding")


def _standing(checked: CheckedBallots, wrong: int, sent: tuple[int, int] | None) -> str:
    mend = f"**{several(wrong, 'thing')}** to mend"
    if sent:
        return f"**{sent[0]} of {sent[1]} ballots** sent" + (f", {mend}." if wrong else ".")
    remarks = several(len(checked.remarks), "remark")
    return (
        f"**{several(checked.ready, 'ballot')}** ready, {mend}, **{remarks}**. Saved automatically."
    )


def _fewer(session: StoredSession, checked: CheckedBallots, sent: tuple[int, int] | None) -> str:
    """What is to be ticked before closing with fewer ballots than planned; empty for nothing."""
    if sent and sent[0] < sent[1]:
        return f"These {sent[0]} of {sent[1]} are all there will be"
    ready, planned = checked.ready, session.question.assessors
    if 0 < ready < planned:
        return f"These {ready} of {planned} planned ballots are all there will be"
    return ""


def _one_person(session: StoredSession, cells: Cells) -> None:
    """Names that look like one person, each with the button that makes them one."""
    for number, group in enumerate(alike_on_ballots(cells)):
        words, button = st.columns([3, 2], vertical_alignment="center")
        named = f"{', '.join(map(plain, group[:-1]))} and {plain(group[-1])}"
        words.markdown(f"**{named}** look like one person in several spellings.")
        merge = partial(merge_spellings, desk(), session.id, group[0], who=who(session))
        act(f"Merge as {plain(group[0])}", f"merge-{number}", merge, place=button)


def _order_hint(session: StoredSession) -> str:
    test = find_kind(session.question.protocol)
    left = "" if test.together else "If an assessor left, leave the answer blank. "
    return f"{test.letters} {left}Clear a row to delete it."


def _names(session: StoredSession, cells: Cells) -> list[str]:
    """Columns of the grid: what the test needs, then what else the ballots bring."""
    present = dict.fromkeys(name for texts in cells.values() for name in texts)
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


def _rows(session: StoredSession, cells: Cells, extra: int) -> list[int]:
    start = min(cells, default=1)
    start = start if start <= 2 else 1
    last = max([start + session.question.assessors - 1, *cells])
    return list(range(start, last + extra + 1))


def _whole_faults(checked: CheckedBallots) -> None:
    rows = [fault for fault in checked.faults if fault.row and fault.blocking]
    whole = [fault for fault in checked.faults if not fault.row and checked.ready]
    for heading, faults in (("To mend", rows), ("About the table as a whole", whole)):
        if faults:
            st.subheader(heading)
            show_faults(faults)


def _files(session: StoredSession, cells: Cells) -> None:
    test = find_kind(session.question.protocol)
    attributes, file = test.attributes(session.question), f"ballots-{test.name}"
    with st.expander("Load a file, or get the template", expanded=not cells):
        xlsx, csv, _ = st.columns([1, 1, 2])
        content = template_xlsx(test, attributes)
        download("Template, XLSX", content, f"{file}.xlsx", "template-xlsx", place=xlsx)
        text = template_csv(test, attributes)
        download("Template, CSV", text, f"{file}.csv", "template-csv", place=csv)
        if session.serving is not None and cells:
            st.markdown("These ballots are served by a plan. For a file open a new session.")
            return
        if cells:
            st.markdown(
                f"This session has {several(len(cells), 'ballot line')}. Another file takes their "
                "place; the journal keeps what stood there."
            )
        types = ["csv", "txt", "tsv", "xlsx"]
        upload = st.file_uploader("CSV or XLSX", type=types, key=f"upload-{session.id}")
        if upload is not None:
            with shown_errors():
                loaded, remarks = cells_of_file(upload.getvalue(), test.ballot)
                by, noted = who(session), [str(remark) for remark in remarks]
                if not cells:
                    why = f"file {upload.name} loaded"
                    replace_ballots(desk(), session.id, loaded, remarks=noted, who=by, why=why)
                    st.rerun()
                why = f"replaced by the file {upload.name}"
                changed = partial(
                    replace_ballots, desk(), session.id, loaded, remarks=noted, who=by, why=why
                )
                act("Replace the ballots", "replace-ballots", changed)

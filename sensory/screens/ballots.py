"""Ballots coming in: typed, loaded, mended; kept as they are typed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial

import streamlit as st

from ..base.errors import RecordError
from ..base.results import several
from ..catalogue.checking import CheckedBallots
from ..catalogue.tests import find_kind
from ..release.tastings import close_and_note
from ..serving.ballot_line import MARKS, SERVED_COLUMNS, SERVING_MARKS
from ..sessions.booth_plans import progress
from ..sessions.lines import cells_of_file
from ..sessions.replaced import replace_ballots
from ..sessions.samples import check_reference, reference_of, samples_on
from ..sessions.session import StoredSession
from ..sessions.spellings import alike_on_ballots, merge_spellings, name_reference
from ..sessions.steps import Standing, standing
from ..sessions.template import template_columns, template_csv, template_xlsx
from ..sessions.workflow import enter_cells
from .board import show_board
from .cautions import reactions_panel
from .frame import (
    CLOSING,
    chosen_session,
    desk,
    go,
    minute,
    plain,
    show_faults,
    shown_errors,
    who,
)
from .grid import received, show_grid, typed_cells
from .panel_ready import WANTED
from .parts import act, download, listed, pressed, scroll
from .step_bar import onward, session_head
from .training_session import marks_part

Cells = Mapping[int, Mapping[str, str]]
_STAMP = re.compile(r"\d{4}-\d\d-\d\dT[\d:.]+(?:[+-]\d\d:\d\d|Z)?")


def page() -> None:
    """The grid, what is wrong beside it, and the way on."""
    session = chosen_session()
    st.title("Ballots")
    cells = desk().cells(session.id)
    if session.closed:
        session_head(session)
        reactions_panel(session)
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
    there = standing(desk(), session.id)
    checked = there.checked
    session_head(session, there)
    reactions_panel(session)
    _way_on(session, there)
    _reference(session, cells)
    if not session.serving:
        _one_person(session, cells)
    rows = _rows(session, cells, st.session_state.get(extra, 0))
    planned = session.serving is not None
    show_grid(key, names, rows, cells, checked.faults, planned=planned)
    st.markdown(_order_hint(session))
    if pressed("Add six rows", "more-rows"):
        st.session_state[extra] = st.session_state.get(extra, 0) + 6
        st.rerun()
    if remarks := session.details.file_remarks.splitlines():
        st.subheader("Notes on the file")
        listed(remarks)
    _whole_faults(checked)
    _files(session, cells)


def _closed(session: StoredSession, cells: Cells) -> None:
    lost = _typed_too_late(session, cells)
    if st.session_state.pop(CLOSING, "") == session.id and not lost:
        go("finding")  # the run that closed was overtaken by another one
    if session.question.training is None:
        st.info(
            "The ballots are closed and the finding is shown. They can be opened again, with "
            "a reason, on the page Finding."
        )
    else:
        st.info("The ballots are closed. They can be opened again, with a reason, on Marks.")
    onward(session)
    names = {name: name.replace("_", " ") for name in _names(session, cells)}
    scroll(
        [
            {"row": str(row)}
            | {title: _as_read(name, texts.get(name, "")) for name, title in names.items()}
            for row, texts in sorted(cells.items())
        ]
    )


def _as_read(column: str, text: str) -> str:
    """The text of a cell, a time of the record in it on the clock of this machine.

    >>> _as_read("sent", ""), _as_read("comment", "2026-09-14T10:31:07+00:00")
    ('', '2026-09-14T10:31:07+00:00')
    """
    return _STAMP.sub(lambda stamp: minute(stamp.group()), text) if column in MARKS else text


def _at_booths(session: StoredSession) -> None:
    """Counts of what was sent, never an answer; closing opens the finding."""
    there = standing(desk(), session.id)
    session_head(session, there)
    reactions_panel(session)
    _way_on(session, there)
    if session.question.training is not None:
        marks_part(session)
    else:
        st.markdown(
            "Assessors answer at booths. What they answered is shown when the ballots are closed."
        )
    show_board(session, counts=False)
    _anew(session, _sent(session))


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


def _way_on(session: StoredSession, there: Standing) -> None:
    """Where the ballots stand, and closing them."""
    words, button = st.columns([3, 2], vertical_alignment="center")
    words.markdown(_standing(there))
    if not session.agreed:
        with button:
            st.markdown("The question comes before the finding.")
            onward(session)
        return
    few, label = "", "Close ballots"
    if there.can_close and there.fewer:
        label = f"Close with {there.words}"
        few = f"These {there.all_there_will_be} ballots are all there will be"
    # The count is in the key: what was ticked of two ballots is not said of three.
    sure = not few or button.checkbox(few, key=f"sure-{there.answered}")
    ready = there.can_close and sure
    if pressed(label, "close", primary=True, ready=ready, place=button):
        with shown_errors():
            st.session_state[CLOSING] = session.id
            close_and_note(desk(), session.id, who=who(session))
            WANTED.set()
            go("finding")


def _standing(there: Standing) -> str:
    """How many there are, how many are blank, what is to be fixed."""
    fix = f"**{several(there.errors, 'error')}** to fix"
    if there.at_booths:
        return f"**{there.words} ballots** sent" + (f", {fix}." if there.errors else ".")
    blank = f"**{there.blank} blank**, " if there.blank else ""
    notes = several(there.notes, "note")
    return f"**{there.words} ballots** answered, {blank}{fix}, **{notes}**. Saved automatically."


def _reference(session: StoredSession, cells: Cells) -> None:
    """Where no ballot names the agreed reference: which of the samples is it?"""
    try:
        check_reference(session.question, cells)
    except RecordError as error:
        st.warning(plain(str(error)))
        words, button = st.columns([3, 2], vertical_alignment="bottom")
        chosen = words.selectbox(
            "Which sample is the reference?", samples_on(cells), index=None, key="reference-is"
        )
        named = partial(name_reference, desk(), session.id, str(chosen), who=who(session))
        label = f"Call it {plain(reference_of(session.question))}"
        act(label, "name-reference", named, ready=chosen is not None, place=button)


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
    if session.serving:
        return f"Enter goes down the answers. {left}What was served is shown after closing."
    return f"{test.letters} {left}Clear a row to delete it."


def _names(session: StoredSession, cells: Cells) -> list[str]:
    """Columns of the grid: what the test needs, then what else the ballots bring.

    Where a plan says what was served, nobody who types sees it: it could lead the eye.
    """
    present = dict.fromkeys(name for texts in cells.values() for name in texts)
    test = find_kind(session.question.protocol)
    columns = template_columns(test, test.attributes(session.question))
    needed = [column.name for column in columns]
    if test.protocol:
        coded = [name for name in needed if name.startswith("code_")]
        codes = ["codes"] if "codes" in present and "code_1" not in present else coded
        needed = ["assessor", "order", *codes, "answer", "guess", "comment", "replicate"]
    # Stated on Serve; here they could be typed over.
    hidden = set() if session.closed else set(SERVING_MARKS)
    if session.serving and not session.closed:
        once = {texts.get("replicate", "") for texts in cells.values()} == {"1"}
        hidden |= {*SERVED_COLUMNS, *["replicate"] * once}
    return [name for name in dict.fromkeys([*needed, *present]) if name not in hidden]


def _rows(session: StoredSession, cells: Cells, extra: int) -> list[int]:
    start = min(cells, default=1)
    start = start if start <= 2 else 1
    last = max([start + session.question.assessors - 1, *cells])
    return list(range(start, last + extra + 1))


def _whole_faults(checked: CheckedBallots) -> None:
    rows = [fault for fault in checked.faults if fault.row and fault.blocking]
    whole = [fault for fault in checked.faults if not fault.row and checked.ready]
    for heading, faults in (("Errors to fix", rows), ("About the table as a whole", whole)):
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

"""The import assistant: what a file as it comes is read as, corrected before anything is agreed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from ..base.results import several
from ..catalogue.checking import CheckedBallots
from ..release.batch_records import ProductRecord
from ..release.file_shapes import shapes_for
from ..sessions.file_import import ImportedFile, import_file, proposed_merges
from ..sessions.file_roles import Role
from ..sessions.file_shape import FileShape, Merge
from ..sessions.file_sheets import RawSheet, file_sheets, sheet_named
from .frame import desk, plain, show_faults
from .parts import choose, scroll

_ANEW = "anew, as guessed"
_FIRST = 5
_SEEN = 30
_ACROSS = 4


def import_assistant(content: bytes, name: str, key: str) -> ImportedFile | None:
    """Show how a file is read, take corrections, and give its ballots.

    `name`: of the file; `key`: of this upload, so that another file begins anew.

    Raises BallotError, ArgumentError for a file or a choice that cannot be read.
    """
    sheet = _sheet(content, key)
    kept = _kept(sheet, key)
    begun = f"{key}-{sheet.title}-{sheet.row}-{kept.name if kept else ''}"
    roles = _roles(sheet, kept, begun)
    merges = _merges(sheet, roles, kept, begun)
    read = import_file(sheet, roles, merges=merges, name=kept.name if kept else name)
    if kept:
        read = replace(read, shape=replace(read.shape, reference=kept.reference))
    told(len(read.cells), read.checked)
    with st.expander("What was done to the file"):
        scroll([dict(zip(("step", "item", "result"), row, strict=True)) for row in _steps(read)])
    return read if read.cells else None


def told(ballots: int, checked: CheckedBallots) -> None:
    """How many ballots were read, how many of them are ready, and every fault."""
    errors = len(checked.blocking)
    words = f"{several(ballots, 'ballot')} read: {checked.ready} ready"
    if errors:
        st.warning(f"{words}, {several(errors, 'error')} to fix.")
        show_faults(checked.blocking)
    else:
        st.success(f"{words}.")


def _steps(read: ImportedFile) -> list[list[str]]:
    return [list(map(str, row)) for row in read.report.table().to_numpy().tolist()]


def _sheet(content: bytes, key: str) -> RawSheet:
    """The sheet and its heading row, as found or as chosen."""
    sheets = file_sheets(content)
    likely = sheet_named(sheets)
    left, right = st.columns(2)
    title = likely.title
    if len(sheets) > 1:
        title = choose("Sheet", list(sheets), title, f"import-sheet-{key}", place=left)
    sheet = sheets[title]
    numbers = [row for row, _ in sheet.lines[: min(_SEEN, len(sheet.lines) - 1)]]
    row = choose("Heading row", numbers, sheet.row, f"import-row-{key}-{title}", place=right)
    if row != sheet.row:
        sheet = RawSheet(title=title, lines=sheet.lines, at=numbers.index(row))
    shown = sheet.lines[sheet.at : sheet.at + 1 + _FIRST]
    scroll(
        [
            {"row": str(number)} | {str(at): text for at, text in enumerate(line, start=1)}
            for number, line in shown
        ]
    )
    return sheet


def _kept(sheet: RawSheet, key: str) -> FileShape | None:
    """An earlier reading that fits the columns, the first offered; None to read the file anew."""
    shapes = shapes_for(desk(), sheet.headings)
    if not shapes:
        return None
    names: dict[str, FileShape | None] = {shape.name: shape for shape in shapes}
    offered = names | {_ANEW: None}
    return offered[choose("Read it like", list(offered), shapes[0].name, f"import-like-{key}")]


def _roles(sheet: RawSheet, kept: FileShape | None, key: str) -> tuple[Role, ...]:
    """A role for each column, at first as an earlier file of the kind had it, else as guessed."""
    st.markdown("**What does each column hold?**")
    given = dict(zip(kept.headings, kept.roles, strict=True)) if kept else None
    guessed = sheet.roles(given)
    filled = [(at, text) for at, text in enumerate(sheet.headings) if text]
    roles = list(guessed)
    for start in range(0, len(filled), _ACROSS):
        columns = st.columns(_ACROSS)
        for column, (at, text) in zip(columns, filled[start : start + _ACROSS], strict=False):
            widget = f"import-role-{key}-{at}"
            roles[at] = choose(plain(text), list(Role), guessed[at], widget, place=column)
    told_roles = {text: roles[at].value for at, text in filled}
    if len(told_roles) == len(filled):  # with a heading twice, columns are told apart by place
        return sheet.roles(told_roles)
    return tuple(roles)


def _attributes_on_record() -> list[str]:
    """The attributes that release rules have margins for."""
    rules = [each.product.release_rule for each in desk().nouns(ProductRecord)]
    return list(dict.fromkeys(name for rule in rules for name in rule.get("margins", {})))


def _merges(
    sheet: RawSheet, roles: Sequence[Role], kept: FileShape | None, key: str
) -> list[Merge]:
    """Proposed merges that were ticked; those of an earlier file of the kind are ticked already."""
    known = set(kept.merges) if kept else set()
    proposed = proposed_merges(sheet, roles, _attributes_on_record())
    if proposed:
        st.markdown("**Is this the same name?** Tick what to merge.")
    return [
        merge
        for merge in proposed
        if st.checkbox(
            f"{merge.role.capitalize()}: read {plain(merge.spelling)} as {plain(merge.name)}",
            value=merge in known,
            key=f"import-merge-{key}-{merge.role}-{merge.spelling}",
        )
    ]

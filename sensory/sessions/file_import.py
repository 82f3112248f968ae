"""A file as it comes: roles of its columns, merged spellings, the reference, and what was done.

Why so
------
Nothing is merged or left out unseen: spellings are proposed and taken only when told, and the
report says of each column what it was read as. The file itself is never changed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import pandas as pd

from ..base.errors import ArgumentError, BallotError, Fault
from ..base.results import several
from ..base.spelling import may_be_alike, same_person, tidy_name
from ..catalogue.checking import CheckedBallots, check_rows
from ..catalogue.columns import RawRow
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from .file_kinds import kind_of_rows, settings_of_file
from .file_roles import Role
from .file_shape import FileShape, Merge
from .file_sheets import RawSheet

_MERGED = (Role.ASSESSOR, Role.SAMPLE, Role.ATTRIBUTE)
_COLUMN = {
    Role.ASSESSOR: "assessor",
    Role.SAMPLE: "sample",
    Role.REPLICATE: "replicate",
    Role.COMMENT: "comment",
    Role.ORDER: "order",
    Role.ANSWER: "answer",
    Role.CODE: "code",
    Role.SCORE: "score",
    Role.NAME_OF_ATTRIBUTE: "attribute",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportReport:
    """What was done to read a file.

    `columns`: heading and role of each column.
    `merged`: each merge, and in how many cells.
    `dates`: the first and the last text of the date column; empty without one.
    `decimal_commas`: numbers written with a comma.
    """

    sheet: str
    heading_row: int
    columns: tuple[tuple[str, str], ...]
    merged: tuple[tuple[Merge, int], ...]
    dates: tuple[str, ...]
    decimal_commas: int
    reference: str
    ballots: int
    ready: int

    def table(self) -> pd.DataFrame:
        """The report as rows of `step`, `item` and `result`."""
        rows = [("sheet", self.sheet, f"headings in row {self.heading_row}")]
        rows += [("column", heading, role) for heading, role in self.columns]
        rows += [
            (f"merged {merge.role}", merge.spelling, f"{merge.name}, {several(cells, 'cell')}")
            for merge, cells in self.merged
        ]
        rows += [("numbers", "decimal comma", several(self.decimal_commas, "cell"))]
        rows += [("dates, not used", date, "") for date in self.dates]
        rows += [("reference", self.reference, "")] if self.reference else []
        rows += [("ballots", several(self.ballots, "ballot"), f"{self.ready} ready")]
        return pd.DataFrame(rows, columns=["step", "item", "result"])


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportedFile:
    """Ballots of a file that was read by roles.

    `test`: key of the test.
    `cells`: numbered lines, as a session keeps them.
    `settings`: what the file says of them: attributes, samples' reference.
    `checked`: the ballots judged, with every fault.
    """

    test: str
    cells: dict[int, dict[str, str]]
    settings: dict[str, str]
    samples: tuple[str, ...]
    checked: CheckedBallots
    report: ImportReport
    shape: FileShape


def proposed_merges(
    sheet: RawSheet, roles: Sequence[Role], attributes: Sequence[str] = ()
) -> list[Merge]:
    """Spellings that may be one name, each to be read as the commonest; nothing is merged yet.

    `attributes`: names on record, as which those of the file may be meant.

    Two assessors who both scored the same sample in the same replicate are two.
    """
    names = _names(sheet, roles)
    served = _served(sheet, roles)
    merges = _as_on_record(names[Role.ATTRIBUTE], attributes)
    for merge in merges:
        del names[Role.ATTRIBUTE][merge.spelling]
    for role in _MERGED:
        times = names[role]
        order = sorted(times, key=lambda name: -times[name])
        taken: set[str] = set()
        for name, other in combinations(order, 2):
            apart = role is not Role.ASSESSOR or not served[name] & served[other]
            if other not in taken and name not in taken and apart and may_be_alike(name, other):
                merges.append(Merge(role=role.value, spelling=other, name=name))
                taken.add(other)
    return merges


def import_file(
    sheet: RawSheet,
    roles: Sequence[Role],
    *,
    merges: Sequence[Merge] = (),
    reference: str = "",
    test: str | None = None,
    name: str = "file",
) -> ImportedFile:
    """The ballots of a sheet by the roles of its columns, judged before anything is agreed.

    Raises ArgumentError for a reference that is none of the samples; BallotError where no column
    names the assessors, or a row scores an attribute twice.
    """
    if Role.ASSESSOR not in roles:
        raise BallotError([_no_assessor(sheet)])
    rows, cells_merged = _rows(sheet, roles, merges)
    key = test or kind_of_rows(rows)
    rows = [_for_test(row, key) for row in rows]
    samples = tuple(
        {same_person(text): text for row in rows if (text := row.cells.get("sample"))}.values()
    )
    spelled = {same_person(sample): sample for sample in samples}
    if reference and same_person(reference) not in spelled:
        raise ArgumentError(f"reference must be one of {', '.join(samples)}; got {reference!r}.")
    reference = spelled.get(same_person(reference), "")
    cells = {row.row: row.cells for row in rows}
    settings = settings_of_file(key, cells)
    named_by = [k for k in ("reference", "control") if find_kind(key).has_setting(k)]
    settings |= {setting: reference for setting in named_by if reference}
    checked = check_rows(rows, find_kind(key), Question(protocol=key, settings={**settings}))
    pairs = [(text, role) for text, role in zip(sheet.headings, roles, strict=True) if text]
    shape = FileShape(
        name=name,
        headings=tuple(text for text, _ in pairs),
        roles=tuple(role.value for _, role in pairs),
        merges=tuple(merges),
        reference=reference,
    )
    report = ImportReport(
        sheet=sheet.title,
        heading_row=sheet.row,
        columns=tuple((text, role.value) for text, role in pairs),
        merged=tuple((merge, cells_merged[merge]) for merge in merges),
        dates=_dates(sheet, roles),
        decimal_commas=sum(_comma(text) for row in rows for text in row.cells.values()),
        reference=reference,
        ballots=len(rows),
        ready=checked.ready,
    )
    return ImportedFile(
        test=key,
        cells=cells,
        settings=settings,
        samples=samples,
        checked=checked,
        report=report,
        shape=shape,
    )


def _cells(sheet: RawSheet, roles: Sequence[Role]) -> list[tuple[int, dict[int, str]]]:
    """Row number and the texts of the columns that have a role; empty rows left out."""
    used = [at for at, role in enumerate(roles) if role is not Role.IGNORE]
    rows = []
    for row, line in sheet.below:
        texts = {at: tidy_name(line[at]) if at < len(line) else "" for at in used}
        if any(texts.values()):
            rows.append((row, texts))
    return rows


def _names(sheet: RawSheet, roles: Sequence[Role]) -> dict[Role, Counter[str]]:
    """How often each name of an assessor, a sample and an attribute occurs."""
    times = {role: Counter[str]() for role in _MERGED}
    of_column = {role: role for role in _MERGED} | {Role.NAME_OF_ATTRIBUTE: Role.ATTRIBUTE}
    for at, role in enumerate(roles):
        if role is Role.ATTRIBUTE:
            times[role][sheet.headings[at]] += len(sheet.below)
    first: dict[tuple[Role, str], str] = {}
    for _, texts in _cells(sheet, roles):
        for at, text in texts.items():
            if roles[at] is not Role.ATTRIBUTE and text and (of := of_column.get(roles[at])):
                times[of][first.setdefault((of, same_person(text)), text)] += 1
    return times


def _as_on_record(names: Iterable[str], on_record: Sequence[str]) -> list[Merge]:
    known = set(map(same_person, on_record))
    return [
        Merge(role=Role.ATTRIBUTE.value, spelling=name, name=meant)
        for name in names
        if same_person(name) not in known
        and (meant := next((each for each in on_record if may_be_alike(name, each)), ""))
    ]


def _served(sheet: RawSheet, roles: Sequence[Role]) -> dict[str, set[tuple[str, ...]]]:
    """By assessor the samples and replicates on their rows."""
    served: dict[str, set[tuple[str, ...]]] = {}
    first: dict[str, str] = {}
    what = (Role.SAMPLE, Role.REPLICATE, Role.NAME_OF_ATTRIBUTE)
    for _, texts in _cells(sheet, roles):
        key = tuple(same_person(text) for at, text in texts.items() if roles[at] in what)
        for at, text in texts.items():
            if roles[at] is Role.ASSESSOR:
                served.setdefault(first.setdefault(same_person(text), text), set()).add(key)
    return served


def _rows(
    sheet: RawSheet, roles: Sequence[Role], merges: Sequence[Merge]
) -> tuple[list[RawRow], Counter[Merge]]:
    """Rows with their columns by role and names merged, and in how many cells."""
    read_as = {(merge.role, same_person(merge.spelling)): merge for merge in merges}
    used, rows = Counter[Merge](), []
    faults = []

    def merged(role: Role, text: str) -> str:
        merge = read_as.get((role.value, same_person(text)))
        used.update([merge] if merge else [])
        return merge.name if merge else text

    for row, texts in _cells(sheet, roles):
        cells: dict[str, str] = {}
        for at, text in texts.items():
            role, name = roles[at], _COLUMN.get(roles[at], sheet.headings[at])
            if role is Role.DATE:
                continue
            if role is Role.ATTRIBUTE:
                name = merged(role, name) if text else name
                if text and cells.get(name):
                    faults.append(_scored_twice(sheet, row, name))
                text = text or cells.get(name, "")
            elif role in _MERGED:
                text = merged(role, text)
            elif role is Role.NAME_OF_ATTRIBUTE:
                text = merged(Role.ATTRIBUTE, text)
            cells[name] = text
        rows.append(RawRow(sheet=sheet.title, row=row, cells=cells, headings={}))
    if faults:
        raise BallotError(faults)
    return _without_merged(rows, read_as), used


def _without_merged(rows: list[RawRow], read_as: Mapping[tuple[str, str], Merge]) -> list[RawRow]:
    """Rows without the columns of attributes that are read as another."""
    gone = {key for role, key in read_as if role == Role.ATTRIBUTE}
    if not gone:
        return rows
    return [
        replace(
            row,
            cells={name: text for name, text in row.cells.items() if same_person(name) not in gone},
        )
        for row in rows
    ]


def _for_test(row: RawRow, key: str) -> RawRow:
    """A row with the columns of the test alone, by its own names."""
    ballot = find_kind(key).ballot
    cells = {known: text for name, text in row.cells.items() if (known := ballot.column_of(name))}
    return replace(row, cells=cells)


def _dates(sheet: RawSheet, roles: Sequence[Role]) -> tuple[str, ...]:
    dates = [t for _, texts in _cells(sheet, roles) for at, t in texts.items()
             if roles[at] is Role.DATE and t]  # fmt: skip
    return tuple(dict.fromkeys((dates[0], dates[-1]))) if dates else ()


def _comma(text: str) -> bool:
    whole, comma, part = text.partition(",")
    return bool(comma) and whole.lstrip("+-").isdecimal() and part.isdecimal()


def _no_assessor(sheet: RawSheet) -> Fault:
    return Fault(
        sheet=sheet.title,
        row=sheet.row,
        rule="no assessor column",
        problem="No column names the assessors.",
        advice="Give one the role assessor, or choose another heading row.",
    )


def _scored_twice(sheet: RawSheet, row: int, name: str) -> Fault:
    return Fault(
        sheet=sheet.title,
        row=row,
        column=name,
        rule="attribute twice",
        problem=f"Two columns that are read as {name} hold a score.",
        advice="Leave one out, or do not merge them.",
    )

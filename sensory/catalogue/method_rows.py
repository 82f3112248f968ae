"""Ballots that are no forced choice, judged cell by cell and as a whole."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from ..base.errors import Fault
from ..base.results import several
from ..base.spelling import same_person
from .lines import Cells, filled_lines
from .method_columns import MethodColumns, attributes_in, columns_for
from .method_line import MethodLine, Row, Settings
from .methods import Method


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedRows:
    """Answers that passed, and everything that was noticed.

    Attributes
    ----------
    rows : tuple of dict
        One an answer: the columns of the ballot; for attributes `attribute` and `score`.
    missing : int
        Answers left out because their cell is empty.
    ready : int
        Ballots without a blocking fault, those without an answer included.
    faults : tuple of Fault
        Blocking ones and remarks, in the order of the rows.
    """

    rows: tuple[Row, ...]
    missing: int
    ready: int
    faults: tuple[Fault, ...]

    @property
    def blocking(self) -> tuple[Fault, ...]:
        """What has to be mended before counting."""
        return tuple(fault for fault in self.faults if fault.blocking)

    @property
    def remarks(self) -> tuple[Fault, ...]:
        """What is counted as it is, and reported."""
        return tuple(fault for fault in self.faults if not fault.blocking)


def check_rows(cells: Cells, method: Method, settings: Settings) -> CheckedRows:
    """Judge numbered lines of cells as ballots of a method.

    Parameters
    ----------
    cells : mapping of int to mapping of str to str
        Text by line and column.
    method : Method
    settings : mapping
        What was agreed: grades, scale and the like; see `Method.settings`.
    """
    ballot = columns_for(method.key)
    filled = filled_lines(cells)
    faults = _missing_columns(ballot, filled.values())
    if faults:
        return CheckedRows(rows=(), missing=0, ready=0, faults=tuple(faults))
    readers = [
        MethodLine(number, texts, ballot, method, settings)
        for number, texts in sorted(filled.items())
    ]
    _one_spelling(readers, ballot)
    _one_attribute(readers)
    for reader in readers:
        faults += reader.faults
    faults += _twice(readers, ballot) + _not_ranks(readers)
    sound = [reader for reader in readers if not reader.blocked]
    rows = tuple(row for reader in sound for row in reader.answers())
    missing = sum(reader.missing for reader in readers)
    faults += _whole(rows, missing)
    if ballot.attributes:
        agreed = method.listed(settings, "attributes")
        faults += _not_agreed(filled.values(), ballot, agreed)
        if agreed:
            wanted = set(map(same_person, agreed))
            rows = tuple(row for row in rows if same_person(row["attribute"]) in wanted)
    order = {fault.row: place for place, fault in enumerate(faults)}
    faults.sort(key=lambda fault: (fault.row or math.inf, order.get(fault.row, 0)))
    return CheckedRows(rows=rows, missing=missing, ready=len(sound), faults=tuple(faults))


def _one_spelling(readers: list[MethodLine], ballot: MethodColumns) -> None:
    """Persons and samples in the spelling in which they came first."""
    for rule in ballot.rules:
        if rule.kind not in ("name", "sample"):
            continue
        first: dict[str, str] = {}
        for reader in readers:
            text = reader.values[rule.name]
            if text:
                reader.values[rule.name] = first.setdefault(same_person(text), text)


def _not_agreed(
    lines: Iterable[Mapping[str, str]], ballot: MethodColumns, agreed: list[str]
) -> list[Fault]:
    """A remark for attributes that nobody agreed; they are not read."""
    wanted = set(map(same_person, agreed))
    extra = [name for name in attributes_in(lines, ballot) if same_person(name) not in wanted]
    if not (agreed and extra):
        return []
    return [
        _table_fault(
            "attribute not agreed",
            f"Not among the agreed attributes, and not read: {', '.join(extra)}.",
            "Agree them before tasting, or leave them out.",
            blocking=False,
        )
    ]


def _one_attribute(readers: list[MethodLine]) -> None:
    """Attributes of a long table in the spelling in which they came first."""
    first: dict[str, str] = {}
    for reader in readers:
        reader.scores = {
            first.setdefault(same_person(name), name): score
            for name, score in reader.scores.items()
        }


def _missing_columns(ballot: MethodColumns, lines: Iterable[Mapping[str, str]]) -> list[Fault]:
    there = {name for line in lines for name in line}
    return [
        _table_fault("missing column", f"The column {rule.name} is missing.", rule.meaning)
        for rule in ballot.rules
        if rule.required and there and rule.name not in there
    ]


def _twice(readers: list[MethodLine], ballot: MethodColumns) -> list[Fault]:
    """Two lines for one person, sample and replicate (and attribute, in a long table)."""
    first: dict[tuple[Any, ...], int] = {}
    faults = []
    for reader in readers:
        key = (*reader.key, same_person(reader.text("attribute")))
        if reader.blocked:
            continue
        if key in first:
            faults.append(
                Fault(
                    sheet="",
                    row=reader.number,
                    column=ballot.once[0],
                    value=reader.text(ballot.once[0]),
                    rule="answer twice",
                    problem=f"The same {', '.join(ballot.once)} stand in row {first[key]}.",
                    advice="Give the second a replicate of 2, or take one out."
                    if "replicate" in ballot.once
                    else "Take one of them out.",
                )
            )
        first.setdefault(key, reader.number)
    return faults


def _not_ranks(readers: list[MethodLine]) -> list[Fault]:
    """Ranks of one person have to be 1, 2 ..., tied samples sharing the mean of theirs."""
    given: dict[str, list[MethodLine]] = {}
    for reader in readers:
        if reader.values.get("rank") is not None and not reader.blocked:
            given.setdefault(same_person(str(reader.values["assessor"])), []).append(reader)
    faults = []
    for mine in given.values():
        ranks = sorted(float(reader.values["rank"]) for reader in mine)
        shared = [
            (ranks.index(rank) + 1 + len(ranks) - ranks[::-1].index(rank)) / 2 for rank in ranks
        ]
        if ranks != shared:
            faults.append(
                Fault(
                    sheet="",
                    row=mine[-1].number,
                    column="rank",
                    value=mine[-1].text("rank"),
                    rule="not ranks",
                    problem=f"The ranks of {mine[-1].values['assessor']} are "
                    f"{', '.join(f'{rank:g}' for rank in ranks)}.",
                    advice="They have to be 1, 2 ...; tied samples share the mean, such as 1.5 "
                    "and 1.5.",
                )
            )
    return faults


def _whole(rows: tuple[Row, ...], missing: int) -> list[Fault]:
    """Remarks on the table as a whole: missing answers, scorers that never vary."""
    faults = []
    if missing:
        faults.append(
            _table_fault(
                "missing answers",
                f"{several(missing, 'answer')} missing; left out, never counted as wrong or zero.",
                "Say in the report why, if it is known.",
                blocking=False,
            )
        )
    scored: dict[tuple[str, str], Counter[float]] = {}
    for row in rows:
        if "score" in row:
            pair = (str(row["assessor"]), str(row.get("attribute", "every sample")))
            scored.setdefault(pair, Counter())[row["score"]] += 1
    for (assessor, attribute), counts in scored.items():
        if len(counts) == 1 and counts.total() >= 3:
            faults.append(
                _table_fault(
                    "constant scorer",
                    f"{assessor} gave {attribute} the same score, {counts.total()} times.",
                    "Ask whether the scale was used; the scores are counted as they are.",
                    blocking=False,
                )
            )
    return faults


def _table_fault(rule: str, problem: str, advice: str, *, blocking: bool = True) -> Fault:
    return Fault(
        sheet="",
        row=0,
        column="",
        value="",
        rule=rule,
        problem=problem,
        advice=advice,
        blocking=blocking,
    )

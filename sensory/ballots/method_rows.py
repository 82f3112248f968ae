"""Ballots that are no forced choice, judged cell by cell and as a whole."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from ..base.errors import Fault
from ..base.results import several
from ..methods import METHODS, Method
from ..protocols import PROTOCOLS
from .cells import read_cells
from .codes import plain_width, same_person
from .columns import CHOICE
from .lines import Cells, filled_lines, protocol_of_cells
from .method_columns import METHOD_COLUMNS, MethodColumn, MethodColumns, columns_for

_NUMBER = r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
Settings = Mapping[str, Any]
Row = dict[str, Any]


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
        _Line(number, texts, ballot, method, settings) for number, texts in sorted(filled.items())
    ]
    _one_spelling(readers, ballot)
    for reader in readers:
        faults += reader.faults
    faults += _twice(readers, ballot)
    sound = [reader for reader in readers if not reader.blocked]
    rows = tuple(row for reader in sound for row in reader.answers())
    missing = sum(reader.missing for reader in readers)
    faults += _whole(rows, missing)
    order = {fault.row: place for place, fault in enumerate(faults)}
    faults.sort(key=lambda fault: (fault.row or math.inf, order.get(fault.row, 0)))
    return CheckedRows(rows=rows, missing=missing, ready=len(sound), faults=tuple(faults))


def kind_of_file(source: bytes) -> str:
    """Key of the test whose ballots a file holds; a forced choice where none fits better.

    Where several methods have the columns, the one with the fewest cells to mend is taken.

    Raises
    ------
    BallotError
        When the file cannot be read as a table.
    """
    candidates = []
    for key, headings in (("", CHOICE), *METHOD_COLUMNS.items()):
        rows = read_cells(source, headings).rows
        needed = {column.name for column in headings.columns if column.required}
        if not rows or not needed <= set(rows[0].cells):
            continue
        cells = {number: dict(row.cells) for number, row in enumerate(rows)}
        if not key:
            return protocol_of_cells(cells)
        candidates.append((len(check_rows(cells, METHODS[key], {}).blocking), key))
    return min(candidates, key=lambda one: one[0])[1] if candidates else next(iter(PROTOCOLS))


class _Line:
    """One line, read cell by cell."""

    def __init__(
        self,
        number: int,
        texts: Mapping[str, str],
        ballot: MethodColumns,
        method: Method,
        settings: Settings,
    ):
        self.number, self.texts, self.ballot = number, texts, ballot
        self.method, self.settings = method, settings
        self.faults: list[Fault] = []
        self.values: Row = {}
        self.missing = 0
        for rule in ballot.rules:
            self.values[rule.name] = self._read(rule)
        self.scores = self._scores() if ballot.attributes else {}

    @property
    def blocked(self) -> bool:
        return any(fault.blocking for fault in self.faults)

    @property
    def key(self) -> tuple[Any, ...]:
        """What belongs to one line only; persons without the differences of typing."""
        values = (self.values.get(name) for name in self.ballot.once)
        return tuple(same_person(str(value)) for value in values)

    def answers(self) -> Iterable[Row]:
        """The answers of this line, a row each."""
        given = {name: value for name, value in self.values.items() if name not in _ANSWERS}
        if self.ballot.attributes:
            for attribute, score in self.scores.items():
                yield given | {"attribute": attribute, "score": score}
        elif not self.missing:
            yield dict(self.values)

    def text(self, name: str) -> str:
        return " ".join(plain_width(self.texts.get(name, "")).split())

    def _read(self, rule: MethodColumn) -> Any:
        text = self.text(rule.name)
        if not text and rule.answer:
            self.missing += 1
            self._note(rule.name, "no answer", "No answer was given.", "Left out.", blocking=False)
            return None
        if not text and rule.required:
            self._note(rule.name, "empty", f"The {rule.name} is missing.", rule.meaning)
            return None
        return _READERS[rule.kind](self, rule, text)

    def _scores(self) -> dict[str, float]:
        """Scores of the attributes; long tables name theirs in a column."""
        known = {rule.name for rule in self.ballot.rules}
        names = [name for name in self.texts if name not in known]
        if "attribute" in self.texts:
            names = ["score"]
        found = {}
        for name in names:
            text = self.text(name)
            attribute = self.text("attribute") if name == "score" else name
            if not attribute:
                self._note(
                    "attribute", "empty", "The attribute is missing.", "Name what is scored."
                )
            elif text:
                score = self.score(name, text)
                if score is not None:
                    found[attribute] = score
            else:
                self.missing += 1
        return found

    def score(self, name: str, text: str) -> float | None:
        """A number on the agreed scale, decimal comma or point."""
        low = float(self.method.setting(self.settings, "scale_low"))
        high = float(self.method.setting(self.settings, "scale_high"))
        if not re.fullmatch(_NUMBER, text, flags=re.ASCII):
            self._note(name, "no number", f"{_shown(text)} is no number.", "Write the score alone.")
            return None
        value = float(text.replace(",", "."))
        if not low <= value <= high:
            self._note(
                name,
                "off the scale",
                f"{text} lies off the scale of {low:g} to {high:g}.",
                "Look at the ballot, or agree another scale.",
            )
            return None
        return value

    def _note(
        self, column: str, rule: str, problem: str, advice: str, *, blocking: bool = True
    ) -> None:
        self.faults.append(
            Fault(
                sheet="",
                row=self.number,
                column=column,
                value=self.texts.get(column, ""),
                rule=rule,
                problem=problem,
                advice=advice,
                blocking=blocking,
            )
        )

    def _text(self, rule: MethodColumn, text: str) -> str:
        return text

    def _count(self, rule: MethodColumn, text: str) -> int:
        whole = re.fullmatch(r"([0-9]{1,4})(?:[.,]0*)?", text or "1", flags=re.ASCII)
        if not whole or not int(whole.group(1)):
            self._note(
                rule.name,
                f"bad {rule.name}",
                f"The {rule.name} {_shown(text)} is no whole number from 1.",
                "Write 1, 2 ... or leave it empty for 1.",
            )
            return 1
        return int(whole.group(1))

    def _choice(self, rule: MethodColumn, text: str) -> str | None:
        said = text.casefold().strip()
        for names in rule.choices:
            if said in (name.casefold() for name in names):
                return names[0]
        allowed = ", ".join(names[0] for names in rule.choices)
        self._note(
            rule.name,
            f"unknown {rule.name}",
            f"{_shown(text)} is none of {allowed}.",
            "Look at the ballot and at the serving plan."
            if rule.answer
            else f"Write one of {allowed}.",
        )
        return None

    def _grade(self, rule: MethodColumn, text: str) -> int | None:
        grades = self.method.listed(self.settings, "grades")
        said = [grade.casefold() for grade in grades]
        if text.casefold() in said:
            return said.index(text.casefold()) + 1
        whole = re.fullmatch(r"([0-9]{1,2})(?:[.,]0*)?", text, flags=re.ASCII)
        if whole and 1 <= int(whole.group(1)) <= len(grades):
            return int(whole.group(1))
        self._note(
            rule.name,
            "unknown grade",
            f"{_shown(text)} is none of the agreed grades.",
            f"Write {'; '.join(grades)}, or the number of the grade.",
        )
        return None

    def _score(self, rule: MethodColumn, text: str) -> float | None:
        return self.score(rule.name, text)


_ANSWERS = ("attribute", "score")
_READERS: dict[str, Callable[[_Line, MethodColumn, str], Any]] = {
    "name": _Line._text,
    "sample": _Line._text,
    "text": _Line._text,
    "count": _Line._count,
    "choice": _Line._choice,
    "grade": _Line._grade,
    "score": _Line._score,
    "rank": _Line._text,
}


def _one_spelling(readers: list[_Line], ballot: MethodColumns) -> None:
    """Persons and samples in the spelling in which they came first."""
    for rule in ballot.rules:
        if rule.kind not in ("name", "sample"):
            continue
        first: dict[str, str] = {}
        for reader in readers:
            text = reader.values[rule.name]
            if text:
                reader.values[rule.name] = first.setdefault(same_person(text), text)


def _missing_columns(ballot: MethodColumns, lines: Iterable[Mapping[str, str]]) -> list[Fault]:
    there = {name for line in lines for name in line}
    return [
        _table_fault("missing column", f"The column {rule.name} is missing.", rule.meaning)
        for rule in ballot.rules
        if rule.required and there and rule.name not in there
    ]


def _twice(readers: list[_Line], ballot: MethodColumns) -> list[Fault]:
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
                    advice="Give the second a replicate of 2, or take one out.",
                )
            )
        first.setdefault(key, reader.number)
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
            pair = (str(row["assessor"]), str(row["attribute"]))
            scored.setdefault(pair, Counter())[row["score"]] += 1
    for (assessor, attribute), counts in scored.items():
        if len(counts) == 1 and counts.total() >= 3:
            faults.append(
                _table_fault(
                    "constant scorer",
                    f"{assessor} gave {attribute} the same score {counts.total()} times.",
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


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")

"""Studies that the house knows: one `StudyKind` each, and a study is data and one function.

Why so
------
A study is asked, read, shown, printed, kept and found again in one way, whatever it asks: its kind
says which settings are agreed beforehand, which columns its file has, and how rows become an
answer. Another study is another entry of `all_studies`, and nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, NamedTuple

import pandas as pd

from ..base.errors import ArgumentError
from ..base.record_checks import iso_date
from ..base.results import Table, digits
from ..base.shown import Told
from ..base.spelling import same_person
from ..catalogue.outcome import NamedTable
from ..ratings.names import alike_notes
from ..sessions.session import StoredSession
from ..sessions.sheets import Source
from ..sessions.store import Store
from ..sessions.study_file import StudyColumns, read_study

Settings = Mapping[str, float | str]
Roles = Mapping[str, str]
"""By column, the heading that was said to be it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StudySetting:
    """Something that is agreed before the data are read.

    `kind`: how it is typed; of `column`, it is one of the names in that column of the file.
    `low`, `high`, `step`: of a number. `choices`: of a choice, or of a column its name.
    `named`: by choice, how people read it.
    `default`: None for none, which a limit never has.
    `share`: whether it is typed in percent and used as a share.
    """

    key: str
    label: str
    kind: Literal["number", "text", "choice", "day", "column"] = "text"
    low: float = 0.0
    high: float = 1e6
    step: float = 0.1
    choices: tuple[str, ...] = ()
    named: Mapping[str, str] = field(default_factory=dict)
    default: float | str | None = None
    needed: bool = False
    share: bool = False
    hint: str = ""

    def words(self, value: float | str) -> str:
        """A value as people read it."""
        if isinstance(value, str):
            return self.named.get(value, value)
        return f"{digits(100 * value)} %" if self.share else digits(float(value))

    def check(self, value: float | str) -> None:
        """Refuse a value of another kind or beyond its bounds with an ArgumentError."""
        if self.kind == "number":
            scale = 0.01 if self.share else 1.0
            low, high = self.low * scale, self.high * scale
            whole = isinstance(value, int | float) and math.isfinite(value)
            if not whole or not low <= float(value) <= high:
                raise ArgumentError(
                    f"{self.label}: from {self.words(low)} to {self.words(high)}; got {value!r}."
                )
        elif not isinstance(value, str):
            raise ArgumentError(f"{self.label}: a text is needed; got {value!r}.")
        elif self.kind == "day":
            iso_date(self.label, value)
        elif self.kind == "choice" and value not in self.choices:
            raise ArgumentError(f"{self.label}: one of {', '.join(self.choices)}; got {value!r}.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A picture to be drawn: of which result, which of its pictures, and what it shows."""

    of: Told
    picture: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """What rows show: sentences, the first of them the finding, tables, pictures."""

    says: tuple[str, ...]
    cannot_tell: tuple[str, ...]
    tables: tuple[NamedTable, ...]
    drawn: tuple[Drawn, ...]


Answering = Callable[[pd.DataFrame, Settings], Answer]


class SessionsOf(NamedTuple):
    """Closed sessions that are data of a study, the newest first, and the rows of each."""

    there: Callable[[Store], list[StoredSession]]
    rows: Callable[[Store, str], pd.DataFrame]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StudyKind:
    """A kind of study.

    Attributes
    ----------
    key, name, question : str
        Its key in the record, what it is called, and what it answers.
    standard : str
        After which standard, or that there is none.
    columns : StudyColumns
        What its file holds; the reading of a file follows.
    people : tuple of str
        Columns that name people.
    settings : tuple of StudySetting
    invented : str
        File of the invented study.
    answer : callable
        From rows, whose cells are text, and settings to an `Answer`.
    read : callable
        From a file to its rows.
    of_sessions : SessionsOf or None
        Which closed sessions can be its data in place of a file, and their rows.
    """

    key: str
    name: str
    question: str
    standard: str
    columns: StudyColumns
    people: tuple[str, ...]
    settings: tuple[StudySetting, ...]
    invented: str
    answer: Answering
    read: Callable[[Source, StudyColumns, Roles], pd.DataFrame] = read_study
    of_sessions: SessionsOf | None = None

    def rows_of(self, source: Source, roles: Roles = MappingProxyType({})) -> pd.DataFrame:
        """The rows of a file, cells as text; raises as `read_study`."""
        return self.read(source, self.columns, roles)

    def lacking(self, settings: Settings) -> tuple[str, ...]:
        """Labels of what has to be agreed and is not yet."""
        return tuple(
            each.label
            for each in self.settings
            if each.needed and not str(settings.get(each.key, "")).strip()
        )

    def check(self, settings: Settings) -> None:
        """Refuse a setting that is not known, or not as it may be, with an ArgumentError."""
        known = {each.key: each for each in self.settings}
        for key, value in settings.items():
            if key not in known:
                raise ArgumentError(f"{self.name} has no setting {key!r}.")
            known[key].check(value)

    def agreed(self, settings: Settings) -> tuple[tuple[str, str], ...]:
        """Each setting with its value in words; those without a value are left out."""
        pairs = ((each.label, each.words(settings[each.key])) for each in self.settings
                 if each.key in settings)  # fmt: skip
        return tuple((label, words) for label, words in pairs if words.strip())


def doubts_of_people(people: tuple[str, ...]) -> tuple[str, ...]:
    """A sentence for names that look like one person; those that count as one are left out."""
    first: dict[str, str] = {}
    for name in people:
        first.setdefault(same_person(name), name)
    return alike_notes(first.values())


def frame_table(heading: str, frame: pd.DataFrame) -> NamedTable:
    """A frame as a table with empty cells where it has none."""
    rows = frame.astype(object).where(frame.notna(), None).itertuples(index=False)
    columns = tuple(map(str, frame.columns))
    return NamedTable(heading, Table(columns=columns, rows=tuple(map(tuple, rows))))


def answer_of(
    result: Told,
    tables: Mapping[str, pd.DataFrame],
    drawn: Mapping[str, str],
    says: tuple[str, ...] = (),
) -> Answer:
    """The answer of a result that says by itself what it shows.

    `drawn`: by name of the picture, what it shows.
    """
    return Answer(
        says=says or tuple(result.says()),
        cannot_tell=tuple(result.cannot_tell),
        tables=tuple(frame_table(name, frame) for name, frame in tables.items()),
        drawn=tuple(Drawn(of=result, picture=name, words=words) for name, words in drawn.items()),
    )

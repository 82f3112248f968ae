"""A study on record: what was agreed, the rows as they were read, what they show; no session.

Why so
------
A study is computed once, when its file is read, and kept with its sentences, tables and pictures
as plain data. Who opens it next year sees what was seen then, whatever the program has learnt
meanwhile, and the rows are there to be computed again.

A study is a noun of the register, as a batch is: journal, check, erasure and tampering are those
of every noun, where a table of its own would need a second road for each.

The people of a study stand in it once, in a list; rows, sentences, tables and pictures hold their
place in that list. So erasing a name empties it everywhere, and no number that happens to be
somebody's code is taken for a name.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from typing import Any

from ..base.errors import RecordError
from ..base.plain import LEFT_OUT_EMPTY, Plain
from ..base.record_checks import iso_date, named, parts
from ..base.records import digest_of
from ..base.results import Cell, Table, cell_text
from ..base.spelling import key_of, name_and_role, tidy_name
from ..catalogue.outcome import NamedTable

BATCH_LINK = "studied batch"
"""Kind of the link from a study to the batch that it is about."""
_PLACE = re.compile(r"⟨(\d{4,6})⟩")
_FETCHED = {"url", "href"}
"""What would have the browser or the drawing program fetch something."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyColumn(Plain):
    """A column of a table: texts, or numbers with None for an empty cell."""

    name: str
    texts: tuple[str, ...] = ()
    numbers: tuple[float | None, ...] = ()

    @property
    def cells(self) -> tuple[Cell, ...]:
        """The cells from the top."""
        return self.numbers or self.texts


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyTable(Plain):
    """A table of a study under its heading."""

    heading: str
    columns: tuple[StudyColumn, ...]

    @property
    def named(self) -> NamedTable:
        """As screens, workbooks and documents take it."""
        rows = tuple(zip(*(each.cells for each in self.columns), strict=True))
        names = tuple(each.name for each in self.columns)
        return NamedTable(self.heading, Table(columns=names, rows=rows))


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyPicture(Plain):
    """A picture: its title, what it shows in words, and the chart (Vega-Lite as JSON).

    Raises RecordError for a chart that is none, or that would fetch something.
    """

    title: str
    words: str
    chart: str

    def __post_init__(self) -> None:
        try:
            spec = json.loads(self.chart)
        except ValueError as error:
            raise RecordError(f"The picture {self.title} cannot be read: {error}.") from error
        if not isinstance(spec, dict) or _holds(spec, _FETCHED):
            raise RecordError(f"The picture {self.title} is none that this program has drawn.")

    @property
    def spec(self) -> dict[str, Any]:
        """The chart as plain data, a new copy each time."""
        return dict(json.loads(self.chart))


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyOutcome(Plain):
    """What a study shows: its sentence, the sentences behind it, what it cannot tell, numbers."""

    sentence: str
    because: tuple[str, ...] = ()
    cannot_tell: tuple[str, ...] = ()
    tables: tuple[StudyTable, ...] = ()
    pictures: tuple[StudyPicture, ...] = ()

    def __post_init__(self) -> None:
        named("sentence of the study", self.sentence)
        parts("tables", self.tables, StudyTable)
        parts("pictures", self.pictures, StudyPicture)


@dataclass(frozen=True, slots=True, kw_only=True)
class Study(Plain):
    """A study as it is kept; see `study_kinds` for what each kind asks and does.

    Attributes
    ----------
    key : str
        Random.
    kind : str
        Key of its `StudyKind`.
    title, product, batch : str
        As typed; empty where it is of no product or no batch.
    held_on : str
        Day of the study, ISO 8601.
    agreed_by, kept_by : str
        Who agreed the settings, as typed, and who put the study on record.
    numbers, texts : dict
        The settings, by their keys.
    file, version : str
        Name of the file that was read, and the version of the program that read it.
    assessors : tuple of str
        Everybody in the rows: assessors, graders or consumers, in each spelling.
    rows : tuple of StudyColumn
        The rows as they were read, people by their place among `assessors`.
    outcome : StudyOutcome
        What they show; people likewise.
    withdrawn_by, withdrawn_role, withdrawn_on, withdrawn_why : str
        Who withdrew it, in which role, on which day and why; empty as long as it stands.
    """

    key: str
    kind: str
    title: str
    held_on: str
    product: str = ""
    batch: str = ""
    agreed_by: str = ""
    kept_by: str = ""
    numbers: dict[str, float] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    file: str = ""
    version: str = ""
    assessors: tuple[str, ...] = ()
    rows: tuple[StudyColumn, ...]
    outcome: StudyOutcome
    withdrawn_by: str = field(default="", metadata=LEFT_OUT_EMPTY)
    withdrawn_role: str = field(default="", metadata=LEFT_OUT_EMPTY)
    withdrawn_on: str = field(default="", metadata=LEFT_OUT_EMPTY)
    withdrawn_why: str = field(default="", metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        if self.withdrawn_on:
            iso_date("day on which the study was withdrawn", self.withdrawn_on)
            named("who withdrew the study", self.withdrawn_by)
            named("why the study was withdrawn", self.withdrawn_why)
        named("key of the study", self.key)
        named("kind of the study", self.kind)
        named("title of the study", self.title)
        iso_date("day of the study", self.held_on)
        parts("rows", self.rows, StudyColumn)

    @property
    def name(self) -> str:
        """Under which it stands in the register."""
        return self.key

    @property
    def withdrawn(self) -> bool:
        """Whether nothing may rest on it any more."""
        return bool(self.withdrawn_on)

    @property
    def withdrawn_words(self) -> str:
        """That it was withdrawn, by whom, when and why; empty as long as it stands."""
        if not self.withdrawn:
            return ""
        by = name_and_role(self.withdrawn_by, self.withdrawn_role)
        return f"Withdrawn by {by} on {self.withdrawn_on}: {self.withdrawn_why}"

    @property
    def settings(self) -> dict[str, float | str]:
        """All that was agreed, by key."""
        return {**self.numbers, **self.texts}

    @property
    def digest(self) -> str:
        """SHA-256 of kind, settings and rows; erasing a name leaves it as it is."""
        rows = [each.to_dict() for each in self.rows]
        return digest_of([self.kind, self.numbers, self.texts, rows])

    @property
    def size(self) -> int:
        """How many rows were read."""
        return len(self.rows[0].cells) if self.rows else 0

    def links(self) -> set[tuple[str, str]]:
        """What it hangs together with in the record."""
        return {(BATCH_LINK, key_of(self.batch))} if self.batch else set()

    def shown(self) -> StudyOutcome:
        """What it shows, with the names that stand there now."""
        plain = self.outcome.to_dict()
        for picture in plain["pictures"]:
            chart = changed(json.loads(picture["chart"]), self.with_names)
            picture["chart"] = json.dumps(chart)
        return StudyOutcome.from_dict(changed(plain, self.with_names))

    def table(self) -> NamedTable:
        """The rows as they were read, with names."""
        columns = tuple(
            replace(each, texts=tuple(map(self.with_names, each.texts))) for each in self.rows
        )
        return StudyTable(heading="Rows as read", columns=columns).named

    def with_names(self, text: str) -> str:
        """A text with the names in their places."""
        return put_names(text, self.assessors)


def put_names(text: str, people: tuple[str, ...]) -> str:
    """A text with names in their places; a place that nobody has stays.

    >>> put_names("⟨0001⟩: 3 of 4", ("Ada", "Bo"))
    'Bo: 3 of 4'
    """

    def name(met: re.Match[str]) -> str:
        at = int(met[1])
        return tidy_name(people[at]) if at < len(people) else met[0]

    return _PLACE.sub(name, text)


def take_names(text: str, people: tuple[str, ...]) -> str:
    """A text of ours about these people, with their places for their names.

    >>> take_names("A.B. and AB look alike", ("A.B.", "AB"))
    '⟨0000⟩ and ⟨0001⟩ look alike'
    """
    places = {tidy_name(name): place_of(at) for at, name in enumerate(people)}
    if not places:
        return text
    longest_first = "|".join(map(re.escape, sorted(places, key=len, reverse=True)))
    named_in = re.compile(rf"(?<!\w)(?:{longest_first})(?!\w)")
    return named_in.sub(lambda met: places[met[0]], text)


def columns_of(table: Table) -> tuple[StudyColumn, ...]:
    """The same of a small table."""
    by_name = zip(table.columns, zip(*table.rows, strict=True), strict=False)
    return tuple(column_of(name, list(cells)) for name, cells in by_name)


def changed(value: Any, change: Callable[[str], str]) -> Any:
    """Plain data with each text in it changed."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, list):
        return [changed(each, change) for each in value]
    if isinstance(value, dict):
        return {key: changed(each, change) for key, each in value.items()}
    return value


def column_of(name: str, cells: list[Any]) -> StudyColumn:
    """Cells as a column: of numbers where only numbers stand, else of texts."""
    plain = [cell.item() if hasattr(cell, "item") else cell for cell in cells]
    plain = [None if cell is None or cell != cell else cell for cell in plain]
    if plain and all(_is_number(cell) for cell in plain if cell is not None):
        return StudyColumn(name=name, numbers=tuple(plain))
    return StudyColumn(name=name, texts=tuple(_text(cell, name) for cell in plain))


def _is_number(cell: object) -> bool:
    return isinstance(cell, int | float) and not isinstance(cell, bool)


def _text(cell: object, name: str) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return cell if isinstance(cell, str) else cell_text(cell, name)


def place_of(at: int) -> str:
    """How the place of a person is written."""
    return f"⟨{at:04}⟩"


def _holds(part: object, names: Collection[str]) -> bool:
    if isinstance(part, dict):
        return any(key in names or _holds(value, names) for key, value in part.items())
    return isinstance(part, list) and any(_holds(each, names) for each in part)

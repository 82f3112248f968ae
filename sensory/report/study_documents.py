"""A study drawn, and its report as PDF, the same for every kind."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import lru_cache

import pandas as pd

from ..base.results import Table, several
from ..base.version import __version__
from ..catalogue.outcome import NamedTable
from ..release.all_studies import find_study
from ..release.studies import Study, StudyOutcome, StudyPicture, StudyTable, columns_of
from ..release.study_desk import Answered, answered, answered_rows
from ..release.study_kinds import StudyKind
from .documents import fitted, printed_table, stamp
from .figure_parts import Spec, as_svg
from .plots import plot_of
from .words import clipped

_SIZES = (10.0, 9.2, 8.4, 7.6)
_WIDE, _HIGH = 640, 220
_MOST_ROWS = 40
_KEPT = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyReport:
    """What is printed of a study: as it is on record, or about to be.

    `kept`: whether it is on record.
    """

    study: Study
    kept: bool
    printed_at: str

    @property
    def kind(self) -> StudyKind:
        """Its kind."""
        return find_study(self.study.kind)

    @property
    def headline(self) -> str:
        """The finding, with the word that nothing may rest on it where it was withdrawn."""
        sentence = self.study.shown().sentence
        return f"Withdrawn: {sentence}" if self.study.withdrawn else sentence

    def asked(self) -> tuple[tuple[str, str], ...]:
        """What was asked and given, in words."""
        study = self.study
        rows = (
            ("Study", f"{self.kind.name}, {self.kind.standard}"),
            ("Held on", study.held_on),
            ("Product", study.product),
            ("Batch", study.batch),
            ("Data", f"{study.file}, {several(study.size, 'row')}"),
            *self.kind.agreed(study.settings),
            ("Agreed by (as typed)", study.agreed_by),
            ("On record", f"kept by {study.kept_by}" if self.kept else "not on record"),
            ("Withdrawn", study.withdrawn_words.removeprefix("Withdrawn ")),
        )
        return tuple((label, words) for label, words in rows if words.strip())

    def tables(self) -> tuple[NamedTable, ...]:
        """What was asked, finding, numbers and the rows as read, for a workbook."""
        shown = self.study.shown()
        sentences = (self.headline, *shown.because, *shown.cannot_tell)
        return (
            NamedTable("What was asked", Table(columns=("item", "value"), rows=self.asked())),
            NamedTable(
                "Finding", Table(columns=("sentence",), rows=tuple((line,) for line in sentences))
            ),
            *(table.named for table in shown.tables),
            self.study.table(),
        )


@lru_cache(maxsize=_KEPT)
def drafted(
    kind: str,
    content: bytes,
    settings: tuple[tuple[str, float | str], ...],
    roles: tuple[tuple[str, str], ...] = (),
) -> Study:
    """A study of these bytes, with nothing said yet of title and product; computed once.

    Raises as `answered`.
    """
    known = find_study(kind)
    return draft_of(known, answered(known, content, dict(settings), dict(roles)), settings)


@lru_cache(maxsize=_KEPT)
def drafted_rows(
    kind: str,
    columns: tuple[str, ...],
    cells: tuple[tuple[object, ...], ...],
    settings: tuple[tuple[str, float | str], ...],
) -> Study:
    """The same of rows that the record holds."""
    known = find_study(kind)
    frame = pd.DataFrame(list(cells), columns=list(columns))
    return draft_of(known, answered_rows(known, frame, dict(settings)), settings)


def draft_of(
    kind: StudyKind, known: Answered, settings: tuple[tuple[str, float | str], ...]
) -> Study:
    """A study that is not on record yet, from rows that were answered."""
    texts = {key: value for key, value in settings if isinstance(value, str)}
    return Study(
        key="draft",
        kind=kind.key,
        title=kind.name.capitalize(),
        held_on="2000-01-01",
        numbers={key: value for key, value in settings if not isinstance(value, str)},
        texts=texts,
        version=__version__,
        assessors=known.people,
        rows=known.rows,
        outcome=outcome_of(known),
    )


def outcome_of(known: Answered) -> StudyOutcome:
    """What rows show as plain data, pictures drawn."""
    sentence, *rest = known.answer.says
    return StudyOutcome(
        sentence=sentence,
        because=tuple(rest),
        cannot_tell=known.answer.cannot_tell,
        tables=tuple(
            StudyTable(heading=each.heading, columns=columns_of(each.table))
            for each in known.answer.tables
        ),
        pictures=tuple(
            StudyPicture(title=each.picture, words=each.words,
                         chart=plot_of(each.of, each.picture).text)
            for each in known.answer.drawn
        ),
    )  # fmt: skip


def on_page(picture: StudyPicture) -> Spec:
    """The chart as wide as its place on the page, on its ground."""
    spec = {key: part for key, part in picture.spec.items() if key != "background"}
    return spec | {"width": "container"}


def study_pdf(report: StudyReport) -> bytes:
    """Finding, pictures, what was asked, numbers and limits of the result.

    The type shrinks step by step to keep to one page; long tables are in the XLSX. The same
    report gives the same bytes.
    """
    shown = report.study.shown()
    drawn = {
        f"figure{at}.svg": as_svg(_fixed(picture.spec)) for at, picture in enumerate(shown.pictures)
    }
    words = study_words(report)
    tries = [drawn | {"data.json": json.dumps(words | {"size": size}).encode()} for size in _SIZES]
    return fitted("study.typ", tries, report.printed_at, pages=1)


def _fixed(spec: Spec) -> Spec:
    fixed = spec | {"width": _WIDE}
    return fixed | {"height": _HIGH} if isinstance(spec.get("height"), int | float) else fixed


def study_words(report: StudyReport) -> dict[str, object]:
    """Every word and number of the report, as plain data for the template."""
    study, shown = report.study, report.study.shown()
    kept = "" if report.kept else " · not on record"
    return {
        "kind": f"Report of a study: {report.kind.name}",
        "title": clipped(study.title, 90),
        "headline": report.headline,
        "says": list(shown.because),
        "pictures": [picture.words for picture in shown.pictures],
        "asked": [[label, clipped(words, 160)] for label, words in report.asked()],
        "tables": [_cut(table) for table in shown.tables],
        "cannot_tell": list(shown.cannot_tell),
        "footer": f"Study SHA-256 {study.digest} · printed {stamp(report.printed_at)} · "
        f"program version {study.version}{kept}",
    }


def _cut(table: StudyTable) -> dict[str, object]:
    """A table as it is printed; of a long one, as a fitted curve, only where it stands."""
    heading, whole = table.named
    long = len(whole.rows) > _MOST_ROWS
    heads = tuple(name.replace("_", " ") for name in whole.columns)
    shown = Table(columns=heads, rows=()) if long else replace(whole, columns=heads)
    note = f"{several(len(whole.rows), 'row')}, in the XLSX" if long else ""
    return printed_table(shown, heading=heading, note=note)

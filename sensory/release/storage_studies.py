"""Studies over storage time: panel scores, consumers, choice tests; the finding is a date.

Why so
------
The columns of a file say which of the three it is, so nobody chooses one that the file does not
hold. Food safety's date is agreed first, and no finding is later.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType

import pandas as pd

from ..base.results import Table
from ..catalogue.outcome import NamedTable
from ..evidence.shelf_choices import shelf_life_from_choices
from ..evidence.shelf_consumers import shelf_life_from_consumers
from ..evidence.shelf_life import ShelfLife
from ..evidence.shelf_plan import StoragePlan
from ..evidence.shelf_scores import shelf_life_from_scores
from ..models.censored_times import SHAPES
from ..sessions.sheets import Source
from ..sessions.storage_file import STORAGE_COLUMNS, SeriesKind, read_storage_series
from ..sessions.study_file import StudyColumns
from .study_kinds import (
    Answer,
    Answering,
    Drawn,
    Roles,
    Settings,
    StudyKind,
    StudySetting,
    frame_table,
)

MOST_LIKELY = "most likely of the three"
_STANDARD = "after ISO 16779 and ASTM E2454 (from memory)"


def _rows(source: Source, columns: StudyColumns, roles: Roles) -> pd.DataFrame:
    return read_storage_series(source, roles).rows


def _answer(result: ShelfLife) -> Answer:
    tables = {
        "Numbers": result.fits,
        "Storage times": result.points,
        "Fitted": result.curve,
    }
    whole = result.summary()
    dates = NamedTable("Dates", replace(whole, rows=whole.rows[: -len(result.fits)]))
    words = result.picture_words()
    return Answer(
        says=result.says(),
        cannot_tell=result.cannot_tell,
        tables=(dates, *(frame_table(name, frame) for name, frame in tables.items())),
        drawn=(Drawn(of=result, picture="shelf life", words=words),),
    )


def _until(
    find: Callable[..., ShelfLife], rows: pd.DataFrame, settings: Settings, **agreed: object
) -> Answer:
    """The end by one of the three roads, by what was agreed."""
    dates = {"safety_date": str(settings["safe"]), "start": str(settings["start"])}
    return _answer(find(rows, **dates, **agreed))


def _scores(rows: pd.DataFrame, settings: Settings) -> Answer:
    agreed = {"limit": settings["limit"], "worse": settings["worse"]}
    return _until(shelf_life_from_scores, rows, settings, **agreed)


def _consumers(rows: pd.DataFrame, settings: Settings) -> Answer:
    chosen = settings["distribution"]
    agreed = {
        "share": settings["limit"],
        "distribution": None if chosen == MOST_LIKELY else chosen,
    }
    return _until(shelf_life_from_consumers, rows, settings, **agreed)


def _choices(rows: pd.DataFrame, settings: Settings) -> Answer:
    return _until(shelf_life_from_choices, rows, settings, dprime_limit=settings["limit"])


_BEFORE = (
    StudySetting(key="safe", label="Food safety: safe to eat until", kind="day", needed=True),
    StudySetting(key="start", label="Stored from", kind="day", needed=True),
    StudySetting(
        key="storage", label="Batch and storage", hint="batch, temperature, light, package"
    ),
)
"""What is asked before any data."""
BEFORE = tuple(each.key for each in _BEFORE)


def _kind(
    series: SeriesKind, invented: str, answer: Answering, *settings: StudySetting
) -> StudyKind:
    return StudyKind(
        key=f"shelf {series.name.casefold()}",
        name=f"shelf life, {series.value.lower()}",
        question="After how long in storage is it no longer as agreed?",
        standard=_STANDARD,
        columns=STORAGE_COLUMNS,
        people=("assessor", "consumer"),
        settings=(*_BEFORE, *settings),
        invented=invented,
        answer=answer,
        read=_rows,
    )


STORAGE_STUDIES: Mapping[SeriesKind, StudyKind] = MappingProxyType(
    {
        SeriesKind.SCORES: _kind(
            SeriesKind.SCORES,
            "shelf_scores.csv",
            _scores,
            StudySetting(
                key="limit", label="Agreed limit of the mean", kind="number", low=-1e6, needed=True
            ),
            StudySetting(
                key="worse",
                label="Worse is",
                kind="choice",
                choices=("higher", "lower"),
                default="higher",
            ),
        ),
        SeriesKind.CONSUMERS: _kind(
            SeriesKind.CONSUMERS,
            "shelf_consumers.csv",
            _consumers,
            StudySetting(
                key="limit",
                label="Share of consumers that may reject, %",
                kind="number",
                low=1.0,
                high=90.0,
                step=5.0,
                share=True,
                needed=True,
            ),
            StudySetting(
                key="distribution",
                label="Distribution, as agreed before",
                kind="choice",
                choices=(MOST_LIKELY, *(shape.name for shape in SHAPES)),
                default=MOST_LIKELY,
            ),
        ),
        SeriesKind.CHOICES: _kind(
            SeriesKind.CHOICES,
            "shelf_choices.csv",
            _choices,
            StudySetting(
                key="limit",
                label="Agreed d-prime",
                kind="number",
                low=0.05,
                high=6.0,
                needed=True,
            ),
        ),
    }
)


def plan_tables(plan: StoragePlan) -> tuple[NamedTable, ...]:
    """A storage trial for a workbook: its days, and what was said of it."""
    sentences = Table(columns=("sentence",), rows=tuple((line,) for line in plan.says()))
    return NamedTable("Days", plan.summary()), NamedTable("Plan", sentences)

"""Rows of a study as a table, with places for people, and back to what the record keeps."""

from __future__ import annotations

from collections.abc import Collection

import pandas as pd

from ..base.spelling import same_person
from .studies import StudyColumn, column_of, place_of


def in_places(rows: pd.DataFrame, columns: Collection[str]) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Rows with places for the people in these columns, and the people.

    >>> rows, people = in_places(pd.DataFrame({"grader": ["Bo", "Ada", "", "Bo"]}), ["grader"])
    >>> rows["grader"].tolist(), people
    (['⟨0001⟩', '⟨0000⟩', '', '⟨0001⟩'], ('Ada', 'Bo'))
    """
    held = [name for name in columns if name in rows]
    cells = {str(cell) for name in held for cell in rows[name] if str(cell).strip()}
    people = tuple(sorted(cells, key=lambda name: (same_person(name), name)))
    places = {name: place_of(at) for at, name in enumerate(people)}
    new = {name: [places.get(str(cell), str(cell)) for cell in rows[name]] for name in held}
    return rows.assign(**new), people


def first_spelling(
    rows: pd.DataFrame, columns: Collection[str], people: tuple[str, ...]
) -> pd.DataFrame:
    """Rows in which all spellings of a person are in one place, as statistics count them."""
    first: dict[str, int] = {}
    for at, name in enumerate(people):
        first.setdefault(same_person(name), at)
    put = {place_of(at): place_of(first[same_person(name)]) for at, name in enumerate(people)}
    held = [name for name in columns if name in rows]
    return rows.assign(**{name: rows[name].map(lambda cell: put.get(cell, cell)) for name in held})


def study_columns(frame: pd.DataFrame) -> tuple[StudyColumn, ...]:
    """A table as columns: of numbers where only numbers stand, else of texts."""
    return tuple(column_of(str(name), frame[name].tolist()) for name in frame.columns)

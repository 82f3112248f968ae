"""A study as a file: its columns by everyday headings, faults by their rows."""

from __future__ import annotations

import pandas as pd
import pytest

from sensory.base.errors import ArgumentError
from sensory.sessions.study_file import StudyColumns, numbers, read_study

COLUMNS = StudyColumns(
    words={
        "assessor": ("assessor", "prüfer"),
        "dose": ("concentration", "dose"),
        "correct": ("correct", "right"),
        "note": ("note",),
    },
    needed=("assessor", "dose", "correct"),
)


def test_headings_below_a_title_and_other_columns():
    text = "Study of June;;;\nPrüfer;Dose;Right;colour\nAda;0,5;1;red\nBo;1;0\n"
    table = read_study(text.encode(), COLUMNS)
    assert table.columns.tolist() == ["assessor", "dose", "correct"]
    assert table.index.tolist() == [3, 4]  # rows of the file
    assert numbers(table["dose"], "dose").tolist() == [0.5, 1.0]


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("assessor,dose\nAda,1\n", "no column correct. Needed are the columns assessor, "
         "concentration, correct; also note"),
        ("assessor,dose,concentration,correct\nAda,1,1,1\n", "Two columns are read as dose"),
        ("assessor,dose,correct\n", "Nothing stands below the headings"),
    ],
)  # fmt: skip
def test_what_is_missing_is_named(text, match):
    with pytest.raises(ArgumentError, match=match):
        read_study(text.encode(), COLUMNS)


def test_cells_that_are_no_numbers_are_named_by_row():
    with pytest.raises(ArgumentError, match="dose must be numbers; row 4: much"):
        numbers(pd.Series(["1", "much", ""], index=[3, 4, 5]), "dose")
    assert pd.isna(numbers(pd.Series([""]), "dose")[0])

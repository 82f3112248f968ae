"""Sheets that any spreadsheet opens, and that run nothing when opened."""

from __future__ import annotations

import csv
import io
import warnings

import numpy as np
import pytest
from openpyxl import load_workbook

from sensory.base.errors import BallotWarning
from sensory.base.results import Table
from sensory.catalogue.outcome import NamedTable
from sensory.catalogue.tests import find_kind
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import TRIANGLE
from sensory.report.sheets import ballots_csv, harmless, tidy_csv
from sensory.report.workbooks import workbook
from sensory.sessions.reading import read_answers, read_ballots


def lines(content: bytes) -> list[list[str]]:
    assert content.startswith(b"\xef\xbb\xbf")
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@sum", "\t=1+1", "\r=1+1", "\n=1+1", "=A1"])
def test_text_that_would_run_is_quoted(text):
    assert harmless(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "sweet", "1+1", "'=1+1", "less berry = flat", " - "])
def test_other_text_is_left_alone(text):
    assert harmless(text) == text


def read(content: bytes) -> dict[str, list[tuple]]:
    book = load_workbook(io.BytesIO(content))
    return {sheet.title: list(sheet.iter_rows(values_only=True)) for sheet in book}


def test_a_workbook_has_a_sheet_a_table_and_its_headings_once():
    test = choice_test(TRIANGLE, 22, 66).summary()
    empty = Table(columns=("p", "=SUM(A1)"), rows=((None, "=cmd()"), (0.25, "Änne, “flat”")))
    sheets = read(workbook([NamedTable("The numbers", test), NamedTable("Each [one]/two?", empty)]))
    assert list(sheets) == ["The numbers", "Each one two"]
    assert sheets["The numbers"][0] == test.columns
    for written, row in zip(sheets["The numbers"][1:], test.rows, strict=True):
        assert written[0] == row[0]
        assert list(written[1:]) == pytest.approx(list(row[1:]), rel=1e-15)
    assert sheets["Each one two"] == [
        ("p", "'=SUM(A1)"),
        (None, "'=cmd()"),
        (0.25, "Änne, “flat”"),
    ]


def test_sheets_of_the_same_name_and_long_ones_are_told_apart():
    table = Table(columns=("a",), rows=((1,),))
    headings = ["Means", "means", "Least significant differences between samples"] * 2
    titles = list(read(workbook([NamedTable(heading, table) for heading in headings])))
    assert titles[:3] == ["Means", "means 2", "Least significant differences b"]
    assert len({title.casefold() for title in titles}) == 6
    assert max(map(len, titles)) <= 31


@pytest.mark.parametrize(
    ("value", "written"),
    [(np.float64(0.1), 0.1), (np.int64(3), 3), (-0.5, -0.5), (float("inf"), "infinite"),
     (float("nan"), None), (True, "True")],
)  # fmt: skip
def test_numbers_stay_numbers(value, written):
    table = Table(columns=("quantity", "estimate"), rows=(("pc", value),))
    assert read(workbook([NamedTable("x", table)]))["x"][1] == ("pc", written)


CELLS = {
    4: {"assessor": "Änne", "order": "BAB", "codes": "518 903 276", "answer": "903"},
    2: {"assessor": "P01", "order": "ABB", "codes": "412 837 265", "answer": "412", "guess": "x"},
    3: {"assessor": "", "comment": ""},
    9: {"assessor": "P09", "order": "BBA", "codes": "771 640 139", "comment": "=1+1"},
}


def test_ballots_as_typed_in_the_order_of_their_rows():
    assert lines(ballots_csv(CELLS)) == [
        ["row", "assessor", "order", "codes", "answer", "guess", "comment"],
        ["2", "P01", "ABB", "412 837 265", "412", "x", ""],
        ["4", "Änne", "BAB", "518 903 276", "903", "", ""],
        ["9", "P09", "BBA", "771 640 139", "", "", "'=1+1"],
    ]


def test_no_ballots():
    assert lines(ballots_csv({})) == [["row"]]


def test_ballots_that_were_handed_out_can_be_read_again():
    cells = {**CELLS, 4: {**CELLS[4], "guess": "-", "comment": 'less; "berry",\nflat'}}
    with pytest.warns(BallotWarning, match="column row"):
        frame = read_ballots(ballots_csv(cells), protocol=TRIANGLE)
    assert frame["assessor"].tolist() == ["P01", "Änne", "P09"]
    assert frame["correct"].iloc[:2].tolist() == [True, True]
    assert frame["guess"].tolist() == [True, False, False]
    assert frame.loc[1, "comment"] == 'less; "berry",\nflat'


def test_a_tidy_file_of_ballots_is_read_without_being_told_the_test(recwarn):
    cells = {at: {**CELLS[at], "answer": CELLS[at]["codes"][:3]} for at in (4, 2)}
    frame = read_ballots(tidy_csv(cells, find_kind("triangle")))
    assert not [warning for warning in recwarn if "column" in str(warning.message)]
    assert frame["protocol"].unique().tolist() == ["TRIANGLE"]
    assert frame["assessor"].tolist() == ["P01", "Änne"]
    assert frame["correct"].tolist() == [True, False]


def test_a_tidy_file_of_scores_gives_the_same_scores():
    cells = {
        number: {"assessor": person, "sample": sample, "sweet": sweet, "sour": "2.5"}
        for number, (person, sample, sweet) in enumerate(
            [("P01", "reference", "5.5"), ("P01", "batch", "6"), ("P02", "batch", "")], start=1
        )
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", BallotWarning)
        frame = read_answers(tidy_csv(cells, find_kind("profile")), find_kind("profile"))
    means = frame.groupby(["sample", "attribute"])["score"].mean()
    assert means["batch", "sweet"] == 6
    assert means["batch", "sour"] == 2.5

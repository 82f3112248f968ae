"""Sheets that any spreadsheet opens, and that run nothing when opened."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from sensory.base.errors import BallotWarning
from sensory.base.results import Table
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import TRIANGLE
from sensory.report.sheets import ballots_csv, harmless, table_csv
from sensory.sessions.reading import read_ballots


def lines(content: bytes) -> list[list[str]]:
    assert content.startswith(b"\xef\xbb\xbf")
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@sum", "\t=1+1", "\r=1+1", "\n=1+1", "=A1"])
def test_text_that_would_run_is_quoted(text):
    assert harmless(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "sweet", "1+1", "'=1+1", "less berry = flat", " - "])
def test_other_text_is_left_alone(text):
    assert harmless(text) == text


def test_numbers_have_six_digits_and_no_noise():
    third = 1 / 3
    table = Table(
        columns=("quantity", "estimate"), rows=(("pc", third), ("trials", 66), ("p", None))
    )
    assert lines(table_csv(table)) == [
        ["quantity", "estimate"],
        ["pc", "0.333333"],
        ["trials", "66"],
        ["p", ""],
    ]


@pytest.mark.parametrize("value", [np.float64(0.1), np.int64(3), -0.5, float("inf")])
def test_every_number_is_written_as_a_number(value):
    table = Table(columns=("estimate",), rows=((value,),))
    assert float(lines(table_csv(table))[1][0]) == value


def test_numbers_of_a_real_test_come_back():
    table = choice_test(TRIANGLE, 22, 66).table()
    for written, row in zip(lines(table_csv(table))[1:], table.rows, strict=True):
        assert written[0] == row[0]
        assert [float(cell) for cell in written[1:]] == pytest.approx(list(row[1:]), rel=1e-5)


@pytest.mark.parametrize(("column", "written"), [("sd", "0"), ("p", "1.306e-19")])
def test_noise_is_no_spread_but_a_p_may_be_small(column, written):
    table = Table(columns=(column,), rows=((1.306e-19,),))
    assert lines(table_csv(table))[1] == [written]


def test_text_of_a_table_is_harmless():
    table = Table(columns=("quantity",), rows=(("=cmd()",), ("Änne, “flat”",)))
    assert lines(table_csv(table))[1:] == [["'=cmd()"], ["Änne, “flat”"]]


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

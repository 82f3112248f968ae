"""Columns cut out of the bytes are those of csv.reader (standard library) row by row."""

from __future__ import annotations

import csv
import io
from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensory.catalogue.choice_ballot import CHOICE
from sensory.sessions import files
from sensory.sessions.files import read_columns
from sensory.sessions.plain_columns import plain_columns
from sensory.sessions.sheets import LARGE, USUAL, Limits

CELL = st.text(alphabet='aß€ ,;"\r\n1\t', max_size=3) | st.sampled_from(["", "412", "x" * 60])


def by_reader(text: str, delimiter: str, heading: int) -> list[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    lines, start = [], 1
    for line in reader:
        if start > heading and line:
            lines.append((start, [cell.strip() for cell in line]))
        start = reader.line_num + 1
    return lines


def cut(text: str, delimiter: str, heading: int, width: int, limits: Limits = LARGE):
    read = plain_columns(
        text, delimiter, heading=heading, width=width, places=range(width), limits=limits
    )
    if read is None:
        return None
    columns = [read.columns[at] for at in range(width)]
    return [(number, [column[at] for column in columns]) for at, number in enumerate(read.numbers)]


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    rows=st.lists(st.lists(CELL, min_size=3, max_size=3), min_size=1, max_size=6),
    delimiter=st.sampled_from(",;\t"),
    ending=st.sampled_from(["\n", "\r\n"]),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, None]),
    blank=st.integers(0, 6),
)
def test_cells_are_those_of_the_row_reader(rows, delimiter, ending, quoting, blank):
    if quoting is None:
        text = ending.join(delimiter.join(row) for row in rows)
    else:
        written = io.StringIO(newline="")
        csv.writer(written, delimiter=delimiter, lineterminator=ending, quoting=quoting).writerows(
            rows
        )
        text = written.getvalue()
    lines = ["a" + 2 * delimiter, *text.split(ending)]
    lines[1 + blank : 1 + blank] = [""]
    text = ending.join(lines)
    read = cut(text, delimiter, 1, 3)
    if read is not None:
        assert read == by_reader(text, delimiter, 1)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("h,i\nP01,412\n\nP02,837\n", [(2, ["P01", "412"]), (4, ["P02", "837"])]),
        ('h,i\r\n"P01","4,5"\r\n"",""', [(2, ["P01", "4,5"]), (3, ["", ""])]),
        ("h,i\n Prüfer ,€\n" + "y" * 90 + ",z\n", [(2, ["Prüfer", "€"]), (3, ["y" * 90, "z"])]),
        ("h,i\nP01\n", None),
        ("h,i\nP01,412,1\n", None),
        ('h,i\nP01,5" glass\n', None),
        ('h,i\nP01,"two\nlines"\n', None),
        ('h,i\nP01,"so ""dry"""\n', None),
        ('h,i\nP01,"open\n', None),
        ("h,i\rP01,412\r", None),
        ("h,i\n" + "z" * 2**17 + ",412\n", None),
        ("h,i\n", None),
    ],
)
def test_what_is_cut_and_what_is_left_to_the_row_reader(text, expected):
    assert cut(text, ",", 1, 2) == expected


def test_more_rows_than_allowed_are_left_to_the_row_reader():
    text = "h,i\n" + "P01,412\n" * 3
    assert cut(text, ",", 1, 2, Limits(most_bytes=99, most_rows=2)) is None
    assert len(cut(text, ",", 1, 2, Limits(most_bytes=99, most_rows=3))) == 3


@pytest.mark.parametrize("quote", ["", '"'])
def test_a_plain_file_is_cut_and_gives_the_same_table(monkeypatch, quote):
    rows = [f"{quote}P{at:03d}{quote};ABB;412 837 {at + 100};412;{'x' * (at % 3)}"
            for at in range(500)]  # fmt: skip
    content = "\n".join(["Panel, spring", "assessor;order;codes;answer;guess", *rows]).encode()
    whole = files._columns
    monkeypatch.setattr(files, "_columns", None)
    cut_out, faults = read_columns(content, CHOICE, USUAL)
    monkeypatch.setattr(files, "_columns", whole)
    monkeypatch.setattr(files, "plain_columns", lambda *_, **__: None)
    by_row, noticed = read_columns(content, CHOICE, USUAL)
    assert (faults, cut_out[0].numbers) == (noticed, by_row[0].numbers)
    assert list(islice(cut_out[0].rows(), 500)) == list(by_row[0].rows())

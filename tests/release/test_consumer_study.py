"""A consumer study as a file: headings, separators, and rows that errors name as the file has."""

from __future__ import annotations

import io

import openpyxl
import pytest

from sensory.base.errors import ArgumentError
from sensory.evidence.consumer_rows import consumer_data
from sensory.release.limit_studies import ACCEPTANCE, rows_of_file

LINES = [
    ["Study of March"],
    [],
    ["Consumer", "Sample", "Distance", "Standard error", "Answer", "Room"],
    ["K1", "reference", "0", "", "accept", "2"],
    ["K1", "A", "0,8", "0,2", "reject", "2"],
    ["K2", "A", "0,8", "0,2", "accept", "2"],
]


def read_consumers(content: bytes):
    return rows_of_file(ACCEPTANCE.rows_of(content))


def csv_of(lines: list[list[str]]) -> bytes:
    return "\n".join(";".join(line) for line in lines).encode()


def workbook_of(lines: list[list[str]]) -> bytes:
    book = openpyxl.Workbook()
    for line in lines:
        book.active.append(line)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


@pytest.mark.parametrize("made", [csv_of, workbook_of])
def test_a_study_is_read_with_its_decimal_commas_and_words_above(made):
    data = consumer_data(read_consumers(made(LINES)))
    assert (data.samples, data.asked, data.values.shape) == (("reference", "A"), "answer", (2, 2))
    assert data.distances.tolist() == [0.0, 0.8]
    assert data.se.tolist() == [0.0, 0.2]


def test_errors_name_the_rows_of_the_file():
    broken = [*LINES, ["K3", "A", "0,8", "0,2", "perhaps"]]
    with pytest.raises(ArgumentError, match="row 7, column answer: got 'perhaps'"):
        consumer_data(read_consumers(csv_of(broken)))


def test_a_file_without_the_headings_says_which_it_needs():
    with pytest.raises(ArgumentError, match="no column consumer and no column sample"):
        read_consumers(b"a;b;c\n1;2;3\n")

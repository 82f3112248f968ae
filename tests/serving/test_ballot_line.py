"""A row of the ballots: from stored cells and back, and what counts as an answer."""

from __future__ import annotations

import pytest

from sensory.catalogue.columns import CIRCUMSTANCES, MOST_CODES
from sensory.serving.ballot_line import MARKS, BallotLine, is_answer, lines_from

EVERY_COLUMN = [
    *("assessor", "order", "pair", "sample", "replicate", "guess", "comment"),
    *("code", "codes", *(f"code_{place}" for place in range(1, MOST_CODES + 1))),
    *("session", "protocol", "correct", "attribute", "answer", "rank", "score", "Green notes"),
    *sorted(MARKS),
    *sorted(CIRCUMSTANCES),
]


def test_every_column_comes_back_as_it_was_stored():
    texts = {column: f"text of {column}" for column in EVERY_COLUMN}
    line = BallotLine.from_texts(7, texts)
    assert (line.row, line.texts) == (7, texts)
    assert {column: line.text(column) for column in texts} == texts


@pytest.mark.parametrize("column", EVERY_COLUMN)
def test_a_column_alone_comes_back_and_an_empty_text_is_no_cell(column: str):
    assert BallotLine.from_texts(2, {column: "x"}).texts == {column: "x"}
    assert BallotLine.from_texts(2, {column: ""}) == BallotLine(row=2)
    assert BallotLine.from_texts(2, {column: "x"}).changed({column: ""}) == BallotLine(row=2)


def test_only_answers_are_answers():
    answers = {"answer", "rank", "score", "Green notes"}
    assert {column for column in EVERY_COLUMN if is_answer(column)} == answers
    assert not is_answer("Date")
    assert is_answer("Sent")
    line = BallotLine.from_texts(2, dict.fromkeys(EVERY_COLUMN, "x"))
    assert set(line.answers) == answers


def test_what_was_never_sent_is_no_answer():
    served = {"assessor": "Anna", "sample": "batch 12", "code": "412", "replicate": "1"}
    given = {"score": "3", "comment": "green", "guess": "yes", "date": "14 September"}
    marks = {"consent": "2026-09-14T10:31", "left out": "2026-09-14T10:40"}
    line = BallotLine.from_texts(2, served | given | marks)
    assert line.if_sent().unmarked() == served
    assert line.changed({"sent": "2026-09-14T10:41"}).if_sent().unmarked() == served | given


@pytest.mark.parametrize(
    ("texts", "wants", "refused", "excused"),
    [
        ({}, False, False, False),
        ({"consent": "2026-09-14T10:31"}, True, False, False),
        ({"consent": "not today 2026-09-14T10:31"}, False, True, True),
        ({"consent": "2026-09-14T10:31", "not served": "not today"}, True, False, True),
        ({"not served": "not this sample"}, False, False, False),
    ],
)
def test_consent_and_refusal(texts: dict[str, str], wants: bool, refused: bool, excused: bool):
    line = BallotLine.from_texts(2, texts)
    assert (line.consented, line.refused, line.excused) == (wants, refused, excused)


@pytest.mark.parametrize("column", ["order", "pair", "sample"])
def test_what_was_served_stands_in_one_column(column: str):
    line = BallotLine.from_texts(2, {column: "AB", "codes": "412 837"})
    assert (line.served_column, line.served, line.codes) == (column, "AB", ("412", "837"))


def test_rows_come_in_their_order():
    assert [line.row for line in lines_from({5: {"rank": "1"}, 2: {}})] == [2, 5]

"""The family of errors, and the text of a list of faults."""

from __future__ import annotations

import dataclasses

import pytest

from sensory.base.errors import (
    ArgumentError,
    BallotError,
    BallotWarning,
    Fault,
    RecordError,
    SensoryError,
)


def fault(**given) -> Fault:
    sound = {
        "sheet": "Monday",
        "row": 7,
        "column": "answer",
        "value": "999",
        "rule": "code not served",
        "problem": "999 was not served.",
        "advice": "Look at the ballot.",
    }
    return Fault(**{**sound, **given})


@pytest.mark.parametrize(
    ("given", "place"),
    [
        ({}, "sheet Monday, row 7, column answer"),
        ({"sheet": ""}, "row 7, column answer"),
        ({"column": ""}, "sheet Monday, row 7"),
        ({"row": 0}, "sheet Monday, column answer"),
        ({"row": 0, "column": ""}, "sheet Monday"),
        ({"sheet": "", "row": 0, "column": ""}, "the whole table"),
    ],
)
def test_place(given, place):
    assert fault(**given).place == place


def test_fault_as_a_sentence():
    said = "sheet Monday, row 7, column answer: 999 was not served. Look at the ballot."
    assert str(fault()) == said
    assert str(fault(advice="")) == said.removesuffix(" Look at the ballot.")


def test_fault_blocks_unless_told_otherwise_and_is_frozen():
    assert fault().blocking
    assert not fault(blocking=False).blocking
    with pytest.raises(dataclasses.FrozenInstanceError):
        fault().row = 8


@pytest.mark.parametrize("kind", [ArgumentError, RecordError, BallotError])
def test_one_family(kind):
    assert issubclass(kind, SensoryError)
    assert issubclass(kind, ValueError)


def test_warning_is_a_user_warning_and_no_error_of_the_family():
    assert issubclass(BallotWarning, UserWarning)
    assert not issubclass(BallotWarning, SensoryError)


def test_ballot_error_with_one_fault():
    error = BallotError([fault()])
    assert str(error) == f"1 error to fix in the ballots:\n  {fault()}"
    assert error.faults == (fault(),)


@pytest.mark.parametrize(("count", "more"), [(2, None), (50, None), (51, 1), (400, 350)])
def test_ballot_error_shows_fifty_and_keeps_all(count, more):
    error = BallotError(fault(row=row) for row in range(1, count + 1))
    lines = str(error).splitlines()
    assert lines[0] == f"{count} errors to fix in the ballots:"
    assert [entry.row for entry in error.faults] == list(range(1, count + 1))
    if more is None:
        assert len(lines) == count + 1
    else:
        assert len(lines) == 52
        assert lines[-1] == f"  ... and {more} more (see .faults)"

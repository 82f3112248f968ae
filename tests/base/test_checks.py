"""Checks of arguments: the value comes back, or one sentence says what is allowed."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from sensory.base.checks import MOST_TRIALS, as_fraction, correct_of_trials, counts, probability
from sensory.base.errors import ArgumentError


@pytest.mark.parametrize(
    ("written", "exact"),
    [
        (0.05, Fraction(1, 20)),
        (0.1, Fraction(1, 10)),
        ("0.3", Fraction(3, 10)),
        ("1/3", Fraction(1, 3)),
        (Fraction(2, 7), Fraction(2, 7)),
        (1e-12, Fraction(1, 10**12)),
        (1, Fraction(1)),
    ],
)
def test_number_as_it_was_written(written, exact):
    assert as_fraction(written) == exact


@pytest.mark.parametrize("value", [0.05, 0.5, np.float64(0.3), np.array(0.3), 1e-300])
def test_probability_is_handed_back(value):
    checked = probability("alpha", value)
    assert checked == value
    assert type(checked) is float


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (0, r"alpha must lie strictly between 0 and 1; got 0\.$"),
        (1, r"got 1\. For 1 % write 0\.01\.$"),
        (5, r"alpha must lie strictly between 0 and 1; got 5\. For 5 % write 0\.05\.$"),
        (100, r"got 100\.$"),
        (-0.1, r"got -0\.1\.$"),
        ("0.05", r"alpha must be a number between 0 and 1; got '0\.05'\.$"),
        (True, r"alpha must be a number between 0 and 1; got True\.$"),
        (None, r"alpha must be a number between 0 and 1; got None\.$"),
        (float("nan"), r"alpha must be finite; got nan\.$"),
        (float("inf"), r"alpha must be finite; got inf\.$"),
        ([0.05, 0.1], r"alpha must be one number, got 2 of them\.$"),
        (0.05j, r"alpha must be a number between 0 and 1"),
        ([[1], [1, 2]], r"alpha must be a number between 0 and 1; got \[\[1\], \[1, 2\]\]\.$"),
    ],
)
def test_no_probability(value, message):
    with pytest.raises(ArgumentError, match=message):
        probability("alpha", value)


@pytest.mark.parametrize("value", [0, 66, 66.0, [1, 2], np.arange(6).reshape(2, 3), np.uint8(7)])
def test_counts_are_whole_numbers_in_the_same_shape(value):
    checked = counts("trials", value)
    assert checked.dtype == np.int64
    assert checked.shape == np.shape(value)
    assert checked.tolist() == np.asarray(value).tolist()


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ([], r"trials is empty; give at least one number\.$"),
        (1.5, r"trials must be whole numbers; got 1\.5\.$"),
        ([3, 2.25], r"got 2\.25\.$"),
        (-1, r"trials must be at least 0; got -1\.$"),
        (MOST_TRIALS + 1, r"trials must be at most 10,000,000; got 1e\+07\.$"),
        ("66", r"trials must be a number or an array of numbers; got '66'\.$"),
        (True, r"got True\.$"),
        (None, r"got None\.$"),
        (24 + 0j, r"got \(24\+0j\)\.$"),
        ([[1], [1, 2]], r"got \[\[1\], \[1, 2\]\]\.$"),
        (np.array([True, False]), r"got array\(\[ True, False\]\)\.$"),
        (["a" * 90], r"got \['a{55}\.\.\.\.$"),
        ([True, False], r"trials must be a number or an array of numbers"),
        ([1, None], r"trials must be a number or an array of numbers"),
        ([1, float("nan")], r"trials must be finite; got nan\.$"),
        (np.array(["2026-09-14"], dtype="datetime64[D]"), r"trials must be a number or an array"),
    ],
)
def test_no_counts(value, message):
    with pytest.raises(ArgumentError, match=message):
        counts("trials", value)


def test_least_and_most_count_are_allowed():
    assert counts("trials", MOST_TRIALS) == MOST_TRIALS
    assert counts("trials", 1, at_least=1) == 1
    with pytest.raises(ArgumentError, match=r"trials must be at least 1; got 0\.$"):
        counts("trials", [4, 0], at_least=1)


def test_correct_and_trials_take_one_shape():
    right, total = correct_of_trials([[1], [2]], [10, 20, 30])
    assert right.tolist() == [[1, 1, 1], [2, 2, 2]]
    assert total.tolist() == [[10, 20, 30], [10, 20, 30]]


@pytest.mark.parametrize(
    ("correct", "trials", "message"),
    [
        (67, 66, r"correct must not exceed trials; got 67 correct of 66\.$"),
        ([1, 9], [5, 8], r"got 9 correct of 8\.$"),
        (0, 0, r"trials must be at least 1; got 0\.$"),
        (-1, 5, r"correct must be at least 0; got -1\.$"),
        ([1, 2], [3, 4, 5], r"correct has shape \(2,\) and trials \(3,\); give them the same"),
    ],
)
def test_correct_that_cannot_be(correct, trials, message):
    with pytest.raises(ArgumentError, match=message):
        correct_of_trials(correct, trials)

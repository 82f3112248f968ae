"""Ticked lists: Cochran's Q and McNemar's test against published values and by enumeration."""

from __future__ import annotations

from itertools import combinations, permutations, product
from math import comb

import numpy as np
import pandas as pd
import pytest

from sensory.base.errors import ArgumentError
from sensory.models.ticks import cochran_q, pair_p
from sensory.panel.candidate_words import candidate_words
from sensory.ratings.ticked import ticked_words

# Read in statsmodels/stats/tests/test_nonparametric.py, whose sources are named beside them.
CONOVER = [[1, 1, 1], [1, 1, 1], [0, 1, 0], [1, 1, 0], [0, 0, 0], [1, 1, 1], [1, 1, 1], [1, 1, 0],
           [0, 0, 1], [0, 1, 0], [1, 1, 1], [1, 1, 1]]  # fmt: skip
FOUR = [[0, 0, 0, 1], [0, 0, 0, 1], [0, 0, 0, 1], [1, 1, 1, 1], [1, 0, 0, 1], [0, 1, 0, 1],
        [1, 0, 0, 1], [0, 0, 0, 1], [0, 1, 0, 0], [0, 0, 0, 0], [1, 0, 0, 1],
        [0, 0, 1, 1]]  # fmt: skip
PATTERNS = [[0, 0, 0], [1, 0, 0], [0, 0, 1], [1, 0, 1], [0, 1, 0], [1, 1, 0], [0, 1, 1], [1, 1, 1]]
DRUGS = np.repeat(PATTERNS, [6, 2, 16, 4, 2, 6, 4, 6], axis=0)


@pytest.mark.parametrize(
    ("table", "q", "p"),
    [
        (CONOVER, 2.8, 0.246597),  # Conover, Practical Nonparametric Statistics, p. 253
        (FOUR, 13.2857143, 0.00405776),  # an example on the web
        (DRUGS, 8.4706, 0.0145),  # SAS PROC FREQ, drug responses: four digits
    ],
)
def test_q_is_the_published_one(table, q, p):
    got = cochran_q(np.array(table))
    assert got[:2] == pytest.approx((q, p), rel=1e-5 if q != 8.4706 else 4e-3)


def test_q_of_sums_stands_for_the_scatter_of_all_permutations():
    """Second road: over all orders within assessors the mean of Q is samples less 1."""
    sums = np.array([[2.0, 0, 1], [1, 1, 0], [0, 2, 2]])
    every = [
        cochran_q(np.array(rows))[0] for rows in product(*(list(permutations(r)) for r in sums))
    ]
    assert np.mean(every) == pytest.approx(2.0, abs=1e-12)


@pytest.mark.parametrize(
    ("more", "fewer", "p"),  # Vassar College, on-line calculation
    [(121, 59, 4e-06), (70, 59, 0.378688), (30, 60, 0.00206), (10, 30, 0.002221), (10, 10, 1.0)],
)
def test_pairs_are_the_published_ones(more, fewer, p):
    first = np.repeat([1, 0], [more, fewer])
    got = pair_p(first, 1 - first)
    assert got[:2] == (more, fewer)
    assert got[2] == pytest.approx(p, abs=1e-6)
    tail = sum(comb(more + fewer, k) for k in range(max(more, fewer), more + fewer + 1))
    assert got[2] == pytest.approx(min(1.0, 2 * tail / 2 ** (more + fewer)), rel=1e-9)


def long(table, samples="xyzw", session="1"):
    rows = [
        (f"P{at:02}", sample, session, tick)
        for at, ticks in enumerate(table)
        for sample, tick in zip(samples, ticks, strict=False)
    ]
    return pd.DataFrame(rows, columns=["assessor", "sample", "session", "jammy"])


def test_words_that_tell_apart_are_named_with_their_pairs():
    frame = long(FOUR).assign(sweet=1, sour=lambda f: (f["sample"] == "x").astype(int))
    result = ticked_words(frame)
    assert result.tell_apart == ("jammy", "sour")
    tests = result.tests.set_index("attribute")
    assert "sweet" not in tests.index  # nobody ticks it differently
    assert "so no test: sweet" in " ".join(result.cannot_tell)
    assert tests["p_adjusted"]["jammy"] == pytest.approx(tests["p"]["jammy"])
    assert tests["p_adjusted"]["sour"] == pytest.approx(2 * tests["p"]["sour"])
    pairs = result.pairs[result.pairs["attribute"] == "jammy"].sort_values("p")
    raw = pairs["p"].to_numpy()
    stepped = np.minimum(1, np.maximum.accumulate(raw * np.arange(len(raw), 0, -1)))
    np.testing.assert_allclose(pairs["p_adjusted"].to_numpy(), stepped)  # Holm by its definition
    assert len(pairs) == len(list(combinations("xyzw", 2)))
    assert result.says()[1].startswith("'sour' tells the samples apart")
    assert result.summary().rows[0][0] == "sweet"
    assert repr(result) == "<TickedWords: 3 words, 2 tell the samples apart>"


def test_sessions_of_one_person_are_no_further_persons():
    """The same twelve people twice: doubled counts, and no more evidence than once."""
    twice = pd.concat([long(FOUR), long(FOUR, session="2")])
    once, both = ticked_words(long(FOUR)), ticked_words(twice)
    assert both.tests["statistic"][0] == pytest.approx(once.tests["statistic"][0])
    assert list(both.pairs["p"]) == list(once.pairs["p"])
    assert list(both.counts["ticks"]) == [2 * n for n in once.counts["ticks"]]
    assert "the assessor is the unit" in " ".join(both.cannot_tell)


def test_the_level_is_kept_where_nothing_differs():
    """2,000 panels of 15 on 4 samples; people differ. Three standard errors of 5 % are 1.5 %."""
    rng = np.random.default_rng(2)
    own = rng.uniform(0.1, 0.9, (2000, 15, 1))
    panels = (rng.random((2000, 15, 4)) < own).astype(float)
    below = [cochran_q(panel)[1] <= 0.05 for panel in panels]
    assert np.mean(below) == pytest.approx(0.05, abs=0.015)


@pytest.mark.parametrize(
    ("frame", "asks"),
    [
        (pd.DataFrame({"assessor": ["a"], "jammy": [1]}), "columns sample"),
        (pd.DataFrame({"assessor": ["a"], "sample": ["x"]}), "a column a word"),
        (long(FOUR).assign(jammy=2), "jammy, row 2: a tick is 1"),
        (long([[1, 0]]), "two assessors who answered"),
    ],
)
def test_what_cannot_be_read_is_said(frame, asks):
    with pytest.raises(ArgumentError, match=asks):
        ticked_words(frame)


def test_somebody_with_a_sample_missing_is_left_out_and_told():
    frame = long(FOUR).iloc[:-1]
    result = ticked_words(frame)
    assert result.left_out == ("P11",)
    assert "Left out, with a sample missing or more often than another: P11." in result.cannot_tell


def test_candidate_words_are_counted_by_comments():
    told = [("s1", "Jammy, jammy!"), ("s1", "sehr jammy und herb"), ("s2", "off-note, JAMMY")]
    listed = candidate_words(told)
    assert [(each.word, each.comments, each.sessions) for each in listed] == [
        ("jammy", 3, 2),
        ("herb", 1, 1),
        ("off-note", 1, 1),
    ]
    letters = "abcdefghijklmnopqrstuvwxyz"
    many = [("s1", " ".join(f"note{letter}{beside}" for beside in letters)) for letter in letters]
    assert len(candidate_words(many)) == 26 * 26


def test_pictures_and_table():
    result = ticked_words(long(FOUR))
    assert result.pictures == ("ticks",)
    assert result.plot().spec["layer"]
    assert list(result.table()["attribute"]) == ["jammy"]

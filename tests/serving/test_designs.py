"""Williams squares and balanced incomplete blocks, counted out."""

from __future__ import annotations

import re
from collections import Counter
from itertools import combinations, pairwise, permutations
from math import comb

import pytest

from sensory.base.errors import ArgumentError, SensoryError
from sensory.serving import blocks
from sensory.serving.blocks import incomplete_blocks
from sensory.serving.squares import williams_squares

from ..references.checks_counts import balance
from ..references.readers import entries

PUBLISHED = entries("published_designs.json")
MISPRINTS = entries("published_designs.json", "misprints")
SIZES = [(v, k) for v in range(3, 14) for k in range(2, v)]
each_size = pytest.mark.parametrize(("samples", "set_size"), SIZES)


@pytest.mark.parametrize("samples", range(2, 13))
def test_williams_balances_position_and_carry_over(samples):
    squares = williams_squares(samples)
    assert len(squares) == (1 if samples % 2 == 0 else 2)
    for square in squares:
        assert all(sorted(order) == list(range(samples)) for order in square)
        for place in range(samples):
            assert sorted(order[place] for order in square) == list(range(samples))
    follow = Counter(pair for square in squares for order in square for pair in pairwise(order))
    assert follow == Counter(dict.fromkeys(permutations(range(samples), 2), len(squares)))


def test_published_sizes_and_first_rows_of_williams_designs():
    entry = PUBLISHED["pv104"]  # from memory; counted out above
    sizes = [sum(map(len, williams_squares(k))) for k in entry["inputs"]["k"]]
    assert sizes == entry["value"], entry["source"]
    for name in ("pv105", "pv106"):
        entry = PUBLISHED[name]
        rows = [[sample + 1 for sample in row] for row in williams_squares(entry["inputs"]["k"])[0]]
        assert rows[: len(entry["value"])] == entry["value"], entry["source"]


def test_published_square_for_four_is_balanced_as_ours_and_its_misprint_is_not():
    ours = balance(williams_squares(4)[0])
    assert ours == [1, 1, 1, 1]
    for name, letters in (("pv107", "square"), ("williams-4", "rows")):
        entry = PUBLISHED[name]
        assert (balance(entry["inputs"][letters]) == ours) is entry["value"], entry["source"]
    wrong = MISPRINTS["williams-4-typo"]
    mistyped = re.match(r"[A-D]{4}(?:/[A-D]{4}){3}", wrong["quantity"]).group().split("/")
    assert (balance(mistyped) == ours) is wrong["value"], wrong["source"]


@pytest.mark.parametrize("samples", [0, 1, 13, 2.5, "four", None])
def test_williams_refuses(samples):
    with pytest.raises(ArgumentError, match="samples must be"):
        williams_squares(samples)


@each_size
def test_every_two_samples_meet_equally_often(samples, set_size):
    design = incomplete_blocks(samples, set_size)
    assert all(len(set(block)) == len(block) == set_size for block in design.blocks)
    times = Counter(sample for block in design.blocks for sample in block)
    assert times == Counter(dict.fromkeys(range(samples), design.repeats))
    pairs = Counter(pair for block in design.blocks for pair in combinations(sorted(block), 2))
    assert pairs == Counter(dict.fromkeys(combinations(range(samples), 2), design.together))


@each_size
def test_no_design_has_fewer_sets(samples, set_size):
    """lambda (v - 1) and lambda v (v - 1) / (k - 1) / k have to be whole, and b >= v (Fisher)."""
    design = incomplete_blocks(samples, set_size)
    v, k = samples, set_size
    possible = [
        together
        for together in range(1, design.together + 1)
        if together * (v - 1) % (k - 1) == 0
        and together * v * (v - 1) % (k * (k - 1)) == 0
        and together * v * (v - 1) >= v * k * (k - 1)
    ]
    assert possible[0] == design.together
    assert len(design.blocks) == design.together * v * (v - 1) // (k * (k - 1))


# From the theory of planes of order q: projective ones have q^2 + q + 1 points in as many
# lines of q + 1 points, affine ones q^2 points in q^2 + q lines of q; two points share a line.
@pytest.mark.parametrize(
    ("samples", "set_size", "sets"), [(7, 3, 7), (13, 4, 13), (9, 3, 12), (4, 2, 6)]
)
def test_planes(samples, set_size, sets):
    design = incomplete_blocks(samples, set_size)
    assert (len(design.blocks), design.together) == (sets, 1)


@each_size
def test_each_sample_stands_at_each_position_within_one(samples, set_size):
    design = incomplete_blocks(samples, set_size)
    for orders in zip(*design.orders(), strict=True):
        at = Counter(step for order in orders for step in enumerate(order))
        times = [at[(place, sample)] for place in range(set_size) for sample in range(samples)]
        assert min(times) == design.repeats // set_size
        assert max(times) == -(-design.repeats // set_size)


@pytest.mark.parametrize(("samples", "set_size"), [(7, 3), (9, 4), (8, 4), (10, 5), (6, 3)])
def test_all_orders_of_a_design_balance_carry_over(samples, set_size):
    design = incomplete_blocks(samples, set_size)
    follow = Counter(
        pair for orders in design.orders() for order in orders for pair in pairwise(order)
    )
    squares = len(williams_squares(set_size))
    times = design.together * squares
    assert follow == Counter(dict.fromkeys(permutations(range(samples), 2), times))


def test_all_combinations_where_nothing_smaller_exists():
    """For 8 samples in threes 7 lambda / 2 and 56 lambda / 6 are whole from lambda = 6 on."""
    design = incomplete_blocks(8, 3)
    assert {frozenset(block) for block in design.blocks} == set(
        map(frozenset, combinations(range(8), 3))
    )
    assert len(design.blocks) == comb(8, 3)


@pytest.mark.parametrize(
    ("samples", "set_size", "message"),
    [
        (14, 4, "samples must be from 3 to 13"),
        (2, 2, "samples must be from 3 to 13"),
        (7, 7, "set_size must be from 2 to 6, fewer than the 7 samples; got 7"),
        (7, 1, "set_size must be from 2 to 6"),
        (7, "three", "set_size must be a number"),
    ],
)
def test_sizes_that_are_refused(samples, set_size, message):
    with pytest.raises(ArgumentError, match=message):
        incomplete_blocks(samples, set_size)


def test_a_wrong_starter_would_be_seen(monkeypatch):
    monkeypatch.setitem(blocks._STARTERS, (7, 3), (7, ((0, 1, 2),)))
    with pytest.raises(SensoryError, match="not balanced"):
        incomplete_blocks(7, 3)


@pytest.mark.parametrize(
    ("sets", "near"), [(10, "7 or 14 sets"), (3, "Plan 7 sets"), (20, "14 or 21 sets")]
)
def test_a_number_of_sets_that_is_no_whole_design_names_those_that_are(sets, near):
    with pytest.raises(ArgumentError, match=near):
        incomplete_blocks(7, 3).check_sets(sets)

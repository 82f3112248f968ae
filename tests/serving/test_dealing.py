"""Every order equally often, at any number of assessors, in each replicate and in all."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensory.catalogue.tests import TESTS
from sensory.serving.chance import Draw
from sensory.serving.dealing import deal, next_orders
from sensory.serving.rules import LETTERS, several_sample_orders

ORDER_SETS = {
    f"{kind.key} {number}": orders
    for kind in TESTS.values()
    for number, orders in enumerate(kind.serving.order_sets, start=1)
}
each_set = pytest.mark.parametrize("orders", ORDER_SETS.values(), ids=ORDER_SETS)


def choices(orders):
    return tuple((order,) for order in orders)


def spread(orders, served):
    """The most times an order was served, less the fewest."""
    counts = Counter(served)
    assert set(counts) <= set(orders)
    times = [counts[order] for order in orders]
    return max(times) - min(times)


@each_set
@pytest.mark.parametrize("times", [1, 2, 3])
def test_counts_differ_by_one_at_most_for_1_to_200_assessors(orders, times):
    for assessors in range(1, 201):
        dealt = deal(choices(orders), assessors, times, Draw(assessors))
        assert [len(mine) for mine in dealt] == [times] * assessors
        assert spread(orders, (order for mine in dealt for order in mine)) <= 1
        for time in range(times):
            assert spread(orders, (mine[time] for mine in dealt)) <= 1


@pytest.mark.parametrize("samples", range(3, 13))
def test_squares_are_even_for_1_to_200_assessors(samples):
    """Orders and positions differ by one at most; at whole designs carry-over does not differ."""
    possible = several_sample_orders(samples, None, Draw(samples)).choices
    whole = samples * len(possible[0])
    for assessors in range(1, 201):
        served = [mine[0] for mine in deal(possible, assessors, 1, Draw(assessors))]
        assert spread([order for versions in possible for order in versions], served) <= 1
        for place in range(samples):
            assert spread(LETTERS[:samples], (order[place] for order in served)) <= 1
        if assessors % whole == 0:
            follow = Counter(pair for order in served for pair in pairwise(order))
            assert len(follow) == samples * (samples - 1)
            assert len(set(follow.values())) == 1


@each_set
def test_orders_of_an_assessor_differ_until_all_were_served(orders):
    for times in range(1, 2 * len(orders) + 2):
        for assessors in (1, len(orders) - 1, len(orders), len(orders) + 1, 2 * len(orders) + 3):
            for mine in deal(choices(orders), assessors, times, Draw(times)):
                for start in range(0, times, len(orders)):
                    part = mine[start : start + len(orders)]
                    assert len(set(part)) == len(part)


@each_set
def test_every_whole_block_holds_every_order_once(orders):
    size = len(orders)
    dealt = deal(choices(orders), 3 * size + 1, 1, Draw(3))
    for start in (0, size, 2 * size):
        assert {mine[0] for mine in dealt[start : start + size]} == set(orders)


def test_blocks_are_randomised():
    """Six places of a block by six orders: each equally often, within 5 binomial sd."""
    orders = ORDER_SETS["TRIANGLE 1"]
    seeds = 3000
    firsts = Counter()
    for seed in range(seeds):
        dealt = deal(choices(orders), 12, 1, Draw(seed))
        firsts.update((at, mine[0]) for at, mine in enumerate(dealt))
    expected, sd = seeds / 6, (seeds * 1 / 6 * 5 / 6) ** 0.5
    assert len(firsts) == 72
    assert all(abs(times - expected) < 5 * sd for times in firsts.values())


def test_versions_take_turns():
    pairs = (("AB", "BA"), ("CD", "DC"), ("EF", "FE"))
    for assessors in range(1, 40):
        for times in (1, 2, 3):
            dealt = deal(pairs, assessors, times, Draw(assessors))
            flat = [order for mine in dealt for order in mine]
            assert spread([order for pair in pairs for order in pair], flat) <= 1


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(list(ORDER_SETS.values())),
    st.integers(1, 25),
    st.integers(1, 4),
    st.integers(1, 30),
    st.integers(0, 2**64),
)
def test_further_assessors_keep_the_counts_within_one(orders, assessors, times, late, seed):
    dealt = deal(choices(orders), assessors, times, Draw(seed))
    for number in range(late):
        mine = next_orders(choices(orders), dealt, times, Draw(seed, str(number)))
        assert len(set(mine)) == min(times, len(orders))
        dealt.append(mine)
        assert spread(orders, (order for one in dealt for order in one)) <= 1


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(list(ORDER_SETS.values())), st.data())
def test_whoever_comes_for_a_missing_assessor_fills_the_gap(orders, data):
    dealt = deal(choices(orders), 3 * len(orders), 1, Draw(data.draw(st.integers(0, 999))))
    gone = data.draw(st.integers(0, len(dealt) - 1))
    (order,) = dealt.pop(gone)
    assert next_orders(choices(orders), dealt, 1, Draw(1)) == [order]


def test_among_equals_the_most_even_positions_are_next():
    """A stood first once: of the orders not served, BA lets B stand first."""
    served = [["AB"]]
    assert next_orders((("AB",), ("AC",), ("BA",)), served, 1, Draw(0)) == ["BA"]


@pytest.mark.parametrize("count", [1, 2, 7, 1000])
def test_draws_stay_in_bounds_and_differ_by_purpose(count):
    one, other = Draw(5, "orders"), Draw(5, "codes")
    first = [one.below(count) for _ in range(200)]
    assert set(first) <= set(range(count))
    if count == 1000:
        assert first != [other.below(count) for _ in range(200)]
    assert sorted(Draw(5).shuffled(range(count))) == list(range(count))


def test_every_arrangement_is_equally_likely():
    seeds = 6000
    counts = Counter("".join(Draw(seed).shuffled("ABC")) for seed in range(seeds))
    sd = (seeds * 1 / 6 * 5 / 6) ** 0.5
    assert len(counts) == 6
    assert all(abs(times - seeds / 6) < 5 * sd for times in counts.values())

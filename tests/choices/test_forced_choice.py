"""The forced-choice test: enumeration, duality, floors, ends, one number and arrays alike."""

import pickle
from copy import copy, deepcopy
from dataclasses import FrozenInstanceError, fields, replace
from fractions import Fraction
from math import comb, inf, log, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.choices.forced_choice import ChoiceTest, choice_test
from sensory.choices.protocols import DUO_TRIO, PAIRED, PROTOCOLS, TETRAD, TRIANGLE, TWO_OUT_OF_FIVE

from .shared import ALARMS, PASSES, chance, every_protocol, withheld

steady = settings(deadline=None, derandomize=True, database=None, max_examples=60)

NUMBERS = ("p_difference", "log_p_difference", "p_similarity", "pc", "pd", "pd_unfloored")
NUMBERS += ("dprime", "pd_upper", "dprime_upper")
WHOLE = ("critical_count", "similar_count", "more_assessors")
INTERVALS = ("pc_limits", "pd_limits", "dprime_limits")


@every_protocol
@pytest.mark.parametrize("n", [1, 7, 30])
def test_probabilities_by_enumeration(protocol, n):
    result = choice_test(protocol, range(n + 1), n, pd_limit=0.25)
    at_limit = protocol.guess + (1 - protocol.guess) / 4
    for x in range(n + 1):
        upper = float(chance(n, protocol.guess, range(x, n + 1)))
        assert result.p_difference[x] == pytest.approx(upper, rel=1e-10)
        assert result.log_p_difference[x] == pytest.approx(log(upper), rel=1e-10, abs=1e-14)
        lower = float(chance(n, at_limit, range(x + 1)))
        assert result.p_similarity[x] == pytest.approx(lower, rel=1e-10)


@pytest.mark.parametrize("n", [1, 2, 9, 20, 31])
def test_two_sided_by_enumeration(n):
    # As likely or less likely than what came, from an even split: both tails.
    result = choice_test(PAIRED, range(n + 1), n, two_sided=True)
    ways = [comb(n, k) for k in range(n + 1)]
    for x in range(n + 1):
        both = sum(w for k, w in enumerate(ways) if abs(2 * k - n) >= abs(2 * x - n)) / 2**n
        assert result.p_difference[x] == pytest.approx(both, rel=1e-12)


def test_two_sided_treats_both_directions_alike():
    there, back = (choice_test(PAIRED, x, 50, two_sided=True) for x in (33, 17))
    for name in ("p_difference", "p_similarity", "pd", "dprime", "finding", "pd_upper"):
        assert getattr(there, name) == getattr(back, name), name
    assert there.dprime_limits.low == pytest.approx(back.dprime_limits.low)
    assert there.dprime_limits.high == pytest.approx(back.dprime_limits.high)
    assert there.pd_unfloored == pytest.approx(-back.pd_unfloored)


def test_two_sided_similarity_has_to_hold_in_both_directions():
    one_sided = choice_test(PAIRED, 20, 100)
    two_sided = choice_test(PAIRED, 20, 100, two_sided=True)
    assert one_sided.p_similarity <= 0.05  # as a count; withheld, as codes were swapped
    assert one_sided.finding is Finding.UNDECIDED
    assert two_sided.finding is Finding.BEYOND_LIMIT


@every_protocol
@pytest.mark.parametrize("n", [5, 24, 61])
@pytest.mark.parametrize(("beta", "limit"), [(0.05, 0.3), (0.2, 0.15)])
def test_duality(protocol, n, beta, limit):
    result = choice_test(protocol, range(n + 1), n, beta=beta, pd_limit=limit)
    similar = np.isin(result.finding, PASSES)
    different = np.isin(result.finding, ALARMS)
    critical = np.ma.filled(result.critical_count, n + 1)
    count = np.ma.filled(result.similar_count, -1)
    x = np.arange(n + 1)
    beyond, least = result.finding == Finding.BEYOND_LIMIT, np.ma.filled(result.beyond_count, n + 1)
    believed = x >= withheld(protocol, n)  # fewer come from guessing once in a thousand
    assert (similar == ((result.pd_upper <= limit) & believed)).all()
    assert (similar == ((result.p_similarity <= beta) & believed)).all()
    assert (similar == ((x <= count) & believed)).all()
    assert (similar == ((result.dprime_upper <= result.dprime_limit) & believed)).all()
    assert ((result.p_below_guessing <= 0.001) == ~believed).all()
    assert (beyond == (result.pd_lower >= limit)).all()
    assert (beyond == (result.p_beyond <= 0.05)).all()
    assert (beyond == (x >= least)).all()
    assert (beyond == (result.dprime_lower >= result.dprime_limit)).all()
    assert (different == (result.p_difference <= 0.05)).all()
    assert (different == (x >= critical)).all()


def test_all_five_findings():
    options = {"alpha": 0.2, "beta": 0.2, "pd_limit": 0.4}
    findings = set(choice_test(TRIANGLE, range(31), 30, **options).finding)
    assert findings == set(Finding)  # UNDECIDED for 3 or fewer, which are too few
    assert choice_test(TRIANGLE, 10, 24).finding is Finding.UNDECIDED
    assert choice_test(TRIANGLE, 29, 66).finding is Finding.DIFFERENT


@pytest.mark.parametrize("n", [12, 30, 61])
def test_beyond_the_limit_by_enumeration(n):
    """Fractions: so many or more at the limit with a chance of alpha, on two sides half of it."""
    alpha, at_limit = Fraction(1, 20), Fraction(1, 2) + Fraction(1, 2) * Fraction(3, 10)
    one, both = (choice_test(PAIRED, range(n + 1), n, two_sided=two) for two in (False, True))
    for x in range(n + 1):
        tail = chance(n, at_limit, range(x, n + 1))
        other = chance(n, at_limit, range(n - x, n + 1))
        assert (one.finding[x] is Finding.BEYOND_LIMIT) == (tail <= alpha)
        assert (both.finding[x] is Finding.BEYOND_LIMIT) == (min(tail, other) <= alpha / 2)


@every_protocol
def test_beyond_the_limit_is_always_significant(protocol):
    for n in (3, 10, 24, 60):
        result = choice_test(protocol, range(n + 1), n, alpha=0.2, pd_limit=0.01)
        assert (result.p_difference[result.finding == Finding.BEYOND_LIMIT] <= 0.2).all()


def test_both_sides_of_the_limit_at_once_count_for_neither():
    """Only where alpha + beta reach 1, and nothing that is agreed by anybody."""
    result = choice_test(TRIANGLE, range(31), 30, alpha=0.7, beta=0.7, pd_limit=0.4)
    torn = (result.p_similarity <= 0.7) & (result.p_beyond <= 0.7)
    assert torn.any()
    assert set(result.finding[torn]) == {Finding.DIFFERENT}


def test_exact_tie_with_alpha_is_significant_and_no_count_undecided():
    tie, none = choice_test(TWO_OUT_OF_FIVE, 3, 3, alpha=0.001), choice_test(TRIANGLE, 1, 2)
    assert (tie.critical_count, tie.finding) == (3, Finding.DIFFERENT)
    assert (none.critical_count, none.similar_count) == (None, None)
    assert none.finding is Finding.UNDECIDED


def test_at_and_below_chance():
    result = choice_test(TRIANGLE, [5, 10], 30)
    assert result.pd.tolist() == [0, 0]
    assert result.dprime.tolist() == [0, 0]
    assert result.dprime_limits.low.tolist() == [0, 0]
    assert (result.dprime_limits.high > 0).all()
    # (5/30 - 1/3) / (2/3) = -1/4: kept beside the floored one.
    assert result.pd_unfloored == pytest.approx([-0.25, 0])


def test_all_and_none_correct():
    every, none = choice_test(TETRAD, 12, 12), choice_test(TRIANGLE, 0, 12)
    assert every.dprime == every.dprime_limits.high == inf
    assert 0 < every.dprime_limits.low < inf
    assert every.pc_limits.high == every.pd_limits.high == every.pd == 1
    assert (none.p_difference, none.log_p_difference) == (1, 0)
    assert none.pc_limits.low == none.pd_limits.low == 0
    assert none.pd_unfloored == pytest.approx(-0.5)


def test_logarithm_two_sided_and_where_the_probability_underflows():
    result = choice_test(TRIANGLE, 5000, 5000)
    assert result.p_difference == 0
    assert result.log_p_difference == pytest.approx(5000 * log(1 / 3), rel=1e-12)
    result = choice_test(PAIRED, [15, 30], 30, two_sided=True)
    assert result.log_p_difference == pytest.approx([0, -29 * log(2)], abs=1e-12)


def test_interval_may_hold_zero_although_significant():
    # Design notes of this project, conventions, item 19: no outside check.
    result = choice_test(TRIANGLE, 15, 30)
    assert result.p_difference < 0.05
    assert result.finding is Finding.DIFFERENT
    assert result.dprime_limits.low == result.pd_limits.low == 0


def test_paired_dprime_has_a_closed_inverse():
    # d' = sqrt(2) z(pc); z(0.975) = 1.959963984540054, printed in any table of the normal.
    result = choice_test(PAIRED, 975, 1000)
    assert result.dprime == pytest.approx(sqrt(2) * 1.959963984540054, rel=1e-12)


def test_limit_travels_as_dprime():
    result = choice_test(TRIANGLE, 20, 60, pd_limit=0.3)
    assert result.pc_at_limit == pytest.approx(float(Fraction(8, 15)))
    back = float(TRIANGLE.proportion_correct(result.dprime_limit))
    assert back == pytest.approx(8 / 15, rel=1e-12)


def test_one_answer_more_or_less_agrees_with_the_guess_of_the_protocol():
    # The same counts mean more where guessing succeeds less often.
    values = [choice_test(p, 14, 24).p_difference for p in (TWO_OUT_OF_FIVE, TRIANGLE, DUO_TRIO)]
    assert values[0] < values[1] < values[2]


def same(one, other):
    if one is None or other is None:
        return one is other
    return one == other or one == pytest.approx(other, rel=1e-13)


@every_protocol
def test_arrays_agree_with_single_numbers(protocol):
    correct, trials = np.array([[0, 3, 7], [12, 20, 24]]), np.array([24, 20, 24])
    whole = choice_test(protocol, correct, trials)
    for place, x in np.ndenumerate(correct):
        one = choice_test(protocol, int(x), int(trials[place[1]]))
        for name in (*NUMBERS, *WHOLE, "finding", "correct", "trials"):
            values = getattr(whole, name)
            assert values.shape == (2, 3), name
            value = None if np.ma.is_masked(values[place]) else values[place]
            assert same(value, getattr(one, name)), name
        for name in INTERVALS:
            for side in ("low", "high"):
                values = getattr(getattr(whole, name), side)
                assert same(values[place], getattr(getattr(one, name), side)), (name, side)


def test_single_numbers_come_back_as_plain_python():
    result = choice_test(TRIANGLE, np.int64(10), np.array(24))
    assert all(type(getattr(result, name)) is float for name in NUMBERS)
    assert all(type(getattr(result, name)) is int for name in ("correct", "trials", *WHOLE))
    assert type(result.finding) is Finding


def test_whole_floats_and_lists_are_counts_and_repeated_ones_share_their_numbers():
    assert choice_test(TRIANGLE, 14.0, 24.0).correct == 14
    assert choice_test(TRIANGLE, [14], 24).p_difference.shape == (1,)
    result = choice_test(TRIANGLE, [14, 9, 14], [24, 24, 24])
    assert result.p_difference[0] == result.p_difference[2] != result.p_difference[1]


def test_numbers_made_when_asked_for_survive_copies_and_stay_the_same_object():
    """Read in any order, or copied before anything was read."""
    counts, names = ([[1, 9], [15, 9]], 24), [field.name for field in fields(ChoiceTest)]
    first = choice_test(TRIANGLE, *counts)
    others = [
        made(choice_test(TRIANGLE, *counts))
        for made in (copy, deepcopy, lambda test: pickle.loads(pickle.dumps(test)), replace)
    ]
    for name in reversed(names):
        assert getattr(first, name) is getattr(first, name), name
        for other in others:
            assert repr(getattr(other, name)) == repr(getattr(first, name)), name
    assert all(repr(other) == "<ChoiceTest triangle, 4 sessions>" for other in others)
    assert repr(pickle.loads(pickle.dumps(choice_test(TRIANGLE, 9, 24)))) == repr(
        choice_test(TRIANGLE, 9, 24)
    )
    with pytest.raises(AttributeError, match="no attribute 'p_value'"):
        assert first.p_value
    with pytest.raises(FrozenInstanceError):
        first.pd = 0.0


def test_table_holds_the_numbers():
    result = choice_test(TRIANGLE, 14, 24)
    rows = result.summary().records()
    assert [row["estimate"] for row in rows] == [result.pc, result.pd, result.dprime]
    assert [row["low"] for row in rows] == [getattr(result, name).low for name in INTERVALS]
    assert {row["level"] for row in rows} == {0.95}


def test_forms_for_the_console_and_the_notebook():
    one, many = choice_test(TRIANGLE, 14, 24), choice_test(TRIANGLE, [14, 3], 24)
    assert "14 of 24" in repr(one)
    assert "DIFFERENT" in repr(one)
    assert "2 sessions" in repr(many)
    assert one.finding.sentence in one._repr_html_()
    assert "2 triangle sessions" in many._repr_html_()


some_protocol = st.sampled_from(list(PROTOCOLS.values()))
some_risk = st.floats(1e-4, 0.5)
some_size = st.integers(1, 300)


@steady
@given(some_protocol, some_size, some_risk, some_risk, st.floats(0.15, 0.9))
def test_everything_is_monotone_in_the_correct_answers(protocol, n, alpha, beta, limit):
    result = choice_test(protocol, range(n + 1), n, alpha=alpha, beta=beta, pd_limit=limit)
    # Near 1 neighbouring tails differ by less than their rounding.
    assert (np.diff(result.p_difference) <= 1e-15).all()
    assert (np.diff(result.p_similarity) >= -1e-15).all()
    for name in ("pc", "pd_unfloored"):
        assert (np.diff(getattr(result, name)) > 0).all()
    for name in ("pd", "dprime", "pd_upper"):
        assert (np.diff(getattr(result, name)[:-1]) >= 0).all()
    for name in INTERVALS:
        limits = getattr(result, name)
        assert (np.diff(limits.low) >= 0).all()
        assert (np.diff(limits.high[:-1]) >= 0).all()


@steady
@given(some_protocol, some_size, some_risk)
def test_limits_are_ordered_around_the_estimate(protocol, n, beta):
    result = choice_test(protocol, range(n + 1), n, beta=beta)
    for name, limits in zip(("pc", "pd", "dprime"), INTERVALS, strict=True):
        estimate, interval = getattr(result, name), getattr(result, limits)
        assert (interval.low <= estimate).all()
        assert (estimate <= interval.high).all()
        assert (interval.low < interval.high).all() or name != "pc"
    assert (result.pd <= result.pd_upper).all()
    assert (result.dprime <= result.dprime_upper).all()


@steady
@given(some_protocol, st.lists(st.tuples(st.integers(0, 40), st.integers(40, 60)), min_size=2))
def test_order_of_the_sessions_does_not_matter(protocol, sessions):
    correct, trials = np.array(sessions).T
    order = np.random.default_rng(len(sessions)).permutation(len(sessions))
    straight = choice_test(protocol, correct, trials)
    shuffled = choice_test(protocol, correct[order], trials[order])
    for name in (*NUMBERS, *WHOLE, "finding"):
        assert getattr(straight, name)[order].tolist() == getattr(shuffled, name).tolist(), name


@steady
@given(some_size, st.data(), some_risk)
def test_smaller_alpha_never_finds_more(n, data, alpha):
    x = data.draw(st.integers(0, n))
    wide, strict = (choice_test(TRIANGLE, x, n, alpha=level) for level in (alpha, alpha / 3))
    assert strict.finding not in ALARMS or wide.finding in ALARMS


def test_table_of_several_sessions_is_refused():
    result = choice_test(TRIANGLE, [8, 9], 24)
    with pytest.raises(ArgumentError, match="this result holds 2"):
        result.summary()

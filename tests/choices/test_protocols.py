"""The protocols as data: orders by enumeration, right answers by hand, guessing by counting."""

import pickle
from fractions import Fraction
from itertools import combinations, product

import numpy as np
import pytest

from sensory.choices.protocols import (
    DUO_TRIO,
    PAIRED,
    PROTOCOLS,
    TETRAD,
    THREE_AFC,
    TRIANGLE,
    TWO_OUT_OF_FIVE,
    find_protocol,
)

from .shared import every_protocol


def words(length, counts_of_a):
    """All words of A and B of a length with one of the given numbers of A."""
    every = ("".join(letters) for letters in product("AB", repeat=length))
    return {word for word in every if word.count("A") in counts_of_a}


ORDERS = {
    TRIANGLE: (6, words(3, {1, 2})),
    DUO_TRIO: (4, {reference + pair for reference in "AB" for pair in ("AB", "BA")}),
    PAIRED: (2, words(2, {1})),
    THREE_AFC: (6, words(3, {1, 2})),
    TETRAD: (6, words(4, {2})),
    TWO_OUT_OF_FIVE: (20, words(5, {2, 3})),
}


@every_protocol
def test_orders_are_complete_and_occur_once(protocol):
    assert (len(protocol.orders), set(protocol.orders)) == ORDERS[protocol]
    for group in protocol.order_sets:
        assert len(set(group)) == len(group)


def test_order_sets_that_fix_the_role_of_a_sample():
    assert [set(group) for group in DUO_TRIO.order_sets] == [
        {"AAB", "ABA"},
        {"AAB", "ABA", "BAB", "BBA"},
    ]
    assert [set(group) for group in THREE_AFC.order_sets] == [words(3, {2}), words(3, {1})]


@every_protocol
def test_both_samples_take_every_place_equally_often(protocol):
    for group in protocol.order_sets:
        coded = [order[protocol.labelled :] for order in group]
        for letter in "AB":
            places = [sum(order[i] == letter for order in coded) for i in range(protocol.coded)]
            assert len(set(places)) == 1


RIGHT = [
    (TRIANGLE, "ABB", "B", [{0}]),
    (TRIANGLE, "BAB", "B", [{1}]),
    (TRIANGLE, "AAB", "B", [{2}]),
    (DUO_TRIO, "AAB", "B", [{0}]),
    (DUO_TRIO, "ABA", "B", [{1}]),
    (DUO_TRIO, "BAB", "B", [{1}]),
    (DUO_TRIO, "BBA", "B", [{0}]),
    (PAIRED, "AB", "B", [{1}]),
    (PAIRED, "BA", "B", [{0}]),
    (PAIRED, "AB", "A", [{0}]),
    (THREE_AFC, "ABA", "B", [{1}]),
    (THREE_AFC, "BBA", "B", []),
    (THREE_AFC, "BBA", "A", [{2}]),
    (TETRAD, "ABBA", "B", [{0, 3}, {1, 2}]),
    (TETRAD, "AABB", "B", [{0, 1}, {2, 3}]),
    (TWO_OUT_OF_FIVE, "ABAAB", "B", [{1, 4}]),
    (TWO_OUT_OF_FIVE, "BBABA", "B", [{2, 4}]),
]


@pytest.mark.parametrize(("protocol", "order", "target", "expected"), RIGHT)
def test_right_answers_worked_by_hand(protocol, order, target, expected):
    answers = protocol.right_answers(order, target)
    assert len(answers) == len(expected)
    assert set(answers) == {frozenset(answer) for answer in expected}


@every_protocol
@pytest.mark.parametrize("target", ["A", "B"])
def test_guess_is_the_share_of_right_picks_in_every_order(protocol, target):
    picks = [frozenset(pick) for pick in combinations(range(protocol.coded), protocol.picks)]
    for order in protocol.orders:
        right = protocol.right_answers(order, target)
        if protocol is THREE_AFC and min("AB", key=order.count) != target:
            assert right == ()  # the odd sample has to be the one expected to have more
            continue
        assert Fraction(sum(pick in right for pick in picks), len(picks)) == protocol.guess


@every_protocol
def test_pd_and_pc_are_each_other_turned_round_from_the_guess_of_the_link(protocol):
    assert protocol.link.guess == float(protocol.guess)
    assert float(protocol.proportion_correct(0.0)) == pytest.approx(float(protocol.guess))
    assert protocol.pc_at(0.0) == protocol.guess
    assert protocol.pc_at(1.0) == 1
    pc = float(protocol.pc_at(0.3))
    assert float(protocol.distinguishers(pc)) == pytest.approx(0.3)
    assert (protocol.distinguishers([0.0, 1.0]) <= 1).all()
    assert protocol.distinguishers(0.0) < 0


def test_limit_is_the_decimal_that_was_written():
    assert TRIANGLE.pc_at(0.3) == Fraction(8, 15)
    assert PAIRED.pc_at(0.1) == Fraction(11, 20)


@every_protocol
def test_each_carries_a_standard_with_an_edition(protocol):
    assert protocol.standard.number.split()[0] in ("ISO", "ASTM")
    assert protocol.standard.edition.rstrip("ab").isdigit()
    assert protocol.standard.checked


@every_protocol
@pytest.mark.parametrize("change", [str, str.lower, lambda text: f" {text} ", str.title])
def test_found_by_key_or_name(protocol, change):
    assert find_protocol(change(protocol.key)) is protocol
    assert find_protocol(change(protocol.name)) is protocol


@every_protocol
def test_key_question_sides_and_target(protocol):
    assert PROTOCOLS[protocol.key] is protocol
    assert repr(protocol) == protocol.key
    assert protocol.asks.endswith(("?", "."))
    assert pickle.loads(pickle.dumps(protocol)) is protocol
    assert protocol.reversible == (protocol is PAIRED)
    assert protocol.takes_target == protocol.asks_attribute == (protocol in (PAIRED, THREE_AFC))


@every_protocol
def test_maps_take_arrays_and_single_numbers(protocol):
    d = np.array([[0.0, 0.5], [1.0, 2.0]])
    pc = protocol.proportion_correct(d)
    assert pc.shape == protocol.slope(d).shape == (2, 2)
    np.testing.assert_allclose(protocol.dprime(pc), d, atol=1e-7)
    assert float(protocol.dprime(float(pc[1, 0]))) == pytest.approx(1.0)

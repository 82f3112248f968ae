"""Wrong tries make the next one wait."""

from __future__ import annotations

import pytest

from sensory.screens.patience import FORGOTTEN, FREE, FREE_OF_ALL, MOST_ADDRESSES, Patience


@pytest.fixture
def patience(clock):
    return Patience(clock)


def test_waits_double_and_stop_at_five_minutes(patience, clock):
    waits = []
    for _ in range(14):
        wait = patience.begin("plant")
        waits.append(wait)
        clock.now += wait
        if wait:
            assert patience.begin("plant") == 0
    # Three free tries; then 1, 2, 4 ... seconds, at most 300.
    assert waits == [0, 0, 0, 1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300]


def test_refused_tries_do_not_lengthen_the_wait(patience, clock):
    for _ in range(FREE):
        patience.begin("plant")
    for _ in range(50):
        assert patience.begin("plant") == 1
    clock.now += 0.75
    assert patience.begin("plant") == 0.25


def test_many_at_once_gain_nothing(patience):
    """Counted when they begin: none has to end before the others are refused."""
    assert [patience.begin("plant") == 0 for _ in range(10)] == [True] * FREE + [False] * 7


def test_other_addresses_are_free_until_all_together_are_too_many(patience, clock):
    begun = [patience.begin(f"machine {number}") for number in range(FREE_OF_ALL)]
    assert begun == [0] * FREE_OF_ALL
    waits = []
    for number in range(6):
        wait = patience.begin(f"new machine {number}")
        waits.append(wait)
        clock.now += wait
        assert patience.begin(f"new machine {number}") == 0
    assert waits == [1, 2, 4, 8, 10, 10]


def test_who_was_right_before_is_not_shut_out_by_others(patience):
    patience.begin("leader")
    patience.forgive("leader")
    for number in range(FREE_OF_ALL):
        patience.begin(f"machine {number}")
    assert patience.begin("stranger") == 1
    assert [patience.begin("leader") for _ in range(FREE + 1)] == [0, 0, 0, 1]


@pytest.mark.parametrize("right", [True, False])
def test_a_right_passcode_and_an_hour_begin_anew(patience, clock, right):
    for _ in range(FREE):
        patience.begin("plant")
    if right:
        patience.forgive("plant")
    else:
        clock.now += FORGOTTEN
    assert [patience.begin("plant") for _ in range(FREE + 1)] == [0, 0, 0, 1]


def test_memory_is_bounded(patience, clock):
    for number in range(MOST_ADDRESSES + 50):
        patience.begin(f"machine {number}")
        clock.now += 10
    kept = (patience._tries, patience._pairs)
    assert [len(each) for each in kept] == [MOST_ADDRESSES] * 2


def test_own_sign_ins_take_back_no_tries_on_the_account_of_another(patience):
    """Whoever has an account could else try without end: twice another's, then the own."""
    begun = []
    for _ in range(4):
        begun.append(patience.begin("tablet", "nora"))
        if patience.begin("tablet", "otto") == 0:
            patience.forgive("tablet", "otto")
    assert begun == [0, 0, 0, 1]


def test_forged_addresses_pass_no_limit_even_with_an_account_of_ones_own(patience):
    """Each forwarding header names another address, at which the own passcode is right first."""
    tries = 0
    for number in range(200):
        address = f"192.0.2.{number}"
        if patience.begin(address, "otto") == 0:
            patience.forgive(address, "otto")
        tries += sum(patience.begin(address, "nora") == 0 for _ in range(3))
    assert tries == FREE_OF_ALL


def test_addresses_of_one_line_count_together(patience):
    begun = [patience.begin(f"2001:db8:0:1::{number:x}") for number in range(FREE + 1)]
    assert begun == [0] * FREE + [1]
    assert patience.begin("2001:db8:0:2::1") == 0

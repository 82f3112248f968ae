"""The plan as a whole: blind, balanced, reproducible, and kept when people come late or not."""

from __future__ import annotations

import json
import random
from collections import Counter
from itertools import pairwise, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensory import ServingPlan, serving_plan
from sensory.base.errors import RecordError
from sensory.catalogue.rated import PROFILE
from sensory.catalogue.tests import TESTS
from sensory.choices.protocols import DUO_TRIO, PAIRED, PROTOCOLS, THREE_AFC, TRIANGLE
from sensory.serving.codes import CODES


def presses(count):
    return [f"press {number}" for number in range(1, count + 1)]


CORDIALS = ("A", "new press", "old press", "less sugar", "warm fill", "old bottle")
FOUR = CORDIALS[:4]
PAIRS = [("reference", f"batch {number}") for number in (118, 119, 120)]


def lists(plan):
    """Orders by assessor, in samples."""
    found = {}
    for one in plan.sets:
        found.setdefault(one.assessor, []).append(one.samples)
    return found


def evenness(plan):
    return {
        (row["what"], row["set"]): (row["fewest"], row["most"]) for row in plan.evenness.records()
    }


def some_plans():
    yield serving_plan("triangle", 13, seed=3, replicates=2, sittings=2, warm_up="plain syrup")
    yield serving_plan(DUO_TRIO, 9, seed=4, balanced_reference=True)
    yield serving_plan("tetrad", 7, seed=5, sets=3, samples=PAIRS, replicates=2, sittings=3)
    yield serving_plan("A - not A", 11, seed=6, replicates=2)
    yield serving_plan("SAME_DIFFERENT", 10, seed=7)
    yield serving_plan("sureness", 8, seed=8, samples=FOUR)
    yield serving_plan("ranking", 9, seed=9, samples=CORDIALS[:5])
    yield serving_plan(PROFILE, 6, seed=10, samples=CORDIALS, replicates=2, sittings=4)
    yield serving_plan("difference from control", 7, seed=11, samples=FOUR, replicates=3)
    arranged = {"samples": presses(7), "set_size": 3, "sets": 3, "warm_up": "syrup"}
    yield serving_plan("profile", 7, seed=12, **arranged)


PLANS = list(some_plans())
each_plan = pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.design.test)


# Balance.


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=PROTOCOLS)
@pytest.mark.parametrize("assessors", [1, 5, 6, 23, 60])
def test_orders_of_a_forced_choice(protocol, assessors):
    plan = serving_plan(protocol, assessors, seed=assessors)
    counts = Counter(one.order for one in plan.sets)
    assert set(counts) <= set(protocol.order_sets[0])
    times = [counts[order] for order in protocol.order_sets[0]]
    assert max(times) - min(times) <= 1
    assert evenness(plan)[("order", 1)] == (min(times), max(times))
    assert all(len(one.codes) == protocol.coded for one in plan.sets)


def test_the_expected_sample_is_the_odd_one_of_a_3_afc():
    for target in ("A", "B"):
        plan = serving_plan(THREE_AFC, 12, seed=1, target=target)
        assert all(one.order.count(target) == 1 for one in plan.sets)


def test_both_samples_are_the_reference_of_a_balanced_duo_trio():
    plan = serving_plan(DUO_TRIO, 16, seed=1, balanced_reference=True)
    assert Counter(one.order[0] for one in plan.sets) == {"A": 8, "B": 8}
    constant = serving_plan(DUO_TRIO, 16, seed=1)
    assert {one.order[0] for one in constant.sets} == {"A"}
    first = [row for row in plan.rows if row.position == 1]
    assert all(row.code == "" and not row.scored for row in first)


@pytest.mark.parametrize("assessors", range(1, 30))
def test_each_kind_is_first_equally_often_in_a_not_a(assessors):
    plan = serving_plan("a not a", assessors, seed=assessors)
    first = Counter(row.sample for row in plan.rows if row.position == 1)
    assert abs(first["A"] - first["B"]) <= 1


@pytest.mark.parametrize("key", ["SURENESS", "RANKING", "PROFILE", "DIFFERENCE_FROM_CONTROL"])
@pytest.mark.parametrize("samples", range(3, 13))
def test_several_samples_are_balanced_in_position_and_carry_over(key, samples):
    names = ("A", *(f"press {number}" for number in range(2, samples + 1)))
    plan = serving_plan(key, 2 * samples, seed=samples, samples=names)
    orders = [order for mine in lists(plan).values() for order in mine]
    at = Counter(step for order in orders for step in enumerate(order))
    assert set(at.values()) == {2}
    assert len(at) == samples**2
    follow = Counter(pair for order in orders for pair in pairwise(order))
    assert follow == Counter(dict.fromkeys(permutations(names, 2), 2))
    assert evenness(plan) == {
        ("order", None): (1, 1) if samples % 2 else (2, 2),
        ("position", None): (2, 2),
        ("carry-over", None): (2, 2),
    }


@pytest.mark.parametrize("samples", [3, 4, 5, 6, 9])
def test_positions_differ_by_one_at_most_at_any_number(samples):
    for assessors in range(1, 50):
        plan = serving_plan("profile", assessors, seed=assessors, samples=presses(samples))
        fewest, most = evenness(plan)[("position", None)]
        assert most - fewest <= 1


def test_incomplete_sets_are_whole_designs_and_differ_within_an_assessor():
    arranged = {"samples": presses(7), "set_size": 3, "sets": 2, "replicates": 2}
    plan = serving_plan("profile", 14, seed=1, **arranged)
    # 56 sets are 8 designs of 7: a sample in 3 of 7 sets, once at each place; lambda is 1.
    assert evenness(plan)[("together", None)] == (8, 8)
    assert evenness(plan)[("position", None)] == (8, 8)
    for mine in lists(plan).values():
        assert len({frozenset(one) for one in mine}) == 4


def test_which_comparison_comes_first_is_balanced():
    plan = serving_plan("triangle", 12, seed=2, sets=3, samples=PAIRS)
    sequence = {}
    for one in plan.sets:
        sequence.setdefault(one.assessor, []).append(one.set)
    assert Counter(tuple(mine) for mine in sequence.values()) == dict.fromkeys(
        permutations((1, 2, 3)), 2
    )
    assert {row.sample for row in plan.rows if row.set == 2} == {"reference", "batch 119"}
    for number in (1, 2, 3):
        assert evenness(plan)[("order", number)] == (2, 2)


def test_balance_counts_what_the_rows_hold():
    plan = serving_plan(PAIRED, 5, seed=1, samples=("reference", "new press"))
    orders = Counter(one.order for one in plan.sets)
    found = {
        (row["what"], row["order"], row["sample"], row["position"], row["after"]): row["times"]
        for row in plan.balance.records()
    }
    a, b = orders["AB"], orders["BA"]
    assert found == {
        ("order", "AB", None, None, None): a,
        ("order", "BA", None, None, None): b,
        ("position", None, "reference", 1, None): a,
        ("position", None, "reference", 2, None): b,
        ("position", None, "new press", 1, None): b,
        ("position", None, "new press", 2, None): a,
        ("carry-over", None, "new press", None, "reference"): a,
        ("carry-over", None, "reference", None, "new press"): b,
    }


# Sittings, warm-up, reference.


def test_replicates_are_spread_over_sittings():
    plan = serving_plan("triangle", 4, seed=1, replicates=5, sittings=2)
    sittings = Counter((one.assessor, one.sitting) for one in plan.sets)
    assert {sittings[("P01", 1)], sittings[("P01", 2)]} == {2, 3}
    orders = [one.order for one in plan.sets if one.assessor == "P01"]
    assert len(set(orders)) == 5


def test_a_long_set_is_broken_up_and_nothing_is_carried_over_the_break():
    plan = serving_plan("profile", 6, seed=1, samples=CORDIALS, sittings=2)
    for row in plan.rows:
        assert row.sitting == (1 if row.position <= 3 else 2)
    carried = sum(row["times"] for row in plan.balance.records() if row["what"] == "carry-over")
    assert carried == 6 * (2 + 2)


def test_warm_up_is_served_first_in_each_sitting_and_not_scored():
    plan = serving_plan(
        "profile", 3, seed=1, samples=FOUR, replicates=2, sittings=2, warm_up="plain syrup"
    )
    for name in plan.assessors:
        for sitting in (1, 2):
            rows = [row for row in plan.rows if (row.assessor, row.sitting) == (name, sitting)]
            assert [row.sample == "plain syrup" for row in rows] == [True] + [False] * 4
            assert [row.scored for row in rows] == [False] + [True] * 4
            assert rows[0].code in CODES
            assert (rows[0].set, rows[0].replicate, rows[0].position) == (0, 0, 0)


def test_a_labelled_reference_stands_before_every_set():
    plan = serving_plan("difference from control", 2, seed=1, samples=FOUR, replicates=2)
    rows = [row for row in plan.rows if row.assessor == "P01"]
    assert [row.code == "" for row in rows] == ([True] + [False] * 4) * 2
    assert {row.sample for row in rows if not row.code} == {"labelled reference"}
    other = serving_plan("profile", 2, seed=1, samples=FOUR, reference="stock 12", sittings=2)
    assert [row.position for row in other.rows if row.assessor == "P01"] == [0, 1, 2, 0, 3, 4]


# Codes.


@each_plan
def test_codes_are_three_digits_and_unique_for_each_assessor(plan):
    for name, codes in plan.codes.items():
        assert len(set(codes)) == len(codes) == plan.design.coded
        assert set(codes) <= set(CODES)
        assert sum(row.assessor == name and row.code != "" for row in plan.rows) == len(codes)


def test_codes_say_nothing():
    remembered = "111 222 666 999 123 789 321 987 100 500 112 911"
    assert not set(remembered.split()) & set(CODES)
    assert all(len(code) == 3 and code.isdecimal() and code[0] != "0" for code in CODES)
    # Three alike, upwards 123 to 789, downwards 210 to 987, hundreds, emergency numbers.
    assert len(set(CODES)) == len(CODES) == 900 - 9 - 7 - 8 - 9 - 2


def test_codes_of_the_sitting_before_do_not_come_again():
    before = serving_plan("two-out-of-five", 12, seed=1, replicates=10)
    after = serving_plan("two-out-of-five", 12, seed=1, replicates=10, used_codes=before.codes)
    for name in before.assessors:
        assert not set(before.codes[name]) & set(after.codes[name])
    late = after.with_late("P13", used_codes=before.codes["P01"])
    assert not set(late.codes["P13"]) & set(before.codes["P01"])


def test_late_assessors_have_codes_of_their_own():
    plan = serving_plan("triangle", 6, seed=1)
    for name in ("Ida", "Jon", "Kim"):
        plan = plan.with_late(name)
    again = plan.without("Ida").with_late("Ida")
    codes = {frozenset(mine) for mine in plan.codes.values()}
    assert len(codes) == 9
    assert frozenset(again.codes["Ida"]) not in codes  # cups put down before are not mixed up


def test_codes_differ_between_assessors_and_from_sample_to_sample():
    plan = serving_plan("triangle", 200, seed=1)
    assert len({one.codes for one in plan.sets}) > 195
    by_code = {}
    for row in plan.rows:
        by_code.setdefault(row.code, set()).add(row.sample)
    assert sum(len(samples) == 2 for samples in by_code.values()) > 50


# The key.


@each_plan
def test_the_key_names_every_code_and_the_booth_none(plan):
    key = {(row["assessor"], row["code"]): row["sample"] for row in plan.key().records()}
    coded = [row for row in plan.rows if row.code]
    assert len(key) == len(coded)
    assert all(key[(row.assessor, row.code)] == row.sample for row in coded)
    for name in plan.assessors:
        mine = plan.for_assessor(name)
        assert mine.columns == ("sitting", "set", "replicate", "position", "code")
        rows = [row for row in plan.rows if row.assessor == name]
        assert [row[-1] for row in mine.rows] == [row.code or "reference" for row in rows]
        assert not {row.sample for row in rows} & {cell for row in mine.rows for cell in row}


def test_the_key_of_an_assessor_does_not_stand_in_the_order_of_serving():
    rows = serving_plan("profile", 1, seed=1, samples=CORDIALS).key().records()
    codes = [row["code"] for row in rows]
    assert codes == sorted(codes)


# Record.


@each_plan
def test_a_plan_comes_back_from_json(plan):
    again = ServingPlan.from_dict(json.loads(json.dumps(plan.to_dict())))
    assert again == plan
    assert again.digest == plan.digest
    assert len(plan.digest) == 64
    assert again.with_late("Zoe") == plan.with_late("Zoe")
    assert plan.with_late("Zoe").digest != plan.digest


@each_plan
def test_a_record_with_other_fields_is_refused(plan):
    plain = plan.to_dict()
    with pytest.raises(RecordError, match="ServingPlan has no field colour"):
        ServingPlan.from_dict({**plain, "colour": "red"})
    del plain["rows"][0]["code"]
    with pytest.raises(RecordError, match="ServingRow needs code"):
        ServingPlan.from_dict(plain)
    with pytest.raises(RecordError, match="needs a mapping"):
        ServingPlan.from_dict({**plain, "design": 3})


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 2**70),
    st.sampled_from([*TESTS]),
    st.integers(1, 12),
    st.integers(1, 3),
)
def test_a_seed_gives_the_same_plan_whatever_else_was_drawn(seed, test, assessors, replicates):
    samples = FOUR if TESTS[test].by_name else None
    made = []
    for other in (1, 2):
        random.seed(other)
        made.append(
            serving_plan(test, assessors, seed=seed, samples=samples, replicates=replicates)
        )
    assert made[0] == made[1]
    assert serving_plan(test, assessors, seed=seed + 1, samples=samples).digest != made[0].digest


def test_a_seed_in_an_old_record_gives_the_old_plan():
    """The digests of PLANS when they were first made; chance must not change with a version."""
    first_made = """
    db1f35fab7763c0e cbcc54100edfd469 d97f467aac975856 b7f99d16a3cf3450 e6ae8e128f1f0adb
    aeed894c74b9b3ad 977d557bd60d1075 6d3a0f62503c7573 49686a8d7b81623a 26f4ab7e1de41155
    """
    assert [plan.digest[:16] for plan in PLANS] == first_made.split()


# Late and missing.


@settings(max_examples=50, deadline=None)
@given(
    st.sampled_from(PLANS),
    st.lists(st.tuples(st.booleans(), st.integers(0, 1000)), min_size=1, max_size=12),
)
def test_others_stay_as_they_are_when_people_come_late_or_not(plan, changes):
    now = plan
    for number, (late, who) in enumerate(changes):
        if late:
            now = now.with_late(f"Late {number}")
        elif len(now.assessors) > 1:
            now = now.without(now.assessors[who % len(now.assessors)])
    stayed = [name for name in plan.assessors if name in now.assessors]
    for name in stayed:
        before = [row for row in plan.rows if row.assessor == name]
        assert [row for row in now.rows if row.assessor == name] == before
    assert {row.assessor for row in now.rows} == set(now.assessors)
    cups = Counter(row.assessor for row in now.rows)
    assert len(set(cups.values())) == 1
    assert all(len(set(codes)) == plan.design.coded for codes in now.codes.values())
    assert len(now.changes) <= len(changes)


@settings(max_examples=30, deadline=None)
@given(st.sampled_from(list(PROTOCOLS)), st.integers(2, 30), st.integers(1, 20), st.data())
def test_as_many_late_as_missing_ones_keep_the_counts_within_one(test, assessors, late, data):
    plan = serving_plan(test, assessors, seed=assessors)
    gone = data.draw(st.sets(st.sampled_from(plan.assessors), max_size=min(late, assessors - 1)))
    for name in sorted(gone):
        plan = plan.without(name)
    for number in range(late):
        plan = plan.with_late(f"Late {number}")
    fewest, most = evenness(plan)[("order", 1)]
    assert most - fewest <= 1


def test_a_late_assessor_of_a_profile_completes_the_square():
    plan = serving_plan("profile", 12, seed=3, samples=CORDIALS)
    now = plan.without("P04").without("P09").with_late("Ida").with_late("Jon")
    assert evenness(now) == evenness(plan)
    gone, come = [("without", name) for name in ("P04", "P09")], [("late", "Ida"), ("late", "Jon")]
    assert now.changes == (*gone, *come)


def test_late_assessors_complete_a_design_of_incomplete_sets():
    plan = serving_plan("ranking", 7, seed=3, samples=presses(7), set_size=3)
    for number in range(7):
        plan = plan.with_late(f"Late {number}")
    assert evenness(plan)[("together", None)] == (2, 2)
    assert evenness(plan)[("position", None)] == (2, 2)


def test_triangle_has_a_plan_for_one_assessor():
    plan = serving_plan(TRIANGLE, ["Anna"], seed=0)
    assert [row["assessor"] for row in plan.summary().records()] == ["Anna"] * 3

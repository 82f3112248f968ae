"""What cannot be planned is refused in one sentence that says what can."""

from __future__ import annotations

import re

import pytest

from sensory import serving_plan
from sensory.base.errors import ArgumentError
from sensory.catalogue.tests import find_kind
from sensory.serving.blocks import incomplete_blocks
from sensory.serving.lines import ballot_lines
from sensory.serving.rules import possible_sittings

FOUR = ("A", "new press", "old press", "less sugar")
SEVEN = [f"press {number}" for number in range(1, 8)]


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"test": "trangle"}, "test 'trangle' is not known; possible are TRIANGLE"),
        ({"test": 3}, "test must be a test of the catalogue or its name; got 3"),
        ({"assessors": 0}, "assessors must be from 1 to 1000; got 0"),
        ({"assessors": 10**7}, "assessors must be from 1 to 1000; got 10000000"),
        ({"assessors": 2.5}, "assessors must be whole numbers; got 2.5"),
        ({"assessors": []}, "assessors must be from 1 to 1000; got 0"),
        ({"assessors": "Anna"}, "assessors must be names or a number of them; got 'Anna'"),
        ({"assessors": ["Anna", " anna "]}, "assessor 'anna' stands twice"),
        ({"assessors": ["Anna", ""]}, "assessors must be names, none of them empty; got ''"),
        ({"seed": -1}, "seed must be a whole number from 0; got -1"),
        ({"seed": 1.5}, "seed must be a whole number from 0; got 1.5"),
        ({"seed": True}, "seed must be a whole number from 0; got True"),
        ({"replicates": 0}, "replicates must be at least 1; got 0"),
        ({"replicates": 10**6}, "each assessor would get 3000000 coded samples"),
        ({"sittings": 0}, "sittings must be at least 1; got 0"),
        ({"sittings": 2}, "sittings must be at most 1, the sets of one assessor"),
        ({"samples": ("A",)}, "samples must be two names, the reference first; got A"),
        ({"samples": ("A", "B", "C")}, "samples must be two names, the reference first; got A, B"),
        ({"samples": ("A", "a")}, "sample 'a' stands twice"),
        ({"samples": ("A", " ")}, "samples must be names, none of them empty"),
        ({"samples": ("A", 2)}, "samples must be text; got 2"),
        ({"samples": 5}, "samples must be one pair of names for each set"),
        ({"samples": "AB"}, "samples must be a sequence of names; got 'AB'"),
        ({"sets": 2}, "samples must be one pair of names for each set, sets being 2"),
        ({"sets": 2, "samples": ("A", "B")}, "samples must be a sequence of names; got 'A'"),
        ({"sets": 13}, "sets must be at most 12; got 13"),
        ({"set_size": 3}, "set_size is for methods of several samples; a triangle test compares"),
        ({"reference": "stock"}, "reference is for methods of several samples"),
        ({"target": "C"}, "target must be 'A' or 'B'; got 'C'"),
        ({"balanced_reference": True}, "balanced_reference is for tests with a labelled"),
        ({"balanced_reference": 1}, "balanced_reference must be True or False; got 1"),
        ({"warm_up": 3}, "warm_up must be text; got 3"),
        ({"used_codes": ["412"]}, "used_codes must be the codes by assessor"),
    ],
)  # fmt: skip
def test_refused(given, message):
    wanted = {"test": "triangle", "assessors": 6, "seed": 1, **given}
    with pytest.raises(ArgumentError, match=re.escape(message)):
        serving_plan(wanted.pop("test"), wanted.pop("assessors"), **wanted)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"samples": None}, "samples must be given: the names of the samples of the profile"),
        ({"samples": ["A"]}, "samples must be two or more; got A"),
        ({"samples": list("ABCDEFGHIJKLM")}, "samples must be from 2 to 12 in one order; got 13"),
        ({"samples": list("ABCDEFGHIJKLMN"), "set_size": 3}, "samples must be from 3 to 13"),
        ({"samples": SEVEN, "set_size": 8}, "set_size must be from 2 to 6"),
        ({"samples": SEVEN, "set_size": 3}, "balanced in 7 sets or a multiple of it"),
        ({"sets": 2}, "sets is 2, but one set of a profile holds all samples"),
        ({"sittings": 5}, "sittings must be at most 1, the sets of one assessor"),
        ({"replicates": 2, "sittings": 3}, "or a multiple of it up to 8; got 3"),
        ({"test": "ranking", "sittings": 2}, "A set of a ranking test is not broken up"),
        ({"test": "sureness", "samples": SEVEN}, "must have the reference under the name A"),
        ({"replicates": 217}, "each assessor would get 868 coded samples, and there are 865"),
    ],
)  # fmt: skip
def test_refused_for_several_samples(given, message):
    wanted = {"test": "profile", "samples": FOUR, "seed": 1, **given}
    with pytest.raises(ArgumentError, match=re.escape(message)):
        serving_plan(wanted.pop("test"), 10, **wanted)


def six(**given):
    return serving_plan("triangle", 6, seed=1, **given)


def two_comparisons():
    pairs = [("reference", "batch 118"), ("reference", "batch 119")]
    return six(sets=2, samples=pairs)


USED = [str(code) for code in range(100, 998)]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: six(used_codes={"P01": USED}), "needs 3 codes, and of 865 .* only 1"),
        (lambda: six(used_codes={"P01": "412 837"}), "used_codes of P01 .* got '412 "),
        (lambda: six(used_codes={"P01": 412}), "used_codes of P01 .* got 412"),
        (lambda: six().with_late("Ida", used_codes="412 837"), "not one text; got '412 837'"),
        (lambda: six().with_late("p01"), "assessor 'p01' is in the plan already"),
        (lambda: six().with_late(3), "names, none of them empty; got 3"),
        (lambda: six().without("P07"), "assessor 'P07' is not in the plan; there are P01, P0"),
        (lambda: six().for_assessor("P07"), "is not in the plan"),
        (lambda: serving_plan("triangle", 1, seed=1).without("P01"), "P01 is the only assessor"),
        (lambda: ballot_lines(two_comparisons()), "2 sets, each a comparison of its own"),
        (lambda: ballot_lines(two_comparisons(), set_number=3), "set_number .* got 3"),
        (
            lambda: ballot_lines(two_comparisons(), set_number=1, replicate=0),
            "replicate must be from 1 to 1; got 0",
        ),
        (
            lambda: ballot_lines(serving_plan("ranking", 6, seed=1, samples=FOUR, replicates=2)),
            "table of rankings holds one",
        ),
    ],
)
def test_codes_that_run_out_and_people_and_lines_that_are_not_there(call, message):
    with pytest.raises(ArgumentError, match=message):
        call()


@pytest.mark.parametrize(
    ("test", "samples", "replicates"),
    [("triangle", None, 3), ("ranking", list("abcd"), 2), ("profile", list("abcd"), 2)],
)
def test_sittings_that_are_offered_are_those_that_a_plan_takes(test, samples, replicates):
    offered = possible_sittings(find_kind(test), replicates, len(samples or "AAB"))
    for sittings in range(1, 14):
        arranged = {"seed": 1, "samples": samples, "replicates": replicates, "sittings": sittings}
        if sittings in offered:
            plan = serving_plan(test, 2, **arranged)
            assert {row.sitting for row in plan.rows} == set(range(1, sittings + 1))
        else:
            with pytest.raises(ArgumentError, match="sittings must be at most"):
                serving_plan(test, 2, **arranged)


@pytest.mark.parametrize(("samples", "size", "each"), [(7, 3, 1), (7, 3, 2), (8, 4, 4), (6, 3, 7)])
def test_panels_that_are_offered_are_whole_designs_and_the_others_are_not(samples, size, each):
    design = incomplete_blocks(samples, size)
    offered = design.whole_panels(each, 30)
    assert len([panel for panel in offered if panel > 30]) == 4
    for panel in range(1, offered[-1] + 1):
        if panel in offered:
            design.check_sets(panel * each)
        else:
            with pytest.raises(ArgumentError, match="are balanced in"):
                design.check_sets(panel * each)

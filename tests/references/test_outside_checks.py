"""Every value of published_checks.json and published_more.json: compared, or not offered and why.

Prints for each file how many values were compared, how many agree (and how many of these are
from memory or our own, hence no outside checks), and how many are not offered.
"""

from collections import Counter
from functools import cache

import numpy as np
import pytest

from sensory.base.errors import ArgumentError
from sensory.serving.blocks import incomplete_blocks

from . import checks_charts, checks_counts, checks_models, checks_more, checks_ratings
from .readers import KINDS, away, entries
from .second_routes import SECOND

CHECKS = "published_checks.json"
PARTS = {
    CHECKS: (checks_counts, checks_charts, checks_ratings, checks_models),
    "published_more.json": (checks_more,),
}
VALUES = {name: entries(name) for name in PARTS}
MISPRINTS = {CHECKS: entries(CHECKS, "misprints")}
# Compared, agreeing, no outside check among these, in part, not offered.
COUNTS = {CHECKS: (101, 101, 5, 11, 68), "published_more.json": (17, 17, 11, 1, 24)}


def merged(name, part):
    """One of the mappings of all parts of a file."""
    return {key: value for module in PARTS[name] for key, value in getattr(module, part).items()}


@cache
def numbers(name, key):
    """What the package gives for an entry."""
    return tuple(merged(name, "COMPARED")[key](VALUES[name][key]))


def cases(part):
    return [
        pytest.param(name, key, id=f"{name.removesuffix('.json')}-{key}")
        for name in PARTS
        for key in merged(name, part)
    ]


@pytest.mark.parametrize("name", PARTS)
def test_every_value_is_compared_or_said_not_to_be_offered(name):
    compared, left = merged(name, "COMPARED"), merged(name, "NOT_OFFERED")
    assert not compared.keys() & left.keys()
    assert compared.keys() | left.keys() == VALUES[name].keys()
    assert all(left.values())
    assert sum(len(module.COMPARED) for module in PARTS[name]) == len(compared)
    wrong, wrong_left = merged(name, "MISPRINTED"), merged(name, "MISPRINTS_NOT_OFFERED")
    assert wrong.keys() | wrong_left.keys() == MISPRINTS.get(name, {}).keys()


@pytest.mark.parametrize(("name", "key"), cases("COMPARED"))
def test_value_as_printed(name, key):
    entry = VALUES[name][key]
    ours = numbers(name, key)
    distance = away(entry, ours)
    missing = np.isnan(distance)
    assert not missing.all()
    assert missing.any() == (key in merged(name, "PARTLY")), (
        "say what is not offered, and only that"
    )
    assert (distance[~missing] <= 1).all(), (entry["source"], ours, entry["expected"])


def test_every_recalled_value_has_a_second_route():
    recalled = {
        key
        for name in PARTS
        for key in merged(name, "COMPARED")
        if VALUES[name][key]["kind"] in ("memory", "own")
    }
    assert recalled == SECOND.keys()


@pytest.mark.parametrize(
    ("name", "key"),
    [(name, key) for name in PARTS for key in VALUES[name] if key in SECOND],
)
def test_recalled_value_by_a_second_route(name, key):
    other = [np.nan if value is None else value for value in SECOND[key](VALUES[name][key])]
    ours = np.array(numbers(name, key), float)
    np.testing.assert_allclose(ours, other, rtol=1e-7, atol=1e-9)


@pytest.mark.parametrize(("name", "key"), cases("MISPRINTED"))
def test_misprint_is_not_reproduced(name, key):
    """Ours is what was recomputed, and lies off the print by more than its last digit."""
    entry = MISPRINTS[name][key]
    ours = merged(name, "MISPRINTED")[key](entry)
    assert (away(entry, ours) > 1).any(), entry["note"]
    assert (away({**entry, "expected": entry["recomputed"]}, ours) <= 1).all(), entry["note"]


def test_bound_for_pairs_of_unequal_numbers_errs_on_the_safe_side():
    """Printed are exact values; Kramer's p lie above them, by 0.02 at most."""
    printed = VALUES[CHECKS]["c8_rect_p"]
    ours = checks_ratings.kramer_p(printed)
    gap = ours - np.array(printed["expected"])
    assert (gap > 0).all()
    assert gap.max() < 0.02
    critical = checks_ratings.tukey_critical(VALUES[CHECKS]["c8_rect_q"])[0]
    assert 0 < critical - VALUES[CHECKS]["c8_rect_q"]["expected"] < 0.04


def test_plan_that_does_not_exist_is_refused():
    given = VALUES[CHECKS]["c6_none_5_5_3"]["inputs"]
    design = incomplete_blocks(given["t"], given["k"])
    with pytest.raises(ArgumentError, match="5 samples in sets of 3 are balanced in 10 sets"):
        design.check_sets(given["b"])


@pytest.mark.parametrize("name", PARTS)
def test_what_was_compared(name, capsys):
    compared, values = merged(name, "COMPARED"), VALUES[name]
    agreeing = [key for key in compared if np.nanmax(away(values[key], numbers(name, key))) <= 1]
    kinds = Counter(values[key]["kind"] for key in agreeing)
    assert kinds.keys() <= KINDS.keys()
    no_checks = kinds["memory"] + kinds["own"]
    left, partly = merged(name, "NOT_OFFERED"), merged(name, "PARTLY")
    assert (len(compared), len(agreeing), no_checks, len(partly), len(left)) == COUNTS[name]
    with capsys.disabled():
        print(
            f"\n{name}: {len(compared)} compared, {len(agreeing)} agreeing ({no_checks} from "
            f"memory or our own; {len(partly)} in part), {len(left)} not offered"
        )

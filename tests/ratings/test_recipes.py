"""Two recipes over several lots: against lmerTest, a plain t of lots, and what cannot be tested.

`r/recipes.R` (R 4.2.2, lme4 1.1.31, lmerTest 3.1.3) holds the mixed model; risks by simulation
stand in `tests/calibration/test_recipes.py`.
"""

from __future__ import annotations

import json
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import ttest_ind, ttest_rel

from sensory import chance_of_similar, compare_recipes
from sensory.base.errors import ArgumentError
from sensory.ratings.recipes import LOTS_ALIKE, ONE_LOT, THESE_LOTS

R = json.loads((Path(__file__).parent / "r" / "recipes.json").read_text(encoding="utf-8"))
LOTS = {"P1": "present", "P2": "present", "P3": "present", "N1": "new", "N2": "new", "N3": "new"}


def of_r():
    rows = [
        {"assessor": person, "sample": lot, "replicate": again, "attribute": "sour"}
        for person, lot, again in product("ABCDEFGHIJ", LOTS, (1, 2))
    ]
    return pd.DataFrame(rows).assign(score=R["score"])


def scored(cells, lots):
    """One score a cell, (assessors, lots)."""
    return pd.DataFrame(
        {"assessor": f"A{seat}", "sample": lot, "attribute": "sour", "score": cells[seat][place]}
        for seat, place in product(range(len(cells)), range(len(lots)))
        for lot in [list(lots)[place]]
    )


def test_difference_and_scatter_are_those_of_lmer():
    result = compare_recipes(of_r(), LOTS, reference="present")
    row, scatter = result.differences.iloc[0], result.scatter.iloc[0]
    for name in ("estimate", "se", "p"):
        assert row[name] == pytest.approx(R[name], rel=1e-4), name
    assert row["df"] == pytest.approx(R["df"], rel=1e-3)  # lmerTest differentiates numerically
    ours = scatter[["lots", "own_differences", "cells"]].astype(float)
    np.testing.assert_allclose(ours, [R["lots"], R["own"], R["cells"]], rtol=1e-4)


def test_many_assessors_leave_the_t_of_lots():
    """Where assessors agree, only lots are left: a two-sample t of the lots' means."""
    rng = np.random.default_rng(2)
    lots = rng.normal(0, 1, 6)
    cells = lots + rng.normal(0, 1e-4, (12, 6))
    row = compare_recipes(scored(cells, LOTS), LOTS, reference="present").differences.iloc[0]
    means = cells.mean(0)
    t = ttest_ind(means[3:], means[:3])
    assert row["p"] == pytest.approx(t.pvalue, rel=1e-4)
    assert row["df"] == pytest.approx(4, rel=1e-4)


def test_one_lot_each_is_the_paired_t_of_two_lots_and_says_so():
    cells = np.random.default_rng(8).normal(5, 1, (9, 2))
    result = compare_recipes(scored(cells, ("P", "N")), {"P": "old", "N": "new"}, reference="old")
    row = result.differences.iloc[0]
    assert row["p"] == pytest.approx(ttest_rel(cells[:, 1], cells[:, 0]).pvalue)
    assert THESE_LOTS in result.cannot_tell
    assert result.scatter.iloc[0][["lots", "cells"]].isna().all()


def test_lots_that_come_out_alike_do_not_make_it_surer_than_assessors_do():
    """A variance of lots below 0 is not taken off the assessors' own differences."""
    rng = np.random.default_rng(1)
    own = rng.normal(0, 1, (10, 1)) * np.array([0, 0, 0, 1, 1, 1])
    cells = own + rng.normal(0, 1, (10, 6))
    cells -= cells.mean(0) - np.array([0, 0, 0, 0.4, 0.4, 0.4])  # lots have the same means
    row = compare_recipes(scored(cells, LOTS), LOTS, reference="present").differences.iloc[0]
    paired = ttest_rel(cells[:, 3:].mean(1), cells[:, :3].mean(1))
    assert abs(row["estimate"] / row["se"]) <= abs(paired.statistic) + 1e-9


def test_notes_say_what_lots_can_tell():
    frame = of_r()
    assert compare_recipes(frame, LOTS, reference="present").cannot_tell == (LOTS_ALIKE,)
    few = frame[~frame["sample"].isin(["N2", "N3"])]
    lots = {name: recipe for name, recipe in LOTS.items() if name not in ("N2", "N3")}
    assert ONE_LOT in compare_recipes(few, lots, reference="present").cannot_tell


def test_assessor_without_a_lot_is_left_out_by_name():
    frame = of_r()
    gone = frame[~((frame["assessor"] == "C") & (frame["sample"] == "N2"))]
    result = compare_recipes(gone, LOTS, reference="present")
    assert "Left out, as they did not score every lot: C." in result.notes
    whole = compare_recipes(frame[frame["assessor"] != "C"], LOTS, reference="present")
    pd.testing.assert_frame_equal(result.differences, whole.differences)


def test_margins_show_similarity_and_sentences_follow():
    frame = of_r()
    wide = compare_recipes(frame, LOTS, reference=" Present", margins={"Sour": 5})
    assert wide.differences["within"].all()
    assert wide.says()[0].endswith("Holm), within the agreed margin of 5.")
    alike = frame.assign(score=frame["score"] - 1.5 * frame["sample"].str.startswith("N"))
    same = compare_recipes(alike, LOTS, reference="present", margins=2)
    assert "differ by less than 2" in same.says()[0]
    narrow = compare_recipes(alike, LOTS, reference="present", margins=0.1)
    assert "neither a difference nor similarity is shown" in narrow.says()[0]
    far = frame.assign(score=frame["score"] + 4 * frame["sample"].str.startswith("N"))
    assert "new has" in compare_recipes(far, LOTS, reference="present").says()[0]
    assert "more than present" in compare_recipes(far, LOTS, reference="present").says()[0]


def test_the_other_way_round_only_the_sign_changes():
    one_way = compare_recipes(of_r(), LOTS, reference="present").differences
    other = compare_recipes(of_r(), LOTS, reference="new").differences
    np.testing.assert_allclose(other["estimate"], -one_way["estimate"])
    np.testing.assert_allclose(other[["se", "df", "p"]], one_way[["se", "df", "p"]])


def test_chance_of_similar_is_what_trials_show():
    """20,000 trials of three lots each, 12 assessors: standard error 0.0035."""
    rng = np.random.default_rng(4)
    cells = 0.3 * rng.standard_normal((20_000, 1, 6)) + rng.standard_normal((20_000, 12, 6))
    from sensory.models.nested_lots import arm_difference

    fit = arm_difference(cells, np.arange(6) > 2)
    from scipy.special import stdtrit

    shown = np.abs(fit.estimate) + fit.se * stdtrit(fit.df, 0.95) < 1
    planned = chance_of_similar(1.0, lots=3, assessors=12, lot_sd=0.3, cell_sd=1.0)
    assert shown.mean() == pytest.approx(planned, abs=0.03)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"recipes": {"P1": "present"}}, "missing N1, N2, N3, P2, P3"),
        ({"recipes": dict.fromkeys(LOTS, "present")}, "must name two"),
        ({"reference": "third"}, "must name two, the reference among them"),
        ({"margins": {"bitter": 1}}, "margins must be for attributes among sour; got bitter"),
        ({"margins": 0}, "margins"),
    ],
)
def test_calls_that_cannot_be(change, match):
    call = {"recipes": LOTS, "reference": "present"} | change
    with pytest.raises(ArgumentError, match=match):
        compare_recipes(of_r(), **call)


def test_scores_that_cannot_be_tested():
    with pytest.raises(ArgumentError, match="2 assessors who scored every lot"):
        compare_recipes(of_r().query("assessor in ['A', 'B']"), LOTS, reference="present")
    cells = np.zeros((4, 6)) + np.array([0, 0, 0, 1, 1, 1])
    with pytest.raises(ArgumentError, match="no scatter to test against"):
        compare_recipes(scored(cells, LOTS), LOTS, reference="present")

"""Spiked samples: counts, exact limits, Fisher's test, and cells that cannot be used."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sensory.base.errors import ArgumentError, BallotError
from sensory.ratings.spikes import spiked_samples


def answers(**columns):
    base = {
        "assessor": ["Ada"] * 10 + ["Bo"] * 6,
        "spiked": [True] * 6 + [False] * 4 + [True, True, True, False, False, False],
        "found": [1, 1, 1, 1, 1, 0, 1, 0, 0, 0, 1, 0, 0, 1, 1, 0],
    }
    return pd.DataFrame(base | columns)


def test_rates_limits_and_p():
    table = spiked_samples(answers()).assessors.set_index("assessor")
    assert list(table["hits"]) == [5, 1]
    assert list(table["spiked"]) == [6, 3]
    assert list(table["false_alarms"]) == [1, 2]
    assert list(table["blind"]) == [4, 3]
    for name, row in table.iterrows():
        hit = stats.binomtest(int(row["hits"]), int(row["spiked"])).proportion_ci(0.95, "exact")
        false = stats.binomtest(int(row["false_alarms"]), int(row["blind"]))
        other = false.proportion_ci(0.95, "exact")
        assert (row["hit_low"], row["hit_high"]) == pytest.approx((hit.low, hit.high), abs=1e-12)
        assert (row["false_low"], row["false_high"]) == pytest.approx((other.low, other.high))
        right = [row["hits"], row["spiked"] - row["hits"]]
        wrong = [row["false_alarms"], row["blind"] - row["false_alarms"]]
        fisher = stats.fisher_exact([right, wrong], alternative="greater")
        assert row["p"] == pytest.approx(fisher.pvalue), name
    # Ada by hand: 6 'found' of 10, 5 or 6 of them among 6 spiked:
    # (C(6,5) C(4,1) + C(6,6) C(4,0)) / C(10,6) = 25 / 210.
    assert table.loc["Ada", "p"] == pytest.approx(25 / 210)


def test_ten_trials_are_few():
    """6 of 10: exact 95 % limits 0.262 to 0.878 (Clopper and Pearson; any table of them)."""
    ten = pd.DataFrame({"assessor": "Ada", "spiked": 1, "found": [1] * 6 + [0] * 4})
    row = spiked_samples(ten).assessors.iloc[0]
    assert (round(row["hit_low"], 3), round(row["hit_high"], 3)) == (0.262, 0.878)
    assert np.isnan(row[["false_rate", "false_low", "false_high", "p"]].astype(float)).all()


def test_faults_apart():
    result = spiked_samples(answers(fault=["cork", "cork", "heat"] * 5 + ["heat"]))
    faults = result.faults.set_index(["assessor", "fault"])
    assert faults.loc[("Ada", "cork"), ["hits", "spiked"]].tolist() == [4, 4]
    assert faults.loc[("Ada", "heat"), ["hits", "spiked"]].tolist() == [1, 2]
    assert result.faults["spiked"].sum() == 9
    assert spiked_samples(answers()).faults.empty


def test_missing_answers_are_dropped_and_counted():
    found = [1, 1, 1, 1, 1, 0, 1, 0, None, None, 1, 0, 0, 1, 1, 0]
    result = spiked_samples(answers(found=found))
    assert result.dropped == 2
    assert list(result.assessors["blind"]) == [2, 3]
    assert "6 of 9 spiked found, 3 of 5 blind duplicates" in repr(result)


def test_order_level_and_names_that_occur_in_no_answer():
    names = pd.Categorical(answers()["assessor"], categories=["Bo", "Zoe", "Ada"])
    assert list(spiked_samples(answers(assessor=names)).assessors["assessor"]) == ["Bo", "Ada"]
    plain = spiked_samples(answers()).assessors
    mixed = spiked_samples(answers().sample(frac=1, random_state=2)).assessors
    pd.testing.assert_frame_equal(plain, mixed)
    narrow = spiked_samples(answers(), level=0.5).assessors
    assert (narrow["hit_low"] > plain["hit_low"]).all()
    assert "<table" in spiked_samples(answers())._repr_html_()


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ([1], "answers must be a pandas DataFrame with one answer a row; got list."),
        (answers().drop(columns=["found"]), "answers lack the column found; needed are assessor"),
        (answers(found=None), "answers hold no answer at all"),
    ],
)
def test_tables_that_cannot_be_used(given, message):
    with pytest.raises(ArgumentError, match=re.escape(message)):
        spiked_samples(given)


def test_every_bad_cell_is_named():
    names, spiked = [None, *["Ada"] * 15], [1] * 15 + [None]
    bad = answers(found=["yes", 2, *[1] * 14], assessor=names, spiked=spiked)
    with pytest.raises(BallotError, match="4 errors to fix") as caught:
        spiked_samples(bad)
    places = [(fault.row, fault.column) for fault in caught.value.faults]
    assert places == [(2, "assessor"), (2, "found"), (3, "found"), (17, "spiked")]
    with pytest.raises(ArgumentError, match=re.escape("For 95 % write 0.95")):
        spiked_samples(answers(), level=95)

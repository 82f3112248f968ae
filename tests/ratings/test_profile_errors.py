"""Bad calls of profile and the one sentence that each of them gets."""

import re

import numpy as np
import pandas as pd
import pytest

from sensory.base.errors import ArgumentError
from sensory.ratings.profile import profile
from sensory.ratings.scorecard import panel_scorecard

from .shared import tidy


def ballots(assessors=4, samples=3, replicates=2):
    scores = np.random.default_rng(3).normal(5, 1, (assessors, samples, replicates, 2))
    return tidy(scores.round(2), samples=["lime", "pear", "plum"], attributes=["sour", "sweet"])


def with_scores(attribute, score):
    table = ballots()
    table.loc[table["attribute"] == attribute, "score"] = score
    return table


PLAIN = ballots()
FEW = PLAIN.query(
    "attribute == 'sour' and replicate == 1 and "
    "(assessor == 'A00' and sample != 'plum' or assessor == 'A01' and sample == 'plum')"
)
SAME_TWICE = PLAIN.assign(
    score=PLAIN["score"].where(
        PLAIN["attribute"] == "sour",
        PLAIN.groupby(["assessor", "sample", "attribute"])["score"].transform("first"),
    )
)
UNSERVED = PLAIN.query("not (sample == 'plum' and attribute == 'sour')")
ALONE = PLAIN.query("attribute == 'sour' or assessor == 'A02'")
ALIKE = PLAIN.assign(score=PLAIN["sample"].str.len() + PLAIN["sample"].eq("plum"))


@pytest.mark.parametrize(
    ("table", "options", "message"),
    [
        (PLAIN, {"reference": "rose"}, "one of the samples lime, pear, plum; got rose"),
        (PLAIN, {"attributes": ["salty"]}, "attributes must be among sour, sweet"),
        (PLAIN, {"margins": 1.0}, "margins need a reference"),
        (PLAIN, {"reference": "lime", "margins": {"salty": 1}}, "margins must be for attributes"),
        (PLAIN, {"reference": "lime", "margins": {"sour": 0}}, "margins must be above 0; got 0"),
        (PLAIN, {"reference": "lime", "margins": -1}, "margins must lie between 0 and 1e+09"),
        (PLAIN, {"reference": "lime", "margins": "wide"}, "margins must be a number"),
        (PLAIN, {"alpha": 5}, "For 5 % write 0.05"),
        (PLAIN, {"scaling": "yes"}, "scaling must be True or False; got 'yes'."),
        (PLAIN, {"method": "exact"}, "method must be mean squares or reml; got 'exact'."),
        (PLAIN, {"occasion": "week"}, "occasion must be session, replicate or None; got 'week'."),
        (PLAIN, {"occasion": "session"}, "the ballots hold one session only; leave it out."),
        (PLAIN.query("assessor == 'A01'"), {}, "ballots hold one assessor only, A01; a profile"),
        (PLAIN.query("sample == 'plum'"), {}, "ballots hold one sample only, plum; a profile"),
        (UNSERVED, {}, "no score of sample plum for sour"),
        (ALONE, {}, "for sweet: scored by one assessor only"),
        (with_scores("sour", 4.0), {"attributes": "sour"}, "for sour: given the same score every"),
        (PLAIN.assign(score=4.0), {}, "for sour, sweet: given the same score everywhere"),
        (FEW, {}, "for sour: there are no more scores than samples"),
        (ALIKE, {}, "for sour, sweet: scores leave no scatter"),
        (ALIKE.drop(index=3), {}, "for sour, sweet: scores leave no"),
        (SAME_TWICE.drop(index=3), {"method": "reml"}, "for sweet: scores leave no"),
    ],
)
def test_one_clear_error(table, options, message):
    with pytest.raises(ArgumentError, match=re.escape(message)):
        profile(table, **options)


def test_a_constant_attribute_is_reported_and_the_others_go_on():
    table = with_scores("sour", 0)
    result = profile(table, reference="lime", margins=1)
    alone = profile(table, attributes=["sweet"], reference="lime", margins=1)
    assert dict(result.constant) == {"sour": 0}
    assert "sour: 0 for every sample, nothing to test." in result.notes
    for name in ("anova", "means", "against_reference", "pairs", "equivalence", "components"):
        pd.testing.assert_frame_equal(getattr(result, name), getattr(alone, name))
    assert not alone.constant
    card = panel_scorecard(table)
    assert "sour: 0 for every sample, nothing to test." in card.notes
    assert list(card.attributes["attribute"]) == ["sweet"]


def test_missing_scores_are_counted_and_shown():
    table = PLAIN.copy()
    table.loc[[2, 7, 20], "score"] = np.nan
    found = profile(table)
    assert found.scores.dropped == 3
    assert len(found.scores.missing) == 3
    assert "Rows without a score, left out: 3." in found.notes


@pytest.mark.parametrize("ballots", [SAME_TWICE, SAME_TWICE.drop(index=3)])
def test_replicates_that_agree_exactly_are_no_hindrance_to_mean_squares(ballots):
    found = profile(ballots, reference="lime")
    sweet = found.anova.query("attribute == 'sweet' and source == 'sample'")
    assert np.isfinite(sweet["p"]).all()
    effect = found.against_reference.query("attribute == 'sweet'")["effect"]
    assert effect.isna().all()

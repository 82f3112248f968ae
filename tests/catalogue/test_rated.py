"""Profile, difference from control and ranking: the finding follows from the numbers."""

from __future__ import annotations

import json
from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy.stats import friedmanchisquare, ttest_rel
from scipy.stats import t as t_of

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.catalogue.checking import CheckedBallots
from sensory.catalogue.controlled_read import read_difference_from_control
from sensory.catalogue.question import Question
from sensory.catalogue.ranked_read import read_ranking
from sensory.catalogue.rated_read import read_profile
from sensory.ratings.profile import profile
from sensory.report.outcome_figures import profile_figure
from sensory.sessions.outcomes import read_ballots_of

ATTRIBUTES = ("sweet", "sour", "body")


def scores(moved, *, assessors=14, spread=0.5, seed=1, replicates=2):
    """A complete profile; `moved` by (sample, attribute)."""
    rng = np.random.default_rng(seed)
    rows = []
    for person in range(assessors):
        own = rng.normal(0, 0.6)
        for sample in ("reference", "new"):
            apart = dict(zip(ATTRIBUTES, rng.normal(0, 0.1, 3), strict=True))
            for replicate, name in product(range(1, replicates + 1), ATTRIBUTES):
                mean = 5 + own + apart[name] + moved.get((sample, name), 0.0)
                row = {"assessor": f"P{person}", "sample": sample, "replicate": replicate}
                rows.append(row | {"attribute": name, "score": mean + rng.normal(0, spread)})
    return rows


def asked(protocol="PROFILE", **settings):
    return Question(pd_limit=0.30, protocol=protocol, settings=settings)


@pytest.mark.parametrize(
    ("moved", "margins", "finding"),
    [
        ({}, "1", Finding.SIMILAR),
        ({("new", "sour"): 1.0}, "1", Finding.DIFFERENT),
        ({("new", "sour"): 2.0}, "1", Finding.BEYOND_LIMIT),
        ({("new", "sour"): -2.0}, "1", Finding.BEYOND_LIMIT),  # either side
        ({("new", "sour"): 2.0}, "sweet 1; body 1", Finding.DIFFERENT),  # sour has no margin
        ({("new", "sour"): 0.7}, "1.5", Finding.DIFFERENT_WITHIN_LIMIT),
        ({}, "0.05", Finding.UNDECIDED),
        ({}, "", Finding.UNDECIDED),
        ({}, "sweet 1; sour 1", Finding.UNDECIDED),  # body has no margin
    ],
)
def test_profile_findings(moved, margins, finding):
    question = asked(attributes="sweet; sour; body", margins=margins, reference="Reference")
    read = read_profile(scores(moved), question)
    assert read.finding is finding
    assert read.sentence == finding.sentence


def holm_of(p):
    """Step-down by hand: the k-th smallest times how many are left, never falling."""
    order = np.argsort(p)
    stepped = np.maximum.accumulate(np.array(p)[order] * np.arange(len(p), 0, -1))
    return np.minimum(stepped, 1.0)[np.argsort(order)]


def test_beyond_a_margin_is_dunnett_against_the_margin_with_holm():
    """Second route: scipy's Dunnett p at the excess over the margin, Holm by hand."""
    rows = scores({("new", "sour"): 2.0, ("new", "body"): -1.4})
    result = profile(pd.DataFrame(rows), reference="reference", margins={"sour": 1, "body": 1})
    table = result.equivalence.set_index("attribute")
    others = result.against_reference.set_index("attribute")
    assert set(table.index) == {"sour", "body"}
    excess = (table["estimate"].abs() - 1) / table["se"]
    raw = [min(2 * t_of.sf(excess[name], table["df"][name]), 1.0) for name in table.index]
    assert (excess > 0).all()
    # one sample: Dunnett is the t-test; three attributes, the one without a margin counts
    for name, p in zip(table.index, holm_of([*raw, 1.0]), strict=False):
        assert table["p_beyond"][name] == pytest.approx(min(p, 1.0), rel=1e-6)
        assert table["beyond"][name] == (p <= 0.05)
        assert others["p_holm"][name] <= table["p_beyond"][name]


def test_profile_numbers_are_those_of_profile():
    rows = scores({("new", "sour"): 1.0})
    read = read_profile(rows, asked(reference="reference", margins="1", attributes="sour"))
    expected = profile(pd.DataFrame(rows), reference="reference").against_reference
    for span, row in zip(read.figure.spans, expected.to_dict("records"), strict=True):
        assert span.label == row["attribute"]
        assert span.estimate == row["estimate"]
        assert (span.limits.low, span.limits.high) == (row["low"], row["high"])
    assert len(read.means) == 6
    assert "'sour' is 1.17 higher in new" in read.because


def test_equivalence_is_judged_at_beta():
    rows = scores({("new", "sour"): 0.55}, seed=4)
    at = {"reference": "reference", "margins": "1", "attributes": "sweet; sour; body"}
    for beta, judged in ((0.2, "yes"), (0.0001, "no")):
        read = read_profile(rows, Question(protocol="PROFILE", beta=beta, settings=at))
        assert {row[0]: row[3] for row in read.tables[0][1].rows}["sour"] == judged


def test_scorecard_goes_with_a_profile_and_flags_a_turned_scale():
    rng = np.random.default_rng(9)
    levels = zip("ABCDEF", (1, 2.5, 4, 5.5, 7, 8.5), strict=True)
    rows = []
    for person, (sample, level), replicate in product(range(10), levels, (1, 2)):
        mean = 10 - level if person == 3 else level
        row = {"assessor": f"P{person}", "sample": sample, "replicate": replicate}
        rows.append(row | {"attribute": "sour", "score": mean + rng.normal(0, 0.5)})
    read = read_profile(rows, asked(reference="A", attributes="sour"))
    flagged = {point.assessor: point.agreement for point in read.panel if point.flags}
    assert flagged["P3"] < -0.9
    assert any("P3 scored sour the other way round" in line for line in read.panel_says)


def test_profile_without_replicates_or_panel_says_so():
    rows = scores({}, replicates=1)
    read = read_profile(
        rows, asked(reference="reference", margins="2", attributes="sweet; sour; body")
    )
    assert read.finding is Finding.SIMILAR
    assert read.panel_says


def test_unknown_reference_names_the_samples():
    with pytest.raises(ArgumentError, match="'gold' is none of the samples: reference, new"):
        read_profile(scores({}), asked(reference="gold"))
    with pytest.raises(ArgumentError, match="'gold' is none of the samples"):
        read_difference_from_control(
            distances(0.0), asked("DIFFERENCE_FROM_CONTROL", control="gold", limit=1.0)
        )


def distances(beyond, *, seed=2):
    rng = np.random.default_rng(seed)
    rows = []
    for person in range(15):
        habit = rng.uniform(0.5, 1.5)
        for sample, far in (("blind", 0.0), ("batch", beyond)):
            score = habit + far + rng.normal(0, 0.5)
            rows.append({"assessor": f"P{person}", "sample": sample, "score": score})
    return rows


@pytest.mark.parametrize(
    ("beyond", "limit", "finding"),
    [
        (0.0, 1.0, Finding.SIMILAR),
        (1.0, 1.0, Finding.DIFFERENT),
        (2.5, 1.0, Finding.BEYOND_LIMIT),
        (0.8, 2.0, Finding.DIFFERENT_WITHIN_LIMIT),
        (0.1, 0.15, Finding.UNDECIDED),
    ],
)
def test_difference_from_control_findings_and_the_paired_t(beyond, limit, finding):
    rows = distances(beyond)
    read = read_difference_from_control(
        rows, asked("DIFFERENCE_FROM_CONTROL", control="blind", limit=limit)
    )
    frame = pd.DataFrame(rows).pivot(index="assessor", columns="sample", values="score")
    expected = ttest_rel(frame["batch"], frame["blind"], alternative="greater")
    line = dict(zip(read.tables[0][1].columns, read.tables[0][1].rows[0], strict=True))
    assert line["p"] == pytest.approx(expected.pvalue, rel=1e-8)
    assert read.finding is finding
    assert f"blind control itself was scored {frame['blind'].mean():.2f}" in read.because


def ranked(truths, *, assessors=14, seed=5):
    rng = np.random.default_rng(seed)
    rows = []
    for person in range(assessors):
        percept = {name: rng.normal(truth) for name, truth in truths.items()}
        for place, name in enumerate(sorted(percept, key=percept.get), start=1):
            rows.append({"assessor": f"P{person}", "sample": name, "rank": float(place)})
    return rows


def test_ranking_finding_is_friedman_where_no_reference_is_named():
    rows = ranked({"a": 0.0, "b": 1.0, "c": 2.5}, assessors=120)
    read = read_ranking(rows, asked("RANKING", attribute="sour"))
    wide = pd.DataFrame(rows).pivot(index="assessor", columns="sample", values="rank")
    expected = friedmanchisquare(*(wide[name] for name in "abc"))
    line = read.tables[1][1].rows[0]
    assert line[1] == pytest.approx(expected.statistic, rel=1e-10)
    assert read.finding is Finding.DIFFERENT
    means = {span.label: span.estimate for span in read.figure.spans}
    assert means == pytest.approx(wide.mean().to_dict())
    assert read.figure.origin is None


def test_ranking_against_a_reference_and_never_similar():
    rows = ranked({"reference": 0.0, "near": 0.0, "far": 3.0})
    read = read_ranking(rows, asked("RANKING", attribute="sour", reference="reference"))
    assert read.sentence == "Perceptibly different from reference: far."
    alike = ranked({"reference": 0.0, "near": 0.0, "also": 0.0})
    read = read_ranking(alike, asked("RANKING", attribute="sour", reference="reference"))
    assert read.finding is Finding.UNDECIDED
    assert any("not shown to be alike" in line for line in read.cannot_tell)


def test_expected_order_is_told_by_page():
    rows = ranked({"weak": 0.0, "middle": 0.8, "strong": 1.6})
    question = asked("RANKING", attribute="sour", expected="weak; middle; strong")
    found = read_ranking(rows, question)
    assert found.sentence == "The ranks rise with the expected order, not necessarily at each step."
    turned = asked("RANKING", attribute="sour", expected="strong; middle; weak")
    assert "not in the expected order" in read_ranking(rows, turned).sentence


def test_attribute_agreed_and_never_scored_bars_similarity_and_is_named():
    question = asked(reference="reference", attributes="sweet; sour; body; off-note", margins="1")
    read = read_profile(scores({}), question)
    assert read.finding is Finding.UNDECIDED
    assert any("off-note was agreed and never scored" in line for line in read.cannot_tell)


def test_planned_sample_that_was_not_served_is_undecided_by_name():
    settings = {"attributes": "sweet; sour; body", "margins": "1", "reference": "reference"}
    read = read_profile(scores({}), asked(samples="reference; new; batch 8", **settings))
    assert read.sentence == "new: similar; batch 8: undecided."
    assert any("batch 8 is in the plan" in line for line in read.cannot_tell)
    control = asked("DIFFERENCE_FROM_CONTROL", control="blind", limit=1.0,
                    samples="blind; batch; batch 9")  # fmt: skip
    assert read_difference_from_control(distances(0.0), control).finding is Finding.UNDECIDED


def test_attribute_without_scatter_is_named_and_the_others_are_still_tested():
    rows = scores({("new", "sour"): 2.0}) + [
        row | {"attribute": "off-note", "score": 0.0}
        for row in scores({})
        if row["attribute"] == "sweet"
    ]
    question = asked(reference="reference", margins="1", attributes="sweet; sour; body; off-note")
    read = read_profile(rows, question)
    assert read.finding is Finding.BEYOND_LIMIT
    assert any("off-note cannot be tested" in line and "every score was 0" in line
               for line in read.cannot_tell)  # fmt: skip


def test_nothing_to_compute_from_is_undecided_with_its_reason():
    rows = [row | {"score": 0.0} for row in distances(0.0)]
    checked = CheckedBallots(rows=tuple(rows), missing=0, ready=len(rows), faults=())
    question = asked("DIFFERENCE_FROM_CONTROL", control="blind", limit=1.0)
    read = read_ballots_of(checked, question)
    assert read.finding is Finding.UNDECIDED
    assert "Nothing can be computed from these 30 answers" in read.because
    wrong = asked("DIFFERENCE_FROM_CONTROL", control="gold", limit=1.0)
    assert "'gold' is none of the samples" in read_ballots_of(checked, wrong).because


def test_limits_of_the_chart_say_their_level():
    settings = {"reference": "reference", "attributes": "sweet; sour; body"}
    question = Question(protocol="PROFILE", alpha=0.2, settings=settings)
    read = read_profile(scores({}), question)
    assert {span.limits.level for span in read.figure.spans} == {0.8}
    assert "80 %" in json.dumps(profile_figure(read))

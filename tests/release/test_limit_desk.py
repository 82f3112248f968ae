"""A limit from the record: sold batches without complaint, its cost, and agreeing it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from sensory.base.errors import ArgumentError, RecordError
from sensory.base.findings import Finding
from sensory.choices.protocols import TETRAD, TRIANGLE
from sensory.choices.two_stage import two_stage_plan
from sensory.release import product_desk
from sensory.release.batch_records import BatchRecord, Complaint, Decision, ProductRecord, Tasting
from sensory.release.batches import Batch, Disposition
from sensory.release.limit_desk import (
    agree_limit,
    assumed,
    fair_size,
    limit_of_rule,
    limit_of_sold,
    most_answers,
    sold_rows,
    sold_without_complaint,
    unit_of,
    with_limit,
)
from sensory.release.new_sessions import Wish, expected_risks, start_session
from sensory.release.product_desk import rule_of, the_product
from sensory.release.rule import ReleaseRule
from sensory.release.studies import Study
from sensory.release.study_desk import keep_study
from sensory.report.study_documents import drafted_rows

from ..shared import put_noun
from .shared import ONE, PRODUCT

POINTS = ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=1.5, assessors=12, scatter=0.9)
ONE_TRIANGLE = ReleaseRule(test="TRIANGLE", limit=0.30, assessors=24)
BY = {"who": "Mira", "why": "consumers of March"}


def sold(store, number: int, correct: int, *, disposition=Disposition.RELEASE, complained=False):
    decision = Decision(
        disposition=disposition,
        decided_by="Nora",
        role="release officer",
        decided_at="2026-03-02T10:00:00+00:00",
        reason="similar",
    )
    day = f"2026-03-{number:02d}"
    record = BatchRecord(
        batch=Batch(number=f"L-{number}", product=PRODUCT, made_on=day),
        reference="S1",
        tastings=(
            Tasting(session=f"s{number}", test="TRIANGLE", held_on=day, finding=Finding.SIMILAR,
                    correct=correct, trials=48),
        ),
        decisions=(decision,),
        complaints=(Complaint(text="stale", received_on=day),) if complained else (),
    )  # fmt: skip
    put_noun(store, record, expect=None, what="batch entered", who="Mira", why="made")


@pytest.fixture
def history(store):
    product_desk.agree_rule(store, PRODUCT, ONE, who="Mira", why="management")
    for number, correct in enumerate(np.random.default_rng(2).binomial(48, 0.42, 10), start=1):
        sold(store, number, int(correct))
    sold(store, 20, 40, disposition=Disposition.REJECT)
    sold(store, 21, 38, complained=True)
    return store


def test_history_is_of_batches_that_were_released_and_not_complained_of(history):
    record = the_product(history, PRODUCT)
    names = {batch.name for batch in sold_without_complaint(history, record)}
    assert names == {f"L-{number}" for number in range(1, 11)}
    result = limit_of_sold(history, record, (1.5,)).result
    assert (result.batches, result.unit, result.test) == (10, "dprime", "triangle")
    assert result.limits["limit"].tolist() == [1.5]
    assert limit_of_sold(history, record).result.limits["limit"].is_monotonic_increasing


def test_sold_batches_are_kept_as_they_stood(history):
    record = the_product(history, PRODUCT)
    rows = sold_rows(history, record)
    settings = (("alpha", ONE.alpha), ("beta", ONE.beta))
    draft = drafted_rows("sold batches", rows.columns, rows.cells, settings)
    study = replace(draft, product=PRODUCT, held_on="2026-04-01", file="the record")
    kept = keep_study(history, study, who="Mira")
    assert history.studies(product=PRODUCT) == [kept]
    assert kept.size == 10
    result = limit_of_sold(history, record).result
    assert (kept.outcome.sentence, *kept.outcome.because) == result.says()
    (limits,) = [each for each in kept.outcome.tables if each.heading == "Limits"]
    assert limits.columns[0].numbers == tuple(result.limits["limit"])
    sold(history, 11, 20)
    assert sold_rows(history, record) != rows
    assert history.noun(Study, kept.key) == kept
    assert history.verify() == []


@pytest.mark.parametrize("limit", [0.8, 1.5])
def test_the_size_for_a_fair_pass_in_points_is_the_first_that_has_it(limit):
    """A scan of every size; the chances themselves by simulation of batches without a difference.

    Significance is one-sided, similarity the upper limit below the limit, as `ReleaseRule` has it.
    """
    rule = replace(POINTS, limit=limit)
    size = fair_size(rule)
    sizes = [replace(rule, assessors=n) for n in range(2, 40)]
    passes = [float(each.characteristic([0.0]).passes[0]) for each in sizes]
    assert size == next(n for n, share in enumerate(passes, start=2) if share >= 0.9)
    draws = np.random.default_rng(5).normal(0, rule.scatter, (40_000, size))
    mean, se = draws.mean(axis=1), draws.std(axis=1, ddof=1) / np.sqrt(size)
    similar = mean + stats.t.ppf(1 - rule.beta, size - 1) * se < limit
    expected = passes[size - 2]
    assert similar.mean() == pytest.approx(expected, abs=4 * np.sqrt(0.1 * 0.9 / 40_000))


def test_the_size_for_a_fair_pass_by_counts_holds_from_there_on():
    """Binomial tails by scipy: 58 triangles at pd 30 %, beta 5 % (shared notes: 58)."""
    size = fair_size(ONE_TRIANGLE)
    assert size == 58
    n = np.arange(size - 1, 400)
    most = stats.binom.ppf(0.05, n, 1 / 3 + 0.3 * 2 / 3).astype(int) + 1
    while np.any(over := stats.binom.cdf(most, n, 1 / 3 + 0.3 * 2 / 3) > 0.05):
        most = most - over
    passes = stats.binom.cdf(most, n, 1 / 3)
    assert passes[0] < 0.9 <= passes[1:].min()
    assert fair_size(ReleaseRule(test="PROFILE", margins={"sour": 1.0}, assessors=12)) is None
    assert fair_size(replace(POINTS, scatter=None)) is None
    held = dict.fromkeys(Finding, Disposition.HOLD)
    assert fair_size(replace(ONE_TRIANGLE, dispositions=held)) is None


def test_agreeing_puts_the_limit_into_the_rule_with_name_role_and_reason(history):
    agree_limit(history, PRODUCT, 1.2, unit="dprime", assessors=240, **BY)
    record = the_product(history, PRODUCT)
    rule = rule_of(record)
    share = float(TRIANGLE.distinguishers(TRIANGLE.proportion_correct(1.2)))
    assert rule.limit == pytest.approx(share, abs=1e-4)
    assert limit_of_rule(rule) == pytest.approx(1.2, abs=1e-3)
    assert (rule.assessors, rule.dispositions) == (240, ONE.dispositions)
    entry = [each for each in history.noun_entries(record) if each.what == "rule agreed"][-1]
    assert (entry.who, entry.why) == ("Mira", "consumers of March")


def test_new_sessions_of_the_product_offer_the_limit(history):
    agree_limit(history, PRODUCT, 1.2, unit="dprime", assessors=240, **BY)
    wish = Wish(
        product=PRODUCT, batches=("N-1",), reference="S1", test="TETRAD", people=60, decides="Nora"
    )
    carried = float(TETRAD.distinguishers(TETRAD.proportion_correct(1.2)))
    assert start_session(history, wish, who="Mira").question.pd_limit == pytest.approx(
        carried, abs=1e-3
    )
    own = replace(wish, test="TRIANGLE")
    rule = rule_of(the_product(history, PRODUCT))
    assert start_session(history, own, who="Mira").question.pd_limit == rule.limit
    assert expected_risks(history, own).pd_limit == rule.limit
    attribute = replace(wish, test="THREE_AFC")
    assert start_session(history, attribute, who="Mira").question.pd_limit is None


def test_a_limit_that_the_rule_cannot_take_is_refused(store):
    with pytest.raises(RecordError, match="takes a limit in points; this one is in a d-prime"):
        with_limit(POINTS, 1.0, "dprime", 12)
    with pytest.raises(RecordError, match="takes a limit in a d-prime; this one is in points"):
        with_limit(ONE, 1.0, "points", 36)
    profile = ReleaseRule(test="PROFILE", margins={"sour": 1.0}, assessors=12)
    with pytest.raises(RecordError, match=r"has margins for sour; say which .* Got none"):
        with_limit(profile, 1.0, "points", 12)
    assert with_limit(POINTS, 1.1, "points", 10).limit == 1.1
    product = ProductRecord(product=replace(the_product(store, PRODUCT).product, release_rule={}))
    assert "Agree a release rule" in limit_of_sold(store, product).remarks[0]


def test_a_profile_takes_the_limit_as_the_margin_of_an_attribute(store):
    rule = ReleaseRule(test="PROFILE", margins={"sour": 1.0, "sweet": 0.5}, assessors=12)
    product_desk.agree_rule(store, PRODUCT, rule, who="Mira", why="management")
    record = the_product(store, PRODUCT)
    assert (unit_of(rule), limit_of_rule(rule, "sour")) == ("points", 1.0)
    assert "in both directions" in limit_of_sold(store, record).remarks[0]
    assert "taken to hold for less of it" in " ".join(assumed(rule))
    agree_limit(store, PRODUCT, 0.7, unit="points", assessors=15, attribute="sour", **BY)
    new = rule_of(the_product(store, PRODUCT))
    assert (dict(new.margins), new.assessors) == ({"sour": 0.7, "sweet": 0.5}, 15)
    entry = store.noun_entries(the_product(store, PRODUCT))[-1]
    assert (entry.what, entry.why) == ("rule agreed", "consumers of March")


def test_a_second_tasting_is_planned_anew_for_the_limit():
    """The risks of the new plan by both tastings' binomials, every path."""
    plan = two_stage_plan(TRIANGLE, most=80, alpha=0.05, beta=0.05, pd_limit=0.4)
    rule = ReleaseRule(test="TRIANGLE", limit=0.4, assessors=plan.first, retest=plan)
    distance = float(TRIANGLE.dprime(float(TRIANGLE.pc_at(0.5))))
    assert most_answers(rule, distance) == 29  # 23 for one tasting (printed tables), and a quarter
    new = with_limit(rule, distance, "dprime", 40)
    again = new.retest
    assert (new.limit, new.assessors) == (0.5, again.first)
    assert again.first + again.second <= 40
    pc = 1 / 3 + 0.5 * 2 / 3
    first, second = np.arange(again.first + 1), np.arange(again.second + 1)
    total = first[:, None] + second
    on = (first > again.similar_first) & (first < again.different_first)
    both = stats.binom.pmf(first, again.first, pc)[:, None] * stats.binom.pmf(
        second, again.second, pc
    )
    passed = stats.binom.cdf(again.similar_first, again.first, pc)
    passed += both[on[:, None] & (total < again.different_total)].sum()
    assert passed == pytest.approx(again.wrong_pass, rel=1e-9)
    assert passed <= 0.05
    assert fair_size(new) is None
    assert "one d-prime for both tastings" in " ".join(assumed(rule))
    with pytest.raises(ArgumentError, match="no two-stage plan with 20 answers"):
        with_limit(rule, distance, "dprime", 20)
    assert most_answers(rule, 0.2) is None
    assert most_answers(ONE_TRIANGLE, 1.0) is None

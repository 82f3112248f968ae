"""From the batch to its decision on a real record: tastings, trace, trend, month."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from sensory.base.errors import RecordError
from sensory.base.findings import Finding
from sensory.choices.protocols import TRIANGLE
from sensory.choices.two_stage import two_stage_plan
from sensory.release import batch_desk, product_desk, tastings
from sensory.release.batches import Disposition, RawLot
from sensory.release.choice_trend import ChoiceTrend
from sensory.release.references import Reference
from sensory.release.rule import ReleaseRule
from sensory.release.trend import Trend
from sensory.sessions import missing, workflow
from sensory.store.repository import Repository

from ..shared import ALL_YES
from .shared import BY, ONE, PRODUCT, ROLE, agreed, desk_with, held, made, scores, triangles

RATED = ReleaseRule(
    test="DIFFERENCE_FROM_CONTROL", limit=1.5, assessors=10, scatter=1.0, decides=ROLE
)


def test_a_batch_is_not_tasted_before_it_is_cleared(store):
    made(store, "SC-1", cleared=False)
    with pytest.raises(RecordError, match="is not tasted before food safety has cleared it"):
        tastings.open_tasting(store, "SC-1", who="Mira")
    assert store.sessions() == []
    file = batch_desk.batch_file(store, "SC-1")
    assert (file.finding.disposition, file.finding.blocked) == (Disposition.HOLD, True)
    with pytest.raises(RecordError, match="Release of SC-1 is blocked: Clearance by food safety"):
        batch_desk.decide(store, "SC-1", Disposition.RELEASE, reason="sells well", **BY)


def test_the_session_of_a_tasting_is_the_rules(store):
    made(store, "SC-1")
    session = tastings.open_tasting(store, "SC-1", who="Mira")
    question = session.question
    assert (question.protocol, question.assessors) == ("TRIANGLE", 36)
    assert (question.alpha, question.beta, question.pd_limit) == (0.05, 0.05, 0.4)
    assert [one.batch for one in session.details.samples] == ["", "SC-1"]
    assert session.details.samples[1].allergens == "sulphites"
    assert missing.missing_in_question(question) == []
    assert product_desk.the_batch(store, "SC-1").waits_for == "ballots of its tasting"
    with pytest.raises(RecordError, match="A tasting of SC-1 is open already"):
        tastings.open_tasting(store, "SC-1", who="Mira")


@pytest.mark.parametrize(
    ("correct", "finding", "disposition"),
    [
        # Triangle, 36 answers: different from 18 on, similar up to 16 and beyond from 27 at
        # pd 0.40; all are counted again below by scipy's binomial.
        (12, Finding.SIMILAR, Disposition.RELEASE),
        (16, Finding.SIMILAR, Disposition.RELEASE),
        (17, Finding.UNDECIDED, Disposition.HOLD),
        (18, Finding.DIFFERENT, Disposition.HOLD),
        (26, Finding.DIFFERENT, Disposition.HOLD),
        (27, Finding.BEYOND_LIMIT, Disposition.REJECT),
    ],
)
def test_what_the_tasting_shows_is_noted_and_recommended(
    store, correct: int, finding: Finding, disposition: Disposition
):
    made(store, "SC-1")
    session = held(store, "SC-1", triangles(correct, 36))
    record = product_desk.the_batch(store, "SC-1")
    assert (record.latest.finding, record.recommended) == (finding, disposition)
    assert (record.latest.correct, record.latest.trials) == (correct, 36)
    assert (record.latest.held_on, record.waits_for) == ("2026-03-09", "decision")
    batch_desk.up_to_date(store, "SC-1", who="Mira")
    assert len(store.noun_entries(record)) == 4  # nothing is written twice
    file = batch_desk.batch_file(store, "sc-1")
    assert (file.finding.finding, file.finding.disposition) == (finding, disposition)
    assert file.sessions == (session,)
    assert file.tastings().rows[0][2] == f"{correct} of 36 correct"
    whats = "batch entered, clearance, opened, tasting opened, described, agreed, closed"
    assert [entry.what for entry in file.journal] == [*whats.split(", "), "tasting noted"]


def test_the_counts_above_are_those_of_exact_tails():
    at_limit = 1 / 3 + 2 / 3 * 0.4
    assert binom.sf(17, 36, 1 / 3) <= 0.05 < binom.sf(16, 36, 1 / 3)
    assert binom.cdf(16, 36, at_limit) <= 0.05 < binom.cdf(17, 36, at_limit)


def test_a_reopened_session_takes_its_finding_back(store):
    made(store, "SC-1")
    session = held(store, "SC-1", triangles(12, 36))
    tastings.reopen_and_note(store, session.id, who="Mira", why="two ballots were exchanged")
    record = product_desk.the_batch(store, "SC-1")
    assert (record.latest, record.recommended) == (None, None)
    assert record.waits_for == "ballots of its tasting"
    tastings.close_and_note(store, session.id, who="Mira")
    assert product_desk.the_batch(store, "SC-1").recommended is Disposition.RELEASE


def test_a_tasting_that_was_given_up_counts_as_an_attempt(store):
    made(store, "SC-1")
    session = tastings.open_tasting(store, "SC-1", who="Mira")
    with pytest.raises(RecordError, match="Say why the tasting is given up"):
        tastings.give_up(store, "SC-1", session.id, who="Mira", why=" ")
    tastings.give_up(store, "SC-1", session.id, who="Mira", why="fire drill")
    with pytest.raises(RecordError, match="No such tasting of SC-1 is open"):
        tastings.give_up(store, "SC-1", session.id, who="Mira", why="again")
    held(store, "SC-1", triangles(12, 36))
    file = batch_desk.batch_file(store, "SC-1")
    assert file.finding.attempts == 2
    assert file.finding.disposition is Disposition.HOLD
    # Two tastings: 1 - (1 - P(X <= 16))^2 at the limit, by hand.
    once = binom.cdf(16, 36, 1 / 3 + 2 / 3 * 0.4)
    assert file.finding.true_risk == pytest.approx(1 - (1 - once) ** 2, abs=1e-9)


def test_the_planned_second_tasting_is_opened_with_its_own_size():
    plan = two_stage_plan(TRIANGLE, alpha=0.05, beta=0.05, pd_limit=0.4, most=60)
    rule = replace(ONE, assessors=plan.first, retest=plan)
    store = desk_with(rule)
    made(store, "SC-1")
    middle = (plan.similar_first + plan.different_first) // 2
    assert plan.decide(middle) is None
    held(store, "SC-1", triangles(middle, plan.first))
    record = product_desk.the_batch(store, "SC-1")
    assert record.recommended is Disposition.RETEST
    assert record.waits_for == "the planned second tasting"
    second = held(store, "SC-1", triangles(plan.second // 3, plan.second))
    assert second.question.assessors == plan.second
    file = batch_desk.batch_file(store, "SC-1")
    expected = plan.decide(middle, plan.second // 3)
    assert (file.finding.finding, file.finding.true_risk) == (expected, plan.wrong_pass)
    assert store.verify() == []


def test_a_named_role_decides_and_says_why(store):
    made(store, "SC-1")
    held(store, "SC-1", triangles(30, 36))
    for wrong, match in (
        ({"by": " ", "role": ROLE, "reason": "x"}, "The name is missing"),
        ({"by": "Nora", "role": ROLE, "reason": " "}, "The reason is missing"),
        ({"by": "Nora", "role": "night shift", "reason": "x"}, "names release officer to decide"),
    ):
        with pytest.raises(RecordError, match=match):
            batch_desk.decide(store, "SC-1", Disposition.REJECT, **wrong)
    with pytest.raises(RecordError, match="asks for no second tasting here"):
        batch_desk.decide(store, "SC-1", Disposition.RETEST, reason="once more", **BY)
    held_back = batch_desk.decide(store, "SC-1", Disposition.HOLD, reason="look at it", **BY)
    assert (held_back.state, held_back.waits_for) == ("open", "decision: it is on hold")
    done = batch_desk.decide(
        store, "SC-1", Disposition.REJECT, reason="far off", cause="line", **BY
    )
    assert (done.state, done.waits_for) == ("done", "")
    assert [one.departs for one in done.decisions] == [True, False]
    entry = store.noun_entries(done)[-1]
    assert (entry.what, entry.who, entry.why) == ("decided reject", "Nora Sand", "far off")
    assert batch_desk.board(store) == []


def test_from_a_lot_and_a_session_to_every_batch_and_back(store):
    lots = (RawLot(material="sweetener", lot="SW-118"),)
    for number in ("SC-1", "SC-2"):
        made(store, number, raw_lots=lots)
    made(store, "SC-3", rework_of=("SC-2",))
    session = held(store, "SC-1", triangles(12, 36))
    file = batch_desk.batch_file(store, "SC-2")
    kin = {one.name: [other.name for other in one.batches] for one in file.kin}
    assert kin == {"sweetener, lot SW-118": ["SC-1"], "SC-2 went into": ["SC-3"]}
    assert [one.name for one in store.linked("session", session.id)] == ["SC-1"]
    assert [one.name for one in store.linked("reference", "s1")] == ["SC-1", "SC-2", "SC-3"]


def test_a_session_of_the_record_can_be_made_a_tasting(store):
    made(store, "SC-1")
    prepared = tastings.open_tasting(store, "SC-1", who="Mira")
    tastings.give_up(store, "SC-1", prepared.id, who="Mira", why="typed elsewhere")
    plain = {"question": prepared.question, "cautions": ALL_YES, "cells": triangles(12, 36)}
    session = workflow.open_session(
        store, "s" * 32, details=prepared.details, **plain, who="Mira", why="typed from paper"
    )
    workflow.agree(store, session.id, who="Mira")
    workflow.close(store, session.id, who="Mira")
    record = tastings.attach(store, "SC-1", session.id, who="Mira")
    assert record.latest.finding is Finding.SIMILAR
    with pytest.raises(RecordError, match="is a tasting of SC-1 already"):
        tastings.attach(store, "SC-1", session.id, who="Mira")


def test_a_rule_agreed_later_counts_for_later_batches(store):
    made(store, "SC-1")
    held(store, "SC-1", triangles(12, 36))
    before = store.noun_entries(product_desk.the_batch(store, "SC-1"))
    stricter = replace(ONE, beta=0.01, assessors=60)
    product_desk.agree_rule(store, PRODUCT, stricter, who="Mira", why="stricter from now on")
    batch_desk.up_to_date(store, "SC-1", who="viewer")
    file = batch_desk.batch_file(store, "SC-1")
    assert file.rule == ONE
    assert file.finding.disposition is Disposition.RELEASE
    assert store.noun_entries(file.record) == before
    made(store, "SC-2")
    assert tastings.open_tasting(store, "SC-2", who="Mira").question.assessors == 60


def test_a_past_month_is_told_by_the_rule_that_held_then(store):
    made(store, "SC-1", made_on="2026-03-04")
    held(store, "SC-1", triangles(12, 36))
    stricter = replace(ONE, beta=0.01, assessors=60)
    product_desk.agree_rule(store, PRODUCT, stricter, who="Mira", why="stricter from now on")
    made(store, "SC-2", made_on="2026-04-04")
    held(store, "SC-2", triangles(20, 60))

    def rule_in(month: str) -> ReleaseRule:
        return batch_desk.month_report(store, PRODUCT, month).rule

    assert [rule_in("2026-03"), rule_in("2026-04")] == [ONE, stricter]
    march = batch_desk.month_report(store, PRODUCT, "2026-03")
    assert not any("rule changed" in remark for remark in march.remarks())
    assert march.risks() != batch_desk.month_report(store, PRODUCT, "2026-04").risks()
    # Without a batch of its own: what the journal says of that day, or, before it begins, today's.
    assert rule_in("2999-01") == rule_in("2025-01") == stricter
    assert product_desk.rule_on(store, PRODUCT, "2025-01-31") is None
    made(store, "SC-3", made_on="2026-03-20")
    held(store, "SC-3", triangles(20, 60))
    march = batch_desk.month_report(store, PRODUCT, "2026-03")
    assert march.rule == stricter
    assert "The rule changed in this month: 1 batch tasted by the one before." in march.remarks()


def test_each_tasting_takes_what_it_needs_off_the_stock_of_its_reference(store):
    """60 servings, 24 a tasting: two tastings leave 12, a session closed again takes nothing."""
    own = store.noun(Reference, "S1")
    with store.action(who="Mira", why="counted") as act:
        act.put_noun(replace(own, stock=60, needed=24), expect=own, what="stock counted")

    def stock() -> float | None:
        return store.noun(Reference, "S1").stock

    made(store, "SC-1")
    first = held(store, "SC-1", triangles(12, 36))
    assert stock() == 36
    tastings.reopen_and_note(store, first.id, who="Mira", why="a slip of the pen")
    tastings.close_and_note(store, first.id, who="Mira")
    assert stock() == 36
    made(store, "SC-2")
    unserved = agreed(store, "SC-2")
    tastings.give_up(store, "SC-2", unserved.id, who="Mira", why="power cut before serving")
    assert stock() == 36
    made(store, "SC-3")
    held(store, "SC-3", triangles(12, 36))
    assert stock() == 12
    # The last tasting had its servings: its batch may be released, a further one is not opened.
    batch_desk.decide(store, "SC-3", Disposition.RELEASE, reason="similar", **BY)
    made(store, "SC-4")
    with pytest.raises(RecordError, match="stock of 12 servings is not enough for the 24"):
        tastings.open_tasting(store, "SC-4", who="Mira")


def test_choice_tests_run_in_a_chart_of_counts(store):
    for number in range(1, 13):
        made(store, f"SC-{number}", made_on=f"2026-03-{number:02}")
        held(store, f"SC-{number}", triangles(12 if number < 7 else 25, 36))
    found = batch_desk.product_trend(store, PRODUCT, base=6)
    assert isinstance(found.result, ChoiceTrend)
    assert list(found.result.points["correct"]) == [12] * 6 + [25] * 6
    assert found.result.change["batch"].tolist() == ["SC-7"]
    made(store, "SC-99", line="line 9")
    again = batch_desk.product_trend(store, PRODUCT)
    assert again.remarks == ("1 batch without a finding of this test.",)


@pytest.fixture(scope="module")
def rated() -> Iterator[Repository]:
    """Fourteen batches on two lines, the last three of line 2 far off."""
    opened = desk_with(RATED)
    for number in range(14):
        name = f"SC-{number + 1:02}"
        line = f"line {number % 2 + 1}"
        made(opened, name, made_on=f"2026-0{3 + number // 10}-{number % 10 + 10}", line=line)
        beyond = 3.0 if number >= 8 and line == "line 2" else 0.1
        held(opened, name, scores(name, beyond, number), on="2026-04-20")
    yield opened
    assert opened.verify() == []
    opened.close()


def test_rated_batches_keep_their_difference_with_its_error(rated):
    record = product_desk.the_batch(rated, "SC-10")
    cells = scores("SC-10", 3.0, 9)
    by_person: dict[str, dict[str, float]] = {}
    for one in cells.values():
        by_person.setdefault(one["assessor"], {})[one["sample"]] = float(one["score"])
    apart = np.array([one["SC-10"] - one["blind reference"] for one in by_person.values()])
    estimate, se = record.latest.differences["difference"]
    # One batch and no replicate is the paired t-test.
    assert estimate == pytest.approx(apart.mean())
    assert se == pytest.approx(apart.std(ddof=1) / len(apart) ** 0.5)
    assert record.recommended is Disposition.REJECT


def test_the_trend_shows_the_line_that_moved(rated):
    found = batch_desk.product_trend(rated, PRODUCT, base=4)
    assert isinstance(found.result, Trend)
    assert set(found.result.signals["line"]) == {"line 2"}
    assert set(found.result.signals["batch"]) == {"SC-10", "SC-12", "SC-14"}
    assert found.attribute == "difference"


def test_a_chart_says_what_is_left_out_and_the_pages_before_show_it(rated):
    latest = batch_desk.product_trend(rated, PRODUCT, most=8)
    assert latest.remarks[-1] == "6 batches of the span lie outside this chart."
    before = batch_desk.product_trend(rated, PRODUCT, most=8, skip=8)
    assert before.remarks[-1] == "8 batches of the span lie outside this chart."
    charts = [latest.result.points["batch"], before.result.points["batch"]]
    assert sorted(map(len, charts)) == [6, 8]
    assert len({*charts[0], *charts[1]}) == 14
    assert "outside this chart" not in " ".join(batch_desk.product_trend(rated, PRODUCT).says())


def test_the_month_counts_what_happened(rated):
    batch_desk.decide(rated, "SC-11", Disposition.RELEASE, reason="similar", **BY)
    batch_desk.decide(rated, "SC-12", Disposition.REJECT, reason="rubber", cause="line", **BY)
    batch_desk.decide(rated, "SC-13", Disposition.HOLD, reason="more to see", **BY)
    month = batch_desk.month_report(rated, PRODUCT, "2026-04")
    assert [one.name for one in month.batches] == ["SC-11", "SC-12", "SC-13", "SC-14"]
    assert len(month.before) == 10
    outcomes = {row[0]: row[1:] for row in month.outcomes().rows}
    assert outcomes["released"] == (1, 0.0)
    assert outcomes["rejected"] == (1, 0.0)
    assert outcomes["waiting"] == (2, 10.0)
    assert month.headline() == "4 batches made: 1 released, 1 rejected, 2 waiting."
    rows = {row[0]: row[1:] for row in month.lines().rows}
    assert rows["line 1"] == (2, 2, 0, 0, 0, 0)
    assert rows["line 2"] == (2, 0, 2, 0, 0, 0)  # both beyond the limit
    told = {one.name for one, _ in month.noteworthy()}
    assert told == {f"SC-{number:02}" for number in (*range(1, 11), 12, 13, 14)}  # older ones wait
    assert month.tastings == 4
    empty = batch_desk.month_report(rated, PRODUCT, "2025-01")
    assert empty.headline() == "0 batches made: none."

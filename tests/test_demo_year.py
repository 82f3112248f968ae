"""The prepared year goes on record through the use cases, and its three changes are found."""

from __future__ import annotations

import csv
import json
from collections import Counter
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import ttest_ind

from sensory.base.errors import RecordError
from sensory.base.findings import Finding
from sensory.panel.line_graders import grader_months
from sensory.release import batch_desk, product_desk, signal_desk
from sensory.release.batch_records import BatchRecord, ProductRecord
from sensory.release.batches import Disposition
from sensory.release.cause_desk import product_causes
from sensory.release.day import open_signals
from sensory.release.prepared_year import load_year
from sensory.release.product_desk import state_of_reference
from sensory.release.reference_desk import compare_again
from sensory.release.references import Bridge, Reference
from sensory.release.rule import ReleaseRule
from sensory.release.trend_words import by_itself
from sensory.sessions.finding import session_report
from sensory.store.repository import Repository, open_store

from .shared import put_noun

DEMO = Path(__file__).parents[1] / "demo_data"
YEAR = json.loads((DEMO / "year.json").read_text(encoding="utf-8"))
GRADED = json.loads((DEMO / "gradings.json").read_text(encoding="utf-8"))
RULE = ReleaseRule.from_dict(YEAR["rule"])
PRODUCT = "Quince cordial"
CARAMEL_LOT = "SW-2604"
LOT_ENDS, HOLIDAYS, RENEWED = "2026-05-08", "2026-07-26", "2026-08-06"

# The numbers of this file are those of the invented story as make_year.py tells it; which
# batches that makes was read from year.json by date and line.
FIRST_OF_LOT = {"line 1": "QN-040", "line 2": "QN-042"}
REST_OF_OLD_LOT = "QN-045"
RUBBER = ["QN-093", "QN-095", "QN-100", "QN-105"]
NOISY, FIRE_DRILL, REFUSED, DOUBTED, INSURED = "QN-020", "QN-032", "QN-065", "QN-075", "QN-105"


@pytest.fixture(scope="module")
def desk(tmp_path_factory) -> Repository:
    """The year on record; read only."""
    path = tmp_path_factory.mktemp("year") / "record.sqlite3"
    store = open_store(f"sqlite:///{path}")
    told: list[tuple[str, float]] = []
    loaded = load_year(
        store, DEMO, who="Panel leader", progress=lambda day, share: told.append((day, share))
    )
    assert loaded == PRODUCT
    assert told == sorted(told)  # day by day, and the share never falls
    assert told[-1][1] == 1.0
    assert {day[:7] for day, _ in told} >= {f"2026-{month:02d}" for month in range(1, 12)}
    yield store
    store._engine.dispose()


@pytest.fixture(scope="module")
def batches(desk) -> dict[str, BatchRecord]:
    records = desk.batches(product=PRODUCT, most=500)
    return {one.name: one for one in sorted(records, key=lambda one: one.name)}


@pytest.fixture(scope="module")
def ballots() -> list[dict[str, str]]:
    with (DEMO / "year.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def estimate(record: BatchRecord) -> float:
    return record.latest.differences["difference"][0]


def tasted(batches, since: str, until: str, line: str = "") -> list[BatchRecord]:
    """With a finding, made in a span of days."""
    made = [one for one in batches.values() if since <= one.batch.made_on <= until]
    return [one for one in made if one.latest and line in one.batch.line]


def beyond_limits(desk, since: str, until: str) -> list[tuple[str, str]]:
    """Line and batch of the points beyond the limits that the first 20 of each line set."""
    found = batch_desk.product_trend(desk, PRODUCT, base=20).result.signals
    rows = found[found["signal"].str.startswith("beyond the limits")]
    rows = rows[rows["date"].between(since, until)]
    return list(zip(rows["line"], rows["batch"], strict=True))


# The year as a whole.


def test_the_year_is_on_record(desk, batches):
    assert len(batches) == len(YEAR["batches"]) == 116
    assert Counter(one.batch.line for one in batches.values()) == {"line 1": 59, "line 2": 57}
    days = [date.fromisoformat(one.batch.made_on) for one in batches.values()]
    assert set(Counter(day.isocalendar()[:2] for day in days).values()) == {2, 3}
    decisions = [one.decision for one in batches.values()]
    ends = Counter(each.disposition.value if each else "none" for each in decisions)
    assert ends == {"RELEASE": 104, "REJECT": 6, "REWORK": 2, "HOLD": 1, "none": 3}
    product = desk.noun(ProductRecord, PRODUCT)
    assert product.references == ("QR-1", "QR-2", "QR-3")
    assert desk.verify() == []


def test_loading_again_is_refused_and_writes_nothing(desk):
    product = desk.noun(ProductRecord, PRODUCT)
    before = desk.noun_entries(product)
    with pytest.raises(RecordError, match="on record already"):
        load_year(desk, DEMO, who="Panel leader")
    assert desk.noun_entries(product) == before


def test_a_taken_number_is_refused_before_anything_is_written(opens, tmp_path):
    store = opens(f"sqlite:///{tmp_path / 'record.sqlite3'}")
    taken = Reference.from_dict({**YEAR["references"][0]["reference"], "product": "Pear cordial"})
    put_noun(store, taken, expect=None, what="reference entered", who="Ada", why="first")
    with pytest.raises(RecordError, match="QR-1 are on record"):
        load_year(store, DEMO, who="Panel leader")
    assert store.noun(ProductRecord, PRODUCT) is None


def test_decisions_follow_the_recommendation_but_for_those_with_a_reason(batches):
    departing = [
        (name, decision.disposition.value)
        for name, record in batches.items()
        for decision in record.decisions
        if decision.departs
    ]
    expected = [(NOISY, "REWORK"), (FIRE_DRILL, "RELEASE"), ("QN-048", "REJECT")]
    expected += [(REFUSED, "REJECT"), ("QN-066", "REJECT"), (DOUBTED, "REWORK")]
    expected += [("QN-095", "REJECT"), (INSURED, "HOLD")]
    assert departing == expected


def test_sessions_were_held_on_the_day_of_tasting(desk, batches):
    record = batches[FIRE_DRILL]
    assert [one.held_on for one in record.tastings] == ["2026-03-16", "2026-03-17"]
    session = desk.session(batches["QN-001"].tastings[0].session)
    assert session.details.held_on == batches["QN-001"].latest.held_on == "2025-12-04"
    assert session.details.samples[0].batch == "QN-25-109"


# The rule and the panel.


def test_the_rule_passes_an_unchanged_batch_and_stops_one_at_the_limit():
    for people in (10, 12):
        rule = ReleaseRule.from_dict({**YEAR["rule"], "assessors": people})
        passes = rule.characteristic([0.0, RULE.limit]).passes
        assert passes[0] > 0.99
        assert passes[1] == pytest.approx(RULE.beta, abs=1e-6)
    assert YEAR["rule_in_words"] == list(RULE.words())


def test_the_agreed_scatter_is_that_of_the_quiet_months(batches, ballots):
    """se sqrt(n) is the standard deviation of the differences of assessors."""
    by_batch = {one["batch"]["number"]: 0 for one in YEAR["batches"]}
    for row in ballots:
        by_batch[row["batch"]] += row["sample"] == row["batch"]
    quiet = [one for one in tasted(batches, "2025-12-01", "2026-04-03")
             if one.name not in (NOISY, FIRE_DRILL)]  # fmt: skip
    variances = [one.latest.differences["difference"][1] ** 2 * by_batch[one.name] for one in quiet]
    assert np.sqrt(np.mean(variances)) == pytest.approx(RULE.scatter, abs=0.05)


def test_scores_look_like_scores(ballots):
    scores = np.array([float(row["score"]) for row in ballots])
    assert set(scores * 2 % 1) == {0.0}
    assert (scores.min(), scores.max() <= 10) == (0.0, True)
    control = [row for row in ballots if row["sample"] == "blind reference"]
    blind = np.array([float(row["score"]) for row in control])
    assert blind.mean() > 0.5  # the blind reference is never scored as no difference
    assert ((blind - blind.mean()) ** 3).mean() > 0  # with a tail upwards
    people = sorted({row["assessor"] for row in ballots})
    assert len(people) == 14
    habits = [np.mean([float(r["score"]) for r in control if r["assessor"] == one])
              for one in people]  # fmt: skip
    assert max(habits) > 2 * min(habits)


def test_ten_to_twelve_of_the_panel_came(ballots):
    complete = Counter((row["batch"], row["tasting"]) for row in ballots)
    assert complete.pop((FIRE_DRILL, "1")) == 3
    assert set(complete.values()) == {20, 22, 24}


# First change: a lot of sweetener.


def test_the_lot_leads_to_exactly_its_batches(desk):
    made = [entry["batch"] for entry in YEAR["batches"]]
    lots = {batch["number"]: {lot["lot"] for lot in batch["raw_lots"]} for batch in made}
    made_with = {number for number in lots if CARAMEL_LOT in lots[number]}
    assert {one.name for one in desk.linked("lot", CARAMEL_LOT.casefold())} == made_with
    assert len(made_with) == 11
    assert REST_OF_OLD_LOT not in made_with
    kin = batch_desk.batch_file(desk, "QN-048").kin
    of_lot = next(one for one in kin if one.value.endswith(CARAMEL_LOT.casefold()))
    assert {one.name for one in of_lot.batches} == made_with - {"QN-048"}


def test_both_lines_step_with_the_first_batch_of_the_lot(desk):
    found = batch_desk.product_trend(desk, PRODUCT, until=LOT_ENDS, base=20)
    change = found.result.change.set_index("line")
    assert change["batch"].to_dict() == FIRST_OF_LOT
    assert change["clear"].all()
    assert change["difference"].between(0.6, 1.1).all()
    assert (change["date"].max() - change["date"].min()).days == 3
    limits = beyond_limits(desk, "2025-12-01", LOT_ENDS)
    assert {line for line, _ in limits} == {"line 1", "line 2"}
    assert {batch for _, batch in limits} == {"QN-040", "QN-041", "QN-042", "QN-046", "QN-048",
                                              "QN-049", "QN-050", "QN-051"}  # fmt: skip


def test_batches_of_the_lot_lie_high_and_no_other_one_of_these_weeks(desk, batches):
    weeks = tasted(batches, "2026-04-06", "2026-05-27")
    lot = {one.name for one in desk.linked("lot", CARAMEL_LOT.casefold())}
    high = min(estimate(one) for one in weeks if one.name in lot)
    rest = max(estimate(one) for one in weeks if one.name not in lot)
    assert high > 0.7 > rest
    findings = Counter(one.latest.finding for one in weeks if one.name in lot)
    assert findings == {Finding.DIFFERENT_WITHIN_LIMIT: 10, Finding.DIFFERENT: 1}


def test_the_lot_is_one_signal_and_its_batches_stand_out_no_longer(desk):
    """22 of 113 batches stood out, while the shift of the lot stayed in."""
    product = product_desk.the_product(desk, PRODUCT)
    trend = batch_desk.product_trend(desk, PRODUCT, base=20)
    assert len(trend.result.points) == 113
    alone = trend.result.signals[trend.result.signals["signal"].map(by_itself)]
    assert alone["batch"].nunique() == 22
    (shift,) = trend.shifts
    assert shift.names == (f"sweetener {CARAMEL_LOT}",)
    assert set(shift.batches) == {one.name for one in desk.linked("lot", CARAMEL_LOT.casefold())}
    first, *single = signal_desk.signals_of(trend, product)
    assert (first.batch, first.line, first.words) == ("QN-040", "", shift.words)
    assert len(single) == 13
    assert not {each.batch for each in single} & set(shift.batches)
    rubber = set(RUBBER) & set(alone["batch"])
    assert rubber <= {each.batch for each in single}
    later = [each.date[:10] for each in single if each.batch not in rubber]
    assert all("2026-06-09" <= day <= "2026-08-13" for day in later)  # the reference ages
    assert any(CARAMEL_LOT in line and "11 batches" in line for line in trend.says())


# Second change: the reference ages.


def step(comparison: str) -> float:
    """Newer less older in cooked fruit, from the scores by hand."""
    with (DEMO / "references.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["comparison"] == comparison]
    scores: dict[bool, list[float]] = {True: [], False: []}
    for row in rows:
        scores[row["sample"] == "reference"].append(float(row["cooked fruit"]))
    return float(np.mean(scores[False]) - np.mean(scores[True]))


def test_every_bridge_stands_on_a_tasting_on_record(desk):
    """Where it showed a difference, the named role decided, which its batches say."""
    bridges = [one for name in ("QR-2", "QR-3") for one in desk.noun(Reference, name).bridges]
    assert len(bridges) == 5
    assert all(one.tasted and desk.session(one.session).closed for one in bridges)
    assert [one.similar for one in bridges] == [True, True, False, False, True]
    assert desk.noun(Reference, "QR-2").took_over() == ()
    (told,) = desk.noun(Reference, "QR-3").took_over()
    assert f"decided by {YEAR['batches'][0]['decisions'][0]['by']}" in told
    old, new = (batch_desk.batch_file(desk, number) for number in ("QN-001", "QN-093"))
    assert not any("took over" in line for line in old.finding.reasons)
    assert f"Reference: {told}" in new.finding.reasons
    trend = batch_desk.product_trend(desk, PRODUCT)
    assert [line for line in trend.says() if line.endswith(told)]


def test_next_year_the_causes_are_found(desk, batches):
    line = {one.name for one in desk.seek("line") if any(d.cause == "line" for d in one.decisions)}
    assert line == {*RUBBER, REFUSED}
    assert {one.name for one in desk.linked("cause", "reference")} == {DOUBTED}
    assert {one.name for one in desk.linked("cause", "panel")} == {NOISY, FIRE_DRILL}


def test_comments_say_rubber_in_the_file_and_the_sisters_come_by_the_rarest_lot(desk):
    file = batch_desk.batch_file(desk, "QN-100")
    assert "rubber" in {row[2] for row in file.remarks().rows}
    sizes = [len(lot.batches) for lot in file.kin]
    assert sizes == sorted(sizes)
    assert [one.rarest for one in file.sisters()] == sorted(one.rarest for one in file.sisters())


def test_both_lines_move_at_the_same_time(desk):
    found = batch_desk.product_trend(desk, PRODUCT, since="2026-05-09", until=HOLIDAYS)
    change = found.result.change
    assert change["clear"].all()
    assert (change["difference"] > 0.4).all()
    assert any("look at the reference" in line for line in found.says())


def test_no_lot_explains_that_both_lines_move(batches):
    """Lots that all batches of the summer share went on after the reference was renewed."""
    lots = {name: {lot.lot for lot in one.batch.raw_lots} for name, one in batches.items()}
    summer = tasted(batches, "2026-06-09", HOLIDAYS)
    shared = set.intersection(*(lots[one.name] for one in summer))
    assert shared == {"CA-26-2", "FL-93"}
    same = [one for one in tasted(batches, RENEWED, "2026-12-31") if shared <= lots[one.name]]
    assert len(same) == 8
    later, before = (np.mean([estimate(record) for record in part]) for part in (same, summer))
    assert later < 0.3 < 0.6 < before


def test_the_old_reference_is_found_beyond_the_limit_of_drift(desk):
    before = state_of_reference(desk, "QR-2", "2026-07-29")
    found = state_of_reference(desk, "QR-2", "2026-07-30")
    assert (before.usable, before.drift.within) == (True, True)
    assert before.drift.estimate == pytest.approx(step("QR-2 in spring"))
    assert (found.usable, found.drift.within) == (False, False)
    assert found.drift.estimate == pytest.approx(step("QR-2 in summer"))
    low = found.drift.estimate - 1.959964 * found.drift.se
    assert found.drift.limits.low == pytest.approx(low)
    assert low > YEAR["drift_limit"]
    assert "It has drifted away from QR-1 beyond the limit." in found.problems


def test_the_new_reference_is_near_the_first_and_far_from_the_old(desk, batches):
    state = state_of_reference(desk, "QR-3", RENEWED)
    assert (state.usable, state.drift.within) == (True, True)
    assert state.drift.estimate == pytest.approx(step("QR-3 beside QR-1"))
    kept = desk.noun(Reference, "QR-3")
    assert kept.bridged_to_previous.finding is Finding.DIFFERENT
    assert kept.bridged_to_first.similar
    used = [(one.batch.made_on < RENEWED, one.reference) for one in batches.values()]
    assert set(used) == {(True, "QR-2"), (False, "QR-3")}


def test_the_level_comes_back(batches):
    old = [estimate(one) for one in tasted(batches, "2026-06-29", HOLIDAYS)]
    new = [estimate(one) for one in tasted(batches, RENEWED, "2026-09-16")]
    spring = [estimate(one) for one in tasted(batches, "2025-12-01", "2026-04-03")]
    assert np.mean(old) > 0.6
    assert np.mean(new) == pytest.approx(np.mean(spring), abs=0.15)


def test_months_name_the_drift(desk):
    july = batch_desk.month_report(desk, PRODUCT, "2026-07")
    assert july.references[0].reference.name == "QR-2"
    assert "It has drifted away from QR-1 beyond the limit." in july.says()
    august = batch_desk.month_report(desk, PRODUCT, "2026-08")
    assert august.references[0].reference.name == "QR-3"
    assert not any("beyond the limit" in line for line in august.says())


def test_what_was_found_in_summer_does_not_reach_back_into_winter(desk):
    finding = batch_desk.batch_file(desk, "QN-001").finding
    assert (finding.disposition, finding.blocked) == (Disposition.RELEASE, False)


# Third change: a gasket on line 2.


def test_single_batches_of_line_2_stand_out_in_autumn(desk, batches):
    found = beyond_limits(desk, RENEWED, "2026-11-30")
    assert found == [("line 2", number) for number in RUBBER]
    between = tasted(batches, "2026-09-17", "2026-10-22", "2")
    clean = [one for one in between if one.name not in RUBBER]
    assert len(clean) == 3
    assert {one.latest.finding for one in clean} <= {
        Finding.SIMILAR,
        Finding.DIFFERENT_WITHIN_LIMIT,
    }
    beyond = [batches[number].latest.finding is Finding.BEYOND_LIMIT for number in RUBBER]
    assert beyond == [True, False, True, True]
    assert batches[RUBBER[1]].latest.finding is Finding.DIFFERENT


def test_only_comments_on_those_batches_say_rubber(ballots):
    said = {row["batch"] for row in ballots if "rubber" in row["comment"]}
    assert said == set(RUBBER)
    assert {row["sample"] for row in ballots if "rubber" in row["comment"]} == set(RUBBER)


def test_three_were_rejected_and_one_is_held(batches):
    ends = [batches[number].decision.disposition.value for number in RUBBER]
    assert ends == ["REJECT", "REJECT", "REJECT", "HOLD"]
    assert batches[INSURED].waits_for == "decision: it is on hold"


# Gradings at a third line, as make_gradings.py tells them.


def test_a_grader_drifts_and_nobody_else(desk):
    """G3 found every spiked sample in May, and a fifth of them in November."""
    months = grader_months(desk.sittings())
    assert months.sessions == len(GRADED["gradings"]) == 8
    assert list(months.signals.query("named")["grader"]) == ["G3"]
    assert months.says()[0].endswith("3 of 12, 12 of 12 before (p < 0.001).")
    latest = desk.batches(product=GRADED["product"], most=1)[0].latest.session
    because = session_report(desk, latest, version="0").outcome.because
    assert "stand on 12 spiked samples and 12 controls a grader at most" in because
    november = months.months.query("month == '2026-11'").set_index("grader")["hits"]
    assert november.to_dict() == {"G1": 12, "G2": 12, "G3": 3}


def test_flat_batches_have_become_more_though_each_is_in(desk):
    graded = desk.batches(product=GRADED["product"], most=100)
    assert len(graded) == 48
    flat = [each for each in graded if "flat" in each.latest.defects]
    assert Counter(each.latest.held_on[5:7] for each in flat) == {"05": 1, "11": 17}
    assert {each.finding for each in flat if "metallic" not in each.latest.defects} == {
        Finding.SIMILAR
    }
    signals, _ = open_signals(desk)
    signal = next(each for each in signals if each.product == GRADED["product"])
    assert signal.words == (
        "'flat' is named in more batches than before: 17 of 24 graded since 16 October 2026, "
        "1 of 24 before (p < 0.001)"
    )
    rejected = [each.name for each in graded if each.decision.disposition is Disposition.REJECT]
    assert rejected == ["SC-0033"]
    assert signal.batch == next(each.name for each in flat if each.latest.held_on > "2026-10")


# Ordinary life.


def test_a_tasting_that_could_not_tell_ends_in_rework_with_a_declaration_of_its_own(batches):
    record = batches[NOISY]
    assert record.latest.finding is Finding.UNDECIDED
    assert [one.disposition.value for one in record.decisions] == ["HOLD", "REWORK"]
    rework = batches["QN-027"]
    assert rework.batch.rework_of == (NOISY,)
    assert rework.clearance.batch == "QN-027"
    assert rework.clearance.allergens == ("sulphites",)
    assert rework.decision.disposition is Disposition.RELEASE
    assert batches["QN-080"].batch.rework_of == (DOUBTED,)


def test_a_broken_off_tasting_counts_as_an_attempt(desk, batches):
    first, second = batches[FIRE_DRILL].tastings
    assert first.aborted == "Fire drill; the tasting was broken off."
    assert second.finding is Finding.DIFFERENT_WITHIN_LIMIT
    finding = batch_desk.batch_file(desk, FIRE_DRILL).finding
    assert (finding.attempts, finding.disposition) == (2, Disposition.HOLD)
    assert finding.true_risk == pytest.approx(1 - 0.95**2)


def test_open_batches_wait_for_different_things(desk, batches):
    refused = batches[REFUSED]  # by food safety: never tasted
    assert (refused.clearance.food_safe, refused.tastings) == (False, ())
    assert refused.decision.disposition is Disposition.REJECT
    assert {one.name: one.waits_for for one in batch_desk.board(desk, PRODUCT)} == {
        INSURED: "decision: it is on hold",
        "QN-114": "decision",
        "QN-115": "tasting",
        "QN-116": "clearance by food safety",
    }


def test_the_month_of_the_gasket(desk):
    """October by date from year.json: four batches of line 1, six of line 2."""
    report = batch_desk.month_report(desk, PRODUCT, "2026-10")
    made = [one["batch"] for one in YEAR["batches"] if one["batch"]["made_on"][:7] == "2026-10"]
    assert len(report.batches) == len(made) == 10
    assert report.headline() == "10 batches made: 8 released, 1 rejected, 1 waiting."
    assert [row[:6] for row in report.lines().rows] == [
        ("line 1", 4, 4, 0, 0, 0),
        ("line 2", 6, 4, 2, 0, 0),
    ]
    assert {one.name for one, _ in report.noteworthy()} == {"QN-100", "QN-105"}


# Comparing a reference again.


@pytest.mark.parametrize(
    ("reference", "to", "says"),
    [
        ("QR-9", "QR-1", "no reference 'QR-9' on record"),
        ("QR-3", "QR-2", "has to lead to QR-1, the first; got QR-2"),
        ("QR-3", "QR-1", "Name the session in which QR-3 was compared again"),
    ],
)
def test_comparisons_that_lead_nowhere_are_refused(desk, reference, to, says):
    bridge = Bridge(reference=reference, to=to, held_on="2026-10-30", finding=Finding.SIMILAR)
    with pytest.raises(RecordError, match=says):
        compare_again(desk, bridge, who="Panel leader", why="half-yearly")


def test_comparisons_are_kept_one_after_the_other(desk):
    kept = desk.noun(Reference, "QR-2")
    assert [one.held_on for one in kept.later] == ["2026-04-30", "2026-07-30"]
    assert kept.bridged_to_first.held_on == "2025-11-20"
    assert Reference.from_dict(kept.to_dict()) == kept


# What explains the year.


def test_the_three_changes_are_named_first_and_no_false_lead_is(desk):
    result = product_causes(desk, PRODUCT).result
    table = result.causes.set_index("cause")
    first, second, third = result.named
    assert first == "line 2 from 17 September to 22 October 2026"
    assert second == f"sweetener lot {CARAMEL_LOT}"
    assert third == "drift of reference QR-2, at its largest"
    assert list(table.index[:3]) == list(result.named)
    # The numbers of the story: 2.3 in four of seven, 0.9 and 0.85.
    for name, true in ((first, 4 * 2.3 / 7), (second, 0.9), (third, 0.85)):
        assert table.loc[name, "low"] < true < table.loc[name, "high"]
    assert all(cause in " ".join(result.says()) for cause in result.named)
    # Citric acid CA-26-2 was in use while the reference aged: it lies high and is not named.
    assert not result.causes.loc[3:, "named"].any()
    assert "citric acid lot CA-26-2" in set(result.causes.loc[3:, "cause"])


def test_a_false_lead_looks_clear_by_itself(batches):
    """Why causes have to be sought together: the plain comparison of one lot misleads."""
    own, others = [], []
    for record in batches.values():
        if record.latest:
            lots = {raw.lot for raw in record.batch.raw_lots}
            (own if "CA-26-2" in lots else others).append(estimate(record))
    assert ttest_ind(own, others, equal_var=False).pvalue < 0.05


def test_a_batch_names_its_causes_and_the_month_does(desk):
    of_lot, aged, plain = (
        batch_desk.batch_file(desk, number).causes for number in ("QN-048", "QN-073", "QN-013")
    )
    assert [cause.split(" (")[0] for cause in of_lot] == [f"sweetener lot {CARAMEL_LOT}"]
    assert [cause.split(" (")[0] for cause in aged] == ["drift of reference QR-2, at its largest"]
    assert plain == ()
    november = batch_desk.month_report(desk, PRODUCT, "2026-11")
    assert f"sweetener lot {CARAMEL_LOT} (11 batches, +0.8, 0.6 to 1.1)" in november.says()[-1]

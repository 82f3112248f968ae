"""A threshold on record: rising sets planned, tasted at booths, closed, and taken by a study."""

from __future__ import annotations

import pytest

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.catalogue.question import Question
from sensory.catalogue.threshold import RISING_SETS
from sensory.catalogue.threshold_read import threshold_rows
from sensory.choices.protocols import THREE_AFC
from sensory.evidence.thresholds import detection_threshold
from sensory.release.panel_studies import THRESHOLD as STUDY
from sensory.release.threshold_sessions import session_rows, threshold_sessions
from sensory.report.documents import session_pdf
from sensory.serving.lines import ballot_lines
from sensory.serving.plan import ServingPlan
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, workflow
from sensory.sessions.finding import session_report
from sensory.store.archive import archive_session, import_archive
from sensory.store.repository import open_store

from .shared import BY, agreed, declare, newer

STEPS = {"concentrations": "0,25; 0.5; 1; 2", "unit": "µg/l", "blank": "plain cordial"}
PEOPLE = ("Anna", "Bo", "Cleo", "Dana", "Ewa", "Finn")
FROM = dict(zip(PEOPLE, (0.25, 0.5, 0.5, 1, 2, 4), strict=True))
"""From which concentration on each names the right sample; below, the first of three."""


@pytest.fixture(scope="module")
def tasted():
    store = open_store("sqlite://")
    session_id = agreed(store, "taint", settings=STEPS)
    pairs = RISING_SETS.pairs(STEPS)
    plan = serving_plan(RISING_SETS, list(PEOPLE), seed=2**128 + 5, samples=pairs, sets=len(pairs))
    lines = ballot_lines(plan)
    booth_plans.serve(store, session_id, plan, lines, who=BY)
    declare(store, session_id, "none")
    for name, token in booth_plans.open_booths(store, session_id, who=BY).items():
        booths.consent(store, token)
        while (ballot := booths.visit(store, token).ballot) is not None:
            line = store.cells(session_id)[ballot.line]
            right = line[f"code_{line['order'].index('B') + 1}"]
            wrong = next(code for code in ballot.codes if code != right)
            seen = float(line["sample"].split()[0]) >= FROM[name]
            given = {ballot.line: {"answer": right if seen else wrong}}
            booths.keep(store, token, ballot.line, given)
            booths.send(store, token, ballot.line, shown={})
    workflow.close(store, session_id, who=BY)
    yield store, session_id, plan
    store.close()


def test_everybody_gets_the_sets_rising_and_each_order_equally_often(tasted):
    _, _, plan = tasted
    for name in PEOPLE:
        mine = [line for line in ballot_lines(plan).values() if line["assessor"] == name]
        assert [line["sample"] for line in mine] == [
            "0.25 µg/l", "0.5 µg/l", "1 µg/l", "2 µg/l",
        ]  # fmt: skip
    for number in range(1, 5):
        orders = sorted(each.order for each in plan.sets if each.set == number)
        assert orders == ["AAB", "AAB", "ABA", "ABA", "BAA", "BAA"]
    assert ServingPlan.from_dict(plan.to_dict()) == plan
    late = plan.with_late("Gil")
    assert [each.samples[each.order.index("B")] for each in late.sets][-4:] == [
        "0.25 µg/l", "0.5 µg/l", "1 µg/l", "2 µg/l",
    ]  # fmt: skip
    assert "rising" not in serving_plan("triangle", 2, seed=1).to_dict()["design"]


def test_it_closes_with_best_estimates_and_the_threshold(tasted):
    store, session_id, _ = tasted
    report = session_report(store, session_id, version="0")
    outcome = report.outcome
    best = dict(line.rstrip(".").split(": best estimate ") for line in outcome.panel_says)
    # Geometric mean of the last concentration missed and the next; invented at the ends.
    assert best["Bo"] == "0.35 µg/l"
    assert best["Dana"] == "0.71 µg/l"
    assert best["Anna"].startswith("0.18 µg/l, ")
    assert best["Finn"].startswith("2.8 µg/l, ")
    assert outcome.counts.answers == 24
    checked = workflow.checked_ballots(store, session_id)
    alone = detection_threshold(threshold_rows(checked.rows), unit="µg/l")
    assert outcome.sentence == alone.says()[0]
    assert outcome.finding is (Finding.UNDECIDED if alone.curve is None else Finding.DIFFERENT)
    assert [round(span.estimate * 6) for span in outcome.figure.spans] == [1, 3, 4, 5]
    assert float(THREE_AFC.guess) == outcome.figure.levels[0].at[0]
    assert store.verify() == []


def test_report_and_archive(tasted):
    store, session_id, _ = tasted
    report = session_report(store, session_id, version="0")
    assert session_pdf(report).startswith(b"%PDF")
    other = open_store("sqlite://")
    import_archive(other, archive_session(store, session_id, report=b"%PDF"), who=BY, why="moved")
    assert (
        session_report(other, session_id, version="0").outcome.sentence == report.outcome.sentence
    )
    other.close()


def test_a_study_takes_the_session_as_its_data(tasted):
    store, session_id, _ = tasted
    newer(store, agreed(store, "suspect_batch"), 410)
    assert [each.id for each in threshold_sessions(store)] == [session_id]
    rows = session_rows(store, session_id)
    assert len(rows) == 24
    answer = STUDY.answer(rows, {"unit": "µg/l"})
    assert answer.says[0] == session_report(store, session_id, version="0").outcome.sentence


@pytest.mark.parametrize(
    ("settings", "match"),
    [
        ({"concentrations": "1"}, "from 2 to 12 concentrations are needed; got 1"),
        ({"concentrations": "2; 1"}, "above 0 and rise"),
        ({"concentrations": "1; more"}, "a concentration must be a number; got 'more'"),
        ({"concentrations": "1; 2", "noticed_at": "x"}, "must be a number; got 'x'"),
    ],
)
def test_series_that_cannot_be(settings, match):
    with pytest.raises(ArgumentError, match=match):
        RISING_SETS.check(settings)


def test_what_has_to_be_agreed_and_what_planning_says():
    question = Question(protocol="RISING_SETS", assessors=8)
    assert RISING_SETS.missing(question) == [
        "Concentrations from the weakest on, separated by semicolons?"
    ]
    assert "by luck with a chance of 11 %" in RISING_SETS.planning(question)[0]
    steps = Question(protocol="RISING_SETS", assessors=8, settings=STEPS)
    assert RISING_SETS.planning(steps) == ("4 sets of three: 12 samples for each of 8 assessors.",)

"""Grading at the line on record: from a product's defects to a decision on each of many batches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.base.findings import Finding
from sensory.catalogue.defects import typed_defects
from sensory.catalogue.grading import GRADING, KNOWN_DAYS
from sensory.catalogue.kind import KnownTruth
from sensory.catalogue.outcome_json import outcome_from_json, outcome_to_json
from sensory.catalogue.question import Question
from sensory.release.batch_desk import batch_file
from sensory.release.batch_records import BatchRecord
from sensory.release.batches import Disposition
from sensory.release.defect_months import defect_months
from sensory.release.known_before import known_before
from sensory.release.new_sessions import Wish, start_session
from sensory.release.product_desk import agree_defects, the_batch, the_product, versions_of_defects
from sensory.release.rule import ReleaseRule
from sensory.release.tastings import close_and_note
from sensory.report.documents import session_pdf
from sensory.report.serving_sheets import ballots_pdf
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, workflow
from sensory.sessions.finding import session_report
from sensory.sessions.sitting import Sitting
from sensory.store.archive import archive_session, import_archive
from sensory.store.repository import open_store

from ..screens.pages import run, words
from ..sessions.shared import declare
from ..shared import ALL_YES, ANSWERS, CARE
from .shared import PRODUCT, desk_with, made, with_product

GRADERS = ("Ada", "Bo", "Cy")
BATCHES = ("SC-1", "SC-2", "SC-3")
RULE = ReleaseRule(test="GRADING", assessors=3, beta=0.1, decides="release officer")
DEFECTS = typed_defects("metallic: major, hold the batch; flat: minor, blend")


def given(grader: str, sample: str) -> tuple[str, str]:
    """SC-2 is out to everybody, SC-3 to Ada alone, who calls a control out as well."""
    if sample.startswith("spiked") or sample == "SC-2":
        return "out", "metallic"
    if grader == "Ada" and sample in ("SC-3", "blind control 1"):
        return "out", "metallic" if sample == "SC-3" else "none"
    return "in", "none"


@pytest.fixture(scope="module")
def url(tmp_path_factory):
    return f"sqlite:///{tmp_path_factory.mktemp('graded') / 'r.sqlite3'}"


@pytest.fixture(scope="module")
def closed(url):
    """The record and the closed session, graded at booths in German."""
    store = with_product(open_store(url), RULE)
    agree_defects(store, PRODUCT, DEFECTS[:1], who="Mira", why="line audit")
    agree_defects(store, PRODUCT, DEFECTS, who="Mira", why="flat batches in May")
    for number in BATCHES:
        made(store, number)
    wish = Wish(
        product=PRODUCT, batches=BATCHES, reference="S1", test="GRADING", people=3,
        decides="release officer",
    )  # fmt: skip
    session = start_session(store, wish, who="Mira")
    details = replace(session.details, care=CARE, held_on="2026-03-09", leader="Mira")
    workflow.describe(
        store, session.id, details=details, question=replace(session.question, **ANSWERS),
        cautions=ALL_YES, who="Mira",
    )  # fmt: skip
    session = workflow.agree(store, session.id, who="Mira")
    samples = GRADING.listed(session.question.settings, "samples")
    plan = serving_plan(GRADING, list(GRADERS), seed=2**128 + 5, samples=samples)
    lines = ballot_lines(plan)
    booth_plans.serve(store, session.id, plan, lines, language="de", who="Mira")
    declare(store, session.id, "none")
    for name, token in booth_plans.open_booths(store, session.id, who="Mira").items():
        booths.consent(store, token)
        while (ballot := booths.visit(store, token).ballot) is not None:
            line = store.cells(session.id)[ballot.line]
            grade, defect = given(name, line["sample"])
            marked = {ballot.line: {"answer": grade, "defect": defect}}
            booths.keep(store, token, ballot.line, marked)
            booths.send(store, token, ballot.line, shown={})
    return store, close_and_note(store, session.id, who="Mira"), (plan, lines)


def test_every_batch_of_the_session_has_its_own_decision(closed):
    store, session, _ = closed
    outcome = session_report(store, session.id, version="0").outcome
    assert outcome.sentence == "Out: SC-2 (3 of 3 votes, metallic); in: SC-1, SC-3."
    assert (outcome.alpha, outcome.beta) == (RULE.alpha, RULE.beta)  # each is a tasting by the rule
    records = {name: the_batch(store, name) for name in BATCHES}
    assert [records[name].tastings[0].finding for name in BATCHES] == [
        Finding.SIMILAR, Finding.DIFFERENT, Finding.SIMILAR,
    ]  # fmt: skip
    assert [records[name].recommended for name in BATCHES] == [
        Disposition.RELEASE, Disposition.HOLD, Disposition.RELEASE,
    ]  # fmt: skip
    assert records["SC-2"].tastings[0].defects == {"metallic": (3, 3)}
    assert records["SC-3"].tastings[0].defects == {"metallic": (1, 3)}
    assert "SC-3 is not called out, and 1 grader named metallic, a major" in outcome.warnings[1]
    assert "called out by 100 % of the graders" in " ".join(
        batch_file(store, "SC-2").finding.reasons
    )
    assert outcome_from_json(outcome_to_json(outcome)).defects == outcome.defects
    assert store.verify() == []


def test_the_desk_counts_earlier_gradings_of_the_product_only(closed):
    store, first, _ = closed
    assert first.question.settings["known_days"] == KNOWN_DAYS == 91
    made(store, "SC-9")
    wish = Wish(
        product=PRODUCT, batches=("SC-9", "SC-3"), reference="S1", test="GRADING", people=3,
        decides="release officer",
    )  # fmt: skip
    session = start_session(store, wish, who="Mira")

    def counted(day: str, records=None) -> Mapping[str, KnownTruth]:
        details = replace(session.details, held_on=day)
        workflow.describe(store, session.id, details=details, who="Mira")
        there = store.linked("session", session.id) if records is None else records
        return known_before(store, session.id, there)

    known = KnownTruth(hits=3, spiked=3, false_alarms=0, controls=3)
    expected = {"ada": known._replace(false_alarms=1), "bo": known, "cy": known}
    assert counted("2026-03-10") == expected
    assert counted("2026-06-08") == expected
    assert counted("2026-06-09") == counted("2026-03-09") == counted("2026-03-10", ()) == {}
    pear = replace(the_batch(store, "SC-9").batch, product="Pear cordial")
    assert counted("2026-03-10", [BatchRecord(batch=pear)]) == {}


def test_the_risks_are_those_of_every_pattern_of_votes(closed):
    """Enumeration of all votes of three graders; rates (x + 1/2) / (n + 1), Jeffreys' means."""
    store, session, _ = closed
    outcome = session_report(store, session.id, version="0").outcome
    false, hit = np.array([1.5, 0.5, 0.5]) / 4, np.array([3.5, 3.5, 3.5]) / 4

    def chance(rates, wanted):
        return sum(
            np.prod(np.where(cast, rates, 1 - rates))
            for cast in product((0, 1), repeat=3)
            if wanted(sum(cast))
        )

    compared = {each.sample: each for each in outcome.comparisons}
    assert compared["SC-3"].p == pytest.approx(chance(false, lambda votes: votes >= 1))
    assert compared["SC-3"].p_within == pytest.approx(chance(hit, lambda votes: votes <= 1))
    assert compared["SC-2"].p == pytest.approx(chance(false, lambda votes: votes == 3))


def test_what_each_grader_made_of_known_samples_is_kept_for_the_history(closed):
    store, session, _ = closed
    sitting = store.noun(Sitting, session.id)
    row = dict(zip(sitting.assessors, zip(sitting.hits, sitting.spiked, strict=True), strict=True))
    assert row == dict.fromkeys(GRADERS, (3, 3))
    alarms = dict(zip(sitting.assessors, sitting.false_alarms, strict=True))
    assert alarms == {"Ada": 1, "Bo": 0, "Cy": 0}
    outcome = session_report(store, session.id, version="0").outcome
    assert outcome.panel_says[0].split(":")[0] in GRADERS


def test_paper_report_and_archive(closed, tmp_path):
    store, session, (plan, lines) = closed
    paper = ballots_pdf(lines, session.question, session.details, "de", plan=plan)
    report = session_report(store, session.id, version="0")
    assert paper.startswith(b"%PDF")
    assert session_pdf(report).startswith(b"%PDF")
    other = desk_with(RULE)
    import_archive(
        other, archive_session(store, session.id, report=b"%PDF"), who="Mira", why="moved"
    )
    assert (
        session_report(other, session.id, version="0").outcome.sentence == report.outcome.sentence
    )
    other.close()


def test_defects_come_in_versions_and_go_with_the_question(closed):
    store, session, _ = closed
    settings = session.question.settings
    assert settings["defect_list"] == f"{PRODUCT}, version 2"
    assert typed_defects(settings["defects"]) == DEFECTS
    versions = versions_of_defects(store, PRODUCT)
    assert [each.version for each, _ in versions] == [2, 1]
    assert the_product(store, PRODUCT).product.defects == versions[0][0]
    with pytest.raises(RecordError, match="Version 2 is this list already"):
        agree_defects(store, PRODUCT, DEFECTS, who="Mira", why="again")


@pytest.mark.parametrize(
    ("page", "shown"),
    [
        ("product", "Version 2"),
        ("trend", "SC-2**, 9 Mar 2026: metallic, named by 3 of 3 graders"),
        ("trend", "Nothing was graded before 10 Feb 2026: no rise can be seen yet."),
        ("people", "1 grading, none before 9 Dec 2025: no drift can be seen yet."),
    ],
)
def test_pages_show_defects_and_graders(closed, url, page, shown):
    assert shown in words(run(page, url, None))


def test_the_booth_asks_for_the_defect_in_its_language():
    question = Question(protocol="GRADING", settings={"defects": "metallic: major, hold"})
    label, words = GRADING.besides(question.settings, "de")["defect"]
    assert (label, words) == (
        "Fehler, falls einer",
        {"metallic": "metallic", "none": "keiner"},
    )
    assert GRADING.besides({}, "de") == {}


def rows(votes: dict[str, str]) -> list[dict[str, object]]:
    """By grader a letter a sample, o for out: two controls, two spiked, one batch."""
    names = ("blind control 1", "blind control 2", "spiked 1", "spiked 2", "SC-1")
    return [
        {"assessor": who, "sample": name, "answer": 2 if letter == "o" else 1, "defect": ""}
        for who, text in votes.items()
        for name, letter in zip(names, text, strict=False)
    ]


def test_graders_who_cannot_see_the_limit_leave_the_batch_open():
    question = Question(protocol="GRADING", beta=0.1)
    outcome = GRADING.read(rows({"Ada": "iooio", "Bo": "oioii", "Cy": "iioio"}), question)
    assert outcome.finding is Finding.UNDECIDED
    assert "cannot see the limit well enough" in outcome.warnings[0]
    assert outcome.sentence == "Open: SC-1 (2 of 3 votes)."
    with pytest.raises(ArgumentError, match="no vote can be weighed"):
        GRADING.read(rows({"Ada": "io"}), question)
    counts = GRADING.known_truth(rows({"Ada": "iooio"}), question)
    assert counts == {"Ada": KnownTruth(hits=1, spiked=2, false_alarms=1, controls=2)}


def chance_of(rates, wanted):
    """Of all patterns of votes at these rates."""
    return sum(
        np.prod(np.where(cast, rates, 1 - np.array(rates)))
        for cast in product((0, 1), repeat=len(rates))
        if wanted(sum(cast))
    )


def test_known_samples_of_the_days_before_count_where_agreed():
    """Bo had none today; Dee is not here. Rates by hand, (x + 1/2) / (n + 1)."""
    graded = [*rows({"Ada": "iooio"}), rows({"Bo": "iiiii"})[-1]]
    before = {
        "ada": KnownTruth(10, 10, 0, 10), "Bo": KnownTruth(9, 12, 1, 12),
        "Dee": KnownTruth(0, 50, 50, 50),
    }  # fmt: skip
    question = Question(protocol="GRADING", beta=0.1, settings={"known_days": 91})
    outcome = GRADING.reads_known(graded, question, before)
    hit, false = (11.5 / 13, 9.5 / 13), (1.5 / 13, 1.5 / 13)
    (batch,) = outcome.comparisons
    assert batch.p == pytest.approx(chance_of(false, lambda votes: votes >= 1))
    assert batch.p_within == pytest.approx(chance_of(hit, lambda votes: votes <= 1))
    told = "stand on 12 spiked samples and 12 controls a grader at most, of this session and the 91"
    assert told in outcome.because
    assert any("Who drifts is named on the page Panel" in line for line in outcome.cannot_tell)
    alone = GRADING.read(graded, question)
    assert "the 91 days before" not in " ".join([alone.because, *alone.cannot_tell])
    assert "Bo" in alone.notes[0]  # not counted by today's samples


def test_planning_says_when_three_graders_do_not_do():
    good = GRADING.planning(Question(protocol="GRADING", assessors=3, beta=0.1))
    assert good[1].startswith("2 votes 'out' of 3 stop a batch")
    weak = {"hits_assumed": 0.6, "false_assumed": 0.2}
    poor = GRADING.planning(Question(protocol="GRADING", assessors=3, beta=0.1, settings=weak))
    assert "These 3 graders cannot see the limit well enough" in poor[1]


@pytest.mark.parametrize(
    ("settings", "match"),
    [
        ({"out": "off"}, "'off' counts as out and is none of the grades"),
        ({"out": "in; out"}, "not every grade"),
        ({"controls": "A; B", "spiked": "b"}, "'b' is a control and a spiked sample"),
        ({"controls": "A", "spiked": "B", "samples": "A; SC-1"}, "'B' is none of the samples"),
        ({"defects": "metallic"}, "Write a defect as in"),
        ({"defects": "flat: minor, blend; Flat: major, hold"}, "flat stands twice"),
    ],
)
def test_settings_that_do_not_go_together(settings, match):
    with pytest.raises(ArgumentError, match=match):
        GRADING.check(settings)


def test_a_rule_by_grading_has_no_limit():
    assert "what lies short of the spiked samples" in RULE.words()[1]
    with pytest.raises(ArgumentError, match="spiked samples stand at it"):
        replace(RULE, limit=0.3)
    with pytest.raises(ArgumentError, match="for grading on the graders"):
        RULE.characteristic(0.0)


def test_many_samples_stand_in_one_row():
    names = [f"SC-{number}" for number in range(30)]
    plan = serving_plan(GRADING, 3, seed=7, samples=names)
    assert all(sorted(each.samples) == sorted(names) for each in plan.sets)
    assert len({each.samples for each in plan.sets}) == 3
    with pytest.raises(ArgumentError, match="from 2 to 40 in one order"):
        serving_plan(GRADING, 3, seed=7, samples=[str(number) for number in range(41)])


def test_a_defects_batches_stand_by_month(closed):
    store, _, _ = closed
    named = defect_months(store.batches(product=PRODUCT))
    assert [(each.batch, each.by, each.graders) for each in named.batches] == [
        ("SC-3", 1, 3),
        ("SC-2", 3, 3),
    ]
    (month,) = named.months
    assert (month.defect, month.month, month.batches, month.graded) == ("metallic", "2026-03", 2, 3)
    # Clopper and Pearson: none of three would be as many or fewer than two at this share.
    assert 1 - month.high**3 == pytest.approx(0.025)

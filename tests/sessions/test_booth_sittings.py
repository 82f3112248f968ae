"""Sittings at booths: warm-up samples that do not count, breaks, several sets an assessor."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.base.findings import Finding
from sensory.catalogue.tests import find_kind
from sensory.choices.protocols import PROTOCOLS
from sensory.serving.ballot_line import LEFT, NOT_SERVED, WARM_UP
from sensory.serving.cups import rows_to_serve
from sensory.sessions import (
    booth_answers,
    booth_plans,
    booth_sittings,
    booths,
    exclusions,
    workflow,
)
from sensory.sessions.allergens import undeclared
from sensory.sessions.booth_ballots import still_open
from sensory.sessions.finding import session_report
from sensory.sessions.serving import Breaks
from sensory.store.archive import archive_session, read_archive

from ..shared import write_lines
from .shared import BY, PEOPLE, answered, at_booths, waiting

PRESSES = ["reference", "zinc press", "quartz press"]


TWICE = {"replicates": 2, "sittings": 2}


def served(store, key="PROFILE", **arranged):
    """A session at booths, nothing in its samples, three presses in a profile."""
    arranged = {"samples": PRESSES if key == "PROFILE" else None, **arranged}
    return at_booths(store, key, allergens="none", **arranged)


def halt(store, token):
    """What is to be waited for before the next ballot."""
    return booths.visit(store, token).halt


def codes(plan, name, sitting, *, warm_up=False):
    return [
        row.code
        for row in plan.rows
        if (row.assessor, row.sitting) == (name, sitting) and (row.set == 0) is warm_up and row.code
    ]


def test_warm_up_comes_first_in_each_sitting_and_is_not_scored(store):
    session_id, plan, tokens = served(store, warm_up="plain syrup", sittings=3)
    token = tokens["Bo"]
    booths.consent(store, token)
    for sitting in (1, 2, 3):
        if sitting > 1:
            booth_sittings.start_sitting(store, session_id, sitting, who=BY)
        here = booths.visit(store, token)
        (code,) = codes(plan, "Bo", sitting, warm_up=True)
        expected = {"kind": "warm-up", "sitting": sitting, "sittings": 3, "code": code}
        assert here.halt == booth_sittings.Halt(**expected)
        assert "syrup" not in repr(here)
        with pytest.raises(RecordError, match=f"The warm-up of sitting {sitting} comes first"):
            answered(store, token)
        booths.tasted(store, token, "000")  # another code: nothing happens
        assert halt(store, token) is not None
        booths.tasted(store, token, code)
        booths.tasted(store, token, code)
        assert halt(store, token) is None
        assert answered(store, token) == codes(plan, "Bo", sitting)
    assert waiting(store, token) is None
    whys = [entry.why for entry in store.entries(session_id)]
    assert whys.count("warm-up sample tasted") == 3
    warm_ups = {row.code for row in plan.rows if row.set == 0}
    cells = store.cells(session_id)
    assert len(cells) == 9  # three samples of three assessors
    texts = {text for texts in cells.values() for text in texts.values()}
    assert not (warm_ups | {"plain syrup"}) & texts
    checked = workflow.checked_ballots(store, session_id)
    assert not [fault for fault in checked.faults if "warm" in str(fault)]
    settings = store.session(session_id).question.settings
    attributes = find_kind("PROFILE").listed(settings, "attributes")
    assert {row["attribute"] for row in checked.rows} == set(attributes)
    workflow.close(store, session_id, who=BY)
    assert store.verify() == []
    archive = read_archive(archive_session(store, session_id))
    assert archive.cells == store.cells(session_id)
    assert archive.session.serving.breaks.started == 3
    assert archive.session.serving == store.session(session_id).serving


def test_warm_up_of_one_sitting_needs_no_break(store):
    session_id, plan, tokens = served(store, "TRIANGLE", warm_up="plain syrup")
    assert store.session(session_id).serving.breaks is None
    with pytest.raises(RecordError, match="consent is given"):
        booths.tasted(store, tokens["Anna"], codes(plan, "Anna", 1, warm_up=True)[0])
    booths.consent(store, tokens["Anna"])
    booths.tasted(store, tokens["Anna"], codes(plan, "Anna", 1, warm_up=True)[0])
    answered(store, tokens["Anna"])
    workflow.close(store, session_id, who=BY)
    found = session_report(store, session_id, version="1")
    assert found.outcome.counts.trials == 1
    assert found.afterwards == ()


def test_break_lasts_until_the_leader_starts_the_next_sitting(store):
    session_id, plan, tokens = served(store, "TRIANGLE", **TWICE)
    assert store.session(session_id).serving.breaks == Breaks(minutes=0, started=1)
    for token in tokens.values():
        booths.consent(store, token)
    assert answered(store, tokens["Anna"]) == codes(plan, "Anna", 1)
    here = booths.visit(store, tokens["Anna"])
    assert here.halt == booth_sittings.Halt(kind="break", sitting=2, sittings=2)
    with pytest.raises(RecordError, match="The break of sitting 2 comes first"):
        answered(store, tokens["Anna"])
    assert halt(store, tokens["Bo"]) is None  # still in the first sitting
    assert booth_sittings.next_sitting(store.session(session_id)) == 2
    assert booth_sittings.done_with(store, session_id, 1) == (1, 3)
    assert booth_sittings.done_with(store, session_id, 2) == (0, 3)
    booth_sittings.start_sitting(store, session_id, 2, who=BY)
    booth_sittings.start_sitting(store, session_id, 2, who=BY)
    started = [e for e in store.entries(session_id) if e.what == "sitting started"]
    assert [(entry.who, entry.why) for entry in started] == [("A. Leader", "sitting 2 of 2")]
    assert booth_sittings.next_sitting(store.session(session_id)) is None
    assert answered(store, tokens["Anna"]) == codes(plan, "Anna", 2)
    assert waiting(store, tokens["Anna"]) is None
    with pytest.raises(RecordError, match="sitting 3 cannot be started: 2 of 2 have been"):
        booth_sittings.start_sitting(store, session_id, 3, who=BY)
    assert store.verify() == []


def test_somebody_who_does_not_taste_keeps_nobody_waiting(store):
    session_id, _, tokens = served(store, "TRIANGLE", **TWICE)
    booths.consent(store, tokens["Bo"], wants=False)
    assert booth_sittings.done_with(store, session_id, 1) == (0, 2)
    assert booths.visit(store, tokens["Bo"]).excused


def test_break_of_some_minutes_counts_from_the_own_last_ballot(store, monkeypatch):
    session_id, _, tokens = served(store, "TRIANGLE", minutes=10, **TWICE)
    token = tokens["Anna"]
    booths.consent(store, token)
    answered(store, token)
    sent = next(t["sent"] for t in store.cells(session_id).values() if t.get("sent"))

    def after(minutes):
        moment = datetime.fromisoformat(sent) + timedelta(minutes=minutes)
        monkeypatch.setattr(booth_sittings, "utc_now", moment.isoformat)
        return halt(store, token)

    assert [after(minutes).minutes for minutes in (0, 3, 9.5)] == [10, 7, 1]
    assert after(10) is None
    assert after(3) is not None  # a clock set back lengthens the break, and nothing else
    assert after(-600) is None  # nobody waits for the ten hours that it was set back
    assert booth_sittings.next_sitting(store.session(session_id)) is None
    with pytest.raises(RecordError, match="No sitting of this session waits for the leader"):
        booth_sittings.start_sitting(store, session_id, 2, who=BY)
    after(11)
    answered(store, token)
    assert waiting(store, token) is None


@pytest.mark.parametrize("late", [True, False])
def test_who_is_late_or_slow_has_the_break_that_the_others_had(store, monkeypatch, late):
    """The others had 10 minutes, from their last ballot until the leader started sitting 2."""
    session_id, _, tokens = served(store, "TRIANGLE", **TWICE)
    for name in ("Anna", "Bo"):
        booths.consent(store, tokens[name])
        answered(store, tokens[name])
    last = max(texts.get("sent", "") for texts in store.cells(session_id).values())

    def after(minutes):
        moment = (datetime.fromisoformat(last) + timedelta(minutes=minutes)).isoformat()
        for module in (booth_sittings, booths, booth_answers):
            monkeypatch.setattr(module, "utc_now", lambda: moment)

    after(10)
    token = tokens["Cleo"]
    if late:
        token = booth_plans.add_late(store, session_id, "Lou", who=BY)
    booth_sittings.start_sitting(store, session_id, 2, who=BY)
    assert halt(store, tokens["Anna"]) is None
    booths.consent(store, token)
    after(12)
    answered(store, token)
    assert (halt(store, token).kind, halt(store, token).minutes) == ("break", 10)
    with pytest.raises(RecordError, match="The break of sitting 2 comes first"):
        answered(store, token)
    after(21.5)
    assert halt(store, token).minutes == 1
    after(22)
    assert halt(store, token) is None
    answered(store, token)
    assert store.verify() == []


@pytest.mark.parametrize("minutes", [-1, 1.5, 241])
def test_break_that_is_no_number_of_minutes(store, minutes):
    with pytest.raises(ArgumentError, match="break_minutes"):
        served(store, "TRIANGLE", minutes=minutes, **TWICE)


def test_somebody_late_has_the_same_sittings(store):
    session_id, _, _ = served(store, "TRIANGLE", warm_up="plain syrup", **TWICE)
    token = booth_plans.add_late(store, session_id, "Late Lou", who=BY)
    booths.consent(store, token)
    here = booths.visit(store, token)
    assert (here.halt.kind, here.halt.sitting) == ("warm-up", 1)
    booths.tasted(store, token, here.halt.code)
    answered(store, token)
    assert halt(store, token).kind == "break"
    store.erase_person("Late Lou", who=BY, why="asked for it")
    assert booths.visit(store, token) is None


def test_a_line_without_a_cup_of_the_plan_waits_for_nothing(store):
    session_id, _, tokens = served(store, "TRIANGLE", **TWICE)
    booths.consent(store, tokens["Anna"])
    first = min(line for line, t in store.cells(session_id).items() if t["assessor"] == "Anna")
    write_lines(store, session_id, {first + 1: {"code_1": "000"}}, who=BY, why="typed")
    answered(store, tokens["Anna"])
    assert halt(store, tokens["Anna"]) is None


def test_closed_session_starts_no_sitting(store):
    session_id, _, tokens = served(store, "TRIANGLE", **TWICE)
    booths.consent(store, tokens["Anna"])
    answered(store, tokens["Anna"])
    workflow.close(store, session_id, who=BY)
    assert booth_sittings.next_sitting(store.session(session_id)) is None
    with pytest.raises(RecordError, match="The session is closed"):
        booth_sittings.start_sitting(store, session_id, 2, who=BY)


@pytest.mark.parametrize("key", PROTOCOLS)
def test_several_sets_an_assessor_from_plan_to_finding(store, key):
    session_id, plan, tokens = served(store, key, replicates=3)
    for name, token in tokens.items():
        booths.consent(store, token)
        mine = [one for one in plan.sets if one.assessor == name]
        for number, one in enumerate(mine, start=1):
            ballot = waiting(store, token)
            assert (ballot.number, ballot.all) == (number, 3)
            assert still_open(ballot)
            assert tuple(code for code in answered(store, token) if code) == one.codes
    assert booth_plans.progress(store, session_id) == [(name, 3, 3) for name in PEOPLE]
    workflow.close(store, session_id, who=BY)
    found = session_report(store, session_id, version="1")
    assert found.outcome.counts.trials == 9
    assert found.outcome.counts.assessors == 3
    assert store.verify() == []


def test_categories_at_booths_are_offered_checked_and_read(store):
    settings = {
        "attributes": "sweet; sour",
        "reference": "reference",
        "scale": "categories",
        "categories": 9.0,
        "scale_low": 1.0,
        "high_word": "like syrup",
    }
    session_id, _, tokens = served(store, settings=settings)
    token = tokens["Anna"]
    booths.consent(store, token)
    ballot = waiting(store, token)
    assert [one.kind for one in ballot.asked] == ["category", "category"]
    assert [stored for stored, _ in ballot.asked[0].choices] == list("123456789")
    assert ballot.asked[0].ends == ("none", "like syrup")
    assert ballot.asked[0].given == ""
    for wrong in ("0", "10", "4.5", "4.0", "x"):
        with pytest.raises(RecordError, match="does not offer the answer"):
            booths.keep(store, token, ballot.line, {ballot.line: {"sweet": wrong}})
    score = {"Anna": "2", "Bo": "3", "Cleo": "5"}
    for name, token in tokens.items():
        booths.consent(store, token)
        while (ballot := waiting(store, token)) is not None:
            sour = str(1 + (ballot.line * 7 + int(score[name])) % 9)
            given = {ballot.line: {"sweet": score[name], "sour": sour}}
            booths.keep(store, token, ballot.line, given)
            booths.send(store, token, ballot.line, shown={})
    checked = workflow.checked_ballots(store, session_id)
    assert not checked.blocking
    assert {row["score"] for row in checked.rows} <= set(range(1, 10))
    workflow.close(store, session_id, who=BY)
    read = session_report(store, session_id, version="1")
    assert any("9 categories from 1 to 9" in note for note in read.outcome.notes)


@pytest.mark.parametrize(
    ("key", "settings"),
    [
        ("PROFILE", {"attributes": "sweet; sour", "reference": "reference"}),
        ("RANKING", {"attribute": "sweetness"}),
    ],
)
def test_incomplete_blocks_from_plan_to_finding(store, key, settings):
    names = ["reference", *(f"press {letter}" for letter in "bcdefg")]
    people = [f"P{number}" for number in range(14)]
    session_id, plan, tokens = served(
        store, key, settings=settings, samples=names, people=people, set_size=3, warm_up="syrup"
    )
    assert plan.design.together == 1
    sweetness = {name: 2.0 + 0.6 * place for place, name in enumerate(names)}
    sample = {(row.assessor, row.code): row.sample for row in plan.rows}
    for seat, (name, token) in enumerate(tokens.items()):
        booths.consent(store, token)
        booths.tasted(store, token, halt(store, token).code)
        while (ballot := waiting(store, token)) is not None:
            strength = {one: sweetness[sample[name, one]] for one in ballot.codes}
            for asked in ballot.asked:
                if asked.kind == "place":
                    text = str(sorted(strength, key=strength.get).index(asked.label) + 1)
                else:
                    shaken = (seat * 7 + asked.line * 3 + len(asked.label)) % 5 / 10
                    text = f"{max(strength.values()) * (asked.label == 'sweet') + shaken:.2f}"
                booths.keep(store, token, ballot.line, {asked.line: {asked.name: text}})
            booths.send(store, token, ballot.line, shown={})
    workflow.close(store, session_id, who=BY)
    read = session_report(store, session_id, version="1")
    assert not read.outcome.because.startswith("Nothing can be computed")
    assert read.outcome.finding is Finding.DIFFERENT
    assert read.outcome.counts.missing == 0
    assert read.outcome.counts.answers == 14 * 3 * (2 if key == "PROFILE" else 1)


def test_a_warm_up_sample_is_declared_and_an_exclusion_skips_it(store):
    session_id, plan, tokens = served(store, "TRIANGLE", warm_up="plain syrup", **TWICE)
    exclusions.declare_allergens(store, session_id, {"plain syrup": ""}, who=BY)
    assert undeclared(store.session(session_id)) == ["plain syrup"]
    with pytest.raises(RecordError, match=r"Declare the allergens.*: plain syrup"):
        booth_plans.open_booths(store, session_id, who=BY)
    exclusions.declare_allergens(store, session_id, {"plain syrup": "celery"}, who=BY)
    exclusions.exclude(store, session_id, "Bo", ["plain syrup"], who=BY)
    assert not any(texts.get(NOT_SERVED) for texts in store.cells(session_id).values())
    booths.consent(store, tokens["Anna"])
    booths.consent(store, tokens["Bo"])
    break_now = halt(store, tokens["Anna"])
    assert (break_now.kind, break_now.allergens) == ("warm-up", "celery")
    assert waiting(store, tokens["Anna"]).allergens == ""
    assert halt(store, tokens["Bo"]) is None
    assert answered(store, tokens["Bo"]) == codes(plan, "Bo", 1)
    assert halt(store, tokens["Bo"]).kind == "break"
    booth_sittings.start_sitting(store, session_id, 2, who=BY)
    assert halt(store, tokens["Bo"]) is None
    excluded = exclusions.excluded_samples(store, session_id)
    assert excluded == {"Bo": ("plain syrup",)}
    poured = rows_to_serve(plan, store.cells(session_id), excluded)
    warm_ups = [(row.assessor, row.sitting) for row in poured if not row.set]
    assert warm_ups == [("Anna", 1), ("Anna", 2), ("Cleo", 1), ("Cleo", 2)]


def test_a_warm_up_sample_is_left_out_at_the_booth(store):
    session_id, _, tokens = served(store, "TRIANGLE", warm_up="plain syrup")
    token = tokens["Cleo"]
    booths.consent(store, token)
    booths.leave_warm_up(store, token, "000")  # another code: nothing happens
    booths.leave_warm_up(store, token, halt(store, token).code)
    entry = store.entries(session_id)[-1]
    assert (entry.by, entry.why) == ("booth of Cleo", "not this sample")
    assert halt(store, token) is None
    answered(store, token)
    marks = [texts[WARM_UP] for texts in store.cells(session_id).values() if texts.get(WARM_UP)]
    assert marks == ["not this sample"]
    assert workflow.checked_ballots(store, session_id).ready == 3
    assert not workflow.checked_ballots(store, session_id).blocking


def test_a_ballot_left_out_before_a_break_keeps_nobody_waiting(store):
    session_id, plan, tokens = served(store, replicates=2, sittings=2)
    token = tokens["Anna"]
    booths.consent(store, token)
    with pytest.raises(RecordError, match="not the one that waits"):
        booths.leave_out(store, token, 6)
    answered(store, token)
    answered(store, token)
    last = waiting(store, token)
    booths.leave_out(store, token, last.line)
    here = booths.visit(store, token)
    assert (here.halt.kind, here.halt.sitting) == ("break", 2)
    assert (here.left_out, here.ballot.number) == ((3,), 4)
    with pytest.raises(RecordError, match="The break of sitting 2 comes first"):
        booths.leave_out(store, token, here.ballot.line)
    assert booth_sittings.done_with(store, session_id, 1) == (1, 3)
    assert booth_sittings.not_done_with(store, session_id, 1) == ("Bo", "Cleo")
    exclusions.exclude(store, session_id, "Bo", PRESSES, who=BY)  # no ballots, so not counted
    assert booth_sittings.done_with(store, session_id, 1) == (1, 2)
    assert booth_sittings.not_done_with(store, session_id, 1) == ("Cleo",)
    exclusions.not_today(store, session_id, "Bo", who=BY)
    exclusions.exclude(store, session_id, "Bo", [], who=BY)
    exclusions.not_today(store, session_id, "Bo", who=BY)
    assert booth_sittings.done_with(store, session_id, 1) == (1, 2)
    booth_plans.did_not_come(store, session_id, "Cleo", who=BY)
    assert booth_sittings.done_with(store, session_id, 1) == (1, 1)
    booth_sittings.start_sitting(store, session_id, 2, who=BY)
    assert answered(store, token) == codes(plan, "Anna", 2)[:1]
    assert store.session(session_id).serving.breaks.started == 2
    again = booth_plans.add_late(store, session_id, "Cleo", who=BY)
    booths.consent(store, again)
    assert halt(store, again) is None
    assert booth_sittings.done_with(store, session_id, 1) == (1, 2)


def test_who_left_all_out_at_the_booth_is_done_with_the_sitting(store):
    session_id, _, tokens = served(store, "TRIANGLE", **TWICE)
    booths.consent(store, tokens["Anna"])
    booths.leave_out(store, tokens["Anna"], waiting(store, tokens["Anna"]).line)
    assert booth_sittings.done_with(store, session_id, 1) == (1, 3)
    booth_sittings.start_sitting(store, session_id, 2, who=BY)
    booths.leave_out(store, tokens["Anna"], waiting(store, tokens["Anna"]).line)
    assert booth_sittings.done_with(store, session_id, 2) == (1, 3)
    assert booth_sittings.not_done_with(store, session_id, 2) == ("Bo", "Cleo")


def test_a_break_counts_from_a_ballot_left_out_last(store, monkeypatch):
    session_id, _, tokens = served(store, "TRIANGLE", minutes=10, **TWICE)
    booths.consent(store, tokens["Anna"])
    line = waiting(store, tokens["Anna"]).line
    booths.leave_out(store, tokens["Anna"], line)
    left = datetime.fromisoformat(store.cells(session_id)[line][LEFT])
    for minutes, waits in ((0, 10), (9, 1), (10, None)):
        moment = left + timedelta(minutes=minutes)
        monkeypatch.setattr(booth_sittings, "utc_now", moment.isoformat)
        break_now = halt(store, tokens["Anna"])
        assert (break_now.minutes if break_now else None) == waits

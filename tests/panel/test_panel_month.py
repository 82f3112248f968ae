"""The month of the panel: what the record holds, counted by hand; names only where asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sensory.base.errors import RecordError
from sensory.base.records import utc_now
from sensory.panel.assessors import Qualification, Role
from sensory.panel.panel_month import panel_month
from sensory.panel.qualification import answer_series, begin_series, end_series
from sensory.panel.register import change_assessor, enter_assessor
from sensory.panel.series import Series
from sensory.panel.series_plan import KINDS
from sensory.panel.training import training_progress
from sensory.report.panel_month_documents import panel_month_words, sittings_figure
from sensory.report.printed import printed
from sensory.sessions.session import CAUTIONS
from sensory.sessions.sitting import ABSENT, LATE
from sensory.store.repository import open_store

from ..report.shared import OURS, fonts_of, pages_of
from ..sessions.shared import BY
from ..shared import put
from .test_register import session
from .test_training import training
from .years import Fault, year

PRINTED = "2026-12-03T09:00:00+00:00"
WHO = {"who": BY}


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """A year with one who is reversed; in December one late and one away; a register; a plan."""
    opened = open_store(f"sqlite:///{tmp_path_factory.mktemp('month')}/record.sqlite3")
    sittings = year(np.random.default_rng(3), fault=Fault(turned=True))
    day = max(each.held_on for each in sittings)
    with opened.action(who=BY, why="invented") as act:
        for each in sittings:
            if each.held_on == day:
                each = replace(each, came=(LATE, ABSENT, *each.came[2:]))
            act.keep_sitting(each)
    new = enter_assessor(opened, "P10", panel="day shift", entered_on="2026-12-01", **WHO)
    until = Qualification(product="quince cordial", since="2026-12-02", until="2027-01-15")
    change_assessor(opened, new, replace(new, qualified=(until,)), **WHO)
    enter_assessor(opened, "Ada", panel="night shift", role=Role.TRAINING,
                   entered_on="2026-03-01", **WHO)  # fmt: skip
    session(opened, "a" * 32, "2026-12-09", "Ada", "P10")
    session(opened, "b" * 32, "2026-11-20", "Ada")  # of the past, and not closed
    there = opened.session("b" * 32)
    agreed = replace(there, agreed_at="2026-11-20T08:00:00+00:00", agreed_by=BY, digest="0" * 64)
    put(opened, agreed, expect=there, what="agreed", who=BY)
    yield opened
    opened.close()


def test_counts_are_those_of_the_sittings(store):
    month = panel_month(store, "2026-12", printed_at=PRINTED)
    assert month.headline() == "6 sittings closed, 10 assessors took part."
    tests = {row[0]: row[1:] for row in month.by_test().rows}
    some = [each for each in store.sittings(since="2026-12-01") if each.trials]
    right = sum(sum(each.correct) for each in some)
    assert tests["triangle"] == (4, "10", f"{right} of 80")
    assert tests["profile"] == (2, "9 to 10", "")
    assert month.attendance() == (
        "Expected 60 times, came 59 (98 %), of these late 1. 'Not today' counts as neither.",
    )
    assert month.by_month().rows[-1] == ("2026-12", 6, 59 / 60)
    assert len(month.by_month().rows) == 12


def test_nobody_is_named_unless_the_leader_asks_for_it(store):
    quiet = panel_month(store, "2026-12", printed_at=PRINTED)
    assert quiet.needs_attention() == (
        "1 of 10 assessors, judged over the twelve months that end here. Reasons, by assessors: "
        "reversed 1.",
    )
    page = " ".join(pages_of(printed(quiet)))
    assert "P10" not in page
    assert "P02" not in page
    assert "Ada" not in page
    told = panel_month(store, "2026-12", names=True, printed_at=PRINTED)
    page = " ".join(pages_of(printed(told)))
    assert "P10 scores sour the other way round" in page
    assert "Did not come: P02 1." in page
    assert "P10: quince cordial, on 2027-01-15." in page


def test_what_is_planned_comes_from_the_sessions_that_are_not_closed(store):
    month = panel_month(store, "2026-12", printed_at=PRINTED)
    assert month.sessions_planned().rows == (("2026-12-09", "untitled", "triangle", 2),)
    assert month.next_up() == ("Qualifications that end within 60 days of printing: 1.",)
    assert month.not_closed == 0
    assert panel_month(store, "2026-11", printed_at=PRINTED).not_closed == 1
    later = panel_month(store, "2026-12", printed_at="2026-12-20T09:00:00+00:00")
    assert later.sessions_planned().rows == ()


def test_the_register_tells_who_entered_and_who_was_qualified(store):
    lines = panel_month(store, "2026-12", printed_at=PRINTED).training()
    assert lines[:2] == (
        "Entered in the register: 1.",
        "Qualified for a product: quince cordial 1.",
    )
    assert lines[-1].endswith("candidate 1, in training 1.")
    assert panel_month(store, "2026-11", printed_at=PRINTED).training()[:2] == (
        "Entered in the register: 0.", "Qualified for a product: nobody.",
    )  # fmt: skip


def test_performance_is_that_of_the_scored_sittings(store):
    rows = {row[0]: row[1:] for row in panel_month(store, "2026-12", printed_at=PRINTED)
            .performance().rows}  # fmt: skip
    assert set(rows) == {"sour", "sweet", "bitter", "cooked", "fruity"}
    some = [each for each in store.sittings(since="2026-12-01") if each.attributes]
    smallest = [each.attributes[0].smallest for each in some]
    assert rows["sour"][-1] == pytest.approx(np.sqrt(np.mean(np.square(smallest))))


def test_an_empty_month_says_so_on_its_page(store):
    month = panel_month(store, "2024-02", printed_at=PRINTED)
    (page,) = pages_of(printed(month))
    for words in (
        "No sitting was closed.",
        "Nobody was expected",
        "too few scores for the panel",
        "No sitting in the twelve months: nobody is judged.",
    ):
        assert words in page
    assert "0 sittings" in panel_month_words(month)["months_words"]


def test_one_page_however_long_the_lists_and_hostile_the_names(store):
    month = panel_month(store, "2026-12", names=True, printed_at=PRINTED)
    hostile = '#panic("x") *bold* $x$ <tag> @ref \\' * 9
    plans = tuple(replace(month.planned[0], title=hostile) for _ in range(80))
    content = printed(replace(month, planned=plans))
    (page,) = pages_of(content)
    assert "more, on record" in page
    assert '#panic("x")' in page
    assert fonts_of(content) <= OURS
    assert sittings_figure(month)["layer"]


def test_what_is_no_month_is_refused(store):
    with pytest.raises(RecordError, match="first day of the month must be a date"):
        panel_month(store, "2026-13", printed_at=PRINTED)


def test_screening_series_are_counted_and_named_only_where_asked_for(tmp_path):
    store = open_store(f"sqlite:///{tmp_path}/record.sqlite3")
    ada, bo = (enter_assessor(store, name, panel="day shift", **WHO) for name in ("Ada", "Bo"))
    yes = [caution.key for caution in CAUTIONS]
    month = utc_now()[:7]
    begun = [
        begin_series(store, who, series, KINDS[series].samples, cautions=yes, **WHO)
        for who, series in ((ada, Series.TRIANGLES), (bo, Series.TRIANGLES), (ada, Series.TASTES))
    ]
    codes = {cup.sample: cup.code for cup in begun[2].cups[0]}
    right = [codes[each.name] for each in begun[2].samples]
    end_series(store, answer_series(store, begun[2], right, **WHO), **WHO)
    end_series(store, begun[1], give_up=True, **WHO)
    counted, ended = panel_month(store, month, printed_at=utc_now()).screening()
    assert {"triangles 2", "basic tastes 1"} == set(counted[24:-1].split(", "))
    assert "basic tastes passed 1" in ended
    assert ended.endswith("; open when printed: 1.")
    named = panel_month(store, month, names=True, printed_at=utc_now())
    assert "Ada, basic tastes: passed" in named.screening()[2]
    assert any("triangles given up 1" in line for line in panel_month_words(named)["training"])
    before = panel_month(store, "2020-01", printed_at=utc_now()).screening()
    assert before == ("Screening series begun: none.", "Ended: none; open when printed: 1.")
    store.close()


def test_training_is_told_with_who_is_trained_and_the_curve_by_hand(tmp_path):
    """Distances from the targets by sums over the marks; who is trained from the long way."""
    store, rng = open_store(f"sqlite:///{tmp_path}/record.sqlite3"), np.random.default_rng(11)
    held = [training(session, rng) for session in range(6)]
    later = replace(training(7, rng, attributes=("salty",)), held_on="2026-11-03")
    with store.action(who=BY, why="invented") as act:
        for each in (*held, later):
            act.keep_training(each)
    month = panel_month(store, "2026-10", names=True, printed_at=PRINTED)
    trained, done, curve = month.training()[2:]
    assert trained == "Trained on sloe cordial in 6 sessions: sour."
    good = training_progress(held).trained
    assert done.endswith(f"by the rule of today: {len(good)} of 5 assessors: {', '.join(good)}.")
    rms = [
        np.sqrt(np.mean([(np.mean(s) - sample.target) ** 2 for sample in each.samples
                         for s in sample.scores]))
        for each in held
    ]  # fmt: skip
    points = [f"{size:.1f}" for size in (rms[0], *rms[-3:])]
    assert curve.endswith(f"over 6 sessions: {points[0]}, ..., {', '.join(points[1:])}.")
    assert "Ada" not in " ".join(panel_month(store, "2026-10", printed_at=PRINTED).training())
    assert (
        "Trained on sloe cordial in 1 session: salty."
        in panel_month(store, "2026-11", printed_at=PRINTED).training()
    )
    assert (
        "No training session was closed."
        in panel_month(store, "2026-09", printed_at=PRINTED).training()
    )
    assert "Trained on sloe cordial" in " ".join(pages_of(printed(month)))
    store.close()

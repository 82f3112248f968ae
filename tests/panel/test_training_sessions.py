"""Training takes the road of a session, says at once what was marked, and leaves no result."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.catalogue.training import Target, targets_of_standards
from sensory.panel.history import history
from sensory.panel.panel_month import panel_month
from sensory.panel.training_desk import open_training, trainings_of
from sensory.panel.training_rule import TrainingRule
from sensory.panel.training_spread import spreads
from sensory.panel.vocabulary_desk import define
from sensory.release.batch_records import BatchRecord
from sensory.release.batches import Batch
from sensory.release.product_desk import enter_batch, enter_product
from sensory.release.tastings import attach
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, workflow
from sensory.sessions.attempts import earlier_attempts
from sensory.sessions.copies import copy_session
from sensory.sessions.filling import fill_outcomes, fill_sittings
from sensory.sessions.finding import outcome_of_session
from sensory.sessions.learned import sessions_to_learn_from
from sensory.sessions.live_board import live_board
from sensory.sessions.open_points import open_points
from sensory.sessions.outcomes import check_ballots
from sensory.sessions.steps import next_in_words
from sensory.sessions.trained import trained_of
from sensory.store.archive import archive_session, import_archive
from sensory.store.repository import open_store

from ..sessions.shared import BY, declare
from ..shared import ALL_YES, CARE
from .test_vocabulary import PRODUCT, SOUR, WHY

PEOPLE = ("Anna", "Bo", "Cleo", "Dan", "Eve")
SAMPLES = ("sour base", "AP-7")
MARKS = {"Anna": 6.2, "Bo": 5.0, "Cleo": 4.0, "Dan": 4.8, "Eve": 5.1}


@pytest.fixture
def store(tmp_path):
    opened = open_store(f"sqlite:///{tmp_path}/record.sqlite3")
    yield opened
    opened.close()


def opened(store, **changed):
    """A training session on sour, before it is agreed."""
    words = define(store, PRODUCT, SOUR, **WHY)
    targets = targets_of_standards(words, ["sour"], SAMPLES)
    asked = {"attributes": ["sour"], "samples": SAMPLES, "targets": targets, "ballots": 10}
    return open_training(store, words, **{**asked, **changed}, leader=BY, who=BY)


def agreed(store, **changed):
    session = opened(store, **changed)
    details = replace(session.details, care=CARE)
    workflow.describe(store, session.id, details=details, cautions=ALL_YES, who=BY)
    return workflow.agree(store, session.id, who=BY).id


def at_booths(store, **changed):
    """The id of an agreed training session, and the link of each assessor, who have consented."""
    here = agreed(store, **changed)
    plan = serving_plan("profile", list(PEOPLE), seed=2**128 + 3, samples=list(SAMPLES))
    booth_plans.serve(store, here, plan, ballot_lines(plan), who=BY)
    declare(store, here, "none")
    tokens = booth_plans.open_booths(store, here, who=BY)
    for token in tokens.values():
        booths.consent(store, token)
    return here, tokens


def send(store, token, score):
    """Mark and send the ballot that waits; what the booth shows then."""
    line = booths.visit(store, token).ballot.line
    booths.keep(store, token, line, {line: {"sour": f"{score:.2f}"}})
    return booths.send(store, token, line, shown={})


def closed(store):
    """The id of a training session that is closed; each marks both samples alike."""
    here, tokens = at_booths(store)
    for name, token in tokens.items():
        for _ in SAMPLES:
            send(store, token, MARKS[name])
    workflow.close(store, here, who=BY)
    return here


def test_nothing_is_asked_but_what_is_trained_and_whether_it_is_safe(store):
    session = opened(store)
    assert {point.field.split("-")[0] for point in open_points(session)} == {"care", "caution"}
    assert session.question.training.targets == (
        Target(sample="sour base", attribute="Sour", intensity=5, low=4.5, high=5.5),
    )
    assert [each.allergens for each in session.details.samples] == ["milk", ""]
    with pytest.raises(RecordError, match="Not before every caution"):
        workflow.agree(store, session.id, who=BY)


def test_a_session_is_training_or_not_from_its_beginning(store):
    session = opened(store)
    test = replace(session.question, training=None)
    with pytest.raises(RecordError, match="from its beginning"):
        workflow.describe(store, session.id, question=test, who=BY)


def test_a_target_of_what_is_not_served_is_refused(store):
    target = Target(sample="quince", attribute="sour", intensity=5, low=4, high=6)
    with pytest.raises(RecordError, match="target of quince, which is not served"):
        agreed(store, targets=[target])


def test_each_learns_at_once_after_each_sample(store):
    _, tokens = at_booths(store)
    assert booths.visit(store, tokens["Anna"]).learned is None
    told = {name: [] for name in PEOPLE}
    for name in PEOPLE:
        for _ in SAMPLES:
            learned = send(store, tokens[name], MARKS[name]).learned
            assert booths.visit(store, tokens[name]).learned == learned  # after a reload too
            told[name] += learned.marks
    for name in PEOPLE:
        targeted = [mark for mark in told[name] if mark.target]
        assert [(mark.own, mark.target.intensity) for mark in targeted] == [(MARKS[name], 5)]
    free = {name: next(m for m in told[name] if not m.target) for name in PEOPLE}
    assert [free[name].others for name in PEOPLE] == [0, 1, 2, 3, 4]
    assert (free["Cleo"].lowest, free["Cleo"].highest) == (None, None)
    assert (free["Dan"].lowest, free["Dan"].highest) == (4.0, 6.2)
    assert (free["Eve"].lowest, free["Eve"].highest) == (4.0, 6.2)


def test_the_leader_sees_who_still_spreads(store):
    here = closed(store)
    session = store.session(here)
    trained = trained_of(session, check_ballots(store.cells(here), session.question))
    assert trained == store.training(here)
    by_sample = {each.sample: each for each in spreads(trained, TrainingRule())}
    assert by_sample["sour base"].away == (("Anna", 6.2), ("Cleo", 4.0))
    # without a target: further than 1 point from the mean of the others
    others = {n: (sum(MARKS.values()) - m) / 4 for n, m in MARKS.items()}
    away = tuple((n, m) for n, m in MARKS.items() if abs(m - others[n]) > 1)
    assert by_sample["AP-7"].away == away == (("Anna", 6.2), ("Cleo", 4.0))


def test_training_is_no_result(store):
    here = closed(store)
    session = store.session(here)
    assert (store.outcome(here), store.sitting(here)) == (None, None)
    assert fill_outcomes(store, who=BY) == fill_sittings(store, who=BY) == 0
    with pytest.raises(RecordError, match="no finding"):
        outcome_of_session(store, session)
    assert history(store.sittings()).sittings == ()
    month = panel_month(store, session.agreed_at[:7], printed_at=session.agreed_at)
    assert month.past.sittings == ()
    assert sessions_to_learn_from(store, "PROFILE") == []
    test = replace(
        session, id="t", agreed_at="9", question=replace(session.question, training=None)
    )
    assert earlier_attempts(test, [session]) == []
    assert next_in_words(store, session) == "look at the marks"
    assert store.verify() == []


def test_no_batch_takes_it_for_a_tasting(store):
    enter_product(store, PRODUCT, who=BY)
    enter_batch(store, Batch(number="AP-7", product=PRODUCT, made_on="2026-11-01"), who=BY)
    here = closed(store)
    with pytest.raises(RecordError, match="was training"):
        attach(store, "AP-7", here, who=BY)
    assert store.noun(BatchRecord, "AP-7").tastings == ()


def test_reopening_takes_the_marks_back_and_closing_keeps_them_again(store):
    here = closed(store)
    before = store.training(here)
    workflow.reopen(store, here, who=BY, why="a mark was read wrongly")
    assert store.training(here).assessors == ()
    workflow.close(store, here, who=BY)
    assert store.training(here) == before
    assert trainings_of(store, "Apple Press") == [before]


def test_an_erased_person_is_erased_from_training(store):
    here = closed(store)
    marks = store.training(here).samples
    store.erase_person("Cleo", who=BY, why="asked for it")
    kept = store.training(here)
    assert "Cleo" not in str(kept)
    assert kept.samples == marks
    assert store.verify() == []


def test_an_archive_gives_back_the_training(store, tmp_path):
    here = closed(store)
    other = open_store(f"sqlite:///{tmp_path}/other.sqlite3")
    import_archive(other, archive_session(store, here), **WHY)
    assert other.outcome(here) is None
    assert fill_sittings(other, who=BY) == 1
    assert other.training(here) == store.training(here)
    assert fill_sittings(other, who=BY) == 0
    other.close()


def test_a_copy_is_the_next_training(store):
    here = closed(store)
    again = copy_session(store, here, who=BY)
    assert again.question.training == store.session(here).question.training
    assert live_board(store, here).sent == 10

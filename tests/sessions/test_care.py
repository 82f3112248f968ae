"""What can harm: said before consent in each language, cleared by a name, stopped by a reaction."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.base.languages import ballot_words, languages
from sensory.sessions import booth_plans, booths, minors, reactions, workflow
from sensory.sessions.afterwards import done_afterwards
from sensory.sessions.care import SUBSTANCES, Care, Reaction, Substance
from sensory.sessions.servings import servings_of_the_day

from ..shared import CARE
from . import shared

BY = shared.BY


def with_care(store, session_id, **care):
    """Describe a session with what its samples hold."""
    session = store.session(session_id)
    care = replace(session.details.care, **care)
    return workflow.describe(store, session_id, details=replace(session.details, care=care), who=BY)


def prepared(store, care, key="s1"):
    """An open session, not agreed yet."""
    plain = workflow.read_prepared(shared.DEMO, "suspect_batch")
    plain["details"] = replace(plain["details"], care=care)
    del plain["cells"]
    return workflow.open_session(store, key, **plain, who="test", why="test")


# What assessors are told.


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("kind", SUBSTANCES)
def test_each_language_warns_of_pregnancy_medication_and_age(language, kind):
    words = ballot_words(language)[f"caution_{kind}"]
    stems = {
        "en": ("pregnant", "medication", "younger than {age}"),
        "de": ("schwanger", "Medikamente", "jünger als {age}"),
        "es": ("embarazada", "medicamentos", "menos de {age}"),
        "fr": ("enceinte", "médicaments", "moins de {age}"),
    }[language]
    driving = {"en": "drive", "de": "fahren", "es": "conducir", "fr": "conduire"}[language]
    assert [stem for stem in stems if stem not in words] == []
    assert kind == "caffeine" or driving in words


def test_the_booth_tells_of_each_substance_before_consent(store):
    session_id, _, tokens = shared.at_booths(store)
    with_care(
        store,
        session_id,
        contains=(Substance(kind="alcohol", age=16), Substance(kind="special", name="steviol")),
    )
    here = booths.visit(store, tokens["Anna"])
    assert not here.consented
    alcohol, special, *_ = here.told
    assert "alcohol" in alcohol
    assert "younger than 16" in alcohol
    assert "steviol" in special
    assert "younger than 18" in special


def test_what_people_consented_to_is_not_changed_behind_them(store):
    session_id, _ = shared.seat(store)
    with pytest.raises(RecordError, match="Assessors have consented to what they were told"):
        with_care(store, session_id, contains=(Substance(kind="caffeine"),))
    assert store.session(session_id).details.care.contains == ()
    with_care(store, session_id, evidence="residue test passed again")


@pytest.mark.parametrize(
    ("given", "match"),
    [
        ({"kind": "nicotine"}, "kind must be one of alcohol, caffeine, special"),
        ({"kind": "alcohol", "amount": -1.0}, "cannot be below 0"),
        ({"kind": "alcohol", "amount": float("nan")}, "finite number"),
        ({"kind": "alcohol", "age": 0}, "from 1 to 99"),
    ],
)
def test_impossible_substances_are_refused(given, match):
    with pytest.raises(RecordError, match=match):
        Substance(**given)


# Who cleared it.


@pytest.mark.parametrize(
    ("care", "match"),
    [
        (Care(), "Who cleared the samples for tasting, and on which day"),
        (Care(cleared_by="Ida Brandt"), "on which day"),
        (replace(CARE, contains=(Substance(kind="special"),)), "Which special ingredient"),
        (replace(CARE, suspected="chemical taint"), "the samples are not tasted"),
        (replace(CARE, suspected="foreign matter", smelling_by="Ida Brandt"), "not tasted"),
    ],
)
def test_nobody_tastes_without_a_clearance_by_name(store, care, match):
    prepared(store, care)
    with pytest.raises(RecordError, match=match):
        workflow.agree(store, "s1", who=BY)
    assert not store.session("s1").agreed


def test_smelling_needs_food_safety_by_name_and_the_booth_says_so(store):
    care = Care(suspected="chemical taint", smelling_by="Ida Brandt", smelling_on="2026-10-06")
    here_id = "a" * 32
    prepared(store, care, here_id)
    assert workflow.agree(store, here_id, who=BY).details.care.smelling_only
    words = ballot_words("en")
    plan = shared.serving_plan("triangle", ["Anna"], seed=2**128 + 4)
    booth_plans.serve(store, here_id, plan, shared.ballot_lines(plan), who=BY)
    shared.declare(store, here_id, "none")
    token = booth_plans.open_booths(store, here_id, who=BY)["Anna"]
    here = booths.visit(store, token)
    assert here.smelling
    assert words["caution_smell_only"] in here.told
    assert words["caution_swallow"] not in here.told


def test_names_of_care_are_persons_that_can_be_erased(store):
    prepared(store, CARE)
    workflow.agree(store, "s1", who=BY)
    store.erase_person("food safety", who="test", why="asked for")
    assert store.session("s1").details.care.cleared_by == "erased 1"
    assert store.verify() == []


# Servings.


def test_servings_count_cups_of_the_day_over_sessions(store):
    first, plan = shared.planned(store)
    second, _ = shared.planned(store, people=("ANNA", "Dora"), seed=2**128 + 6)
    with_care(store, first, contains=(Substance(kind="alcohol", amount=0.5),), most=5)
    with_care(store, second, contains=(Substance(kind="alcohol", amount=2.0),))
    shared.newer(store, second, 210)  # of other days; the newest 200 were all that was looked at
    cups = sum(row.assessor == "Anna" for row in plan.rows)
    assert cups == 3  # a triangle
    anna, bo, _ = servings_of_the_day(store, first)
    assert (anna.here, anna.today, anna.above) == (3, 6, True)
    assert anna.amounts == (("alcohol, g", "7.5"),)  # 3 x 0.5 + 3 x 2
    assert (bo.here, bo.today, bo.above) == (3, 3, False)


def test_servings_of_another_day_do_not_count(store):
    first, _ = shared.planned(store)
    second, _ = shared.planned(store, seed=2**128 + 6)
    session = store.session(second)
    other = replace(session.details, held_on="2026-10-08")
    workflow.describe(store, second, details=other, who=BY)
    assert [person.today for person in servings_of_the_day(store, first)] == [3, 3, 3]


# Minors.


def test_a_minor_without_consent_on_file_is_not_served(store):
    session_id, _, tokens = shared.at_booths(store)
    minors.say_minor(store, tokens["Anna"])
    here = booths.visit(store, tokens["Anna"])
    assert (here.minor, here.barred) == (True, "guardian_missing")
    with pytest.raises(RecordError, match="without a guardian's consent on file"):
        booths.consent(store, tokens["Anna"])
    assert all(texts["not served"] for texts in shared.lines_of(store, session_id, "Anna").values())
    minors.state_minor(store, session_id, "Anna", consent_on="2026-10-01", who=BY)
    assert minors.minors_of(store, session_id) == {"Anna": "2026-10-01"}
    booths.consent(store, tokens["Anna"])
    assert booths.visit(store, tokens["Anna"]).ballot is not None
    assert booths.visit(store, tokens["Bo"]).barred == ""


def test_no_consent_serves_a_minor_what_is_for_adults(store):
    session_id, _, tokens = shared.at_booths(store)
    with_care(store, session_id, contains=(Substance(kind="alcohol"),))
    minors.state_minor(store, session_id, "Anna", consent_on="2026-10-01", who=BY)
    assert booths.visit(store, tokens["Anna"]).barred == "adults_only"
    with pytest.raises(RecordError, match="minor"):
        booths.consent(store, tokens["Anna"])


def test_who_is_of_age_after_all_is_served(store):
    session_id, _, tokens = shared.at_booths(store)
    minors.say_minor(store, tokens["Anna"])
    minors.state_adult(store, session_id, "Anna", who=BY)
    booths.consent(store, tokens["Anna"])
    assert booths.visit(store, tokens["Anna"]).ballot is not None


@pytest.mark.parametrize(
    ("name", "day", "match"),
    [("Anna", "tomorrow", "must be a date"), ("Anna", "2999-01-01", "still to come"),
     ("Zoë", "", "is not in the plan")],
)  # fmt: skip
def test_impossible_statements_about_minors_are_refused(store, name, day, match):
    session_id, _ = shared.planned(store)
    with pytest.raises(RecordError, match=match):
        minors.state_minor(store, session_id, name, consent_on=day, who=BY)


# Adverse reactions.


def test_a_reaction_stops_every_booth_until_the_leader_takes_it_up(store):
    session_id, _, tokens = shared.at_booths(store)
    for token in tokens.values():
        booths.consent(store, token)
    ballot = shared.waiting(store, tokens["Bo"])
    reactions.feel_unwell(store, tokens["Anna"])
    reactions.feel_unwell(store, tokens["Anna"])  # a second tap
    assert len(store.session(session_id).details.care.reactions) == 1
    assert store.session(session_id).stage == "stopped: adverse reaction"
    assert booths.visit(store, tokens["Bo"]).stopped
    assert booths.visit(store, tokens["Anna"]).unwell
    with pytest.raises(RecordError, match="Tasting is stopped"):
        booths.send(store, tokens["Bo"], ballot.line, shown={})
    with pytest.raises(RecordError, match="nothing more is served"):
        booth_plans.add_late(store, session_id, "Dora", who=BY)
    with pytest.raises(RecordError, match="nothing more is served"):
        booth_plans.open_booths(store, session_id, who=BY)
    with pytest.raises(RecordError, match="take it up first"):
        workflow.close(store, session_id, who=BY)
    (_, name), *_ = reactions.unwell(store, store.session(session_id))
    assert name == "Anna"
    plain = {"by": BY, "done": "sample withdrawn; food safety told", "who": BY}
    reactions.take_up(store, session_id, **plain, goes_on=True)
    shared.fill(store, tokens["Bo"], ballot)
    booths.send(store, tokens["Bo"], ballot.line, shown={})
    assert store.verify() == []


def test_an_ended_session_stays_stopped_and_can_be_closed(store):
    session_id, _, tokens = shared.at_booths(store)
    shared.finish(store, tokens["Bo"])
    reactions.report_reaction(store, session_id, "Anna", who=BY)
    reactions.report_reaction(store, session_id, who=BY)  # of somebody not said
    assert len(store.session(session_id).details.care.unwell) == 2
    reactions.take_up(store, session_id, by=BY, done="ended", goes_on=False, who=BY)
    assert booths.visit(store, tokens["Bo"]).stopped
    with pytest.raises(RecordError, match="Tasting is stopped"):
        booths.consent(store, tokens["Anna"])
    workflow.close(store, session_id, who=BY)


def test_a_reaction_after_closing_is_on_record_and_told(store):
    session_id, _, tokens = shared.at_booths(store, people=("Anna",))
    shared.finish(store, tokens["Anna"])
    workflow.close(store, session_id, who=BY)
    reactions.feel_unwell(store, tokens["Anna"])
    told = done_afterwards(store.entries(session_id))
    assert any("adverse reaction: seat 1: nothing more is served" in line for line in told)


def test_a_description_does_not_remove_a_reaction(store):
    session_id, _, tokens = shared.at_booths(store)
    before = store.session(session_id).details
    reactions.feel_unwell(store, tokens["Anna"])
    workflow.describe(store, session_id, details=replace(before, place="room 2"), who=BY)
    assert len(store.session(session_id).details.care.reactions) == 1


@pytest.mark.parametrize(
    ("by", "done", "match"),
    [("", "rest", "Say who takes it up"), ("Mira", " ", "Say what was done")],
)
def test_taking_up_says_who_and_what(store, by, done, match):
    session_id, _ = shared.planned(store)
    reactions.report_reaction(store, session_id, who=BY)
    with pytest.raises(RecordError, match=match):
        reactions.take_up(store, session_id, by=by, done=done, goes_on=True, who=BY)


def test_reactions_are_refused_where_they_cannot_be(store):
    session_id, _ = shared.planned(store)
    with pytest.raises(RecordError, match="'Zoë' is not in this session"):
        reactions.report_reaction(store, session_id, "Zoë", who=BY)
    with pytest.raises(RecordError, match="link is not valid"):
        reactions.feel_unwell(store, f"{session_id}.{'x' * 32}")
    with pytest.raises(RecordError, match="No adverse reaction waits"):
        reactions.take_up(store, session_id, by=BY, done="rest", goes_on=True, who=BY)


def test_the_record_keeps_no_symptom():
    kept = {"at", "seat", "taken_up_at", "taken_up_by", "goes_on", "done"}
    assert set(Reaction(at="2026-10-07T10:00:00+00:00").to_dict()) == kept

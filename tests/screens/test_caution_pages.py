"""What can harm, on the pages: told at the booth, entered and taken up by the leader."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.languages import ballot_words
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions, minors, reactions, workflow
from sensory.sessions.allergens import served_samples
from sensory.sessions.care import Care, Substance
from sensory.sessions.signing import TYPED, signed_words

from .pages import BY, ballot, booth, click, keys, put, run, sound, words

HERE = "0" * 32
ALCOHOL = (Substance(kind="alcohol", amount=0.4, age=16),)


def served(store, language="en", **care):
    """The link of Anna in a session with these cautions."""
    session = put(store, cells=False, here=HERE)
    details = replace(session.details, care=replace(session.details.care, **care))
    workflow.describe(store, HERE, details=details, who="t")
    workflow.agree(store, HERE, who=BY)
    plan = serving_plan("triangle", ["Anna", "Bo"], seed=2**128 + 3)
    booth_plans.serve(store, HERE, plan, ballot_lines(plan), language=language, who=BY)
    declared = dict.fromkeys(served_samples(store.session(HERE)), "none")
    exclusions.declare_allergens(store, HERE, declared, who=BY)
    return booth_plans.open_booths(store, HERE, who=BY)["Anna"]


@pytest.mark.parametrize("language", ["en", "de", "es", "fr"])
def test_a_booth_warns_of_alcohol_before_consent(store, url, language):
    app = booth(url, served(store, language, contains=ALCOHOL))
    told = ballot_words(language)
    assert told["caution_alcohol"].format(age=16) in words(app)
    assert [box.label for box in app.checkbox] == [told["consent"]]
    assert app.button(key="booth-begin").disabled


def test_one_click_at_a_booth_stops_the_session_and_the_leader_takes_it_up(store, url):
    token = served(store)
    booths.consent(store, token)
    app = booth(url, token)
    click(app, "booth-unwell")
    assert "Tasting is stopped" in words(app)
    assert ballot(app) is None
    leader = run("serve", url, HERE)
    assert "Adverse reaction: Anna" in words(leader)
    assert "open-booths" not in keys(leader)
    assert leader.button(key="take-up").disabled
    leader.text_input(key=f"unwell-by-{HERE}").set_value("Mira").run()
    leader.text_input(key=f"unwell-done-{HERE}").set_value("food safety told").run()
    leader.radio(key=f"unwell-then-{HERE}").set_value("The tasting goes on").run()
    click(leader, "take-up")
    assert not store.session(HERE).details.care.stopped
    assert ballot(booth(url, token))


@pytest.mark.parametrize("page", ["serve", "ballots"])
def test_one_click_of_the_leader_stops_the_session(store, url, page):
    served(store)
    click(run(page, url, HERE), "report-reaction")
    assert len(store.session(HERE).details.care.unwell) == 1


def test_an_ended_session_says_so(store, url):
    token = served(store)
    reactions.report_reaction(store, HERE, who=BY)
    reactions.take_up(store, HERE, by=BY, done="ended", goes_on=False, who=BY)
    assert "nothing more is served" in words(run("serve", url, HERE))
    assert "Tasting is stopped" in words(booth(url, token))


def test_a_minor_says_so_and_waits_for_the_consent_on_file(store, url):
    token = served(store)
    app = booth(url, token)
    click(app, "booth-minor")
    assert "your guardian's consent is needed first" in words(app)
    assert not app.checkbox
    leader = run("serve", url, HERE)
    assert "Anna: no consent on file" in words(leader)
    minors.state_minor(store, HERE, "Anna", consent_on="2026-10-01", who=BY)
    again = booth(url, token)
    assert [box.label for box in again.checkbox] == [ballot_words("en")["consent_minor"]]


def test_a_booth_for_smelling_asks_nobody_to_taste(store, url):
    care = {"suspected": "chemical taint", "smelling_by": "Ida", "smelling_on": "2026-10-06"}
    token = served(store, **care)
    app = booth(url, token)
    assert ballot_words("en")["caution_smell_only"] in words(app)
    booths.consent(store, token)
    assert "to be smelled from left to right" in words(booth(url, token))
    assert "smelled only" in words(run("serve", url, HERE))


def test_the_leader_sees_servings_a_person_and_day(store, url):
    served(store, contains=ALCOHOL, most=2)
    app = run("serve", url, HERE)
    table = next(t.value for t in app.dataframe if "this session" in t.value.columns)
    shown = table.to_dict("records")
    assert shown[0] == {"assessor": "Anna", "this session": 3, "today": 3, "alcohol, g": "1.2"}
    assert "More than 2 servings today: Anna, Bo." in words(app)


def test_who_cleared_and_what_is_in_it_are_entered_with_the_question(store, url):
    session = put(store, cells=False)
    bare = replace(session.details, care=Care())
    workflow.describe(store, "s1", details=bare, who="t")
    app = run("question", url)
    assert "Who cleared the samples for tasting, and on which day?" in words(app)
    app.text_input(key="q-care-cleared-by-s1").set_value("Ida Brandt").run()
    app.date_input(key="q-care-cleared-on-s1").set_value("2026-10-06").run()
    app.text_input(key="q-care-evidence-s1").set_value("residue test passed").run()
    assert not store.session("s1").details.care.cleared_by  # nobody signed yet
    click(app, "care-cleared")
    assert "Cleared: by Ida Brandt, food safety on 2026-10-06: residue test passed." in words(app)
    assert "care-cleared" not in keys(app)
    app.multiselect(key="q-care-contains-s1").set_value(["caffeine"]).run()
    sound(app.number_input(key="q-care-caffeine-amount-s1").set_value(12.0).run())
    care = store.session("s1").details.care
    assert (care.cleared_by, care.cleared_on) == ("Ida Brandt", "2026-10-06")
    (signed,) = (entry for entry in store.entries("s1") if "signed" in entry.content)
    assert signed_words(signed) == f"Ida Brandt, food safety ({TYPED})"
    assert care.contains == (Substance(kind="caffeine", amount=12.0),)
    click(app, "agree")
    frozen = str([table.value.to_dict() for table in run("question", url).table])
    assert "Ida Brandt" in frozen
    assert "residue test passed" in frozen


def test_a_suspected_taint_is_not_agreed_for_tasting(store, url):
    put(store, cells=False)
    app = run("question", url)
    sound(app.selectbox(key="q-care-suspected-s1").set_value("chemical taint").run())
    assert "not tasted" in words(app)
    click(app, "agree")
    assert "not tasted" in app.error[-1].value
    assert not store.session("s1").agreed
    app.text_input(key="q-care-smelling-by-s1").set_value("Ida Brandt").run()
    app.date_input(key="q-care-smelling-on-s1").set_value("2026-10-06").run()
    click(app, "care-smelling")
    assert "Smelled only: allowed by Ida Brandt, food safety on 2026-10-06." in words(app)
    sound(app.selectbox(key="q-care-suspected-s1").set_value("nothing of the kind").run())
    care = store.session("s1").details.care
    assert (care.suspected, care.smelling_by, care.cleared_by) == ("", "", "")

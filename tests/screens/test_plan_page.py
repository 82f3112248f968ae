"""The planning page: from a question in words to a number."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.integrate import quad
from scipy.stats import binom, norm

from sensory.base.findings import Finding
from sensory.catalogue.frames import frame_of
from sensory.catalogue.tests import find_kind
from sensory.ratings.profile import profile
from sensory.ratings.profile_plan import profile_plan
from sensory.ratings.scatter import known_scatter
from sensory.sessions.learned import learned_from
from sensory.sessions.workflow import checked_ballots
from sensory.store.repository import open_store

from .pages import click, put, run, sound, words


@pytest.fixture
def app(url):
    return run("plan", url, None)


def limited(app, dprime=1.6):
    """The page with the limit that was agreed."""
    return app.number_input(key="plan-limit-d").set_value(dprime).run()


def test_no_limit_is_proposed_and_nothing_is_planned_without_one(app):
    assert app.number_input(key="plan-limit-d").value is None
    assert "No limit yet" in words(app)
    assert "of 100 assessors 30 notice; 70 guess" in words(app)
    assert not any("plan-open" in button.key for button in app.button)


def test_the_limit_is_told_in_people_and_in_the_other_tests(app):
    limited(app, 1.0)
    # pd at d' = 1: triangle .127 (Ennis 1993, from memory), the integral of its decision rule.
    assert "triangle 12.7 %" in words(app)


def test_lots_are_planned_against_assessors(app):
    app.number_input(key="plan-people").set_value(12).run()
    limited(app, 2.0)
    said = words(app)
    assert "more assessors do not stand in for lots" in said
    assert "Nothing is proposed: it follows from lots that were compared before." in said
    sound(app.number_input(key="plan-lot-sd").set_value(0.2).run())
    assert "With one lot of each recipe no number of assessors speaks of the recipes" in words(app)
    assert "lots of each recipe with" in words(app)


def test_looks_and_training_are_asked_for(app):
    limited(app)
    sound(app.radio(key="plan-looks").set_value("yes, and it can be masked").run())
    assert "Recommended: tetrad, looks masked" in words(app)
    app.radio(key="plan-question").set_value("similar").run()
    sound(app.radio(key="plan-looks").set_value("yes, and it cannot be masked").run())
    assert "Recommended: paired comparison" in words(app)
    sound(app.radio(key="plan-trained").set_value("yes").run())
    assert "Recommended: profile" in words(app)


def test_every_question_gets_a_method_and_a_reason(app):
    for question, method in {
        "different": "tetrad",
        "similar": "tetrad",
        "more": "paired comparison",
        "size": "tetrad",
        "reference from memory": "A - not A",
    }.items():
        sound(app.radio(key="plan-question").set_value(question).run())
        assert f"Recommended: {method}" in words(app)
        assert "**for:**" in words(app)


def test_triangle_at_thirty_per_cent_is_the_printed_size(app):
    app.selectbox(key=app.selectbox[0].key).set_value("triangle").run()
    app.radio(key="plan-unit-triangle").set_value("share of assessors who notice").run()
    app.number_input(key="plan-limit-TRIANGLE-pd").set_value(0.30).run()
    # 66 assessors: ISO 4120, alpha = beta = 0.05, pd = 30 % (from memory).
    assert "Too few: take 66." in words(app)
    assert "42 more assessors, 66 in all." in words(app)


def test_decision_table_has_all_five_findings_with_their_risks(app):
    app.number_input(key="plan-people").set_value(66).run()
    app.selectbox(key=app.selectbox[0].key).set_value("triangle").run()
    app.radio(key="plan-unit-triangle").set_value("share of assessors who notice").run()
    app.number_input(key="plan-limit-TRIANGLE-pd").set_value(0.30).run()
    rows = [row for table in app.table for row in table.value.to_dict("records")]
    by_finding = {row["finding"]: row for row in rows if "finding" in row}
    assert set(by_finding) == {finding.heading.lower() for finding in Finding}
    # counts and chances by scipy, at 30 %: similar to 28, different from 29, beyond from 43
    assert by_finding["different"]["correct answers"] == "29 to 42"
    beyond = f"{100 * binom.sf(42, 66, 1 / 3 + 2 / 3 * 0.3):.1f} %"
    assert by_finding["beyond limit"]["at the limit"] == beyond


def test_a_limit_too_fine_for_any_panel_is_told_and_ends_the_page(app):
    sound(limited(app, 0.01))
    assert "would need more than 200,000 assessors" in words(app)
    assert not any("plan-open" in button.key for button in app.button)


def paired(app):
    """The page for a paired comparison with a limit."""
    app.radio(key="plan-question").set_value("more").run()
    app.radio(key="plan-unit-paired comparison").set_value("share of assessors who notice").run()
    return sound(app.number_input(key="plan-limit-PAIRED-pd").set_value(0.30).run())


def test_without_an_expected_direction_a_paired_comparison_is_two_sided(app, url):
    paired(app)
    # 145 at alpha = beta = 0.05 and 30 %, by a scan in tests/choices/test_two_sided_sizes.py
    assert "Too few: take 145." in words(app)
    assert "direction not known beforehand (two-sided)" in words(app)
    rows = [row for table in app.table for row in table.value.to_dict("records")]
    beyond = next(row for row in rows if row.get("finding") == "beyond limit")
    assert beyond["answers for one sample"] == "0 to 3; 21 to 24"
    assert "plan-most" not in [field.key for field in app.number_input]
    click(app, "plan-open-24")
    assert app.session_state["planned"].question.two_sided


def test_with_an_expected_direction_it_is_one_sided(app, url):
    paired(app).radio(key="plan-direction").set_value("yes: one-sided").run()
    assert "Too few: take 119." in words(app)
    assert "plan-most" in [field.key for field in app.number_input]
    click(app, "plan-open-24")
    assert not app.session_state["planned"].question.two_sided


def planned_with(app, method, question="size"):
    """The page for a method that is no forced choice, on a trained panel."""
    app.radio(key="plan-question").set_value(question).run()
    app.radio(key="plan-trained").set_value("yes").run()
    return sound(app.selectbox(key=app.selectbox[0].key).set_value(method).run())


def test_a_ranking_says_how_many_ballots_a_pair_takes(app):
    app.number_input(key="plan-people").set_value(6).run()
    said = words(planned_with(app, "ranking", "more"))
    # closed tests: 2 / 2^n at the level of all pairs, by hand in tests/ratings/test_ranking.py
    assert "6 with 3 samples, 7 with 4 samples, 7 with 5 samples, 7 with 6 samples" in said
    assert "Too few" not in said
    app.number_input(key="plan-people").set_value(5).run()
    assert "Too few: with 5 ballots no two samples can be told apart." in words(app)


def test_without_a_profile_on_record_two_standard_deviations_are_asked_for(app, url):
    said = words(planned_with(app, "profile"))
    assert "There is no closed session with this test on record" in said
    assert "assessors show" not in said
    app.number_input(key="plan-interaction").set_value(0.5).run()
    app.number_input(key="plan-error").set_value(0.9).run()
    assert "No margin yet" in words(app)
    app.number_input(key="plan-replicates").set_value(2).run()
    sound(app.text_input(key="plan-margins-").set_value("1").run())
    # 16 for these numbers by the scan of tests/ratings/test_profile_plan.py
    assert "16 assessors show 1 attribute within the margins" in words(app)
    sound(app.text_input(key="plan-margins-").set_value("salt 1").run())
    assert "must be one of the attributes" in words(app)
    click(app, "plan-method-open")
    assert app.session_state["planned"].question.protocol == "PROFILE"


def test_a_closed_profile_lends_its_scatter_and_the_agreed_margins(url):
    store = open_store(url)
    session = put(store, "pressing", "closed")
    app = planned_with(run("plan", url, None), "profile")
    margins = find_kind("PROFILE").margins(session.question.settings)
    assert app.selectbox(key="plan-earlier").value == session.id
    learned = learned_from(store, session)
    frame = frame_of(checked_ballots(store, session.id).rows)
    components = profile(frame).components.set_index(["attribute", "source"])["sd"]
    for name, (interaction, error) in learned.panel.scatter.items():
        assert interaction == pytest.approx(components[name, "assessor x sample"], rel=1e-9)
        assert error == pytest.approx(components[name, "error"], rel=1e-9)
    assert learned.panel == known_scatter(profile(frame))
    plan = profile_plan(profile(frame), margins=margins)
    assert plan.assessors_upper > plan.assessors
    assert plan.says(24) in words(app)
    click(app, "plan-method-open")
    settings = app.session_state["planned"].question.settings
    assert find_kind("PROFILE").margins(settings) == margins
    app = planned_with(run("plan", url, None), "profile")
    sound(app.selectbox(key="plan-earlier").set_value("").run())
    assert "plan-interaction" in [field.key for field in app.number_input]


def test_carry_over_speaks_against_many_tastings(app):
    app.checkbox(key="plan-carry").check().run()
    assert "Recommended: same-different" in words(app)
    assert "counts assessors for forced choices, rankings and" in words(app)


def test_enough_people_are_told_so(app):
    limited(app)
    app.number_input(key="plan-people").set_value(300).run()
    assert "300 is enough." in words(app)
    assert "Every outcome decides" in words(app)


def test_plan_opens_a_session_with_its_numbers(app, url):
    click(limited(app), "plan-open-24")
    question = app.session_state["planned"].question
    assert (question.protocol, question.assessors) == ("TETRAD", 24)
    # d-prime 1.6 in a tetrad: the integral of its decision rule, by scipy's quadrature.
    inside = quad(
        lambda z: norm.pdf(z) * (2 * norm.cdf(z) * norm.cdf(z - 1.6) - norm.cdf(z - 1.6) ** 2),
        -9,
        9,
    )[0]
    assert question.pd_limit == pytest.approx((1 - 2 * inside - 1 / 3) * 1.5, abs=1e-4)
    assert Path(url.removeprefix("sqlite:///")).exists()

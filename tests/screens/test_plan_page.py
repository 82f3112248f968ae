"""The planning page: from a question in words to a number."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.integrate import quad
from scipy.stats import binom, norm

from sensory.base.findings import Finding
from sensory.store.repository import open_store

from .pages import click, run, sound, words


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
    assert "plan-open" not in [button.key for button in app.button]


def test_the_limit_is_told_in_people_and_in_the_other_tests(app):
    limited(app, 1.0)
    # pd at d' = 1: triangle .127 (Ennis 1993, from memory), the integral of its decision rule.
    assert "triangle 12.7 %" in words(app)


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
    assert "66 assessors keep both risks; you have 24" in words(app)
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


def test_carry_over_speaks_against_many_tastings(app):
    app.checkbox(key="plan-carry").check().run()
    assert "Recommended: same-different" in words(app)
    assert "counts assessors for forced choices only" in words(app)


def test_enough_people_are_told_so(app):
    limited(app)
    app.number_input(key="plan-people").set_value(300).run()
    assert "you have enough" in words(app)
    assert "Every outcome decides" in words(app)


def test_plan_opens_a_session_with_its_numbers(app, url):
    click(limited(app), "plan-open")
    (session,) = open_store(url).sessions()
    assert (session.question.protocol, session.question.assessors) == ("TETRAD", 24)
    # d-prime 1.6 in a tetrad: the integral of its decision rule, by scipy's quadrature.
    inside = quad(
        lambda z: norm.pdf(z) * (2 * norm.cdf(z) * norm.cdf(z - 1.6) - norm.cdf(z - 1.6) ** 2),
        -9,
        9,
    )[0]
    assert session.question.pd_limit == pytest.approx((1 - 2 * inside - 1 / 3) * 1.5, abs=1e-4)
    assert Path(url.removeprefix("sqlite:///")).exists()

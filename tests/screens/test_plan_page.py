"""The planning page: from a question in words to a number."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.integrate import quad
from scipy.stats import norm

from sensory.store.repository import open_store

from .pages import click, run, sound, words


@pytest.fixture
def app(url):
    return run("plan", url, None)


def test_every_question_gets_a_method_and_a_reason(app):
    for question, method in {
        "different": "tetrad",
        "similar": "tetrad",
        "more": "paired comparison",
        "size": "difference from control",
        "reference from memory": "A - not A",
    }.items():
        sound(app.radio(key="plan-question").set_value(question).run())
        assert f"Recommended: {method}" in words(app)
        assert "**for:**" in words(app)


def test_triangle_at_thirty_per_cent_is_the_printed_size(app):
    app.selectbox(key=app.selectbox[0].key).set_value("triangle").run()
    app.radio(key="plan-unit-triangle").set_value("share who notice (triangle only)").run()
    # 66 assessors: ISO 4120, alpha = beta = 0.05, pd = 30 % (from memory).
    assert "66 assessors keep both risks; you have 24" in words(app)
    assert "42 more assessors, 66 in all." in words(app)


def test_carry_over_speaks_against_many_tastings(app):
    app.checkbox(key="plan-carry").check().run()
    assert "Recommended: same-different" in words(app)
    assert "counts assessors for forced choices only" in words(app)


def test_enough_people_are_told_so(app):
    app.number_input(key="plan-people").set_value(300).run()
    assert "you have enough" in words(app)
    assert "Every outcome decides" in words(app)


def test_plan_opens_a_session_with_its_numbers(app, url):
    click(app, "plan-open")
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

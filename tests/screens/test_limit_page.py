"""The page Limit: both roads, what a limit costs, and who agrees it."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from sensory.release.product_desk import agree_rule, enter_product, rule_of, the_product
from sensory.release.rule import ReleaseRule
from sensory.store.repository import Repository, open_store

from .pages import SCRIPT, click, fill, run, sound, words

PRODUCT = "Sloe *cordial*"
POINTS = ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=1.5, assessors=12, scatter=0.7)


@pytest.fixture
def store(url: str) -> Repository:
    store = open_store(url)
    enter_product(store, PRODUCT, who="Mira")
    return store


def invented(url: str) -> AppTest:
    """The page among invented data, where a prepared study stands for an upload."""
    script = SCRIPT.replace("demo=Path({demo!r})", "demo=Path({demo!r}), invented=True")
    text = script.format(page="limit", url=url, demo="demo_data", asked={}, arguments=())
    return sound(AppTest.from_string(text, default_timeout=60).run())


def test_without_a_rule_the_page_says_where_one_is_agreed(store, url):
    app = run("limit", url, None)
    assert "Agree a release rule on the page Products first" in words(app)
    assert not app.number_input


def test_consumers_set_a_limit_that_is_agreed_with_its_reason(store, url):
    agree_rule(store, PRODUCT, POINTS, who="Mira", why="management")
    app = click(invented(url), "limit-invented-study")
    assert "The limit is shown once this number is typed." in words(app)
    app = fill(app, **{f"limit-share-{PRODUCT}": 0.25})
    assert "90 consumers answered on 5 samples." in words(app)
    assert "Limit to agree: 0.936 points, the lower limit." in words(app)
    assert "0 batches sold without complaint" in words(app)
    app = fill(app, **{f"limit-distance-{PRODUCT}": 0.93})
    assert "An unchanged batch passes with a chance of" in words(app)
    assert app.button(key="limit-agree").disabled
    app = fill(app, **{f"limit-why-{PRODUCT}": "study of March", f"limit-by-{PRODUCT}": "Mira"})
    click(app, "limit-agree")
    record = the_product(store, PRODUCT)
    assert rule_of(record).limit == 0.93
    entry = [each for each in store.noun_entries(record) if each.what == "rule agreed"][-1]
    assert entry.who == "Mira"
    assert entry.why.startswith("Limit from answers of consumers: study of March (90 consumers")

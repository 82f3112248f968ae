"""The page Limit: both roads, what a limit costs, and who agrees it."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from sensory.choices.two_stage import two_stage_plan
from sensory.release.product_desk import agree_rule, enter_product, rule_of, the_product
from sensory.release.rule import ReleaseRule
from sensory.release.study_desk import withdraw_study
from sensory.report.printed import printed
from sensory.report.study_documents import StudyReport
from sensory.store.repository import Repository, open_store

from ..report.shared import text_of
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
    assert "Still to be agreed: Share of consumers whose rejection is accepted" in words(app)
    app = fill(app, **{"study-consumers-accept-share": 25.0})
    assert "90 consumers answered on 5 samples." in words(app)
    assert "Limit to agree: 0.936 points, the lower limit." in words(app)
    assert "0 batches sold without complaint" in words(app)
    app = fill(app, **{f"limit-distance-{PRODUCT}": 0.93})
    assert "An unchanged batch passes with a chance of" in words(app)
    assert "A fair pass takes" in words(app)
    assert app.button(key="limit-agree").disabled
    app = fill(app, **{f"limit-why-{PRODUCT}": "study of March", f"limit-by-{PRODUCT}": "Mira"})
    click(app, "limit-agree")
    record = the_product(store, PRODUCT)
    assert rule_of(record).limit == 0.93
    entry = [each for each in store.noun_entries(record) if each.what == "rule agreed"][-1]
    assert entry.who == "Mira"
    assert entry.why.startswith("Limit from answers of consumers: study of March (90 consumers")
    fill(app, limit_consumers_title="March")
    fill(app, limit_consumers_by_who="Mira")
    click(app, "limit-consumers-keep")
    (kept,) = store.studies(product=PRODUCT)
    assert kept.digest[:12] in entry.why
    assert (kept.kind, kept.settings["share"]) == ("consumers accept", 0.25)
    assert kept.outcome.sentence.startswith("Limit to agree: 0.936 points, the lower limit.")
    report = StudyReport(study=kept, kept=True, printed_at="2026-11-28T08:00:00+00:00")
    assert kept.outcome.sentence in text_of(printed(report))
    assert "March" in words(run("limit", url, None))
    withdraw_study(store, kept.key, who="Mira", why="cups mixed up")
    said = words(run("limit", url, None))
    assert "This limit rests on March. Withdrawn by Mira" in said
    app = click(invented(url), "limit-invented-study")
    app = fill(app, **{"study-consumers-accept-share": 25.0})
    assert "These rows with these settings are not used. Withdrawn by Mira" in words(app)
    assert "Limit to agree" not in "".join(head.value for head in app.subheader)


def test_a_profile_takes_the_limit_as_a_margin_and_a_second_tasting_is_planned_anew(store, url):
    profile = ReleaseRule(test="PROFILE", margins={"sour": 1.0, "sweet": 0.5}, assessors=12)
    agree_rule(store, PRODUCT, profile, who="Mira", why="management")
    app = run("limit", url, None)
    assert "set a margin by what consumers accept" in words(app)
    app = fill(app, **{f"limit-distance-{PRODUCT}-sour": 0.9})
    assert "The margin counts in both directions" in words(app)
    assert "sour 0.9, sweet 0.5" in words(app)
    app = fill(app, **{f"limit-why-{PRODUCT}": "study of March", f"limit-by-{PRODUCT}": "Mira"})
    click(app, "limit-agree")
    assert dict(rule_of(the_product(store, PRODUCT)).margins) == {"sour": 0.9, "sweet": 0.5}
    plan = two_stage_plan("triangle", most=40, pd_limit=0.5)
    twice = ReleaseRule(test="TRIANGLE", limit=0.5, assessors=plan.first, retest=plan)
    agree_rule(store, PRODUCT, twice, who="Mira", why="two tastings")
    app = fill(run("limit", url, None), **{f"limit-distance-{PRODUCT}": 2.5})
    assert "The second tasting is planned anew for this limit" in words(app)
    app = fill(app, **{f"limit-why-{PRODUCT}": "again", f"limit-by-{PRODUCT}-who": "Mira"})
    click(app, "limit-agree")
    new = rule_of(the_product(store, PRODUCT))
    assert new.retest.pd_limit == new.limit > 0.5


@pytest.mark.parametrize(
    ("rows", "sentence"),
    [
        (["K1,A,0.5,accept", "K1,B,1,reject", "K1,C,2,reject"], "One consumer"),
        ([f"K{n},{s},{d},accept" for n in range(12) for s, d in (("A", 0), ("B", 1), ("C", 2))],
         "reject"),
        ([f"K{n},{s},{d},reject" for n in range(12) for s, d in (("A", 0), ("B", 1), ("C", 2))],
         "reject"),
        ([f"K{n},{s},{d},{'accept' if d < 1 else 'reject'}" for n in range(12)
          for s, d in (("A", 0), ("B", 0.5), ("C", 1), ("D", 2))], "cannot say where"),
    ],
)  # fmt: skip
def test_bad_designs_get_a_sentence_and_no_limit(store, url, rows, sentence):
    agree_rule(store, PRODUCT, POINTS, who="Mira", why="management")
    text = "\n".join(["consumer,sample,distance,answer", *rows])
    app = run("limit", url, None)
    app.file_uploader(key=f"limit-file-{PRODUCT}").upload("bad.csv", text.encode())
    sound(app.run())
    fill(app, **{"study-consumers-accept-share": 25.0})
    assert sentence in app.subheader[1].value
    assert "Limit to agree" not in words(app)


def test_an_unreadable_study_is_no_matter_of_ballots(store, url):
    agree_rule(store, PRODUCT, POINTS, who="Mira", why="management")
    app = run("limit", url, None)
    app.file_uploader(key=f"limit-file-{PRODUCT}").upload("old.xlsx", b"\xd0\xcf\x11\xe0" * 9)
    assert "The file cannot be read: an old workbook" in words(sound(app.run()))
    assert "ballot" not in words(app)

"""Pages of sessions that are no forced choice, and plans that stop early."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from sensory.base.findings import Finding
from sensory.catalogue.tests import TESTS
from sensory.choices.plans import panel_plan
from sensory.choices.protocols import TRIANGLE
from sensory.sessions import workflow

from .pages import BY, DEMO, put, run, words

DEMOS = {
    "A_NOT_A": "shop_light",
    "SAME_DIFFERENT": "new_thickener",
    "SURENESS": "water",
    "PROFILE": "pressing",
    "DIFFERENCE_FROM_CONTROL": "gasket",
    "RANKING": "aftertaste",
    "TICKED_WORDS": "words",
    "GRADING": "line_grading",
    "RISING_SETS": "taint",
}


def test_every_method_has_a_demo():
    assert set(DEMOS) == {key for key, kind in TESTS.items() if not kind.protocol}
    assert all((DEMO / f"{name}.csv").exists() for name in DEMOS.values())


@pytest.mark.parametrize("name", ["suspect_batch", *DEMOS.values()])
@pytest.mark.parametrize("stage", ["open", "agreed", "closed"])
def test_pages_run_at_every_stage(store, url, name, stage):
    put(store, name, stage)
    pages = ["sessions", "question", "ballots", "finding"]
    for page in [*pages, "plan"] if name == "suspect_batch" else pages:
        app = run(page, url)
        assert not app.error, page
        assert app.title, page


def test_settings_are_kept_and_frozen(store, url):
    put(store, "new_thickener")
    app = run("question", url)
    limit = app.number_input(key="q-SAME_DIFFERENT-dprime_limit-s1")
    limit.set_value(0.8).run()
    assert store.session("s1").question.settings["dprime_limit"] == 0.8
    workflow.agree(store, "s1", who=BY)
    frozen = run("question", url)
    assert not frozen.number_input
    assert "0.8" in str([table.value.to_dict() for table in frozen.table])


def test_a_graded_test_asks_for_no_limit_and_no_beta(store, url):
    put(store, "water")
    app = run("question", url)
    fields = [field.key for field in app.number_input]
    assert not any("limit" in key or "-beta-" in key for key in fields)
    workflow.agree(store, "s1", who=BY)
    frozen = run("question", url)
    assert "surely A; perhaps A; perhaps not A; surely not A" in str(
        [table.value.to_dict() for table in frozen.table]
    )


def test_a_not_a_asks_for_no_beta(store, url):
    put(store, "shop_light")
    fields = [field.key for field in run("question", url).number_input]
    assert not any("-beta-" in key for key in fields)
    assert any("-alpha-" in key for key in fields)


def test_finding_page_shows_sentence_numbers_and_limits_of_knowledge(store, url):
    put(store, "shop_light", "closed")
    app = run("finding", url)
    assert Finding.DIFFERENT.says(limit=False) in words(app)
    assert "17 of 23 samples" in words(app)
    assert "ISO 8588:2017 excludes it" in words(app)
    assert {"sample": "A", "said 'A'": "17", "said 'not A'": "6"} in [
        row for table in app.table for row in table.value.to_dict("records")
    ]


PLAN = """
from sensory.catalogue.question import Question
from sensory.choices.plans import panel_plan
from sensory.choices.protocols import TRIANGLE
from sensory.screens.stages import ballot_by_ballot, two_stage
plan = panel_plan(TRIANGLE, 24)
two_stage(plan)
ballot_by_ballot(Question(pd_limit=0.30))
"""


@pytest.fixture
def stages():
    return AppTest.from_string(PLAN, default_timeout=60).run()


def test_counts_so_far_of_two_tastings(stages):
    plan = panel_plan(TRIANGLE, 24).two_stage
    stages.number_input(key="plan-first").set_value(plan.first).run()
    assert "**beyond limit**" in stages.info[0].value
    between = next(x for x in range(plan.first) if plan.decide(x) is None)
    stages.number_input(key="plan-first").set_value(between).run()
    assert f"{plan.second} more" in stages.info[0].value
    stages.number_input(key="plan-second").set_value(0).run()
    assert plan.decide(between, 0).heading.lower() in stages.info[0].value


def test_answers_so_far_ballot_by_ballot(stages):
    stages.text_input(key="plan-answers").set_value("1 1 1 1, 1 1 1").run()
    # Wald's line for 1/3 against 8/15 at 0.05 and 0.05: 7 right in a row cross log 19
    # (7 log 1.6 = 3.29 > 2.94), and so do the first seven letters here.
    assert "**different**" in stages.info[0].value
    stages.text_input(key="plan-answers").set_value("10").run()
    assert "2 ballots in" in stages.info[0].value
    stages.text_input(key="plan-answers").set_value("1?0").run()
    assert "'?' is neither" in stages.error[0].value


TABLES = """
from sensory.base.results import Table
from sensory.screens.finding import _tables

for many in (2, 20):
    _tables([("Numbers", Table(columns=("sample", "mean"), rows=(("PE_14 (B)", 2.5),) * many))])
"""


def test_short_tables_read_markup_and_long_grids_do_not():
    app = AppTest.from_string(TABLES, default_timeout=60).run()
    assert set(app.table[0].value["sample"]) == {r"PE\_14 \(B\)"}
    assert set(app.dataframe[0].value["sample"]) == {"PE_14 (B)"}


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("line_grading", "one at the limit passes with a chance of at most beta = 0.1."),
        ("taint", "at which half of the tastings are noticed"),
    ],
)
def test_what_a_session_can_find_is_told_in_words_of_the_test(store, url, name, shown):
    put(store, name, "agreed")
    told = words(run("question", url))
    assert shown in told
    assert "lies below what was agreed" not in told

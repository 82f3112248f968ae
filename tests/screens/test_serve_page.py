"""The Serve page: a plan in a click, and what it hands out."""

from __future__ import annotations

import pytest

from sensory.sessions import booth_plans, exclusions
from sensory.sessions.allergens import served_samples
from sensory.sessions.serving import Breaks

from .pages import BY, click, keys, put, run, sound, words


@pytest.fixture
def serve(store, url):
    """Opens the page on an agreed session without ballots, with people and samples typed."""

    def _serve(name="suspect_batch", people="", samples=()):
        put(store, name, "agreed", cells=False)
        app = run("serve", url)
        if samples:
            app.text_area(key="samples-s1").set_value("\n".join(samples)).run()
        if people:
            app.text_area(key="people-s1").set_value(people).run()
        return sound(app)

    return _serve


PRESSES = ("reference", "new press", "other press")
SEVEN = ("reference", *"bcdefg")


def test_question_comes_first(store, url):
    put(store, cells=False)
    app = run("serve", url)
    assert "question comes first" in words(app)
    assert "plan-serving" not in keys(app)


def test_session_with_ballots_takes_no_plan(store, url):
    put(store, stage="agreed")
    assert "has ballots already" in words(run("serve", url))


def test_plan_is_put_on_record_with_names_and_a_seed(store, serve):
    app = serve(people="Anna\nBo\nCleo")
    plan = on_record(store, app)
    assert plan.assessors == ("Anna", "Bo", "Cleo")
    assert f"seed {plan.seed}" in words(app)
    assert {texts["assessor"] for texts in store.cells("s1").values()} == {"Anna", "Bo", "Cleo"}


def test_samples_of_a_profile_come_from_the_page(store, url, serve):
    app = serve("pressing", "4")
    assert app.text_area(key="samples-s1").value == "reference"
    app.text_area(key="samples-s1").set_value("\n".join(PRESSES)).run()
    click(app, "plan-serving")
    assert len(store.cells("s1")) == 12
    assert "open-booths" not in keys(app)
    assert "declared first" in words(app)
    for at in range(3):
        app.text_input(key=f"allergens-s1-{at}").set_value("none" if at else "sulphites")
    click(app, "declare-allergens")
    click(app, "open-booths")
    assert "0 of 12 ballots" in words(app).replace("*", "")
    assert len(app.session_state["links-s1"]) == 4


def test_open_booths_offer_new_links_only_once_asked(store, serve):
    app = serve(people="Anna\nBo")
    click(app, "plan-serving")
    declared(store, app)
    click(app, "open-booths")
    links, booths = app.session_state["links-s1"], store.session("s1").serving.booths
    assert list(links) == ["Anna", "Bo"]
    shown = next(table.value for table in app.table if "link" in table.value.columns)
    assert {link.split("booth=")[1] for link in shown["link"]} == set(links.values())
    assert "open-booths" not in keys(app)
    assert app.button(key="new-links").disabled

    def useless():
        return next(box for box in app.checkbox if box.key.startswith("useless-"))

    useless().check().run()
    click(app, "new-links")
    assert not set(store.session("s1").serving.booths) & set(booths)
    assert not set(app.session_state["links-s1"].values()) & set(links.values())
    assert not useless().value
    assert app.button(key="new-links").disabled
    useless().check().run()
    booth_plans.open_booths(store, "s1", who=BY)  # meanwhile, in another window
    booths = store.session("s1").serving.booths
    click(app, "new-links")
    assert store.session("s1").serving.booths == booths


def test_wrong_people_get_a_sentence(serve):
    assert "stands twice" in words(serve(people="Anna\nanna"))


def arrange(app, **typed):
    """Fill fields of the expander by the beginning of their key."""
    for name, value in typed.items():
        fields = [*app.selectbox, *app.text_input, *app.number_input, *app.radio]
        next(field for field in fields if field.key.startswith(f"{name}-")).set_value(value)
        sound(app.run())
    return app


def on_record(store, app):
    click(app, "plan-serving")
    return booth_plans.served_plan(store, "s1")


def declared(store, app):
    """Declare what the description of the session leaves open."""
    texts = dict.fromkeys(served_samples(store.session("s1")), "none")
    exclusions.declare_allergens(store, "s1", texts, who=BY)
    return app.run()


def test_defaults_are_one_sitting_without_anything(store, serve):
    plan = on_record(store, serve())
    assert (plan.design.sittings, plan.design.warm_up) == (1, "")
    assert store.session("s1").serving.breaks is None


def test_sittings_warm_up_and_the_button_of_the_next_sitting(store, serve):
    app = serve(people="3")
    app.number_input(key="times-s1").set_value(3).run()
    sittings = next(box for box in app.selectbox if box.key.startswith("sittings-"))
    assert sittings.options == ["1", "2", "3"]
    plan = on_record(store, arrange(app, sittings=2, **{"warm-up": "plain syrup"}))
    assert (plan.design.sittings, plan.design.warm_up) == (2, "plain syrup")
    assert store.session("s1").serving.breaks == Breaks(minutes=0, started=1)
    assert "Missing: plain syrup" in words(app)
    declared(store, app)
    assert "Sitting 1 of 2" in words(app)
    assert "Not done yet: P01, P02, P03." in words(app)
    assert app.button(key="start-sitting-2").disabled
    exclusions.not_today(store, "s1", "P03", who=BY)
    app.run()
    assert "Not done yet: P01, P02." in words(app)
    app.checkbox(key="start-before-2").check().run()
    click(app, "start-sitting-2")
    assert store.session("s1").serving.breaks.started == 2
    assert "Sitting 2 of 2" in words(app)
    assert not [key for key in keys(app) if key.startswith("start-sitting")]


def test_one_sitting_says_how_there_are_two_and_other_ballots_are_warned_of(store, serve):
    app = serve()  # agreed for 24 ballots
    only = "serve each twice"
    assert only in words(app)
    assert not app.warning
    app.number_input(key="times-s1").set_value(2).run()
    assert only not in words(app)
    assert "for 48 ballots; the question was agreed for 24" in app.warning[0].value
    app.text_area(key="people-s1").set_value("12").run()
    assert not app.warning
    app.text_area(key="people-s1").set_value("Anna").run()
    app.number_input(key="times-s1").set_value(1).run()
    assert "for 1 ballot;" in app.warning[0].value
    on_record(store, app)  # a warning, no refusal


def test_a_profile_counts_a_ballot_line_for_each_cup(serve):
    app = serve("pressing", samples=PRESSES)  # agreed for 60 ballots
    assert "serve each twice" not in words(app)  # cups of one set go into three sittings
    app.text_area(key="people-s1").set_value("20").run()
    assert not app.warning
    app.text_area(key="people-s1").set_value("60").run()
    assert "for 180 ballots" in app.warning[0].value


def test_a_ranking_is_not_sent_to_a_second_serving_that_is_refused(serve):
    app = serve("aftertaste", samples=("sugar", "blend 1", "blend 2"))
    assert "tasted at once" in words(app)
    assert "serve each twice" not in words(app)
    sound(app.number_input(key="times-s1").set_value(2).run())
    assert "table of rankings" in app.error[0].value
    assert "plan-serving" not in keys(app)


def test_a_break_may_last_some_minutes(store, serve):
    app = serve("pressing", "4", PRESSES)
    plan = on_record(store, arrange(app, sittings=3, **{"break": "a time is over", "minutes": 20}))
    assert plan.design.sittings == 3
    assert store.session("s1").serving.breaks == Breaks(minutes=20, started=1)
    assert "at least 20 min" in words(declared(store, app))
    assert not [key for key in keys(app) if key.startswith("start-sitting")]


def test_incomplete_blocks_offer_the_numbers_that_are_whole_designs(store, serve):
    app = arrange(serve("pressing", "10", SEVEN), size=3)
    panel = next(box for box in app.selectbox if box.key.startswith("panel-"))
    assert panel.options == ["7", "14", "21", "28", "35"]
    assert panel.value == 14
    plan = on_record(store, app)
    assert len(plan.assessors) == 14
    assert (plan.design.set_size, plan.design.together) == (3, 1)
    assert len(store.cells("s1")) == 42


def test_names_that_are_no_whole_design_get_a_sentence_beside_the_choice(store, serve):
    app = serve("pressing", "\n".join(f"Guest {n}" for n in range(8)), SEVEN)
    arrange(app, size=3)
    assert "7 or 14 are" in words(app)
    assert "plan-serving" not in keys(app)
    arrange(app, sets=7)  # each assessor alone is a whole design
    assert len(on_record(store, app).assessors) == 8


def test_ranking_takes_blocks_and_keeps_one_set(store, serve):
    app = arrange(serve("aftertaste", "8", ("sugar", *"bcd")), size=2)
    assert not [field for field in app.number_input if field.key.startswith("sets-")]
    assert len(on_record(store, app).assessors) == 12


def test_names_in_the_grid_of_the_plan_are_shown_as_they_are(serve):
    """The grid draws texts; the table of evenness reads markup."""
    app = click(serve(people="Bo_1 (new)\nCleo"), "plan-serving")
    grid = next(grid.value for grid in app.dataframe if "position" in grid.value.columns)
    assert set(grid["assessor"]) == {"Bo_1 (new)", "Cleo"}

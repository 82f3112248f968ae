"""Serve page: allergens, exclusions, who came, and what was served otherwise."""

from __future__ import annotations

from dataclasses import replace

from sensory.catalogue.tests import find_kind
from sensory.screens.exclusions import sample_labels
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions, served, workflow

from .pages import BY, click, fill, keys, put, run, words


def planned(store, name="suspect_batch", key="TRIANGLE", samples=None, here="s1"):
    put(store, name, "agreed", cells=False, here=here)
    plan = serving_plan(find_kind(key), ["Anna", "Bo", "Cleo"], seed=2**128 + 69, samples=samples)
    booth_plans.serve(store, here, plan, ballot_lines(plan), who=BY)
    return plan


def stated(app, place, what, why):
    """Say what was served otherwise, and why."""
    fill(app, **{f"served-what-s1-{place}": what})
    fill(app, **{f"served-why-s1-{place}": why})
    return click(app, "serve-otherwise")


def board_of(app, column):
    """A column of the live board."""
    return list(next(t.value for t in app.table if "state" in t.value.columns)[column])


def mark(app, place, marks):
    fill(app, **{f"marked-s1-{place}": marks})
    return click(app, "keep-excluded")


def mine(store, name):
    return {n: t for n, t in store.cells("s1").items() if t["assessor"] == name}


def answered(store, name, **given):
    """Type an answer, as from paper, on the first ballot of somebody."""
    line, texts = next(iter(mine(store, name).items()))
    workflow.enter_cells(store, "s1", {line: given or {"answer": texts["code_1"]}}, who=BY)


def test_allergens_are_declared_before_anything_is_handed_out(store, url):
    planned(store, "pressing", "PROFILE", ["reference", "zinc press"])
    app = run("serve", url)
    assert "Missing: reference, zinc press" in words(app)
    assert not keys(app) & {"open-booths", "seat-late", "did-not-come", "confirm-served"}
    app.text_input(key="allergens-s1-0").set_value("milk")
    app.text_input(key="allergens-s1-1").set_value("none")
    click(app, "declare-allergens")
    assert {"open-booths", "did-not-come"} <= keys(app)
    assert "confirm-served" not in keys(app)  # nobody came yet
    answered(store, "Bo", score="2")
    assert "confirm-served" in keys(app.run())
    assert "not all declare the same" in words(app)
    app.text_input(key="allergens-s1-1").set_value("soy, in zinc press only").run()
    click(app, "declare-allergens")
    assert "in them: zinc press" in words(app)


def test_not_today_and_not_this_sample_are_marked_and_taken_back(store, url):
    planned(store)
    app = run("serve", url)
    app.selectbox(key="excluded-s1").set_value("Bo").run()
    mark(app, "1-", ["B"])
    assert exclusions.excluded_samples(store, "s1") == {"Bo": ("B",)}
    assert [t["not served"] for t in mine(store, "Bo").values()] == ["not this sample"]
    table = next(t.value for t in app.dataframe if "B (suspect batch)" in t.value.columns)
    assert list(table["B (suspect batch)"]) == ["not this sample"]
    mark(app, "1-1", [])
    assert not any("not served" in t for t in mine(store, "Bo").values())


def test_absence_is_stated_and_taken_back_beside_the_board(store, url):
    planned(store)
    app = run("serve", url)
    assert {"not-today", "did-not-come", "undo-absence", "seat-late"} <= keys(app)
    app.selectbox(key="absent-s1").set_value("Cleo").run()
    click(app, "not-today")
    assert [t["not served"] for t in mine(store, "Cleo").values()] == ["not today"]
    assert "0 of 2 ballots answered; not today: 1." in words(app)
    assert board_of(app, "state") == ["○ waiting", "○ waiting", "– not today"]
    assert app.button(key="did-not-come").disabled
    click(app, "undo-absence")
    assert not any("not served" in t for t in mine(store, "Cleo").values())
    fill(app, **{"late-s1": "Dora"})
    click(app, "seat-late")
    assert board_of(app, "name") == ["Anna", "Bo", "Cleo", "Dora"]
    assert board_of(app, "state")[3] == "○ waiting, came late"


def test_a_letter_goes_with_what_it_stands_for(store, url):
    planned(store)
    session = store.session("s1")
    assert sample_labels(session) == {"A": "A (reference)", "B": "B (suspect batch)"}
    bare = replace(session, details=replace(session.details, samples=()))
    assert sample_labels(bare) == {"A": "A (reference)", "B": "B (sample compared)"}
    planned(store, "pressing", "PROFILE", ["reference", "B"], here="s2")
    assert sample_labels(store.session("s2")) == {"reference": "reference", "B": "B"}


def test_who_did_not_come_leaves_in_a_click(store, url):
    planned(store)
    app = run("serve", url)
    app.selectbox(key="absent-s1").set_value("Bo").run()
    click(app, "did-not-come")
    assert "3 assessors planned, 1 did not come: who came" in words(app)
    answered(store, "Cleo")
    app.run()
    assert "1 did not come: 1 came, 1 without an answer." in words(app)
    assert "2 assessors" in words(app)


def test_served_as_planned_is_confirmed_and_a_turned_tray_stated(store, url):
    planned(store)
    answered(store, "Anna")
    app = run("serve", url)
    click(app, "confirm-served")
    assert "All was served as planned, confirmed" in words(app)
    app.selectbox(key="served-who-s1").set_value("Cleo").run()
    ((line, texts),) = mine(store, "Cleo").items()
    other = next(one for one in ("ABB", "BAB") if one != texts["order"])
    fill(app, **{"served-what-s1-2-0": f"served {other}"})
    assert app.button(key="serve-otherwise").disabled
    stated(app, "2-0", f"served {other}", "tray turned")
    assert f"Row {line}: planned {texts['order']}, served {other} " in words(app)
    assert "not confirmed that all else" in words(app)
    app.selectbox(key="served-what-s1-2-0").set_value("as planned after all").run()
    click(app, "serve-otherwise")
    assert store.cells("s1")[line] == texts


def test_exchanged_and_spilled_cups_are_stated(store, url):
    planned(store, "gasket", "DIFFERENCE_FROM_CONTROL", ["blind reference", "batch 118"])
    samples = ("labelled reference", "blind reference", "batch 118")
    exclusions.declare_allergens(store, "s1", dict.fromkeys(samples, "none"), who=BY)
    app = run("serve", url)
    (one, first), (two, second) = mine(store, "Anna").items()
    what = f"cup {first['code']} exchanged with {second['code']}"
    stated(app, "0-0", what, "exchanged on the tray")
    cells = store.cells("s1")
    assert [cells[n]["sample"] for n in (one, two)] == [second["sample"], first["sample"]]
    fill(app, served_ballot_s1_0=1)
    stated(app, "0-1", "spilled", "fell")
    assert store.cells("s1")[two]["not served"] == "spilled: fell"


def test_finding_says_what_was_served_and_a_closed_serving_stays(store, url):
    planned(store)
    served.not_served(store, "s1", min(mine(store, "Cleo")), "spilled", why="tray fell", who=BY)
    answers = {n: {"answer": t["code_1"]} for n, t in store.cells("s1").items()
               if "not served" not in t}  # fmt: skip
    workflow.enter_cells(store, "s1", answers, who=BY)
    served.confirm_served(store, "s1", who=BY)
    workflow.close(store, "s1", who=BY)
    found = words(run("finding", url))
    assert "3 assessors planned: 2 came, 1 without an answer." in found
    assert "Planned and not served (spilled: tray fell)" in found
    assert "All else was served as planned, confirmed" in found
    app = run("serve", url)
    assert "open the ballots again on *Finding*" in words(app)
    assert not keys(app) & {"confirm-served", "keep-excluded", "did-not-come", "declare-allergens"}


def test_marks_are_not_columns_to_be_typed_over(store, url):
    planned(store)
    exclusions.not_today(store, "s1", "Bo", who=BY)
    app = run("ballots", url)
    assert "not served" not in str(app)
    booth_plans.open_booths(store, "s1", who=BY)
    assert "0 of 2 ballots" in words(run("ballots", url)).replace("*", "")


def sent_by(store, token):
    booths.consent(store, token)
    ballot = booths.visit(store, token).ballot
    given = {ballot.line: {"answer": ballot.asked[0].choices[0][0]}}
    booths.keep(store, token, ballot.line, given)
    booths.send(store, token, ballot.line, shown={})


def test_closing_booths_before_all_is_sent_is_asked_about(store, url):
    here = workflow.new_session_id()
    planned(store, here=here)
    tokens = booth_plans.open_booths(store, here, who=BY)
    for name in ("Anna", "Bo"):
        sent_by(store, tokens[name])
    app = run("ballots", url, here)
    found = words(app).replace("*", "")
    assert "2 of 3 ballots sent." in found
    assert "Saved automatically" not in found
    assert "ready" not in found
    assert app.button(key="close").disabled
    assert "2 of 3" in app.checkbox(key="sure-2").label
    app.checkbox(key="sure-2").check().run()
    assert not app.button(key="close").disabled
    sent_by(store, tokens["Cleo"])
    app.button(key="close").click().run()  # what was ticked is not true any more
    assert not store.session(here).closed
    assert "3 of 3 ballots sent." in words(app).replace("*", "")
    (left,) = app.checkbox  # all of the plan, and fewer than the question says
    assert "3 of 24" in left.label
    assert not left.value
    left.check().run()
    app.button(key="close").click().run()
    assert store.session(here).closed

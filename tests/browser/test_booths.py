"""Assessors at their booths, in a real Chromium."""

from __future__ import annotations

import re
from dataclasses import replace

from playwright.sync_api import expect

from sensory.panel.vocabulary_desk import define
from sensory.sessions import booths, exclusions, workflow

from ..panel.test_vocabulary import PRODUCT, SOUR, WHY
from ..shared import ALL_YES, CARE
from .served import BY, put, serve


def planned(store, name, key, **arranged):
    here = put(store, name)
    return here, *serve(store, here, key, **arranged)


PRESSES = ["reference", "zinc press", "quartz press"]
SEND = "button.send"


def sit_down(visitor, token):
    """Open a link, read the cautions, consent."""
    visitor.goto(f"?booth={token}")
    visitor.page.locator(".st-key-booth-consent label").click()
    visitor.settled()
    visitor.click("booth-begin")
    visitor.page.locator(SEND).wait_for()
    visitor.settled()


def test_nothing_of_the_key_reaches_a_booth(visit, store):
    session_id, plan, tokens = planned(store, "pressing", "PROFILE", samples=PRESSES)
    visitor = visit(width=390)
    sit_down(visitor, tokens["Anna"])
    assert visitor.width() <= 390
    expect(visitor.page.locator(SEND)).to_be_in_viewport(ratio=1)  # the ballot is two screens long
    expect(visitor.page.get_by_role("slider").last).not_to_be_in_viewport()
    traffic = b"".join(visitor.frames)
    codes = [row.code for row in plan.rows if row.assessor == "Anna"]
    assert codes[0].encode() in traffic
    for word in ("zinc press", "quartz press", "Cleo", "old press", "reference, "):
        assert word.encode() not in traffic, word
    for page in ("question", "ballots", "finding", "serve", "sessions"):
        visitor.goto(f"{page}?booth={tokens['Anna']}&session={session_id}")
        visitor.page.wait_for_timeout(700)
        assert "zinc press" not in visitor.text()
        assert "SHA-256" not in visitor.text()


def test_a_booth_leaves_ballots_out_and_learns_nothing_of_the_key(visit, store):
    session_id, plan, tokens = planned(store, "pressing", "PROFILE", samples=PRESSES)
    first, second, third = [row.sample for row in plan.rows if row.assessor == "Anna"]
    declared = {first: "milk", second: "celery", third: "none"}
    exclusions.declare_allergens(store, session_id, declared, who=BY)
    exclusions.exclude(store, session_id, "Anna", [first], who=BY)
    visitor = visit(width=768)
    page, told = visitor.page, []
    page.on("response", lambda each: told.append(each) if "booth-answer" in each.url else None)
    sit_down(visitor, tokens["Anna"])
    text = visitor.text()
    assert "Left out for you: ballot 1." in text
    assert "Ballot 2 of 3" in text
    assert "The samples of this ballot contain: celery." in text
    assert "milk" not in text
    page.locator("button.leave").click()
    page.locator("button.leave-sure").click()
    page.get_by_text("Ballot 3 of 3").wait_for()
    visitor.settled()
    answers = b"".join(each.body() for each in told)
    assert b"Ballot 3 of 3" in answers
    assert "Left out for you: ballot 1, 2." in visitor.text()
    assert page.locator("button.leave").count() == 0
    page.get_by_role("slider").first.press("End")
    expect(page.get_by_text("Still to be answered: sour")).to_be_visible()
    exclusions.declare_allergens(store, session_id, {third: "soy"}, who=BY)
    page.get_by_text("The samples of this ballot contain: soy.").wait_for()  # on an open page too
    expect(page.get_by_role("slider").first).to_have_attribute("aria-valuetext", "marked")
    held = [t.get("not served") for t in store.cells(session_id).values()
            if t["assessor"] == "Anna"]  # fmt: skip
    assert held == ["not this sample", "not this sample", None]
    exclusions.not_today(store, session_id, "Anna", who=BY)
    page.reload()
    visitor.heading("Thank you for saying so.")
    traffic = b"".join([answers, *visitor.frames])
    assert b"celery" in traffic
    for word in ("zinc press", "quartz press", "not this sample", "Cleo"):
        assert word.encode() not in traffic, word


def test_line_scale_by_pointer_and_by_keyboard_survives_a_reload(visit, store):
    samples = ["blind reference", "b 118"]
    here, _, tokens = planned(store, "gasket", "DIFFERENCE_FROM_CONTROL", samples=samples)
    visitor = visit(width=768)
    page = visitor.page
    sit_down(visitor, tokens["Bo"])
    track = page.get_by_role("slider")
    expect(track).to_have_attribute("aria-valuetext", "not answered")
    assert track.get_attribute("aria-valuenow") is None
    expect(page.locator(".mark")).to_be_hidden()
    button = page.locator(SEND)
    expect(button).to_be_disabled()
    box = track.bounding_box()
    page.mouse.click(box["x"] + box["width"] * 0.3, box["y"] + box["height"] / 2)
    expect(button).to_be_enabled(timeout=20_000)
    visitor.settled()
    page.reload()
    expect(page.get_by_role("slider")).to_have_attribute("aria-valuetext", "marked")
    assert 28 <= int(page.get_by_role("slider").get_attribute("aria-valuenow")) <= 32
    page.get_by_role("slider").focus()
    page.keyboard.press("End")
    expect(page.locator("p.echo")).to_have_text("saved")
    visitor.settled()
    assert not re.search(r"\b(3\.\d+|10\.00)\b", visitor.text())  # never a number
    page.locator(SEND).click()
    page.get_by_text("Ballot 2 of 2").wait_for()
    texts = [t for t in store.cells(here).values() if t["assessor"] == "Bo"]
    assert texts[0]["score"] == "10.00"


def test_ballots_speak_the_language_of_the_session(visit, store):
    _, _, tokens = planned(store, "shop_light", "A_NOT_A", language="de")
    visitor = visit(width=768)
    visitor.goto(f"?booth={tokens['Anna']}")
    visitor.page.get_by_text("Willkommen, Anna.").wait_for()
    sit_down(visitor, tokens["Anna"])
    assert "nicht A" in visitor.text()
    assert visitor.width() <= 768


def test_training_from_the_leader_to_the_own_mark_and_back_to_who_spreads(visit, store):
    """Leader and booth in Chromium; clearance and serving as their own tests have them."""
    words = define(store, PRODUCT, SOUR, **WHY)
    leader = visit(width=1280)
    leader.goto("training")
    leader.heading("Training")
    leader.choose(".st-key-training-product", words.product)
    label = "Samples, one a line: reference standards, and any others"
    leader.fill(label, "sour base\nAP-7")
    leader.click("train-open")
    leader.at("question")
    (session,) = store.sessions(1)
    assert session.question.training.targets[0].intensity == 5
    details = replace(session.details, care=CARE, leader=BY)
    workflow.describe(store, session.id, details=details, cautions=ALL_YES, who=BY)
    workflow.agree(store, session.id, who=BY)
    samples = ["sour base", "AP-7"]
    plan, tokens = serve(store, session.id, "PROFILE", samples=samples, allergens="none")
    first = {row.assessor: row.sample for row in reversed(plan.rows)}
    own = next(name for name in tokens if first[name] == "sour base")
    visitor = visit(width=390)
    sit_down(visitor, tokens[own])
    page = visitor.page
    page.get_by_text("Training: nothing of this counts as a result.").wait_for()
    page.get_by_role("slider").press("End")
    expect(page.locator(SEND)).to_be_enabled()
    page.locator(SEND).click()
    page.get_by_text("your mark 10; agreed 5, accepted from 4.5 to 5.5").wait_for()
    assert "Your mark is 4.5 above this range." in visitor.text()
    for name in set(tokens) - {own}:
        booths.consent(store, tokens[name])
        line = booths.visit(store, tokens[name]).ballot.line
        booths.keep(store, tokens[name], line, {line: {"Sour": "5.00"}})
        booths.send(store, tokens[name], line, shown={})
    leader.goto(f"ballots?session={session.id}")
    leader.heading("Who still spreads?")
    assert f"sour base (target 5): {own} (10.0)." in leader.text()
    assert store.verify() == []

"""Answers that go past the page, in a real Chromium: acknowledged, and kept while cut off."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from sensory.sessions import booths

from .served import put, serve, written

SEND = "button.send"


def sit_down(visitor, wire, record, name, key, **arranged):
    here = put(record, name)
    token = serve(record, here, key, people=("Anna", "Bo"), **arranged)[1]["Anna"]
    booths.consent(record, token)
    page = visitor.page
    runs = []
    page.on("websocket", lambda wire: wire.on("framesent", lambda frame: runs.append(frame)))
    page.goto(f"{wire.url}/?booth={token}")
    page.locator("p.echo[role=status]").wait_for(state="attached", timeout=120_000)
    visitor.settled()
    return here, token, runs


def test_a_tap_is_acknowledged_without_a_run_and_outlives_a_cut_network(visitor_of, wire, record):
    visitor = visitor_of(wire, width=390)
    page = visitor.page
    here, token, runs = sit_down(visitor, wire, record, "suspect_batch", "TRIANGLE", replicates=2)
    button = page.locator(SEND)
    expect(button).to_be_disabled()
    before = len(runs)
    page.get_by_role("radio").nth(0).check(force=True)
    page.get_by_text("saved", exact=True).wait_for()
    expect(button).to_be_enabled()
    first = booths.visit(record, token).ballot
    assert written(record, here, "answer") == [first.codes[0]]
    assert len(runs) == before  # nothing was asked of the page
    wire.swallows = True
    page.get_by_role("radio").nth(1).check(force=True)
    page.get_by_role("checkbox").check()
    page.get_by_text("saving", exact=True).wait_for()
    page.get_by_text("not sent yet, keep this page open").wait_for(timeout=5_000)
    expect(button).to_be_disabled()
    wire.cut()
    page.locator('.stApp:not([data-test-connection-state="CONNECTED"])').wait_for()
    wire.mend()
    page.get_by_text("saved", exact=True).wait_for(timeout=60_000)
    visitor.settled()
    assert written(record, here, "answer") == [*first.codes[:2]]
    assert written(record, here, "guess") == ["x"]
    page.locator("textarea").fill("rather  sour")
    button.click()  # leaves the field as well, and waits until that is saved
    page.get_by_text("Ballot 2 of 2").wait_for()
    assert written(record, here, "comment") == ["rather sour"]
    assert len(written(record, here, "sent")) == 1
    expect(page.get_by_role("heading", level=1)).to_be_focused()  # the next one is read out
    asked = len(runs)
    second = booths.visit(record, token).ballot
    booths.keep(record, token, second.line, {second.line: {"answer": second.codes[2]}})
    page.get_by_role("radio").nth(0).check(force=True)  # another window was faster: it is shown
    expect(page.get_by_role("radio").nth(2)).to_be_checked()
    page.get_by_text("Another window on this link gave another answer.").wait_for()
    assert booths.visit(record, token).ballot.asked[0].given == second.codes[2]
    assert len(runs) == asked  # the page ran neither for the next ballot nor for this
    looks = []
    page.route(
        "**/booth-answer",
        lambda on: looks.append(on) if '"look"' in on.request.post_data else on.continue_(),
    )
    with page.expect_request(lambda each: '"look"' in (each.post_data or "")):
        pass  # it asks every 10 s
    page.locator(SEND).click()  # while it is under way: the tap counts all the same
    page.wait_for_timeout(200)
    looks.pop().continue_()
    page.get_by_text("All your ballots are sent.").wait_for()
    assert record.verify() == []


@pytest.mark.parametrize(
    ("name", "key", "samples"),
    [
        ("gasket", "DIFFERENCE_FROM_CONTROL", ["blind", "batch"]),
        ("aftertaste", "RANKING", ["sugar", "blend 1", "blend 2"]),
        ("words", "TICKED_WORDS", ["reference", "new press"]),
    ],
)
def test_marks_places_and_ticks_go_the_same_way(visitor_of, wire, record, name, key, samples):
    visitor = visitor_of(wire, width=1280)
    page = visitor.page
    here, token, runs = sit_down(visitor, wire, record, name, key, samples=samples)
    before = len(runs)
    if key == "RANKING":
        groups = page.get_by_role("radiogroup")
        for sample in range(3):
            groups.nth(sample).get_by_role("radio").nth(min(sample, 1)).check(force=True)
        page.get_by_text("Still to be answered: ").wait_for()  # two samples share a place
        expect(page.locator(SEND)).to_be_disabled()
        groups.nth(2).get_by_role("radio").nth(2).check(force=True)
        page.get_by_text("Still to be answered: ").wait_for(state="detached")
    elif key == "TICKED_WORDS":
        boxes, echo = page.locator(".choices label"), page.locator("p.echo")
        shown = [text.strip() for text in boxes.all_inner_texts()]
        for at in (3, len(shown) - 1):
            boxes.nth(at).click()
            expect(echo).to_have_text("saved")
        page.get_by_text("not both").wait_for()  # a word, and none of them
        expect(page.locator(SEND)).to_be_disabled()
        boxes.nth(len(shown) - 1).click()
        boxes.nth(1).click()
        page.get_by_text("not both").wait_for(state="detached")
    else:
        track = page.get_by_role("slider")
        track.press("End")
        track.press("ArrowLeft")
        expect(page.locator("p.echo")).to_have_text("saved")
        expect(track).to_have_attribute("aria-valuetext", "marked")
    expect(page.locator(SEND)).to_be_enabled()
    assert len(runs) == before
    page.locator(SEND).click()
    page.get_by_text(
        "All your ballots are sent." if key == "RANKING" else "Ballot 2 of 2"
    ).wait_for()
    mine = [texts for texts in record.cells(here).values() if texts["assessor"] == "Anna"]
    if key == "RANKING":
        assert [texts["rank"] for texts in mine] == ["1", "2", "3"]
    elif key == "TICKED_WORDS":
        assert [texts.get("ticked") for texts in mine] == [f"{shown[1]}; {shown[3]}", None]
    else:
        assert [texts.get("score") for texts in mine] == ["9.80", None]
    assert booths.visit(record, token).sent == 1
    assert record.verify() == []

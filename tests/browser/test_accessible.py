"""Every page under axe-core, in dark too where colours differ: nothing serious or critical."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from sensory.sessions import booths, workflow
from sensory.store.repository import open_store

from .served import BY, put, serve

# A change of the scheme fades: colours are what they shall be when no transition runs.
SHOWN = """scheme => {
  const app = document.querySelector(".stApp")
  const white = app && getComputedStyle(app).backgroundColor === "rgb(255, 255, 255)"
  return matchMedia(`(prefers-color-scheme: ${scheme})`).matches
    && (!app || white === (scheme === "light"))
    && !document.getAnimations().some(one => one instanceof CSSTransition)
}"""
# One of each kind of answer: one code, two codes, places, lines.
# Pages with colours of their own beside those of the theme, which all share.
OWN_COLOURS = {"bad", "today", "invented", "question", "ballots", "serve", "finding", "PROFILE"}
BALLOTS = {
    "TRIANGLE": ("suspect_batch", None),
    "TWO_OUT_OF_FIVE": ("suspect_batch", None),
    "RANKING": ("aftertaste", ["sugar", "blend 1", "blend 2"]),
    "PROFILE": ("pressing", ["reference", "new press", "old press, warm"]),
}


@pytest.fixture
def store(network):
    record = open_store(f"sqlite:///{network.record}")
    yield record
    record.close()


def planned(store, key):
    """Id of a session with a plan on record, and a link."""
    name, samples = BALLOTS[key]
    here = put(store, name, protocol=key)
    return here, serve(store, here, key, people=("Anna", "Bo"), samples=samples)[1]["Anna"]


def shown_in(page, scheme):
    """Wait by hand: the sign-in page allows no code, so no function of the page can wait."""
    page.emulate_media(color_scheme=scheme)
    for _ in range(200):
        if page.evaluate(SHOWN, scheme):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"the page does not come to rest in the {scheme} scheme")


def serious(page, name):
    """What axe-core finds on a page; also in the dark scheme where a page has own colours."""
    page.mouse.move(2, 2)  # a button under the pointer has other colours
    for _ in range(200):  # notes of Streamlit's that go by themselves have no name of their own
        if not page.locator('[data-testid="stToast"]').count():
            break
        page.wait_for_timeout(50)
    found = []
    for scheme in ("light", "dark")[: 2 if name in OWN_COLOURS else 1]:
        shown_in(page, scheme)
        options = {"runOnly": ["color-contrast"]} if scheme == "dark" else None
        answer = Axe().run(page, options=options).response
        assert answer["testEngine"]["name"] == "axe-core"
        found += [
            f"{name}, {scheme}: {fault['help']}: {node['html'][:120]} {node['failureSummary']}"
            for fault in answer["violations"]
            for node in fault["nodes"]
            if node["impact"] in ("serious", "critical")
        ]
    return found


def test_axe_finds_a_fault_where_there_is_one(chromium):
    page = chromium.new_page()
    page.set_content('<main><h1>x</h1><button style="color: #999">pale</button><input></main>')
    found = "\n".join(serious(page, "bad"))
    page.close()
    assert "contrast" in found
    assert "Form elements must have labels" in found


def test_pages_of_a_leader(visitor_of, network, store):
    visitor = visitor_of(network)
    page = visitor.page
    page.goto(network.url)
    page.get_by_role("link", name="Sign in with your passcode").wait_for()
    visitor.settled()
    found = serious(page, "stranger")
    page.get_by_role("link", name="Sign in with your passcode").click()
    page.get_by_label("Passcode").wait_for()
    found += serious(page, "sign-in")
    page.get_by_label("Your name").fill(network.name)
    page.get_by_label("Passcode").fill(network.passcode)
    page.get_by_role("button", name="Sign in").click()
    visitor.at("today")
    found += serious(page, "today")

    def at(address, heading, session_id, ready):
        visitor.goto(f"{address}?session={session_id}")
        visitor.heading(heading)
        page.locator(ready).first.wait_for()
        return serious(page, address)

    asked = put(store, "new_supplier", cells=True, agreed=False)
    choice = put(store, "suspect_batch", cells=True)
    profile = put(store, "pressing", cells=True)
    served, _ = planned(store, "TRIANGLE")
    empty = put(store, "suspect_batch")
    found += at("people", "Who may sign?", empty, ".st-key-person-add")
    found += at("plan", "Plan", asked, ".st-key-plan-question")
    found += at("question", "Question", asked, ".st-key-agree")
    visitor.look_round()
    found += serious(page, "invented")
    visitor.page.locator(".st-key-leave-invented button").click()
    visitor.at("today")
    found += at("sessions", "Sessions", asked, ".st-key-verify")
    found += at("new", "New session", asked, ".st-key-start-session")
    found += at("settings", "Settings", asked, ".st-key-save-settings")
    found += at("ballots", "Ballots", choice, ".st-key-close")
    found += at("serve", "Serving", empty, ".st-key-plan-serving")
    found += at("serve", "Sheets", served, ".st-key-new-links")
    for session_id in (choice, profile):
        workflow.close(store, session_id, who=BY)
    found += at("finding", "The difference is larger", choice, ".vega-embed .marks")
    found += at("finding", "new press: different", profile, ".vega-embed .marks")
    assert found == []


def test_pages_of_a_booth(visitor_of, network, store):
    visitor = visitor_of(network, width=768)
    page = visitor.page
    found = []
    for key in BALLOTS:
        _, token = planned(store, key)
        if key != "TRIANGLE":
            booths.consent(store, token)
        visitor.goto(f"?booth={token}")
        if key == "TRIANGLE":
            visitor.settled()
            page.locator(".st-key-booth-consent label").click()
            visitor.settled()
            found += serious(page, "cautions")
            visitor.click("booth-begin")
        page.locator("button.send").wait_for()
        visitor.settled()
        if key == "PROFILE":
            page.get_by_role("slider").first.press("End")
            page.get_by_text("saved", exact=True).first.wait_for()
        found += serious(page, key)
        if key == "TRIANGLE":
            page.get_by_role("radiogroup").locator("label").first.click()
            button = page.locator("button.send:not([disabled])")
            button.wait_for()
            found += serious(page, "answered")
            button.click()
            visitor.heading("All your ballots are sent")
            found += serious(page, "done")
    assert found == []

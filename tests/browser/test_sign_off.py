"""Sign-off in a real Chromium, in the network mode: one agrees and clears, two others decide."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from sensory.release import product_desk, reference_desk, tastings
from sensory.release.batches import Batch
from sensory.release.references import Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.sessions import workflow
from sensory.sessions.signing import PASSCODE, signed_words
from sensory.store.repository import open_store

from ..release.shared import triangles
from .servers import NetworkServer, started
from .visitor import Visitor

PRODUCT, ROLE = "Sloe cordial", "release officer"
NORA, KARIM = "Nora Sand", "Karim Aziz"


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    with started(NetworkServer(tmp_path_factory.mktemp("signed"))) as server:
        yield server


@pytest.fixture(scope="module")
def desk(running):
    """A batch that nobody has cleared, and a rule by which two people decide."""
    store, who = open_store(f"sqlite:///{running.record}"), running.name
    product_desk.enter_product(store, PRODUCT, who=who)
    rule = ReleaseRule(test="TRIANGLE", limit=0.4, assessors=36, decides=ROLE, second_person=True)
    product_desk.agree_rule(store, PRODUCT, rule, who=who, why="management")
    reference = Reference(
        name="S1",
        product=PRODUCT,
        kind=ReferenceKind.FRESHLY_MADE,
        made_on="2026-01-02",
        usable_until="2036-12-31",
    )
    reference_desk.take_over(store, reference, who=who, why="approved recipe")
    batch = Batch(number="SC-1", product=PRODUCT, made_on="2026-03-04")
    product_desk.enter_batch(store, batch, who=who)
    yield store
    store.close()


@pytest.fixture
def leader(visitor_of, running, desk):
    visitor = visitor_of(running)
    visitor.sign_in()
    return visitor


def add(visitor: Visitor, name: str) -> None:
    """A person who decides, with a first passcode."""
    for field, text in (("name", name), ("roles", ROLE), ("passcode", f"{name}, first")):
        visitor.page.locator(f".st-key-person-{field} input").fill(text)
    visitor.page.locator(".st-key-person-may-decide label").click()
    visitor.click("person-add")
    visitor.page.get_by_role("cell", name=name).wait_for()
    expect(visitor.page.locator(".st-key-person-name input")).to_have_value("")
    visitor.settled()


def decider(visitor_of, running, name: str) -> Visitor:
    """Somebody who signs in, chooses another passcode, and signs in with that one."""
    visitor = visitor_of(running)
    visitor.sign_in(name, f"{name}, first")
    visitor.to("people")
    visitor.page.get_by_text("Somebody else chose your passcode").wait_for()
    assert visitor.page.get_by_text("Add a person").count() == 0
    own = {"old": f"{name}, first", "new": f"{name}, own", "again": f"{name}, own"}
    for field, text in own.items():
        visitor.page.locator(f".st-key-own-{field} input").fill(text)
    visitor.click("own-change")
    visitor.page.get_by_role("link", name="Sign in with your passcode").wait_for()
    visitor.sign_in(name, f"{name}, own")
    return visitor


def to_batch(visitor: Visitor, heading: str) -> None:
    visitor.goto("batch?batch=SC-1")
    visitor.heading(heading)


def cleared_and_agreed(visitor: Visitor, desk) -> None:
    """The leader clears the batch and agrees the question of its tasting, which is then held."""
    page = visitor.page
    to_batch(visitor, "Not tasted: hold the batch")
    page.locator(".st-key-safe-SC-1").get_by_text("cleared for tasting", exact=False).first.click()
    visitor.settled()
    visitor.click("safe")
    page.get_by_role("cell", name=f"{visitor.server.name}, panel leader").wait_for()
    visitor.settled()
    page.get_by_text("Change the clearance").or_(page.get_by_text("Enter it")).first.wait_for()
    page.locator(".st-key-allergens-SC-1 input").fill("none")
    page.keyboard.press("Tab")
    visitor.settled()
    visitor.click("allergens")
    visitor.click("open-tasting")
    visitor.at("question")
    visitor.fill("Panel leader", visitor.server.name)
    groups = page.get_by_role("radiogroup")
    for number in range(groups.count() - 5, groups.count()):
        groups.nth(number).get_by_text("yes", exact=True).click()
        visitor.settled()
    page.get_by_text("Still open").wait_for(state="detached")
    page.get_by_text("You sign as").first.wait_for()
    visitor.settled()
    visitor.click("agree")
    visitor.at("serve")
    (session,) = desk.sessions()
    workflow.enter_cells(desk, session.id, triangles(12, 36), who=visitor.server.name)
    tastings.close_and_note(desk, session.id, who=visitor.server.name)


def test_one_agrees_and_clears_and_two_others_decide(visitor_of, running, leader, desk):
    page = leader.page
    leader.to("people")
    for name in (NORA, KARIM):
        add(leader, name)
    leader.choose(".st-key-person-chosen", running.name)
    key = next(person.key for person in desk.people() if person.name == running.name)
    page.locator(f".st-key-change-{key}-may-clear label").click()
    leader.click("person-save")
    page.get_by_role("cell", name="clear batches").wait_for()
    cleared_and_agreed(leader, desk)

    to_batch(leader, "Release is recommended.")
    page.get_by_text("You may not decide on batches").wait_for()
    page.get_by_text("Release", exact=True).first.click()
    leader.fill("Reason", "similar")
    expect(page.locator(".st-key-decide button")).to_be_disabled()

    nora = decider(visitor_of, running, NORA)
    to_batch(nora, "Release is recommended.")
    nora.page.get_by_text(f"You sign as {NORA}, {ROLE}").first.wait_for()
    nora.page.locator(".st-key-decide-SC-1").get_by_text("Release", exact=True).click()
    nora.settled()
    nora.fill("Reason", "similar")
    nora.click("decide")
    nora.heading("Not confirmed yet: release")
    nora.page.get_by_text("another person has to confirm").wait_for()
    expect(nora.page.locator(".st-key-confirm button")).to_be_disabled()
    assert product_desk.the_batch(desk, "SC-1").decisions == ()

    karim = decider(visitor_of, running, KARIM)
    to_batch(karim, "Not confirmed yet: release")
    karim.click("confirm")
    karim.heading("Decided: release")

    record = product_desk.the_batch(desk, "SC-1")
    assert record.decision.signers == f"{NORA}, {ROLE}; confirmed by {KARIM}, {ROLE}"
    signed = {
        entry.what: signed_words(entry)
        for entry in [*desk.noun_entries(record), *desk.entries(record.tastings[0].session)]
        if "signed" in entry.content
    }
    assert signed == {
        "clearance": f"{running.name}, panel leader ({PASSCODE})",
        "agreed": f"{running.name}, panel leader ({PASSCODE})",
        "proposed release": f"{NORA}, {ROLE} ({PASSCODE})",
        "decided release": f"{KARIM}, {ROLE} ({PASSCODE})",
    }
    assert desk.verify() == []

    removed(leader, karim)


def removed(leader: Visitor, karim: Visitor) -> None:
    """Who is taken off the list is signed out, and the open page becomes that of a stranger."""
    leader.to("people")
    leader.choose(".st-key-person-chosen", KARIM)
    leader.click("person-out")
    leader.page.get_by_role("cell", name=KARIM).wait_for(state="detached")
    karim.page.get_by_role("link", name="Sign in with your passcode").wait_for(timeout=30_000)

"""A booth with categories, a warm-up sample and a break: by thumb and by keyboard."""

from __future__ import annotations

from playwright.sync_api import expect

from .served import put, serve

SETTINGS = {
    "attributes": "sweet; sour",
    "reference": "reference",
    "scale": "categories",
    "categories": 10.0,
    "high_word": "like syrup",
}


def test_warm_up_categories_and_break_by_thumb_and_by_keyboard(visit, store):
    session_id = put(store, "pressing", settings=SETTINGS)
    arranged = {"samples": ["reference", "zinc press"], "sittings": 2, "warm_up": "plain syrup"}
    people = ("Anna", "Bo")
    plan, tokens = serve(store, session_id, "PROFILE", people=people, allergens="none", **arranged)
    booth = visit(width=768, touch=True)
    page = booth.page
    first, second = (row.code for row in plan.rows if row.assessor == "Anna" and not row.set)
    booth.goto(f"?booth={tokens['Anna']}")
    page.locator(".st-key-booth-consent label").tap()
    booth.settled()
    page.locator(".st-key-booth-begin button").tap()
    booth.heading("Warm-up sample")
    assert first in booth.text()
    assert "Sitting 1 of 2" in booth.text()
    page.locator(f".st-key-warm-up-{first} button").tap()
    groups = page.get_by_role("radiogroup")
    expect(groups).to_have_count(2)
    sweet, sour = groups.nth(0).get_by_role("radio"), groups.nth(1).get_by_role("radio")
    expect(sweet).to_have_count(10)
    for one in sweet.all():
        expect(one).to_have_attribute("aria-checked", "false")  # no preset
        box = one.bounding_box()
        assert min(box["width"], box["height"]) >= 48
    expect(sweet.last).to_have_attribute("aria-label", "9, like syrup")
    assert booth.width() <= 768
    send = page.locator("button.send")
    expect(send).to_be_disabled()
    sweet.nth(7).tap()
    sour.first.focus()
    page.keyboard.press("4")
    page.keyboard.press("ArrowRight")
    expect(sour.nth(5)).to_have_attribute("aria-checked", "true")
    expect(send).to_be_enabled(timeout=20_000)
    booth.settled()
    page.reload()
    expect(sweet.nth(7)).to_have_attribute("aria-checked", "true")
    expect(sour.nth(5)).to_have_attribute("aria-checked", "true")
    expect(send).to_be_enabled(timeout=20_000)
    send.tap()
    booth.heading("Break")
    assert "The panel leader says when it goes on" in booth.text()
    texts = [one for one in store.cells(session_id).values() if one["assessor"] == "Anna"]
    assert [(one.get("sweet"), one.get("sour")) for one in texts] == [("7", "5"), (None, None)]
    leader = visit()
    leader.goto(f"serve?session={session_id}")
    leader.page.get_by_text("Start sitting 2 before they are done").click()
    start = leader.page.locator(".st-key-start-sitting-2 button")
    expect(start).to_be_enabled()
    start.click()
    booth.heading("Warm-up sample")  # the page goes on by itself
    assert second in booth.text()
    for word in ("zinc press", "plain syrup", "Bo"):
        assert word not in booth.text().split()
        assert not any(word.encode() in frame for frame in booth.frames if len(word) > 2)

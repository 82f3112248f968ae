"""Pictures of the running app: the two of README.md, or every page to be looked at.

``python -m tests.pictures`` from the top of a checkout makes ``demo_data/pictures/`` anew.
``python -m tests.pictures FOLDER`` puts every page at three widths, light and dark, into FOLDER
and prints the height of each at 1280 px.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Playwright, sync_playwright

from sensory.base.findings import Finding
from sensory.release.prepared_year import load_year
from sensory.screens.places import invented_url
from sensory.store.repository import open_store

from .browser.conftest import CHROMIUM, OPTIONS
from .browser.servers import Server, started
from .browser.visitor import Contexts, Visitor
from .programs import ROOT

PICTURES = ROOT / "demo_data" / "pictures"
WIDTHS = (1280, 768, 390)
SCHEMES = ("light", "dark")
MENU_HIGH = 56
HEIGHT = """() => {
  const box = document.querySelector('[data-testid="stMainBlockContainer"]')
  const parts = [...box.querySelectorAll('.stElementContainer, .stExpander')]
  const seen = parts.filter(part => !part.parentElement.closest('details:not([open])'))
  const bottom = Math.max(...seen.map(part => part.getBoundingClientRect().bottom))
  return Math.ceil(bottom - box.getBoundingClientRect().top)
}"""
PAGES = ("today", "new", "sessions", "batches", "trend", "people", "product", "plan", "shelf_life",
         "limit", "studies", "words", "training", "settings", "help")  # fmt: skip
STEPS = ("question", "serve", "ballots")
BATCH = "QN-105"


@contextmanager
def looked_at() -> Iterator[tuple[Browser, Server]]:
    """A Chromium, and a server whose invented data hold the year."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        running = Server(Path(folder))
        put_year(invented_url(f"sqlite:///{running.record}"))
        with started(running) as server:
            yield _opened(playwright, server), server


def put_year(url: str) -> None:
    """The invented year on record."""
    with closing(open_store(url)) as store:
        load_year(store, ROOT / "demo_data", who="demo")


def _opened(playwright: Playwright, server: Server) -> Browser:
    """A Chromium that has waited for the first page."""
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=OPTIONS)
    page = browser.new_page()
    page.goto(server.url)  # the first page after a start takes longest
    page.get_by_role("heading", name="Today", level=1).wait_for(timeout=180_000)
    page.close()
    return browser


def clipped(visitor: Visitor, name: str, high: int) -> None:
    """The page below its menu, so many px of it."""
    visitor.page.wait_for_timeout(1_500)
    clip = {"x": 0, "y": MENU_HIGH, "width": 1280, "height": high}
    visitor.page.screenshot(path=PICTURES / f"{name}.png", clip=clip)


def for_readme() -> None:
    """Make the pictures that README.md shows."""
    PICTURES.mkdir(exist_ok=True)
    with looked_at() as (browser, server):
        visitor = Visitor(Contexts(browser), server)
        visitor.page.set_viewport_size({"width": 1280, "height": 1400})
        visitor.open()
        visitor.close("suspect_batch", Finding.BEYOND_LIMIT.sentence)
        visitor.drawn("outcome-figure")
        clipped(visitor, "finding", 800)
        visitor.goto("trend?invented=1")
        visitor.at("trend")
        visitor.drawn("trend-figure")
        clipped(visitor, "trend", 860)
        visitor.context.close()


def look(folder: Path) -> None:
    """Every page of the invented year at each width, light and dark, and its height at 1280 px."""
    folder.mkdir(parents=True, exist_ok=True)
    with looked_at() as (browser, server):
        first = Visitor(Contexts(browser), server)
        asked = _session_of(first, "demo-reformulation", agreed=False)
        closed = _session_of(first, "demo-pressing", agreed=True)
        first.context.close()
        shown = [(name, name) for name in PAGES]
        shown += [(name, f"{name}?session={asked}") for name in STEPS]
        shown += [("finding", f"finding?session={closed}"), ("batch", f"batch?batch={BATCH}")]
        for width in WIDTHS:
            for scheme in SCHEMES:
                visitor = Visitor(Contexts(browser), server, width=width, scheme=scheme)
                for name, at in shown:
                    high = _looked(visitor, at, folder / f"{name}-{width}-{scheme}.png")
                    if (width, scheme) == (WIDTHS[0], SCHEMES[0]):
                        print(f"{name}: {high} px", flush=True)
                visitor.context.close()


def _session_of(visitor: Visitor, key: str, *, agreed: bool) -> str:
    """Id of an invented session, agreed and closed if wanted."""
    visitor.look_round()
    visitor.click(key)
    visitor.at("question")
    if agreed:
        visitor.click("agree")
        visitor.at("ballots")
        visitor.click("close")
        visitor.page.get_by_role("heading", name="Limits of this result").wait_for(timeout=60_000)
    return visitor.page.url.partition("session=")[2].partition("&")[0]


def _looked(visitor: Visitor, at: str, file: Path) -> int:
    """Take a picture of a whole page; its height without what is folded."""
    page = visitor.page
    page.set_viewport_size({"width": page.viewport_size["width"], "height": 900})
    address = "" if at == "today" else at
    visitor.goto(f"{address}{'&' if '?' in at else '?'}invented=1")
    visitor.settled()
    page.locator("h1").first.wait_for(timeout=60_000)
    page.wait_for_timeout(1_500)
    visitor.settled()
    page.locator('[data-testid="stSkeleton"]').first.wait_for(state="hidden", timeout=60_000)
    high = int(page.evaluate(HEIGHT))
    wide = page.viewport_size["width"]
    page.set_viewport_size({"width": wide, "height": min(high + 120, 6_000)})
    page.wait_for_timeout(500)
    page.screenshot(path=file)
    return high


if __name__ == "__main__":
    if len(sys.argv) > 1:
        look(Path(sys.argv[1]))
    else:
        for_readme()

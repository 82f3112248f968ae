"""Pictures of the running app: the two of README.md, or every page to be looked at.

``python -m tests.pictures`` from the top of a checkout makes ``demo_data/pictures/`` anew.
``python -m tests.pictures FOLDER`` puts every page at three widths, light and dark, into FOLDER
and prints the height of each at 1280 px.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from sensory.base.findings import Finding

from .browser.conftest import CHROMIUM, OPTIONS
from .browser.servers import ROOT, Server, started
from .browser.visitor import Visitor

PICTURES = ROOT / "demo_data" / "pictures"
WIDTHS = (1280, 768, 390)
SCHEMES = ("light", "dark")
MENU_HIGH = 56
HEIGHT = """() => {
  const box = document.querySelector('[data-testid="stMainBlockContainer"]')
  const last = [...box.querySelectorAll('.stElementContainer')].pop()
  return Math.ceil(last.getBoundingClientRect().bottom - box.getBoundingClientRect().top)
}"""
AGREED, CLOSED, YEAR_BATCH = "suspect_batch", "pressing", "QC-110"


@contextmanager
def looked_at() -> Iterator[tuple[Browser, Server]]:
    """A Chromium, and a server with an empty record."""
    with (
        tempfile.TemporaryDirectory() as folder,
        started(Server(Path(folder))) as server,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=OPTIONS)
        yield browser, server
        browser.close()


def year(visitor: Visitor) -> None:
    """The invented year, on the page Batches."""
    visitor.open()
    visitor.click("demo-year")
    visitor.page.get_by_role("heading", name="Batches", level=1).wait_for(timeout=120_000)
    visitor.settled()


def clipped(visitor: Visitor, name: str, high: int) -> None:
    """The page below its menu, so many px of it."""
    visitor.page.wait_for_timeout(1_500)
    clip = {"x": 0, "y": MENU_HIGH, "width": 1280, "height": high}
    visitor.page.screenshot(path=PICTURES / f"{name}.png", clip=clip)


def for_readme() -> None:
    """Make the pictures that README.md shows."""
    PICTURES.mkdir(exist_ok=True)
    with looked_at() as (browser, server):
        visitor = Visitor(browser, server)
        visitor.page.set_viewport_size({"width": 1280, "height": 1400})
        visitor.open()
        visitor.close("suspect_batch", Finding.BEYOND_LIMIT.sentence)
        visitor.drawn("outcome-figure")
        clipped(visitor, "finding", 800)
        year(visitor)
        visitor.to("trend")
        visitor.drawn("trend-figure")
        clipped(visitor, "trend", 1000)
        visitor.context.close()


if __name__ == "__main__":
    for_readme()

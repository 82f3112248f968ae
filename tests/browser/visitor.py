"""A real Chromium, and the steps that visitors of the pages share."""

from __future__ import annotations

import io
import re
from contextlib import suppress
from copy import copy
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, Error, Page, expect
from pypdf import PdfReader

MENU = {
    "today": "Today",
    "sessions": "Sessions",
    "batches": "Batches",
    "trend": "Trend",
    "people": "Panel",
    "product": "Products",
    "plan": "Plan",
}
STEPS = {"question": "Question", "serve": "Serving", "ballots": "Ballots", "finding": "Finding"}
HEADINGS = {**MENU, **STEPS, "new": "New session", "settings": "Settings"}
ON_PAPER, AT_BOOTHS, FROM_A_FILE = "On paper", "At booths", "From a file"
WISH = {
    "Product": "Plum cordial",
    "Batch, or batches": "PC-7",
    "Against which reference?": "PR-1",
    "Who decides? (role)": "quality manager",
}
MISSING = (
    "What differs between the samples?",
    "What depends on the answer?",
    "If different, we will",
    "If similar, we will",
    "If the session cannot tell, we will",
    "Panel leader",
    "Who decides (role)",
)
LIMIT = "Agreed limit: share of assessors who may notice, 0.2 for 20 %"
SETTLED = (
    '[data-testid="stApp"][data-test-script-state="notRunning"]'
    '[data-test-connection-state="CONNECTED"]'
)
# Whatever moves is drawn sixty times a second, which takes a tenth of a processor. What a run has
# not drawn again yet fades after half a second; without its transition it would at once.
STILL = """
const still = new CSSStyleSheet()
const none = "animation: none !important; transition: none !important"
const stale = '[data-stale="true"] { opacity: 1 !important }'
still.replaceSync(`*, ::before, ::after { ${none} } ${stale}`)
document.adoptedStyleSheets = [...document.adoptedStyleSheets, still]
"""


class Contexts:
    """Contexts of a browser and their first windows, which are used again.

    Each new context reads Streamlit's scripts anew, and each new window compiles them anew: an
    address opened in a new window takes about twice the time of a processor.
    """

    def __init__(self, browser):
        self._browser = browser
        self._free: dict[tuple[str, bool], list[BrowserContext]] = {}
        self._open: list[BrowserContext] = []

    def take(self, url: str, touch: bool) -> BrowserContext:
        if free := self._free.get((url, touch)):
            return free.pop()
        context = self._browser.new_context(
            ignore_https_errors=True, has_touch=touch, accept_downloads=True
        )
        context.add_init_script(STILL)
        context.on("close", lambda closed: self._open.remove(closed))
        self._open.append(context)
        return context

    def give_back(self, context: BrowserContext, url: str, touch: bool) -> None:
        """As if new: one empty window at most, without cookies and what pages had kept."""
        context.set_offline(False)
        for page in context.pages[1:]:
            page.close()
        for page in context.pages:
            with suppress(Error):  # a page that never got anywhere has no storage
                page.evaluate("localStorage.clear(); sessionStorage.clear()")
            page.goto("about:blank")
        context.clear_cookies()
        self._free.setdefault((url, touch), []).append(context)

    def __contains__(self, context: BrowserContext) -> bool:
        """Whether it is open."""
        return context in self._open

    def close(self) -> None:
        for context in self._open.copy():
            context.close()


class Visitor:
    """A page that remembers every host it was asked to fetch from."""

    def __init__(self, contexts: Contexts, server, width=1280, scheme="light", touch=False):
        self.server = server
        self.hosts: set[str] = set()
        self.repeated = 0  # clicks made again since a list folded up on a busy machine
        self._contexts, self._touch = contexts, touch
        self._width, self._scheme = width, scheme
        self.context = contexts.take(server.url, touch)
        self._look_at(self.context.pages[0] if self.context.pages else self.context.new_page())

    def _look_at(self, page: Page) -> None:
        self.page = page
        page.set_viewport_size({"width": self._width, "height": 900})
        page.emulate_media(color_scheme=self._scheme)
        self.frames: list[bytes] = []
        self._heard = {"request": self._requested, "websocket": self._connected}
        for event, hear in self._heard.items():
            page.on(event, hear)

    def beside(self) -> Visitor:
        """Another window of this browser, which closes with it."""
        other = copy(self)
        other._look_at(self.context.new_page())
        return other

    def leave(self) -> None:
        """Leave the window; whoever comes next finds nothing of it."""
        for event, hear in self._heard.items():
            self.page.remove_listener(event, hear)
        if self._heard and self.context in self._contexts:
            self._contexts.give_back(self.context, self.server.url, self._touch)
        self._heard = {}

    def _requested(self, request) -> None:
        self._asked(request.url)

    def _asked(self, url: str) -> None:
        parts = urlsplit(url)
        if parts.scheme in ("http", "https", "ws", "wss"):
            self.hosts.add(parts.netloc)

    def _connected(self, socket) -> None:
        self._asked(socket.url)
        socket.on(
            "framereceived",
            lambda frame: self.frames.append(frame if isinstance(frame, bytes) else frame.encode()),
        )

    def goto(self, address: str) -> None:
        self.page.goto(f"{self.server.url}/{address}")

    def open(self) -> None:
        self.goto("")
        self.at("today")

    def sign_in(self, name: str = "", passcode: str = "") -> None:
        """As somebody, else as the first account of the server."""
        self.goto("")
        self.page.get_by_role("link", name="Sign in with your passcode").click()
        self.page.get_by_label("Your name").fill(name or self.server.name)
        self.page.get_by_label("Passcode").fill(passcode or self.server.passcode)
        self.page.get_by_role("button", name="Sign in").click()
        self.at("today")

    def settled(self) -> None:
        self.page.locator(SETTLED).wait_for(timeout=30_000)

    def click(self, key: str) -> None:
        self.settled()  # a click on a page that is being drawn anew can get lost
        self.page.locator(f".st-key-{key} button").click()

    def heading(self, words: str) -> None:
        try:
            self.page.get_by_role("heading", name=words).first.wait_for(timeout=30_000)
        except Exception as error:
            raise AssertionError(f"no heading {words!r} on the page:\n{self.text()}") from error
        self.settled()

    def at(self, name: str) -> None:
        """Wait for a page by its name in `HEADINGS`."""
        title = re.compile(f"^{HEADINGS[name]}\\b")
        try:
            self.page.get_by_role("heading", name=title, level=1).wait_for(timeout=30_000)
        except Exception as error:
            raise AssertionError(f"not at {name}:\n{self.text()}") from error
        self.settled()

    def to(self, name: str) -> None:
        """Take the link of the menu, or of the step bar."""
        if name in STEPS:
            self.step(name)
        else:
            self.page.get_by_role("link", name=MENU[name], exact=True).click()
        self.at(name)

    def step(self, name: str) -> None:
        """Take the link of the step bar, wherever it leads to."""
        self.settled()
        self.page.locator(".st-key-step-bar").get_by_role("link", name=STEPS[name]).click()

    def look_round(self) -> None:
        """In invented data, with all of them offered."""
        self.goto("?invented=1")
        self.at("today")

    def begin(self, way: str = ON_PAPER) -> None:
        """From Today to a new session whose ballots come in this way."""
        self.open()
        self.click("new-session")
        self.at("new")
        if way != ON_PAPER:
            self.page.get_by_role("radiogroup").get_by_text(way, exact=True).click()
            self.settled()

    def wish(self, **changes: str) -> None:
        """Choose what the session is about; what is not on the page is left alone.

        A page that is drawn anew late, for another product, can take a later field back.
        """
        wanted = WISH | changes
        for _ in range(3):
            for label, text in wanted.items():
                if not self._shows(label, text):
                    self.give(label, text)
            self.settled()
            if all(self._shows(label, text) for label, text in wanted.items()):
                return

    def give(self, label: str, text: str) -> None:
        """Type into a field, or among choices; the first of what is offered where it is new."""
        self.settled()
        if not self.page.get_by_label(label).count():
            return
        for _ in range(5):  # what is typed while the page is drawn anew can get lost
            field = self.page.get_by_label(label).first
            field.fill(text)
            field.press("Enter")
            self.page.wait_for_timeout(300)
            self.settled()
            self.page.keyboard.press("Escape")
            if self._shows(label, text):
                return
        raise AssertionError(f"{label!r} does not take {text!r}:\n{self.text()}")

    def _shows(self, label: str, text: str) -> bool:
        """Whether a field holds a text; so does one that is not on the page."""
        fields = self.page.get_by_label(label)
        if not fields.count():
            return True
        field = fields.first
        box = field.locator("xpath=ancestor::*[contains(@class, 'stElementContainer')][1]")
        return text in box.inner_text().replace(label, "") + field.input_value()

    def upload(self, path, ballots: int) -> None:
        self.page.locator('input[type="file"]').first.set_input_files(path)
        self.page.get_by_text(re.compile(rf"^{ballots} ballots? read")).wait_for()
        self.settled()

    def use(self, path, ballots: int) -> None:
        """A session of a file, on its question."""
        self.begin(FROM_A_FILE)
        self.upload(path, ballots)
        self.wish()
        if self.page.locator(".st-key-new-reference-of").count():
            self.choose(".st-key-new-reference-of", "reference")
        self.click("start-session")
        self.at("question")

    def fill(self, label: str, text: str) -> None:
        field = self.page.get_by_label(label, exact=True)
        # While a page is drawn anew the old field may still stand beside the new one.
        expect(field).to_have_count(1, timeout=30_000)
        field.fill(text)
        field.press("Tab")
        self.settled()

    def choose(self, field: str, option: str) -> None:
        """Take an option of a list; the list folds up when the page is drawn anew beneath it."""
        wanted = self.page.get_by_role("option", name=option, exact=True)
        for attempt in range(5):
            self.settled()
            self.page.locator(f"{field} input").click()
            try:
                wanted.click(timeout=3_000 * (attempt + 1))
                break
            except Error:
                self.repeated += 1
                self.page.keyboard.press("Escape")
        else:
            raise AssertionError(f"no option {option!r} of {field} on the page:\n{self.text()}")
        self.settled()

    def clear(self) -> None:
        """Sign as food safety that the samples may be tasted, on one machine."""
        field = '[class*="care-cleared-by-"]'
        known = f'{field}[class*="-who"]'
        if self.page.locator(f"{known} input").count():
            self.choose(known, "food safety")
        else:
            self.fill("Cleared for tasting by", "food safety")
        self.settled()
        self.click("care-cleared")
        self.page.get_by_text("Cleared: by food safety, food safety on ").wait_for()
        self.settled()

    def agree(self, text: str) -> None:
        """Fill in what the question needs and agree."""
        for label in MISSING:
            self.fill(label, text)
        if (limit := self.page.get_by_label(LIMIT, exact=True)).count():
            limit.fill("0.3")
            limit.press("Tab")
            self.settled()
        self.clear()
        groups = self.page.get_by_role("radiogroup")
        for number in range(groups.count() - 5, groups.count()):
            groups.nth(number).get_by_text("yes", exact=True).click()
            self.settled()
        self.page.get_by_text("Still open").wait_for(state="detached")
        self.settled()
        self.click("agree")
        self.at("ballots")

    def close(self, demo: str, finding: str) -> None:
        """Three clicks from Today to the finding."""
        self.click(f"demo-{demo}")
        self.at("question")
        self.click("agree")
        self.at("ballots")
        if (few := self.page.get_by_text("are all there will be")).count():
            few.click()
            self.settled()
        self.click("close")
        self.heading(finding)

    def download(self, key: str) -> bytes:
        with self.page.expect_download(timeout=90_000) as waiting:
            self.click(key)
        return waiting.value.path().read_bytes()

    def pdf(self, key: str = "pdf") -> list[str]:
        """Texts of the pages of a report."""
        pages = PdfReader(io.BytesIO(self.download(key))).pages
        return [" ".join(page.extract_text().split()) for page in pages]

    def drawn(self, figure: str) -> None:
        self.page.locator(f".st-key-{figure} .vega-embed .marks").first.wait_for()

    def width(self) -> int:
        return self.page.evaluate("document.documentElement.scrollWidth")

    def asked_only_the_server(self) -> bool:
        return self.hosts == {f"127.0.0.1:{self.server.port}"}

    def saved(self) -> None:
        self.page.get_by_text("all saved", exact=True).wait_for(timeout=30_000)
        self.settled()

    def text(self) -> str:
        """What is on the page, without the signs that keep addresses from being links."""
        ballots = self.page.locator(".ballot").all_inner_texts()  # drawn apart, by a script
        text = "\n".join([self.page.locator("body").inner_text(), *ballots])
        return text.replace("\N{WORD JOINER}", "")

"""The network mode: a real server, a real browser, and clients that are none."""

from __future__ import annotations

import re
import urllib.error
import urllib.request

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

# Words of the pages and of the record; none of them may reach anybody but the leader. The
# names of pages stand here as in the menu: small ones come back from the visitor's address.
TITLE = "Elderflower trial"
LEADERS_WORDS = [TITLE, "demo-", "Sessions", "Plan", "Question", "Ballots", "Finding"]
ADDRESSES = ["", "sessions", "plan", "question", "ballots", "finding"]


@pytest.fixture
def visit_network(visitor_of, network):
    return lambda **options: visitor_of(network, **options)


def sign_in(visitor, passcode=None) -> None:
    page = visitor.page
    page.goto(visitor.server.url)
    page.get_by_role("link", name="Sign in with the passcode").click()
    page.get_by_label("Passcode").fill(passcode or visitor.server.passcode)
    page.get_by_role("button", name="Sign in").click()


def as_leader(visitor) -> None:
    sign_in(visitor)
    visitor.heading("Does the batch still match")


def cookie_of(visitor) -> dict | None:
    cookies = visitor.context.cookies()
    return next((one for one in cookies if one["name"] == "sensory_leader"), None)


@pytest.fixture(scope="module")
def titled(chromium, network, visitor_class):
    """Id of a session on record, made by a leader, with frames that a leader received."""
    visitor = visitor_class(chromium, network)
    as_leader(visitor)
    visitor.page.get_by_label("Title of the session").fill(TITLE)
    visitor.page.get_by_label("Title of the session").press("Tab")
    visitor.settled()
    visitor.click("new-session")
    visitor.heading("What is asked, and with which risks?")
    found = re.search(r"session=([^&]+)", visitor.page.url)
    visitor.page.get_by_role("link", name="Sessions").click()
    visitor.heading("Does the batch still match")
    received = b"".join(visitor.frames)
    visitor.context.close()
    return found[1], received


def words_in(received: bytes) -> list[str]:
    return [word for word in LEADERS_WORDS if word.encode() in received]


def test_frames_of_a_leader_hold_the_words_looked_for_below(titled):
    assert words_in(titled[1]) == LEADERS_WORDS


@pytest.mark.parametrize("address", ADDRESSES)
def test_strangers_get_nothing_of_any_page(visit_network, titled, address):
    visitor = visit_network()
    visitor.page.goto(f"{visitor.server.url}/{address}?session={titled[0]}")
    visitor.page.get_by_role("link", name="Sign in with the passcode").wait_for()
    visitor.settled()
    received = b"".join(visitor.frames)
    assert b"Sign in with the passcode" in received
    assert words_in(received) == []


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize("signed_in", [False, True])
def test_booths_get_nothing_of_any_leader_page(visit_network, titled, address, signed_in):
    visitor = visit_network()
    if signed_in:
        as_leader(visitor)
        visitor.frames.clear()
    visitor.page.goto(f"{visitor.server.url}/{address}?booth=greengage&session={titled[0]}")
    visitor.page.get_by_text("This link is not valid").wait_for()
    visitor.settled()
    received = b"".join(visitor.frames)
    assert b"This link is not valid" in received
    assert words_in(received) == []
    assert "greengage" not in visitor.server.log.read_text()


def test_wrong_passcode_is_said_and_opens_nothing(visit_network):
    visitor = visit_network()
    sign_in(visitor, "a wrong one")
    visitor.page.get_by_text("That is not the passcode.").wait_for()
    assert cookie_of(visitor) is None


def test_main_job_runs_as_on_one_machine_and_asks_nobody_else(visit_network, tmp_path):
    visitor = visit_network()
    refused = []
    visitor.page.on(
        "console",
        lambda said: refused.append(said.text) if "Content Security Policy" in said.text else None,
    )
    as_leader(visitor)
    visitor.click("demo-suspect_batch")
    visitor.heading("What is asked, and with which risks?")
    visitor.click("agree")
    visitor.heading("Ballots")
    visitor.page.get_by_label("row 2, answer").wait_for()
    visitor.click("close")
    visitor.heading("The batch deviates perceptibly from the reference.")
    visitor.page.locator(".st-key-outcome-figure .vega-embed .marks").first.wait_for()
    with visitor.page.expect_download() as waiting:
        visitor.page.get_by_role("button", name="PDF").click()
    waiting.value.save_as(tmp_path / "report.pdf")
    assert "deviates perceptibly" in PdfReader(tmp_path / "report.pdf").pages[0].extract_text()
    assert visitor.hosts == {f"127.0.0.1:{visitor.server.port}"}
    assert refused == []


def test_journal_says_how_the_leader_came_in(visit_network, titled):
    import sqlalchemy as sa

    engine = sa.create_engine(f"sqlite:///{visit_network().server.record}")
    with engine.connect() as connection:
        names = "select name from people join journal on who = 'person:' || people.id"
        who = connection.scalars(sa.text(names)).all()
    engine.dispose()
    assert "unnamed, signed in with the passcode" in who
    assert not [one for one in who if "this machine" in one]


def test_upload_needs_the_leader_and_works_for_them(visit_network, tmp_path):
    visitor = visit_network()
    as_leader(visitor)
    path = tmp_path / "trial.csv"
    path.write_text("assessor;order;code_1;code_2;code_3;answer\nP1;ABB;181;417;512;181\n")
    visitor.page.locator('input[type="file"]').first.set_input_files(path)
    visitor.page.get_by_text("1 ballot read.").wait_for()


def test_files_of_the_leader_are_closed_to_others(visit_network):
    visitor = visit_network()
    as_leader(visitor)
    with visitor.page.expect_download() as waiting:
        visitor.page.get_by_role("button", name="Template to fill in, XLSX").click()
    url = waiting.value.url
    assert "/media/" in url
    assert status(url) == 404
    assert visitor.context.request.get(url).status == 200


def test_signing_out_ends_the_other_window_too(visit_network):
    visitor = visit_network()
    as_leader(visitor)
    second = visitor.context.new_page()
    second.goto(visitor.server.url)
    second.get_by_role("link", name="Sign out").click()
    second.get_by_role("button", name="Sign out").click()
    second.get_by_role("heading", name="Sign in").wait_for()
    assert cookie_of(visitor) is None
    visitor.frames.clear()
    visitor.page.get_by_role("link", name="Plan").click()
    visitor.page.get_by_role("link", name="Sign in with the passcode").wait_for(timeout=30_000)
    visitor.settled()
    assert visitor.page.get_by_role("link", name="Plan").count() == 0
    # The run begins with the menu that this connection had; of the pages nothing comes.
    received = b"".join(visitor.frames)
    assert b"Sign in with the passcode" in received
    assert not [word for word in (b"What to test", b"demo-") if word in received]


def test_cookie_is_hidden_from_scripts_and_a_forged_one_opens_nothing(visit_network):
    visitor = visit_network()
    as_leader(visitor)
    cookie = cookie_of(visitor)
    assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Strict")
    assert "sensory_leader" not in visitor.page.evaluate("document.cookie")
    value = cookie["value"]
    cookie["value"] = value[:-1] + ("1" if value[-1] == "0" else "0")
    visitor.context.add_cookies([cookie])
    visitor.page.reload()
    expect(visitor.page.get_by_role("link", name="Sign in with the passcode")).to_be_visible()


def status(url: str, **headers: str) -> int:
    try:
        with urllib.request.urlopen(urllib.request.Request(url, headers=headers)) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        error.close()
        return error.code


def test_metrics_and_other_unused_paths_are_closed(network):
    for path in ("metrics", "script-health-check", "agent/openapi.json"):
        assert status(f"{network.url}/_stcore/{path}") == 404
    assert status(f"{network.url}/_stcore/health") == 200


def test_page_comes_with_the_headers(network):
    with urllib.request.urlopen(network.url) as answer:
        headers = answer.headers
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]


@pytest.mark.parametrize("origin", [None, "http://elsewhere.test", "null"])
def test_websockets_of_other_pages_get_403(network, origin):
    address = f"ws://127.0.0.1:{network.port}/_stcore/stream"
    with (
        pytest.raises(InvalidStatus) as refused,
        connect(address, origin=origin, proxy=None),
    ):
        pass
    assert refused.value.response.status_code == 403
    with connect(address, origin=network.url, proxy=None) as ours:
        assert ours.response.status_code == 101


def test_guessing_is_slowed_for_its_address_only(network):
    def guess(address: str) -> int:
        request = urllib.request.Request(
            f"{network.url}/sign-in",
            data=b"passcode=a+wrong+one",
            # Believed from this machine only, where a proxy may stand.
            headers={"Origin": network.url, "X-Forwarded-For": address},
        )
        try:
            urllib.request.urlopen(request).close()
        except urllib.error.HTTPError as error:
            error.close()
            return error.code
        return 200

    # The wait doubles with each try, so a slow machine meets it a few tries later.
    answers = [guess("192.0.2.1") for _ in range(9)]
    assert answers[:3] == [403, 403, 403]
    assert 429 in answers[3:]
    assert guess("192.0.2.2") == 403


def test_sign_in_survives_a_new_start(visit_network, network):
    visitor = visit_network()
    as_leader(visitor)
    network.kill()
    network.start()
    visitor.page.reload()
    visitor.heading("Does the batch still match")


@pytest.fixture
def opened(tmp_path, server_class):
    """The program of one machine, made to listen to all by an option."""

    class Opened(server_class):
        def command(self) -> list[str]:
            return [*super().command(), "--server.address", "0.0.0.0"]

    running = Opened(tmp_path)
    running.start()
    yield running
    running.kill()


def test_program_of_one_machine_opens_to_no_other_by_an_option(visitor_of, opened):
    visitor = visitor_of(opened)
    visitor.page.goto(f"{opened.url}/plan")
    visitor.page.get_by_text("started for one machine and listens to others").wait_for()
    visitor.settled()
    assert visitor.page.get_by_role("link", name="Sign in with the passcode").count() == 0
    assert words_in(b"".join(visitor.frames)) == []

"""The network mode: a real server, a real browser, and clients that are none."""

from __future__ import annotations

import re
import socket
import urllib.error
import urllib.request

import pytest
import sqlalchemy as sa
from playwright.sync_api import expect
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from sensory.base.findings import Finding

from .servers import Server, started
from .visitor import FROM_A_FILE, Visitor

# Words of the pages and of the record; none of them may reach anybody but the leader. The
# names of pages stand here as in the menu: small ones come back from the visitor's address.
TITLE = "Elderflower trial"
STRANGER = "Sign in with your passcode"
LEADERS_WORDS = [TITLE, "demo-", "Sessions", "Plan", "Question", "Ballots", "Finding", "Panel"]
ADDRESSES = ["", "sessions", "new", "plan", "question", "ballots", "finding", "people"]


@pytest.fixture
def visit_network(visitor_of, network):
    return lambda **options: visitor_of(network, **options)


@pytest.fixture
def leader(visit_network):
    visitor = visit_network()
    visitor.sign_in()
    return visitor


def cookie_of(visitor) -> dict | None:
    cookies = visitor.context.cookies()
    return next((found for found in cookies if found["name"] == "sensory_leader"), None)


@pytest.fixture(scope="module")
def titled(contexts, network):
    """Id of a session on record, made by a leader, with frames that a leader received."""
    visitor = Visitor(contexts, network)
    visitor.sign_in()
    visitor.begin()
    visitor.wish(Product=TITLE)
    visitor.click("start-session")
    visitor.at("question")
    found = re.search(r"session=([^&]+)", visitor.page.url)
    visitor.to("sessions")
    received = b"".join(visitor.frames)
    visitor.leave()
    return found[1], received


def words_in(received: bytes) -> list[str]:
    return [word for word in LEADERS_WORDS if word.encode() in received]


def test_frames_of_a_leader_hold_the_words_looked_for_below(titled):
    assert words_in(titled[1]) == LEADERS_WORDS


def test_strangers_get_nothing_of_any_page(visit_network, titled):
    visitor = visit_network()
    for address in ADDRESSES:
        visitor.frames.clear()
        visitor.goto(f"{address}?session={titled[0]}")
        visitor.page.get_by_role("link", name=STRANGER).wait_for()
        visitor.settled()
        received = b"".join(visitor.frames)
        assert STRANGER.encode() in received, address
        assert words_in(received) == [], address


@pytest.mark.parametrize("signed_in", [False, True])
def test_booths_get_nothing_of_any_leader_page(visit_network, titled, signed_in):
    visitor = visit_network()
    if signed_in:
        visitor.sign_in()
    for address in ADDRESSES:
        visitor.frames.clear()
        visitor.goto(f"{address}?booth=greengage&session={titled[0]}")
        visitor.page.get_by_text("This link is not valid").wait_for()
        visitor.settled()
        received = b"".join(visitor.frames)
        assert b"This link is not valid" in received, address
        assert words_in(received) == [], address
        assert "greengage" not in visitor.server.log.read_text()


def test_main_job_runs_as_on_one_machine_and_asks_nobody_else(leader):
    refused = []
    leader.page.on(
        "console",
        lambda said: refused.append(said.text) if "Content Security Policy" in said.text else None,
    )
    leader.close("suspect_batch", Finding.BEYOND_LIMIT.sentence)
    leader.drawn("outcome-figure")
    assert Finding.BEYOND_LIMIT.sentence in leader.pdf()[0]
    assert leader.asked_only_the_server()
    assert refused == []


def test_journal_names_who_signed_in(network, titled):
    engine = sa.create_engine(f"sqlite:///{network.record}")
    with engine.connect() as connection:
        names = (
            "select name from people join journal on who = 'person:' || people.id order by number"
        )
        who = connection.scalars(sa.text(names)).all()
    engine.dispose()
    # The start of the server, which put the first account on record, then the account.
    assert network.name in who[1:]
    assert who[0].endswith("login of this machine")
    assert not [name for name in who if "unnamed" in name or ("machine" in name and name != who[0])]


def test_files_of_the_leader_come_and_go_and_are_closed_to_others(leader, tmp_path):
    path = tmp_path / "trial.csv"
    path.write_text("assessor;order;code_1;code_2;code_3;answer\nP1;ABB;181;417;512;181\n")
    leader.begin(FROM_A_FILE)
    with leader.page.expect_download() as waiting:
        leader.page.get_by_role("button", name="Template to fill in, XLSX").click()
    url = waiting.value.url
    assert "/media/" in url
    assert status(url) == 404
    assert leader.context.request.get(url).status == 200
    leader.upload(path, 1)


def test_signing_out_ends_the_other_window_too_which_nobody_touches(leader):
    visitor = leader
    second = visitor.context.new_page()
    second.goto(visitor.server.url)
    second.get_by_role("link", name="Sign out").click()
    visitor.frames.clear()  # the other window may hear of it at once
    second.get_by_role("button", name="Sign out").click()
    second.get_by_role("heading", name="Sign in").wait_for()
    assert cookie_of(visitor) is None
    visitor.page.get_by_role("link", name=STRANGER).wait_for(timeout=30_000)  # untouched
    visitor.settled()
    assert visitor.page.get_by_role("link", name="Plan").count() == 0
    # The run begins with the menu that this connection had; of the pages nothing comes.
    received = b"".join(visitor.frames)
    assert STRANGER.encode() in received
    assert not [word for word in (b"How many assessors can come", b"demo-") if word in received]


def test_cookie_is_hidden_from_scripts_and_a_forged_one_opens_nothing(leader):
    visitor = leader
    cookie = cookie_of(visitor)
    assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Strict")
    assert "sensory_leader" not in visitor.page.evaluate("document.cookie")
    value = cookie["value"]
    cookie["value"] = value[:-1] + ("1" if value[-1] == "0" else "0")
    visitor.context.add_cookies([cookie])
    visitor.page.reload()
    expect(visitor.page.get_by_role("link", name=STRANGER)).to_be_visible()


def status(url: str, **headers: str) -> int:
    try:
        with urllib.request.urlopen(urllib.request.Request(url, headers=headers)) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        error.close()
        return error.code


def upgraded(server, host: str) -> int:
    """The answer to a connection of a page whose name, this one, leads to the server."""
    lines = [
        *("GET /_stcore/stream HTTP/1.1", f"Host: {host}", f"Origin: http://{host}"),
        *("Connection: Upgrade", "Upgrade: websocket", "Sec-WebSocket-Version: 13"),
        "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==",
    ]
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as line:
        line.sendall("\r\n".join([*lines, "", ""]).encode())
        return int(line.recv(64).split()[1])


def test_the_guard_stands_before_the_real_server(network):
    """Paths and headers one by one: tests/screens/test_doors.py."""
    assert status(f"{network.url}/_stcore/metrics") == 404
    assert status(f"{network.url}/_stcore/health") == 200
    with urllib.request.urlopen(network.url) as answer:
        assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
    address = f"ws://127.0.0.1:{network.port}/_stcore/stream"
    for origin in (None, "http://elsewhere.test", "null"):
        with pytest.raises(InvalidStatus) as refused, connect(address, origin=origin, proxy=None):
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


def test_sign_in_survives_a_new_start(leader, network):
    network.kill()
    network.start()
    leader.page.reload()
    leader.at("today")


def test_program_of_one_machine_opens_to_no_other_by_an_option(visitor_of, tmp_path):
    class Opened(Server):
        def command(self) -> list[str]:
            return [*super().command(), "--server.address", "0.0.0.0"]

    with started(Opened(tmp_path)) as running:
        assert upgraded(running, "evil.test") == 403
        assert upgraded(running, f"127.0.0.1:{running.port}") == 101
        visitor = visitor_of(running)
        visitor.goto("plan")
        visitor.page.get_by_text("started for one machine").wait_for()
        visitor.settled()
        assert visitor.page.get_by_role("link", name=STRANGER).count() == 0
        assert words_in(b"".join(visitor.frames)) == []

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

from .served import put, written
from .servers import Server, started
from .test_booths import SEND, sit_down
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


SIX = ("Anna", "Bo", "Cleo", "Dov", "Ella", "Finn")


def links_to_six(leader, session_id: str) -> dict[str, str]:
    """The leader plans a serving for six and opens their booths; the token of each."""
    leader.goto(f"serve?session={session_id}")
    leader.at("serve")
    people = leader.page.get_by_label("Assessors, one a line")
    people.fill("\n".join(SIX))
    people.press("Control+Enter")
    leader.page.get_by_text("Every order once.").wait_for()  # of 24 it was every order 4 times
    leader.click("plan-serving")
    leader.heading("Sheets")
    leader.fill("Booths open at", "http://10.0.0.12:8501")
    leader.page.wait_for_timeout(500)  # the page is drawn anew: a click meanwhile can get lost
    leader.click("open-booths")
    leader.page.get_by_text("0 of 6 ballots sent").wait_for()
    leader.settled()
    links = re.findall(r"10\.0\.0\.12:8501/\?booth=([0-9a-f]{32}\.[\w-]{32})", leader.text())
    return dict(zip(SIX, links, strict=True))


def tap(booth, place: int) -> str:
    """Take one of the three samples; its code, which stands behind what is asked."""
    booth.page.get_by_role("radio").nth(place).check(force=True)
    return booth.page.locator(".samples label").nth(place).inner_text()


def send(booth) -> None:
    booth.page.get_by_text("saved", exact=True).wait_for(timeout=60_000)
    booth.settled()
    booth.page.locator(SEND).click()
    booth.heading("All your ballots are sent")


def test_six_booths_one_leaves_one_reloads_one_is_cut_off(
    leader, visit_network, visitor_of, wire, record
):
    """From the plan to the finding: what was sent arrives once, and the board shows each seat."""
    session_id = put(record, "suspect_batch")
    tokens = links_to_six(leader, session_id)
    board = leader.page.locator("table", has_text="since").get_by_role("row")

    def stands(**states: str) -> None:
        for name, state in states.items():
            expect(board.filter(has_text=name)).to_contain_text(state)

    near = visit_network(width=768)
    booths = {name: near.beside() for name in SIX} | {"Dov": visitor_of(wire, width=768)}
    for name, booth in booths.items():
        booth.goto(f"?booth={tokens[name]}")
    stands(**dict.fromkeys(SIX, "waiting"))
    booths["Bo"].click("booth-not-today")
    booths["Bo"].click("booth-not-today-sure")
    for name in ("Anna", "Cleo", "Dov", "Ella", "Finn"):
        sit_down(booths[name], tokens[name])
    stands(Anna="tasting", Bo="not today", Cleo="tasting", Dov="tasting")
    wire.swallows = True
    tapped = {name: tap(booths[name], place) for place, name in enumerate(("Cleo", "Dov", "Anna"))}
    booths["Dov"].page.get_by_text("not sent yet, keep this page open").wait_for()
    wire.cut()
    booths["Cleo"].page.get_by_text("saved", exact=True).wait_for()
    booths["Cleo"].page.reload()
    expect(booths["Cleo"].page.get_by_role("radio").nth(0)).to_be_checked()
    tapped |= {"Ella": tap(booths["Ella"], 0), "Finn": tap(booths["Finn"], 1)}
    for name in ("Anna", "Ella", "Finn"):
        send(booths[name])
    booths["Cleo"].settled()
    booths["Cleo"].page.locator(SEND).click()
    stands(Anna="sent", Bo="not today", Cleo="sent", Dov="tasting", Ella="sent", Finn="sent")
    leader.page.get_by_text("4 of 5 ballots sent; not today: 1.").wait_for()
    wire.mend()
    send(booths["Dov"])
    leader.page.get_by_text("5 of 5 ballots sent; not today: 1.").wait_for()
    cells = record.cells(session_id).values()
    assert {t["assessor"]: t["answer"] for t in cells if t.get("answer")} == tapped
    assert len(written(record, session_id, "sent")) == 5
    assert sorted(written(record, session_id, "answer")) == sorted(tapped.values())
    closed_with_five(leader)
    assert record.verify() == []


def closed_with_five(leader) -> None:
    """The leader reads no answer before the ballots are closed, and the finding after it."""
    leader.to("ballots")
    assert "What they answered is shown when the ballots are closed" in leader.text()
    assert leader.page.locator("input[aria-label^='row']").count() == 0
    leader.page.get_by_text("These 5 of 24 planned ballots are all there will be").click()
    leader.settled()
    leader.click("close")
    leader.page.get_by_text("of 5 answers were correct").first.wait_for()


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

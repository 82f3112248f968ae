"""Sign-in routes and the guard before them, as a web server calls them."""

from __future__ import annotations

import asyncio
import shutil
import time
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from starlette.applications import Starlette
from starlette.routing import Route, WebSocketRoute
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ClientState_pb2 import ClientState

from sensory.base.errors import UnreachableError
from sensory.screens import access
from sensory.screens.guard import OwnMachine
from sensory.screens.leaders import Leaders
from sensory.screens.passcode import COOKIE, HOURS, Keeper
from sensory.screens.patience import FREE, FREE_OF_ALL, Patience
from sensory.screens.sign_in import Doors
from sensory.sessions.signing import Person

from .asgi import HOST, OURS, ask, asked, connect, echo, guarded, page, protocols, run, scope_of

PASSCODE = "plum cordial"
NORA = "a" * 32
OTTO = "b" * 32
KNOWN = {"Nora Sand": NORA, "Otto Brandt": OTTO}


@pytest.fixture(scope="module")
def access_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("access") / "record.access.json"
    Keeper(path).set_passcode(NORA, PASSCODE, given=False)
    return path


@pytest.fixture
def keeper(access_file, tmp_path):
    return Keeper(Path(shutil.copy(access_file, tmp_path)))


@pytest.fixture
def noted():
    """What the doors put on record."""
    return []


@pytest.fixture
def app(keeper, noted):
    doors = Doors(keeper, Patience(lambda: 100.0), KNOWN.get, lambda *entry: noted.append(entry))
    return guarded(Leaders(keeper), doors.routes())


def sign_in(app, passcode=PASSCODE, origin=OURS, scheme="http", name="Nora Sand"):
    return ask(app, "/sign-in", {"name": name, "passcode": passcode}, scheme, origin=origin)


def test_right_passcode_gives_a_cookie_that_scripts_and_other_sites_do_not_get(app, keeper):
    answer = sign_in(app)
    assert (answer.status, answer.headers["location"]) == (303, "/")
    assert keeper.signed_in(answer.cookie) == NORA
    attributes = answer.headers["set-cookie"].casefold().split("; ")[1:]
    assert set(attributes) == {"httponly", "max-age=43200", "path=/", "samesite=strict"}
    encrypted = sign_in(app, scheme="https", origin=f"https://{HOST}")
    assert "secure" in encrypted.headers["set-cookie"].casefold().split("; ")


@pytest.mark.parametrize("passcode", ["", "plum", "plum cordial2", "<script>"])
def test_wrong_passcode_gives_none(app, passcode):
    answer = sign_in(app, passcode)
    assert answer.status == 403
    assert "set-cookie" not in answer.headers
    assert "do not go together" in answer.text
    assert "script" not in answer.text


@pytest.mark.parametrize("name", ["", "Otto Brandt", "Nobody", "<script>"])
def test_passcode_of_another_opens_nothing_and_tells_nothing(app, name):
    """Whether a name is on record shows neither in the answer nor in what is checked."""
    answer, wrong = sign_in(app, name=name), sign_in(app, "a wrong one")
    assert (answer.status, answer.text) == (wrong.status, wrong.text)
    assert "set-cookie" not in answer.headers


def test_wrong_passcodes_slow_and_then_even_the_right_one_waits(app):
    for _ in range(FREE):
        assert sign_in(app, "a wrong one").status == 403
    answer = sign_in(app)
    assert (answer.status, answer.headers["retry-after"]) == (429, "1")
    assert "set-cookie" not in answer.headers


def test_many_at_once_are_checked_no_more_often(app, keeper, monkeypatch):
    checked = []
    monkeypatch.setattr(Keeper, "right", lambda self, person, passcode: checked.append(person))

    scope = scope_of("http", "/sign-in", {"origin": OURS}) | {"method": "POST"}

    async def storm():
        return await asyncio.gather(*(asked(app, dict(scope), b"passcode=x") for _ in range(20)))

    assert sorted(answer.status for answer in run(storm())) == [403] * FREE + [429] * (20 - FREE)
    assert len(checked) == FREE


ELSEWHERE = """
null http://elsewhere.test http://plant http://plant:8502 http://plant:8501.elsewhere.test
http://u@plant:8501 plant:8501 file://plant:8501
"""


@pytest.mark.parametrize("origin", [None, "", *ELSEWHERE.split()])
def test_forms_of_other_pages_are_refused_and_not_counted(app, origin):
    for _ in range(FREE + 1):
        assert sign_in(app, origin=origin).status == 403
    assert sign_in(app).status == 303


@pytest.mark.parametrize("origin", [None, "null", "http://elsewhere.test"])
def test_other_pages_cannot_sign_a_person_out(app, keeper, origin):
    cookie = sign_in(app).cookie
    answer = ask(app, "/sign-out", {}, origin=origin, cookie=f"{COOKIE}={cookie}")
    assert answer.status == 403
    assert keeper.signed_in(cookie)


def test_who_came_went_or_was_refused_is_noted_and_nothing_that_was_typed(app, noted):
    """Somebody may type the passcode in the field of the name."""
    cookie = sign_in(app).cookie
    sign_in(app, "a wrong one")
    sign_in(app, name=PASSCODE)
    ask(app, "/sign-out", {}, origin=OURS, cookie=f"{COOKIE}={cookie}")
    ask(app, "/sign-out", {}, origin=OURS, cookie=f"{COOKIE}={cookie}")
    assert noted == [
        ("signed in", NORA, "from 192.168.0.7"),
        ("sign-in refused", NORA, "from 192.168.0.7"),
        ("sign-in refused", "", "from 192.168.0.7"),
        ("signed out", NORA, ""),
    ]


def test_nobody_comes_in_whose_sign_in_cannot_be_noted(keeper):
    def away(*_):
        raise UnreachableError("The record cannot be written.")

    doors = Doors(keeper, Patience(), KNOWN.get, away)
    app = guarded(Leaders(keeper), doors.routes())
    answer = sign_in(app)
    assert (answer.status, "set-cookie" in answer.headers) == (503, False)
    cookie = keeper.cookie(NORA)
    out = ask(app, "/sign-out", {}, origin=OURS, cookie=f"{COOKIE}={cookie}")
    assert (out.status, keeper.signed_in(cookie)) == (303, None)


def test_forged_forwarding_headers_pass_no_limit(keeper, noted):
    """As uvicorn hands them on: each try seems to come from elsewhere, and from no address."""
    checked = []
    doors = Doors(keeper, Patience(lambda: 100.0), KNOWN.get, lambda *entry: noted.append(entry))
    doors._keeper = SimpleNamespace(right=lambda *asked: checked.append(asked))
    app = guarded(Leaders(keeper), doors.routes())
    scope = scope_of("http", "/sign-in", {"origin": OURS}) | {"method": "POST"}
    addresses = [*(f"203.0.113.{number}" for number in range(40)), "<b>", "1.2.3.4, 5.6.7.8"]

    async def storm():
        scopes = [scope | {"client": (address, 0)} for address in addresses]
        return [await asked(app, each, b"name=Nora+Sand&passcode=plums") for each in scopes]

    answers = [answer.status for answer in run(storm())]
    assert answers == [403] * FREE_OF_ALL + [429] * (len(addresses) - FREE_OF_ALL)
    assert len(checked) == len(noted) == FREE_OF_ALL


def test_sign_out_withdraws_the_cookie_and_takes_it_from_the_browser(app, keeper):
    cookie = sign_in(app).cookie
    answer = ask(app, "/sign-out", {}, origin=OURS, cookie=f"{COOKIE}={cookie}")
    assert (answer.status, answer.headers["location"]) == (303, "/sign-in")
    assert "max-age=0" in answer.headers["set-cookie"].casefold()
    assert not keeper.signed_in(cookie)


@pytest.mark.parametrize(
    ("body", "status"), [(b"passcode=" + b"x" * 5000, 413), (b"passcode=%ff%fe\xff", 403)]
)
def test_endless_forms_are_not_read_and_bytes_that_are_no_text_only_wrong(app, body, status):
    assert ask(app, "/sign-in", body=body, origin=OURS).status == status


@pytest.mark.parametrize("path", ["/sign-in", "/sign-out"])
def test_forms_are_not_kept_and_send_their_origin(app, path):
    answer = ask(app, path)
    assert answer.status == 200
    assert answer.headers["cache-control"] == "no-store"
    # With 'no-referrer' browsers send the form with origin 'null' (Fetch standard, section
    # 'Origin header'), so it could not be told from a form of another page.
    assert answer.headers["referrer-policy"] == "same-origin"
    assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_every_answer_has_the_headers(app):
    for path in ("/", "/plan", "/_stcore/health", "/_stcore/metrics"):
        headers = ask(app, path).headers
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["x-content-type-options"] == "nosniff"
        policy = headers["content-security-policy"].split("; ")
        assert {"default-src 'self'", "frame-ancestors 'none'", "object-src 'none'"} <= {*policy}


OPEN = ("/", "/_stcore/health", "/_stcore/bidi-components/a.js")
CLOSED = """
/_stcore/metrics /_stcore/metrics/ /_stcore/script-health-check /_stcore/agent/openapi.json
/_stcore/agent/interact /component/a/b /media/a.csv /_stcore/upload_file/a/b
"""


@pytest.mark.parametrize("path", [*OPEN, *CLOSED.split()])
def test_paths_without_use_are_closed(app, path):
    assert ask(app, path).status == (200 if path in OPEN else 404)


def test_uploads_are_for_leaders(app, keeper):
    path = "/_stcore/upload_file/a/b"
    assert ask(app, path, cookie=f"{COOKIE}=1.2.3").status == 404
    assert ask(app, path, cookie=f"{COOKIE}={keeper.cookie(NORA)}").status == 200


KEY = f"/media/{'5e' * 28}.pdf"


def test_a_file_is_for_whom_its_address_was_sent_to_and_for_nobody_else(app, keeper):
    keeper.link(OTTO, "subject-1")
    nora, otto = (f"{COOKIE}={keeper.cookie(person)}" for person in (NORA, OTTO))
    for cookie in (None, f"{COOKIE}=1.2.3", nora, otto):
        assert ask(app, KEY, cookie=cookie).status == 404
    connect(app, said=[f"download_button {KEY} 'key.pdf'".encode()], origin=OURS, cookie=nora)
    connect(app, said=[f"download_button {KEY} 'key.pdf'".encode()], origin=OURS)
    answer = ask(app, KEY, cookie=nora)
    assert (answer.status, answer.headers["cache-control"]) == (200, "no-store")
    for cookie in (None, f"{COOKIE}=1.2.3", otto):
        assert ask(app, KEY, cookie=cookie).status == 404
    keeper.sign_out(nora.partition("=")[2])
    assert ask(app, KEY, cookie=nora).status == 404


STREAM = "/_stcore/stream"


@pytest.mark.parametrize(
    ("path", "origin"),
    [("/other", OURS)]
    + [(STREAM, origin) for origin in (None, "null", "http://elsewhere.test", "http://plant:8502")],
)
def test_connections_elsewhere_and_from_other_pages_are_refused(app, path, origin):
    assert connect(app, path, said=[b"a"], origin=origin) == ["websocket.close"]


@pytest.fixture(scope="module")
def own_machine():
    routes = [WebSocketRoute("/{p:path}", echo), Route("/{path:path}", page)]
    return OwnMachine(Starlette(routes=routes))


@pytest.mark.parametrize("host", ["localhost:8501", "127.0.0.1:8501", "127.0.0.1", "[::1]:8501"])
def test_one_machine_answers_to_its_loopback_names(own_machine, host):
    assert ask(own_machine, "/", host=host).status == 200
    assert ask(own_machine, "/", host=host, origin=f"http://{host}").status == 200
    answers = connect(own_machine, said=[b"a"], host=host, origin=f"http://{host}")
    assert answers[0] == "websocket.accept"


REBOUND = """
evil.test evil.test:8501 127.0.0.1.evil.test:8501 localhost.evil.test:8501 evil.test@localhost:8501
192.168.0.7:8501 0.0.0.0:8501 [::]:8501 [::1 localhost@evil.test
"""


@pytest.mark.parametrize("host", ["", *REBOUND.split()])
def test_one_machine_answers_to_no_name_that_another_page_can_have(own_machine, host):
    """A page of the web whose name leads to 127.0.0.1 sends that name, as host and as origin."""
    assert ask(own_machine, "/media/key.pdf", host=host).status == 403
    assert connect(own_machine, host=host, origin=f"http://{host}") == ["websocket.close"]


@pytest.mark.parametrize(
    "origin", ["null", "", "http://evil.test", "http://localhost:8502", "http://127.0.0.1:8501"]
)
def test_one_machine_takes_no_page_of_another_origin(own_machine, origin):
    assert ask(own_machine, "/", host="localhost:8501", origin=origin).status == 403
    refused = connect(own_machine, host="localhost:8501", origin=origin)
    assert refused == ["websocket.close"]


def test_own_pages_connect(app):
    answers = connect(app, STREAM, said=[b"a", b"b"], origin=OURS)
    assert answers == ["websocket.accept", protocols(None), b"a", b"b"]


def test_page_of_a_leader_acts_no_more_after_the_sign_out(app, keeper):
    cookie = keeper.cookie(NORA)

    def sign_out(word):
        if word == b"b":
            keeper.sign_out(cookie)

    said = connect(
        app, said=[b"a", b"b", b"c"], before=sign_out, origin=OURS, cookie=f"{COOKIE}={cookie}"
    )
    assert said[:3] == ["websocket.accept", protocols(None), b"a"]
    for message in map(BackMsg.FromString, said[3:]):
        assert message.WhichOneof("type") == "rerun_script"
        assert message.rerun_script == ClientState()
    assert len(said) == 5


@pytest.mark.parametrize("end", ["new passcode", "dropped", "over", "signs no longer"])
def test_a_window_that_nobody_touches_ends_with_the_sign_in(access_file, tmp_path, clock, end):
    """It is drawn anew for a stranger, once, and acts no more."""
    keeper = Keeper(Path(shutil.copy(access_file, tmp_path)), clock=clock)
    person = Person(name="Nora Sand", roles=("QA",), key=NORA)
    people = [person]
    app = guarded(Leaders(keeper, lambda: people), seconds=0.01)

    def ends():
        if end == "new passcode":  # by another process
            Keeper(tmp_path / access_file.name).set_passcode(NORA, "quince cordial", given=False)
        elif end == "dropped":
            keeper.drop(NORA)
        elif end == "over":
            clock.now += HOURS * 3600
        else:
            people[0] = replace(person, active=False)

    cookie = f"{COOKIE}={keeper.cookie(NORA)}"
    came = connect(app, said=[b"a"], then=ends, until=4, origin=OURS, cookie=cookie)
    assert came[2] == b"a"
    assert BackMsg.FromString(came[3]).rerun_script == ClientState()
    assert len(came) == 4


def test_nobody_is_put_out_because_the_record_is_away(keeper):
    def away():
        raise UnreachableError("The record cannot be read.")

    app = guarded(Leaders(keeper, away), seconds=0.01)
    said = [b"a", *[b"b"] * 30]
    came = connect(app, said=said, before=lambda word: time.sleep(0.002), origin=OURS,
                   cookie=f"{COOKIE}={keeper.cookie(NORA)}")  # fmt: skip
    assert came[2:] == said


def test_page_of_a_leader_is_not_taken_up_again_without_the_cookie(app, keeper, monkeypatch):
    monkeypatch.setattr(access, "_LED", {"led"})
    cookie = f"{COOKIE}={keeper.cookie(NORA)}"

    def offered(session, **headers):
        words = f"streamlit, token, {session}"
        return connect(app, origin=OURS, **headers, **{"sec-websocket-protocol": words})[1]

    assert offered("led", cookie=cookie) == protocols("streamlit, token, led")
    assert offered("led") == protocols("streamlit, token")
    assert offered("led", cookie=f"{COOKIE}=1.2.3") == protocols("streamlit, token")
    assert offered("booth") == protocols("streamlit, token, booth")

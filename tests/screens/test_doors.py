"""Sign-in routes and the guard before them, as a web server calls them."""

from __future__ import annotations

import asyncio
import shutil
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocketDisconnect
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ClientState_pb2 import ClientState

from sensory.screens import access
from sensory.screens.guard import Guard, OwnMachine
from sensory.screens.passcode import COOKIE, Keeper
from sensory.screens.patience import FREE, Patience
from sensory.screens.sign_in import Doors

PASSCODE = "plum cordial"
NORA = "a" * 32
KNOWN = {"Nora Sand": NORA, "Otto Brandt": "b" * 32}
HOST = "plant:8501"
OURS = f"http://{HOST}"


@pytest.fixture(scope="module")
def access_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("access") / "record.access.json"
    Keeper(path).set_passcode(NORA, PASSCODE, given=False)
    return path


@pytest.fixture
def keeper(access_file, tmp_path):
    return Keeper(Path(shutil.copy(access_file, tmp_path)))


async def _page(request):
    return PlainTextResponse("page")


async def _echo(websocket):
    await websocket.accept()
    await websocket.send_bytes(protocols(websocket.headers.get("sec-websocket-protocol")))
    while True:
        await websocket.send_bytes(await websocket.receive_bytes())


def protocols(offered):
    return f"protocols: {offered}".encode()


@pytest.fixture
def app(keeper):
    doors = Doors(keeper, Patience(lambda: 100.0), KNOWN.get)
    routes = [*doors.routes(), WebSocketRoute("/{p:path}", _echo)]
    return Guard(Starlette(routes=[*routes, Route("/{path:path}", _page)]), keeper=keeper)


class Answer:
    """Status, headers in small letters, and text."""

    def __init__(self, sent):
        start = sent[0]
        self.status = start["status"]
        self.headers = {name.decode(): value.decode() for name, value in start["headers"]}
        self.text = b"".join(one.get("body", b"") for one in sent[1:]).decode()

    @property
    def cookie(self):
        return self.headers["set-cookie"].partition(";")[0].partition("=")[2]


def run(work):
    """Run in a thread of its own: where a browser is open, this one has a loop already."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()


def scope_of(kind, path, headers, scheme="http"):
    named = {"host": HOST} | {name: value for name, value in headers.items() if value is not None}
    return {
        "type": kind,
        "method": "GET",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "scheme": scheme,
        "server": ("plant", 8501),
        "client": ("192.168.0.7", 50000),
        "headers": [(name.encode(), value.encode()) for name, value in named.items()],
        "subprotocols": [],
    }


async def asked(app, scope, content):
    sent = []

    async def receive():
        return {"type": "http.request", "body": content, "more_body": False}

    async def send(message):
        sent.append(message)

    await app(scope, receive, send)
    return Answer(sent)


def ask(app, path, form=None, scheme="http", body=None, **headers):
    """One request; with a form it is sent as POST."""
    scope = scope_of("http", path, headers, scheme)
    if form is not None or body is not None:
        scope["method"] = "POST"
    return run(asked(app, scope, body if body is not None else urlencode(form or {}).encode()))


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


@pytest.mark.parametrize("path", ["/media/a.csv", "/_stcore/upload_file/a/b"])
def test_files_are_for_leaders(app, keeper, path):
    assert ask(app, path, cookie=f"{COOKIE}=1.2.3").status == 404
    assert ask(app, path, cookie=f"{COOKIE}={keeper.cookie(NORA)}").status == 200


def connect(app, path="/_stcore/stream", said=(), before=None, **headers):
    """Messages of the server on one connection, which says each of `said` in turn."""
    words = iter(said)
    sent = []

    async def talk():
        begun = False

        async def receive():
            nonlocal begun
            if not begun:
                begun = True
                return {"type": "websocket.connect"}
            word = next(words, None)
            if word is None:
                return {"type": "websocket.disconnect", "code": 1000}
            if before:
                before(word)
            return {"type": "websocket.receive", "bytes": word}

        async def send(message):
            sent.append(message)

        with suppress(WebSocketDisconnect):
            await app(scope_of("websocket", path, headers, "ws"), receive, send)

    run(talk())
    return [one.get("bytes", one["type"]) for one in sent]


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
    routes = [WebSocketRoute("/{p:path}", _echo), Route("/{path:path}", _page)]
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

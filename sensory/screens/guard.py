"""What stands before every request: names of this machine, origin, closed paths, headers.

Why so
------
Started for one machine, the program takes loopback names only. Any page of the web can have its
own name lead to 127.0.0.1; to the browser it is then a page of this server, which only the name
in `Host` and `Origin` gives away.

Closed in the network mode: Streamlit's metrics, its interface for programs, old components;
uploads for all but leaders. The address of a download holds a hash of its content and no name of
whom it is for, so the guard remembers whom it was sent to, and the browser keeps no copy. A booth
page therefore shows no media files.

The page of a leader is looked after every 2 s: one that nobody touches would otherwise show the
record for as long as it stays open.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Awaitable, Callable, Mapping
from functools import partial
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ClientState_pb2 import ClientState

from .access import this_machine, was_led
from .leaders import Leaders

CORE = "/_stcore/"
OPEN = (f"{CORE}health", f"{CORE}host-config", f"{CORE}stream", f"{CORE}bidi-components/")
# What leaders load from files, and take home as files.
UPLOADS, MEDIA = f"{CORE}upload_file/", "/media/"
CLOSED = (CORE, "/component/", "/healthz")

# Charts compile their expressions in the browser, and Streamlit's page styles itself inline.
POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self' 'unsafe-eval' 'unsafe-inline' blob:",
        "style-src 'self' 'unsafe-inline' blob:",
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "worker-src 'self' blob:",
        "object-src 'none'",
        "base-uri 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
# Tokens of booths stand in addresses, so no address is passed on.
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
}
_ANEW = BackMsg(rerun_script=ClientState()).SerializeToString()
_RUN_ANEW: Message = {"type": "websocket.receive", "bytes": _ANEW}
# How often it is looked whether the sign-in of an open page still holds.
SECONDS = 2.0
_FILE = re.compile(rb"/media/([0-9a-f]{16,})")
_MOST_FILES = 10_000


class OwnMachine:
    """Refuses what was not asked for by a name of this machine, or by a page from elsewhere."""

    def __init__(self, app: ASGIApp):
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or one connection."""
        if scope["type"] in ("http", "websocket"):
            headers = Headers(scope=scope)
            asks = scope["type"] == "websocket" or "origin" in headers
            if not by_loopback_name(headers) or (asks and not from_here(headers)):
                await _refused(scope, receive, send)
                return
        await self._app(scope, receive, send)


async def _refused(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    told = "This program was started for one machine. Open it there, as http://127.0.0.1:8501."
    await PlainTextResponse(told, 403)(scope, receive, send)


def by_loopback_name(headers: Mapping[str, str]) -> bool:
    """Whether the server was asked for by a name that always leads to the machine itself.

    >>> [by_loopback_name({"host": host}) for host in ("localhost:8501", "[::1]:8501", "127.0.0.1")]
    [True, True, True]
    >>> [by_loopback_name({"host": host}) for host in ("plant.test", "127.0.0.1.plant.test", "")]
    [False, False, False]
    """
    host = headers.get("host", "")
    try:
        name = urlsplit(f"//{host}").hostname
    except ValueError:
        return False
    return "@" not in host and this_machine(name)


class Guard:
    """Refuses what this program has no use for, and adds the headers to every answer.

    A file that a leader takes home is for whom its address was sent to, and for nobody else.
    """

    def __init__(self, app: ASGIApp, *, leaders: Leaders, seconds: float = SECONDS):
        self._app, self._leaders, self._seconds = app, leaders, seconds
        self._shown: dict[str, set[str]] = {}  # who was sent the address of a file

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or one connection."""
        if scope["type"] == "websocket":
            await self._connection(scope, receive, send)
        elif scope["type"] == "http":
            await self._request(scope, receive, _with_headers(send))
        else:
            await self._app(scope, receive, send)

    async def _request(self, scope: Scope, receive: Receive, send: Send) -> None:
        path = scope["path"]
        if path.startswith(MEDIA):
            leader, named = self._leaders.behind(scope), _FILE.match(path.encode())
            shut = not (named and leader and leader in self._shown.get(named[1].decode(), ()))
            send = _not_kept(send)
        elif path.startswith(UPLOADS):
            shut = self._leaders.behind(scope) is None
        else:
            shut = path.startswith(CLOSED) and not path.startswith(OPEN)
        if shut:
            await PlainTextResponse("Not found", 404)(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _connection(self, scope: Scope, receive: Receive, send: Send) -> None:
        """A websocket from a page of ours."""
        if scope["path"] != f"{CORE}stream" or not from_here(Headers(scope=scope)):
            await send({"type": "websocket.close", "code": 1008})
            return
        leader = self._leaders.behind(scope)
        if leader is None:
            scope = {**scope, "headers": [_not_resumed(*pair) for pair in scope["headers"]]}
            await self._app(scope, receive, send)
            return

        async def noted(message: Message) -> None:
            self._note(leader, message.get("bytes"))
            await send(message)

        window = _Window(
            receive,
            gone=lambda: self._leaders.behind(scope) != leader,
            put_out=partial(run_in_threadpool, self._leaders.put_out, leader),
            seconds=self._seconds,
        )
        await self._app(scope, window.receive, noted)

    def _note(self, leader: str, sent: bytes | None) -> None:
        """Remember whom the addresses of files were sent to; the newest stand last."""
        for match in _FILE.finditer(sent or b""):
            name = match[1].decode()
            self._shown[name] = self._shown.pop(name, set()) | {leader}
        while len(self._shown) > _MOST_FILES:
            del self._shown[next(iter(self._shown))]


class _Window:
    """An open page of a leader.

    When the sign-in has ended, by itself, by a new passcode or because the person no longer signs,
    the page is drawn anew at once, which then finds a stranger. Whatever it sends afterwards does
    the same: no widget of it acts any more.
    """

    def __init__(
        self,
        receive: Receive,
        *,
        gone: Callable[[], bool],
        put_out: Callable[[], Awaitable[bool]],
        seconds: float,
    ):
        self._receive, self._gone, self._put_out = receive, gone, put_out
        self._seconds, self._told = seconds, False
        self._coming: asyncio.Future[Message] | None = None

    async def receive(self) -> Message:
        """The next message of the page, or ours in its place."""
        while True:
            message = await self._within(None if self._told else self._seconds)
            over = self._told or self._gone() or (message is None and await self._put_out())
            if message is not None and message["type"] != "websocket.receive":
                return message
            if over:
                self._told = True
                return _RUN_ANEW
            if message is not None:
                return message

    async def _within(self, seconds: float | None) -> Message | None:
        """What the page sends within a time; None for nothing."""
        coming = self._coming or asyncio.ensure_future(self._receive())
        try:
            done, _ = await asyncio.wait({coming}, timeout=seconds)
        except asyncio.CancelledError:
            coming.cancel()
            raise
        self._coming = None if done else coming
        return coming.result() if done else None


def from_here(headers: Mapping[str, str]) -> bool:
    """Whether a page of this server sent the request; a missing origin is refused as well.

    >>> from_here({"origin": "http://plant:8501", "host": "plant:8501"})
    True
    >>> from_here({"origin": "http://elsewhere", "host": "plant:8501"}), from_here({"host": "a"})
    (False, False)
    """
    parts = urlsplit(headers.get("origin", ""))
    same = parts.netloc.casefold() == headers.get("host", "").casefold()
    return parts.scheme in ("http", "https") and bool(parts.netloc) and same


def _not_resumed(name: bytes, value: bytes) -> tuple[bytes, bytes]:
    """Begin anew where a page of a leader was: Streamlit's third 'protocol' names it."""
    words = value.decode("latin-1").split(",")
    if name == b"sec-websocket-protocol" and any(was_led(word.strip()) for word in words[2:]):
        return name, ",".join(words[:2]).encode("latin-1")
    return name, value


def _not_kept(send: Send) -> Send:
    async def _send(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message)["cache-control"] = "no-store"
        await send(message)

    return _send


def _with_headers(send: Send) -> Send:
    async def _send(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return _send

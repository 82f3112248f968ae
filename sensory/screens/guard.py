"""What stands before every request: names of this machine, origin, closed paths, headers.

Why so
------
Started for one machine, the program takes loopback names only. Any page of the web can have its
own name lead to 127.0.0.1; to the browser it is then a page of this server, which only the name
in `Host` and `Origin` gives away. For `streamlit run` the setting `server.allowedHosts` does so.

Closed in the network mode: Streamlit's metrics, its interface for programs, old components;
uploads and downloads without a leader's cookie (with a provider they are open to whoever knows
the hash in the address). A booth page therefore shows no media files.
"""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ClientState_pb2 import ClientState

from .access import this_machine, was_led
from .passcode import COOKIE, Keeper

CORE = "/_stcore/"
OPEN = (f"{CORE}health", f"{CORE}host-config", f"{CORE}stream", f"{CORE}bidi-components/")
# What leaders load from files, and take home as files.
LEADERS = (f"{CORE}upload_file/", "/media/")
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
_RUN_ANEW = BackMsg(rerun_script=ClientState()).SerializeToString()


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

    `other_leaders` may come without our cookie, by a provider: then files are open to whoever
    knows their address, which is a hash.
    """

    def __init__(self, app: ASGIApp, *, keeper: Keeper, other_leaders: bool = False):
        self._app, self._keeper, self._other_leaders = app, keeper, other_leaders

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
        if path.startswith(LEADERS):
            shut = not self._other_leaders and not self._keeper.signed_in(leader_cookie(scope))
        else:
            shut = path.startswith(CLOSED) and not path.startswith(OPEN)
        if shut:
            await PlainTextResponse("Not found", 404)(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _connection(self, scope: Scope, receive: Receive, send: Send) -> None:
        """A websocket from a page of ours.

        When the leader's cookie has ended, whatever the page sends only runs the script
        anew, which then finds a stranger: no widget of the page acts any more.
        """
        if scope["path"] != f"{CORE}stream" or not from_here(Headers(scope=scope)):
            await send({"type": "websocket.close", "code": 1008})
            return
        cookie = leader_cookie(scope)
        as_leader = self._keeper.signed_in(cookie) is not None
        if not as_leader:
            scope = {**scope, "headers": [_not_resumed(*pair) for pair in scope["headers"]]}

        async def watched() -> Message:
            message = await receive()
            ended = as_leader and not self._keeper.signed_in(cookie)
            if ended and message["type"] == "websocket.receive":
                return {"type": "websocket.receive", "bytes": _RUN_ANEW}
            return message

        await self._app(scope, watched, send)


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


def leader_cookie(scope: Scope) -> str | None:
    """The leader's cookie of a request, not yet checked."""
    return HTTPConnection(scope).cookies.get(COOKIE)


def _not_resumed(name: bytes, value: bytes) -> tuple[bytes, bytes]:
    """Begin anew where a page of a leader was: Streamlit's third 'protocol' names it."""
    words = value.decode("latin-1").split(",")
    if name == b"sec-websocket-protocol" and any(was_led(word.strip()) for word in words[2:]):
        return name, ",".join(words[:2]).encode("latin-1")
    return name, value


def _with_headers(send: Send) -> Send:
    async def _send(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return _send

"""Signing in and out: two plain forms beside the app, because its pages hold no forms.

Why so
------
A form needs its origin. With `Referrer-Policy: no-referrer` browsers send forms with origin
`null`, so the sign-in alone says `same-origin`.
"""

from __future__ import annotations

import asyncio
import ipaddress
from collections.abc import Callable
from contextlib import suppress
from html import escape
from math import ceil
from urllib.parse import parse_qs

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import HTTPConnection, Request, cookie_parser
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from ..base.errors import RecordError
from ..base.spelling import same_person
from ..sessions.staff import IN, OUT, REFUSED
from . import provider
from .access import SIGN_IN, SIGN_OUT
from .guard import from_here
from .leaders import Leaders
from .passcode import COOKIE, HOURS, Keeper
from .patience import Patience

_LONGEST_FORM = 4096

# With 'no-referrer' a browser sends the form with origin 'null', and no origin could be checked.
_HEADERS = {
    "cache-control": "no-store",
    "referrer-policy": "same-origin",
    "content-security-policy": "default-src 'none'; style-src 'unsafe-inline'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
}
_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
:root {{ color-scheme: light dark; font: 1.1rem/1.5 sans-serif; }}
main {{ max-width: 24rem; margin: 15vh auto 0; padding: 0 1rem; }}
input, button {{ box-sizing: border-box; width: 100%; min-height: 3rem; font: inherit;
  margin: .4rem 0 1rem; padding: .4rem .8rem; }}
</style>
</head>
<body><main>
<h1>{title}</h1>
<p role="status">{message}</p>
<form method="post">{fields}</form>
</main></body>
</html>
"""
_WAY_IN = """
<label for="name">Your name</label>
<input id="name" name="name" autocomplete="username" maxlength="200" required autofocus>
<label for="passcode">Passcode</label>
<input id="passcode" name="passcode" type="password" autocomplete="current-password"
 maxlength="200" required>
<button>Sign in</button>
"""


Note = Callable[[str, str, str], None]
"""Leaves an entry in the journal: what, the key of the person or '', and why."""


class Doors:
    """The routes of signing in and out.

    `find` gives the key of the person of a name who signs; None where there is none.
    `note` puts on record who came in, went, or was refused.
    """

    def __init__(
        self, keeper: Keeper, patience: Patience, find: Callable[[str], str | None], note: Note
    ):
        self._keeper, self._patience, self._find = keeper, patience, find
        self._note, self._one_at_a_time = note, asyncio.Lock()

    def routes(self) -> list[Route]:
        """Routes for the application."""
        ways = {
            (SIGN_IN, "GET"): self.ask,
            (SIGN_IN, "POST"): self.sign_in,
            (SIGN_OUT, "GET"): self.ask_out,
            (SIGN_OUT, "POST"): self.sign_out,
        }
        return [Route(path, do, methods=[method]) for (path, method), do in ways.items()]

    async def ask(self, request: Request) -> Response:
        """The form for name and passcode."""
        return _sign_in_page("With your own name and passcode.")

    async def ask_out(self, request: Request) -> Response:
        """The form that ends the sign-in of this browser."""
        return _sign_out_page("You sign out in this browser.")

    async def sign_in(self, request: Request) -> Response:
        """Check name and passcode; if right, give the cookie and go to the app."""
        if not from_here(request.headers):
            return _sign_in_page("The form came from another page. Try it here.", 403)
        typed = await _typed(request)
        if typed is None:
            return _sign_in_page("Too much was sent for a name and a passcode.", 413)
        name, passcode = typed
        address, account = request.client.host if request.client else "", same_person(name)
        async with self._one_at_a_time:  # each check takes 64 MiB for a moment
            if wait := self._patience.begin(address, account):
                return _wait_page(ceil(wait))
            try:
                person = await run_in_threadpool(self._right, name, passcode, address)
            except RecordError:
                return _sign_in_page("Nobody can sign in at the moment. Try again soon.", 503)
        if person is None:
            return _sign_in_page("Name and passcode do not go together.", 403)
        self._patience.forgive(address, account)
        answer = RedirectResponse("/", 303, _HEADERS)
        _set_cookie(answer, request, self._keeper.cookie(person), HOURS * 3600)
        return answer

    def _right(self, name: str, passcode: str, address: str) -> str | None:
        """Whose name and passcode these are; an unknown name takes as long as a known one.

        What was typed is nowhere kept: it may be a passcode in the wrong field.
        """
        person = self._find(name)
        right = self._keeper.right(person, passcode)
        self._note(IN if right else REFUSED, person or "", f"from {_shown(address)}")
        return person if right else None

    async def sign_out(self, request: Request) -> Response:
        """Withdraw the cookie, here and in every copy of it."""
        if not from_here(request.headers):
            return _sign_out_page("The form came from another page.", 403)
        await run_in_threadpool(self._out, request.cookies.get(COOKIE))
        answer = RedirectResponse(SIGN_IN, 303, _HEADERS)
        _set_cookie(answer, request, "", 0)
        return answer

    def _out(self, cookie: str | None) -> None:
        if person := self._keeper.sign_out(cookie):
            with suppress(RecordError):  # whoever goes is let go, also while the record is away
                self._note(OUT, person, "")


class ProviderDoors:
    """Notes who comes in and goes by a provider, whose routes are Streamlit's own."""

    def __init__(self, app: ASGIApp, *, leaders: Leaders, note: Note):
        self._app, self._leaders, self._note = app, leaders, note

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or one connection."""
        path = scope["path"] if scope["type"] == "http" else ""
        if path == "/auth/logout":
            cookies = HTTPConnection(scope).cookies
            listed = self._leaders.vouched_for(cookies)
            provider.withdraw(cookies)
            if listed:
                await self._put(OUT, listed)
        given: dict[str, str] = {}

        async def watched(message: Message) -> None:
            if path == "/oauth2callback" and message["type"] == "http.response.start":
                for value in Headers(raw=message["headers"]).getlist("set-cookie"):
                    given.update(cookie_parser(value.partition(";")[0]))
            await send(message)

        await self._app(scope, receive, watched)
        if provider.user_in(given):
            listed = self._leaders.vouched_for(given)
            await self._put(IN if listed else REFUSED, listed)

    async def _put(self, what: str, listed: str | None) -> None:
        key = self._leaders.vouched_key(listed) if listed else ""
        with suppress(RecordError):  # the cookie is given already
            await run_in_threadpool(self._note, what, key, "by the provider")


def _shown(address: str) -> str:
    """The address for the journal; whatever else a forwarding header held is left out."""
    try:
        return str(ipaddress.ip_address(address))
    except ValueError:
        return "an unknown address"


async def _typed(request: Request) -> tuple[str, str] | None:
    """Name and passcode of the form; None when more came than any form of ours holds."""
    content = b""
    async for part in request.stream():
        content += part
        if len(content) > _LONGEST_FORM:
            return None
    fields = parse_qs(content.decode("utf-8", "replace"), keep_blank_values=True)
    return fields.get("name", [""])[0], fields.get("passcode", [""])[0]


def _set_cookie(answer: Response, request: Request, value: str, seconds: int) -> None:
    safe = request.url.scheme == "https"
    answer.set_cookie(
        COOKIE, value, seconds, path="/", secure=safe, httponly=True, samesite="strict"
    )


def _wait_page(seconds: int) -> Response:
    answer = _sign_in_page(f"Too many wrong tries. Wait {seconds} s before the next.", 429)
    answer.headers["retry-after"] = str(seconds)
    return answer


def _sign_in_page(message: str, status: int = 200) -> Response:
    return _filled("Sign in", message, _WAY_IN, status)


def _sign_out_page(message: str, status: int = 200) -> Response:
    return _filled("Sign out", message, "<button>Sign out</button>", status)


def _filled(title: str, message: str, fields: str, status: int) -> Response:
    page = _PAGE.format(title=title, message=escape(message), fields=fields)
    return HTMLResponse(page, status, _HEADERS)

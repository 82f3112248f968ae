"""Requests and connections as a web server hands them to an application."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from urllib.parse import urlencode

from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocketDisconnect

from sensory.screens.guard import Guard

HOST = "plant:8501"
OURS = f"http://{HOST}"


async def page(request):
    return PlainTextResponse("page")


async def echo(websocket):
    await websocket.accept()
    await websocket.send_bytes(protocols(websocket.headers.get("sec-websocket-protocol")))
    while True:
        await websocket.send_bytes(await websocket.receive_bytes())


def protocols(offered):
    return f"protocols: {offered}".encode()


def guarded(leaders, doors=(), **given):
    routes = [*doors, WebSocketRoute("/{p:path}", echo), Route("/{path:path}", page)]
    return Guard(Starlette(routes=routes), leaders=leaders, **given)


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


def connect(app, path="/_stcore/stream", said=(), before=None, then=None, until=None, **headers):
    """Messages of the server on one connection, which says each of `said` in turn.

    After that it goes, or does `then` and stays silent until so many messages have come.
    """
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
            if word is None and then:
                then()
            while until and word is None and len(sent) < until:
                await asyncio.sleep(0.005)
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

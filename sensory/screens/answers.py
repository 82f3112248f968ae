"""The way of an answer past the page: a route that takes one answer, or that a ballot is sent or
left out, acknowledges it, and gives the ballot that comes next.

Why so
------
A tap that draws the page anew costs a run of it. The script of the booth page hands an answer to
this route instead: one short transaction, with the guards and the journal of any other. What it
says as kept, or as sent, is on record. It gives no next ballot where something else comes before
it: then the script has the page run. What it refuses comes with the ballot as it stands.

Two requests of one window may cross each other in a network that is cut. Each carries what the
record held when its answer was given, and what was sent since, so that an old answer finds
something else and is refused; and a ballot is sent only as its window shows it. Somebody who marks
A, B and A again leaves a B that would find its A: so a window counts what it hands over, and what
it counted lower than the last that was taken is refused. A page that is loaded again is another
window.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import asdict
from math import isfinite
from typing import Any, Literal, NamedTuple

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from ..base.errors import RecordError, UnreachableError
from ..base.records import JsonObject
from ..sessions.booth_answers import Given, Shown, Turn, answer
from ..sessions.booths import leave_out, send, visit
from ..sessions.store import Store
from .ballot_view import view_of
from .guard import from_here

ANSWERS = "/booth-answer"
LONGEST = 32_768
"""Bytes; a comment of 300 letters with those before it is below."""
_MOST_BEFORE, _MOST_SHOWN, _HIGHEST = 8, 200, 2**53
_WINDOW = re.compile(r"[0-9a-f-]{8,36}")
_NO_ANSWER = (
    "This is no answer of a booth: it needs token, line, window and turn, and row, name, given and "
    "over, or one of shown, leave and look, as the booth page sends them."
)
_ELSEWHERE = "Answers are taken from the booth page of this server only. Open the link there."
_FASTER = "Another window gave another answer meanwhile. The page shows it."


class _Ballot(NamedTuple):
    token: str
    line: int
    turn: Turn
    invented: bool


class _Answer(NamedTuple):
    where: tuple[int, str]
    given: Given
    over: list[Given]


_Asked = Literal["leave", "look"]


class Answers:
    """The route. `store_of` gives the record, or that of invented data."""

    def __init__(self, store_of: Callable[[bool], Store]):
        self._store_of = store_of

    def routes(self) -> list[Route]:
        """Routes for the application; booth pages need them."""
        return [Route(ANSWERS, self.take, methods=["POST"])]

    async def take(self, request: Request) -> Response:
        """Keep an answer, send or leave out a ballot, or say how it stands.

        200 when it is done, 409 refused, 503 while the record is away.
        """
        if not from_here(request.headers):
            return _said(403, _ELSEWHERE)
        if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return _said(415, _NO_ANSWER)
        content = await _content(request)
        if content is None:
            return _said(413, f"An answer of a booth has at most {LONGEST} bytes.")
        if (sent := _read(content)) is None:
            return _said(400, _NO_ANSWER)
        return await run_in_threadpool(self._answered, *sent)

    def _answered(self, of: _Ballot, what: _Answer | Shown | _Asked) -> Response:
        try:
            store = self._store_of(of.invented)
            try:
                return _done(store, of, what) or _refused(store, of, _FASTER)
            except UnreachableError:
                raise
            except RecordError as error:
                return _refused(store, of, str(error))
        except UnreachableError as error:
            return _said(503, str(error))
        except RecordError as error:
            return _said(409, str(error))


def _done(store: Store, of: _Ballot, what: _Answer | Shown | _Asked) -> Response | None:
    """Done, with what the window shows then; None where another window was faster."""
    if isinstance(what, _Answer):
        kept = answer(store, of.token, of.line, *what, of.turn)
        return None if kept is None else _json(200, asdict(kept))
    if what == "look":
        return _json(200, {"next": _waiting(store, of)})
    if isinstance(what, str):
        here = leave_out(store, of.token, of.line, turn=of.turn)
    else:
        here = send(store, of.token, of.line, shown=what, turn=of.turn)
        if here.ballot is not None and here.ballot.line == of.line:
            return None
    # In training the own marks come before the next ballot.
    return _json(200, {"next": None if here.learned else view_of(here)})


def _refused(store: Store, of: _Ballot, why: str) -> Response:
    return _json(409, {"error": why, "next": _waiting(store, of)})


def _waiting(store: Store, of: _Ballot) -> JsonObject | None:
    """The ballot that waits, as it stands on record; None where the page shows something else."""
    here = visit(store, of.token)
    return view_of(here) if here else None


def _said(status: int, error: str) -> Response:
    return _json(status, {"error": error})


def _json(status: int, content: object) -> Response:
    return JSONResponse(content, status, {"cache-control": "no-store"})


async def _content(request: Request) -> bytes | None:
    """The body; None when it is longer than any answer, or its sender went."""
    content = b""
    try:
        async for part in request.stream():
            content += part
            if len(content) > LONGEST:
                return None
    except ClientDisconnect:
        return None
    return content


def _read(content: bytes) -> tuple[_Ballot, _Answer | Shown | _Asked] | None:
    """The ballot, and its answer, what its window shows or asks, in a body; None for none."""
    try:
        sent: Any = json.loads(content.decode())
        json.dumps(sent, ensure_ascii=False).encode()  # half a letter cannot be written anywhere
    except (ValueError, RecursionError):
        return None
    if not isinstance(sent, dict):
        return None
    of_ballot: Any = map(sent.get, ("token", "line", "window", "turn"))
    token, line, window, number = of_ballot
    invented = sent.get("invented", False)
    if tuple(map(type, (token, line, window, number, invented))) != (str, int, str, int, bool):
        return None
    if not (_WINDOW.fullmatch(window) and 0 < number < _HIGHEST):
        return None
    of = _Ballot(token, line, Turn(window, number), invented)
    what = _what(sent)
    return None if what is None else (of, what)


def _what(sent: dict[str, Any]) -> _Answer | Shown | _Asked | None:
    if sent.get("look") is True:
        return "look"
    if sent.get("leave") is True:
        return "leave"
    return _shown_in(sent["shown"]) if "shown" in sent else _answer_in(sent)


def _answer_in(sent: dict[str, Any]) -> _Answer | None:
    of_answer: Any = map(sent.get, ("row", "name", "given", "over"))
    row, name, given, over = of_answer
    if type(row) is not int or not isinstance(name, str) or not isinstance(over, list):
        return None
    if not (1 <= len(over) <= _MOST_BEFORE and all(map(_is_given, [given, *over]))):
        return None
    return _Answer((row, name), given, over)


def _shown_in(fields: Any) -> Shown | None:
    """Row, column and text of each field that a window shows."""
    if not isinstance(fields, list) or not 1 <= len(fields) <= _MOST_SHOWN:
        return None
    shown: dict[int, dict[str, str]] = {}
    for field in fields:
        if not isinstance(field, list) or tuple(map(type, field)) != (int, str, str):
            return None
        row, name, text = field
        shown.setdefault(row, {})[name] = text
    return shown


def _is_given(value: Any) -> bool:
    """A text, or a place on the line."""
    if isinstance(value, str):
        return "\0" not in value
    return type(value) in (int, float) and isfinite(value) and 0 <= value <= 1

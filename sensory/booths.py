"""Use cases of the booth: a link for each assessor, one ballot at a time, sent once.

A booth knows its codes and nothing of the key. A link holds the session and a secret of
192 bits, of which the record keeps the SHA-256 only. Every answer is kept as it is given;
a ballot that was sent is not shown again and cannot be changed from the booth.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from .ballots.columns import CONSENT, LATE, SENT
from .base.errors import RecordError
from .base.languages import ballot_words
from .base.records import StoredSession, digest_of, utc_now
from .booth_ballots import (
    BoothBallot,
    ballots_of,
    booth_ballot,
    check_answer,
    scale_of,
    still_open,
)
from .serving.lines import ballot_lines
from .serving.plan import ServingPlan

if TYPE_CHECKING:  # a booth loads no statistics
    from .workflow import Store

_TOKEN = re.compile(r"([0-9a-f]{32})\.([A-Za-z0-9_-]{32})")
_LONGEST = 300
_SEAT = "seat "
NOT_TODAY = "not today"


@dataclass(frozen=True, slots=True, kw_only=True)
class BoothVisit:
    """What a valid link shows.

    Attributes
    ----------
    assessor, language, allergens : str
    consented, excused, closed : bool
        Wants to taste; does not, today; the session is closed.
    ballot : BoothBallot or None
        The next one to be answered; None when all are sent.
    sent : int
    scale : (float, float)
    """

    assessor: str
    language: str
    allergens: str
    consented: bool
    excused: bool
    closed: bool
    ballot: BoothBallot | None
    sent: int
    scale: tuple[float, float]


def serve(
    store: Store,
    session_id: str,
    plan: Mapping[str, Any],
    lines: Mapping[int, Mapping[str, str]],
    *,
    language: str = "en",
    who: str,
) -> StoredSession:
    """Put the serving plan on record, hashed into the journal, and lay out its ballots.

    Parameters
    ----------
    store, session_id
    plan : mapping
        The plan as plain data, `ServingPlan.to_dict`.
    lines : mapping of int to mapping of str to str
        Ballot lines of the plan, `serving.ballot_lines`: assessor, order or sample, codes.
    language : str
        Of the ballots.

    Raises
    ------
    RecordError
        When the question is not agreed, the session is closed or has ballots already.
    """
    ballot_words(language)
    session = store.session(session_id)
    if not session.agreed:
        raise RecordError("Agree the question first; then plan the serving.")
    if session.closed:
        raise RecordError("The session is closed.")
    if store.cells(session_id):
        raise RecordError("This session has ballots already; open a new one for another plan.")
    people = list(dict.fromkeys(texts["assessor"] for _, texts in sorted(lines.items())))
    seats = {name: f"{_SEAT}{number}" for number, name in enumerate(people, start=1)}
    seated = _renamed(dict(plan), seats)
    served = replace(session, serving={"plan": seated, "language": language, "booths": {}})
    why = f"plan SHA-256 {digest_of(seated)}, seed {plan.get('seed')}"
    store.update(served, expect=session, who=who, what="planned", why=why)
    store.write_cells(session_id, lines, who=who, why="laid out by the serving plan")
    return served


def served_plan(store: Store, session_id: str) -> dict[str, Any] | None:
    """The plan as plain data, with the names of the assessors; None where there is none.

    On record the plan holds seats instead of names, so that a name can be erased.
    """
    session = store.session(session_id)
    if not session.serving:
        return None
    names = {
        f"{_SEAT}{number}": name for number, name in enumerate(_people(store, session_id), start=1)
    }
    renamed: dict[str, Any] = _renamed(session.serving["plan"], names)
    return renamed


def _people(store: Store, session_id: str) -> list[str]:
    cells = store.cells(session_id)
    return list(dict.fromkeys(texts["assessor"] for _, texts in sorted(cells.items())))


def _renamed(plain: Any, names: Mapping[str, str]) -> Any:
    """Plain data with names exchanged, wherever they stand."""
    if isinstance(plain, dict):
        return {key: _renamed(value, names) for key, value in plain.items()}
    if isinstance(plain, (list, tuple)):
        return [_renamed(value, names) for value in plain]
    return names.get(plain, plain) if isinstance(plain, str) else plain


def open_booths(store: Store, session_id: str, *, who: str) -> dict[str, str]:
    """A fresh link for every assessor of the plan; links given before are no longer valid.

    Returns
    -------
    dict of str to str
        Token by assessor. It is shown once: the record keeps its SHA-256 only.

    Raises
    ------
    RecordError
        When there is no serving plan, or the session is closed.
    """
    session = store.session(session_id)
    if not session.serving:
        raise RecordError("Plan the serving first.")
    if session.closed:
        raise RecordError("The session is closed.")
    people = _people(store, session_id)
    tokens = {person: f"{session_id}.{secrets.token_urlsafe(24)}" for person in people}
    hashed = {_hash(token): f"{_SEAT}{seat}" for seat, token in enumerate(tokens.values(), 1)}
    opened = replace(session, serving={**session.serving, "booths": hashed})
    store.update(opened, expect=session, who=who, what="booths opened", why=f"{len(people)} links")
    return tokens


def add_late(store: Store, session_id: str, name: str, *, who: str) -> str:
    """Seat somebody who came late, with the orders that were served least so far.

    Orders, codes and links of the others stay. Somebody who did not come needs nothing:
    their ballots stay without an answer, and are reported as missing.

    Returns
    -------
    str
        The token of the new booth.

    Raises
    ------
    RecordError
        When there is no plan, or the session is closed. ArgumentError for a name that is
        empty or in the plan.
    """
    session, before = store.session(session_id), served_plan(store, session_id)
    if before is None or session.closed:
        raise RecordError("Plan the serving first." if before is None else "It is closed.")
    people, last = _people(store, session_id), max(store.cells(session_id))
    plan = ServingPlan.from_dict(before).with_late(name)
    late = plan.assessors[-1]
    mine = [texts for _, texts in sorted(ballot_lines(plan).items()) if texts["assessor"] == late]
    token = f"{session_id}.{secrets.token_urlsafe(24)}"
    seats = {one: f"{_SEAT}{seat}" for seat, one in enumerate([*people, late], start=1)}
    serving = {
        **session.serving,
        "plan": _renamed(plan.to_dict(), seats),
        "booths": {**session.serving["booths"], _hash(token): seats[late]},
    }
    store.update(
        replace(session, serving=serving),
        expect=session,
        who=who,
        what="late assessor",
        why=f"plan SHA-256 {digest_of(serving['plan'])}",
    )
    lines = dict(enumerate(mine, start=last + 1))
    store.write_cells(session_id, lines, who=who, why="laid out for a late assessor")
    return token


def visit(store: Store, token: str) -> BoothVisit | None:
    """What a link shows; None when it is not valid."""
    found = _found(store, token)
    if found is None:
        return None
    session, assessor = found
    mine = _mine(store, session, assessor)
    ballots = ballots_of(session, mine)
    waiting = [one for one in ballots if not mine[one[0]].get(SENT)]
    return BoothVisit(
        assessor=assessor,
        language=session.serving["language"],
        allergens="; ".join(
            dict.fromkeys(one.allergens for one in session.details.samples if one.allergens)
        ),
        consented=_consented(mine),
        excused=any(texts.get(CONSENT, "").startswith(NOT_TODAY) for texts in mine.values()),
        closed=session.closed,
        ballot=booth_ballot(session, mine, waiting[0], ballots) if waiting else None,
        sent=len(ballots) - len(waiting),
        scale=scale_of(session.question),
    )


def consent(store: Store, token: str, *, wants: bool = True) -> None:
    """Record that the assessor read the cautions and wants to taste, or not today.

    Of the reason nothing is asked and nothing is kept. Only the first answer counts.
    """
    session, assessor, mine = _open(store, token)
    first = min(mine)
    if not mine[first].get(CONSENT):
        said = utc_now() if wants else f"{NOT_TODAY} {utc_now()}"
        why = "consent given" if wants else "does not taste today"
        _write(store, session, {first: {CONSENT: said}}, assessor, why)


def keep(store: Store, token: str, line: int, answers: Mapping[int, Mapping[str, str]]) -> None:
    """Keep answers of the ballot that waits, as they are given.

    Parameters
    ----------
    line : int
        First line of the ballot.
    answers : mapping of int to mapping of str to str
        By line and column; only what the ballot asks for is taken.

    Raises
    ------
    RecordError
        For a link that is not valid, a closed session, no consent, another ballot than the
        one that waits, or an answer that the ballot does not offer.
    """
    session, assessor, mine = _open(store, token)
    ballot = _waiting(session, mine, line)
    allowed = {(one.line, one.name): one for one in ballot.asked}
    changes: dict[int, dict[str, str]] = {}
    for at, texts in answers.items():
        for name, text in texts.items():
            if (at, name) in allowed:
                check_answer(allowed[at, name], text, scale_of(session.question), ballot)
            elif at != line or name not in _beside(ballot):
                raise RecordError(f"This ballot does not ask for {name!r}.")
            changes.setdefault(at, {})[name] = " ".join(str(text).split())[:_LONGEST]
    _write(store, session, changes, assessor, "answered")


def _beside(ballot: BoothBallot) -> tuple[str, ...]:
    return ("comment",) if ballot.guess is None else ("comment", "guess")


def send(store: Store, token: str, line: int) -> None:
    """Send the ballot; sending it again changes nothing.

    Raises
    ------
    RecordError
        When something is still to be answered, and as in `keep`.
    """
    session, assessor, mine = _open(store, token)
    if mine.get(line, {}).get(SENT):
        return
    ballot = _waiting(session, mine, line)
    if missing := still_open(ballot):
        raise RecordError(f"Still to be answered: {', '.join(missing)}.")
    lines = next(one for one in ballots_of(session, mine) if one[0] == line)
    now = utc_now()
    _write(store, session, {at: {SENT: now} for at in lines}, assessor, "ballot sent")


def late(store: Store, token: str) -> bool:
    """Mark answers that were given and not sent before the session was closed.

    They stay on record with their time, and are not counted.

    Returns
    -------
    bool
        Whether there were any.
    """
    found = _found(store, token)
    if found is None or not found[0].closed:
        return False
    session, assessor = found
    mine = _mine(store, session, assessor)
    told = session.serving.get(LATE, {})
    marks = {
        str(lines[0]): utc_now()
        for lines in ballots_of(session, mine)
        if not mine[lines[0]].get(SENT)
        and str(lines[0]) not in told
        and any(one.given for one in booth_ballot(session, mine, lines, [lines]).asked)
    }
    if marks:
        marked = replace(session, serving={**session.serving, LATE: told | marks})
        why = f"ballots {', '.join(marks)}: answered, not sent before closing; not counted"
        store.update(
            marked, expect=session, who=f"booth of {assessor}", what="late ballot", why=why
        )
    return bool(marks)


def progress(store: Store, session_id: str) -> list[tuple[str, int, int]]:
    """Assessor, ballots sent, ballots in all; never an answer."""
    session = store.session(session_id)
    cells = store.cells(session_id)
    people: dict[str, dict[int, dict[str, str]]] = {}
    for line, texts in sorted(cells.items()):
        people.setdefault(texts.get("assessor", ""), {})[line] = texts
    return [
        (name, sum(bool(mine[one[0]].get(SENT)) for one in ballots), len(ballots))
        for name, mine in people.items()
        for ballots in [ballots_of(session, mine)]
    ]


def _found(store: Store, token: str) -> tuple[StoredSession, str] | None:
    """The session and the assessor of a token, compared in constant time."""
    match = _TOKEN.fullmatch(token or "")
    if not match:
        return None
    try:
        session = store.session(match.group(1))
    except RecordError:
        return None
    hashed = _hash(token)
    for known, seat in session.serving.get("booths", {}).items():
        if hmac.compare_digest(known, hashed):
            people = _people(store, session.id)
            return session, people[int(seat.removeprefix(_SEAT)) - 1]
    return None


def _open(store: Store, token: str) -> tuple[StoredSession, str, dict[int, dict[str, str]]]:
    found = _found(store, token)
    if found is None:
        raise RecordError("This link is not valid, or no longer.")
    session, assessor = found
    if session.closed:
        raise RecordError("This session is closed.")
    return session, assessor, _mine(store, session, assessor)


def _mine(store: Store, session: StoredSession, assessor: str) -> dict[int, dict[str, str]]:
    cells = store.cells(session.id)
    return {
        line: texts for line, texts in sorted(cells.items()) if texts.get("assessor") == assessor
    }


def _waiting(
    session: StoredSession, mine: Mapping[int, Mapping[str, str]], line: int
) -> BoothBallot:
    """The ballot that waits; RecordError for any other, or before consent."""
    if not _consented(mine):
        raise RecordError("Not before the cautions are read and consent is given.")
    ballots = ballots_of(session, mine)
    waiting = [one for one in ballots if not mine[one[0]].get(SENT)]
    if not waiting or waiting[0][0] != line:
        raise RecordError("This ballot is not the one that waits.")
    return booth_ballot(session, mine, waiting[0], ballots)


def _consented(mine: Mapping[int, Mapping[str, str]]) -> bool:
    said = [texts[CONSENT] for texts in mine.values() if texts.get(CONSENT)]
    return bool(said) and not said[0].startswith(NOT_TODAY)


def _write(
    store: Store,
    session: StoredSession,
    changes: Mapping[int, Mapping[str, str]],
    assessor: str,
    why: str,
) -> None:
    if changes:
        store.write_cells(session.id, changes, who=f"booth of {assessor}", why=why)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()

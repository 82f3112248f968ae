"""Use cases of the booth: a link for each assessor, one ballot at a time, sent once.

A booth knows its codes and nothing of the key. A link holds the session and a secret of
192 bits, of which the record keeps the SHA-256 only. Every answer is kept as it is given;
a ballot that was sent is not shown again and cannot be changed from the booth.
"""

from __future__ import annotations

import hmac
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from .ballots.columns import CONSENT, LATE, SENT
from .base.errors import RecordError
from .base.records import StoredSession, utc_now
from .booth_ballots import (
    BoothBallot,
    ballots_of,
    booth_ballot,
    check_answer,
    scale_of,
    still_open,
)
from .booth_plans import SEAT, hash_of

if TYPE_CHECKING:  # a booth loads no statistics
    from .workflow import Store

_TOKEN = re.compile(r"([0-9a-f]{32})\.([A-Za-z0-9_-]{32})")
_LONGEST = 300
NOT_TODAY = "not today"
Mine = dict[int, dict[str, str]]


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


def visit(store: Store, token: str) -> BoothVisit | None:
    """What a link shows; None when it is not valid."""
    found = _found(store, token)
    return None if found is None else _shown(*found)


def _shown(session: StoredSession, assessor: str, mine: Mine) -> BoothVisit:
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
        _write(store, session, mine, {first: {CONSENT: said}}, assessor, why)


def keep(
    store: Store, token: str, line: int, answers: Mapping[int, Mapping[str, str]]
) -> BoothVisit:
    """Keep answers of the ballot that waits, as they are given.

    Parameters
    ----------
    line : int
        First line of the ballot.
    answers : mapping of int to mapping of str to str
        By line and column; only what the ballot asks for is taken.

    Returns
    -------
    BoothVisit
        What the link shows now.

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
    return _write(store, session, mine, changes, assessor, "answered")


def _beside(ballot: BoothBallot) -> tuple[str, ...]:
    return ("comment",) if ballot.guess is None else ("comment", "guess")


def send(store: Store, token: str, line: int) -> BoothVisit:
    """Send the ballot; sending it again changes nothing.

    Returns
    -------
    BoothVisit
        What the link shows now.

    Raises
    ------
    RecordError
        When something is still to be answered, and as in `keep`.
    """
    session, assessor, mine = _open(store, token)
    if mine.get(line, {}).get(SENT):
        return _shown(session, assessor, mine)
    ballot = _waiting(session, mine, line)
    if missing := still_open(ballot):
        raise RecordError(f"Still to be answered: {', '.join(missing)}.")
    lines = next(one for one in ballots_of(session, mine) if one[0] == line)
    now = utc_now()
    changes = {at: {SENT: now} for at in lines}
    return _write(store, session, mine, changes, assessor, "ballot sent")


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
    session, assessor, mine = found
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


def _found(store: Store, token: str) -> tuple[StoredSession, str, Mine] | None:
    """The session of a token, compared in constant time; the assessor, and their lines."""
    match = _TOKEN.fullmatch(token or "")
    if not match:
        return None
    try:
        session = store.session(match.group(1))
    except RecordError:
        return None
    hashed = hash_of(token)
    for known, seat in session.serving.get("booths", {}).items():
        if hmac.compare_digest(known, hashed):
            mine = store.seat_cells(session.id, int(seat.removeprefix(SEAT)))
            return (session, mine[min(mine)]["assessor"], mine) if mine else None
    return None


def _open(store: Store, token: str) -> tuple[StoredSession, str, Mine]:
    found = _found(store, token)
    if found is None:
        raise RecordError("This link is not valid, or no longer.")
    if found[0].closed:
        raise RecordError("This session is closed.")
    return found


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
    mine: Mine,
    changes: Mapping[int, Mapping[str, str]],
    assessor: str,
    why: str,
) -> BoothVisit:
    """Write, and what the link shows after it."""
    if changes:
        store.write_cells(session.id, changes, who=f"booth of {assessor}", why=why)
    after = {line: {**texts, **changes.get(line, {})} for line, texts in mine.items()}
    return _shown(session, assessor, after)

"""What the leader does for the booths: plan on record, links, late assessors, counts.

On record the plan holds seats instead of names, so that a name can be erased.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from .ballots.columns import SENT
from .base.checks import one_count
from .base.errors import ArgumentError, RecordError
from .base.languages import ballot_words
from .base.records import StoredSession, digest_of
from .booth_ballots import ballots_of
from .serving.lines import ballot_lines
from .serving.plan import ServingPlan

if TYPE_CHECKING:  # a booth loads no statistics
    from .workflow import Store

SEAT = "seat "
BREAKS = "breaks"
"""What a session keeps of its breaks: at least so many `minutes`, or 0 where the leader says
which sitting has been `started`. Sessions of one sitting keep nothing."""
MOST_MINUTES = 240


def serve(
    store: Store,
    session_id: str,
    plan: Mapping[str, Any],
    lines: Mapping[int, Mapping[str, str]],
    *,
    language: str = "en",
    break_minutes: int = 0,
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
    break_minutes : int
        How long the break between two sittings lasts at least for each assessor; 0 where the
        leader starts the next sitting for all.

    Raises
    ------
    RecordError
        When the question is not agreed, the session is closed or has ballots already.
        ArgumentError for an unknown language, or minutes that are no whole number up to 240.
    """
    ballot_words(language)
    minutes = one_count("break_minutes", break_minutes, at_least=0)
    if minutes > MOST_MINUTES:
        raise ArgumentError(f"break_minutes must be at most {MOST_MINUTES}; got {minutes}.")
    session = store.session(session_id)
    if not session.agreed:
        raise RecordError("Agree the question first; then plan the serving.")
    if session.closed:
        raise RecordError("The session is closed.")
    if store.cells(session_id):
        raise RecordError("This session has ballots already; open a new one for another plan.")
    people = list(dict.fromkeys(texts["assessor"] for _, texts in sorted(lines.items())))
    seats = {name: f"{SEAT}{number}" for number, name in enumerate(people, start=1)}
    seated = _renamed(dict(plan), seats)
    serving: dict[str, Any] = {"plan": seated, "language": language, "booths": {}}
    if plan["design"]["sittings"] > 1:
        serving[BREAKS] = {"minutes": minutes, "started": 1}
    served = replace(session, serving=serving)
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
        f"{SEAT}{number}": name for number, name in enumerate(people_of(store, session_id), start=1)
    }
    renamed: dict[str, Any] = _renamed(session.serving["plan"], names)
    return renamed


def people_of(store: Store, session_id: str) -> list[str]:
    """Assessors of the ballot lines in order; their seats count from 1."""
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
    people = people_of(store, session_id)
    tokens = {person: f"{session_id}.{secrets.token_urlsafe(24)}" for person in people}
    hashed = {hash_of(token): f"{SEAT}{seat}" for seat, token in enumerate(tokens.values(), 1)}
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
    people, last = people_of(store, session_id), max(store.cells(session_id))
    plan = ServingPlan.from_dict(before).with_late(name)
    late = plan.assessors[-1]
    mine = [texts for _, texts in sorted(ballot_lines(plan).items()) if texts["assessor"] == late]
    token = f"{session_id}.{secrets.token_urlsafe(24)}"
    seats = {one: f"{SEAT}{seat}" for seat, one in enumerate([*people, late], start=1)}
    serving = {
        **session.serving,
        "plan": _renamed(plan.to_dict(), seats),
        "booths": {**session.serving["booths"], hash_of(token): seats[late]},
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


def hash_of(token: str) -> str:
    """What the record keeps of a token."""
    return hashlib.sha256(token.encode()).hexdigest()

"""What the leader does for the booths: plan on record, links, late assessors, counts.

On record the plan holds seats instead of names, so that a name can be erased.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

from ..base.checks import one_count
from ..base.errors import ArgumentError, RecordError
from ..base.languages import ballot_words
from ..base.records import digest_of
from ..serving.lines import ballot_lines
from ..serving.marks import (
    CONSENT,
    LEFT,
    NOT_COME,
    NOT_SERVED,
    NOT_THIS_SAMPLE,
    SEAT,
    SENT,
    codes_of,
    samples_by_line,
    to_serve,
)
from ..serving.plan import ServingPlan
from .allergens import undeclared
from .booth_ballots import answered, ballots_of
from .session import StoredSession
from .store import Store

BREAKS = "breaks"
"""What a session keeps of its breaks: at least so many `minutes`, or 0 where the leader says
which sitting has been `started`. Sessions of one sitting keep nothing."""
MOST_MINUTES = 240
CONFIRMED = "served"
"""Where a session keeps when the serving was confirmed."""
EXCLUDED = "excluded"
"""Where a session keeps, by seat, the samples that are not for an assessor."""


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
    people = list(dict.fromkeys(texts["assessor"] for _, texts in sorted(lines.items())))
    seated = _seated(plan, seats_of(people))
    serving: dict[str, Any] = {"plan": seated, "language": language, "booths": {}}
    if plan["design"]["sittings"] > 1:
        serving[BREAKS] = {"minutes": minutes, "started": 1}
    why = f"plan SHA-256 {digest_of(seated)}, seed {plan.get('seed')}"
    with store.action(who=who, why="laid out by the serving plan") as act:
        session = act.session(session_id)
        if not session.agreed:
            raise RecordError("Agree the question first; then plan the serving.")
        if session.closed:
            raise RecordError("The session is closed.")
        if act.cells(session_id):
            raise RecordError("This session has ballots already; open a new one for another plan.")
        served = replace(session, serving=serving)
        act.put(served, expect=session, what="planned", why=why)
        act.write_lines(session_id, lines)
        return served


def served_plan(store: Store, session_id: str) -> dict[str, Any] | None:
    """The plan as plain data, with the names of the assessors; None where there is none.

    On record the plan holds seats instead of names, so that a name can be erased.
    """
    session = store.session(session_id)
    if not session.serving:
        return None
    names = {seat: name for name, seat in seats_of(people_of(store, session_id)).items()}
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


def _seated(plan: Mapping[str, Any], seats: Mapping[str, str]) -> dict[str, Any]:
    """The plan with seats for its assessors; a sample of the same name keeps it."""
    return {
        **plan,
        "assessors": [seats.get(one, one) for one in plan["assessors"]],
        "rows": [
            {**row, "assessor": seats.get(row["assessor"], row["assessor"])} for row in plan["rows"]
        ],
        "changes": [[what, seats.get(one, one)] for what, one in plan["changes"]],
    }


def seats_of(people: list[str]) -> dict[str, str]:
    """The seat of each name; see `people_of`."""
    return {name: f"{SEAT}{number}" for number, name in enumerate(people, start=1)}


def rows_of_seat(session: StoredSession, seat: str) -> list[dict[str, Any]]:
    """The planned cups of one seat as plain data; see `serving.layout.ServingRow`."""
    return [row for row in session.serving["plan"]["rows"] if row["assessor"] == seat]


def excluded_of(session: StoredSession, seat: str) -> tuple[str, ...]:
    """The samples that are not for the assessor of this seat."""
    return tuple(session.serving.get(EXCLUDED, {}).get(seat, ()))


def lines_holding(
    session: StoredSession,
    seat: str,
    lines: Mapping[int, Mapping[str, str]],
    samples: Collection[str],
) -> set[int]:
    """Lines of this seat whose ballot holds one of these samples, a labelled one included."""
    holds = samples_by_line(rows_of_seat(session, seat), lines)
    wanted = set(samples)
    return {
        line
        for ballot in ballots_of(session, lines)
        if any(holds[one] & wanted for one in ballot)
        for line in ballot
    }


def lines_of(store: Store, session_id: str, assessor: str) -> dict[int, dict[str, str]]:
    """The ballot lines of one assessor, in the order of serving."""
    cells = store.cells(session_id)
    return {
        line: texts for line, texts in sorted(cells.items()) if texts.get("assessor") == assessor
    }


def open_booths(store: Store, session_id: str, *, who: str) -> dict[str, str]:
    """A fresh link for every assessor of the plan; links given before are no longer valid.

    Returns
    -------
    dict of str to str
        Token by assessor. It is shown once: the record keeps its SHA-256 only.

    Raises
    ------
    RecordError
        When there is no serving plan, the session is closed, or the allergens of a served
        sample are not declared.
    """
    with store.action(who=who) as act:
        session = act.session(session_id)
        if not session.serving:
            raise RecordError("Plan the serving first.")
        if session.closed:
            raise RecordError("The session is closed.")
        check_declared(session)
        seats, there = seats_of(people_of(act, session_id)), session.serving["plan"]["assessors"]
        people = [name for name, seat in seats.items() if seat in there]
        tokens = {person: f"{session_id}.{secrets.token_urlsafe(24)}" for person in people}
        hashed = {hash_of(token): seats[person] for person, token in tokens.items()}
        opened = replace(session, serving={**session.serving, "booths": hashed})
        act.put(opened, expect=session, what="booths opened", why=f"{len(people)} links")
        return tokens


def check_declared(session: StoredSession) -> None:
    """RecordError as long as a served sample is without a declaration of its allergens."""
    if missing := undeclared(session):
        raise RecordError(
            "Declare the allergens of each served sample first, 'none' being a declaration: "
            f"{', '.join(missing)}."
        )


def add_late(store: Store, session_id: str, name: str, *, who: str) -> str:
    """Seat somebody who came late, with the orders that were served least so far.

    Orders, codes and links of the others stay.

    Returns
    -------
    str
        The token of the new booth.

    Raises
    ------
    RecordError
        When there is no plan, the session is closed, or the allergens of a served sample are
        not declared. ArgumentError for a name that is empty or in the plan.
    """
    with store.action(who=who, why="laid out for a late assessor") as act:
        session, before = _to_change(act, session_id)
        check_declared(session)
        people, last = people_of(act, session_id), max(act.cells(session_id))
        known = {person.casefold(): person for person in people}
        name = known.get(" ".join(name.split()).casefold(), name)
        lines = lines_of(act, session_id, name)
        used = [code for texts in lines.values() for code in codes_of(texts)]
        plan = before.with_late(name, used_codes=used)
        late = plan.assessors[-1]
        laid_out = sorted(ballot_lines(plan).items())
        mine = [texts for _, texts in laid_out if texts["assessor"] == late]
        token = f"{session_id}.{secrets.token_urlsafe(24)}"
        seats = seats_of(list(dict.fromkeys([*people, late])))
        booths = {**session.serving["booths"], hash_of(token): seats[late]}
        changed = _with_plan(session, _seated(plan.to_dict(), seats), booths)
        why = f"plan SHA-256 {digest_of(changed.serving['plan'])}"
        act.put(changed, expect=session, what="late assessor", why=why)
        new = dict(enumerate(mine, start=last + 1))
        act.write_lines(session_id, _excluded_before(changed, seats[late], new))
        return token


def did_not_come(store: Store, session_id: str, name: str, *, who: str) -> StoredSession:
    """Take somebody who did not come out of the plan; all others stay as they are.

    Their link is dead and their ballots are not missing. Whoever comes late then gets the
    orders that were left.

    Raises
    ------
    RecordError
        When there is no plan, the session is closed, or a ballot of theirs is answered.
        ArgumentError when nobody of that name is in the plan, or nobody else.
    """
    with store.action(who=who, why=NOT_COME) as act:
        session, before = _to_change(act, session_id)
        plan, mine = before.without(name), lines_of(act, session_id, name)
        done = any(answered(session, mine, ballot) for ballot in ballots_of(session, mine))
        if done or any(texts.get(LEFT) for texts in mine.values()):
            raise RecordError(f"{name} has answered a ballot or left one out, so {name} came.")
        seats = seats_of(people_of(act, session_id))
        there = session.serving["booths"]
        booths = {key: seat for key, seat in there.items() if seat != seats[name]}
        changed = _with_plan(session, _seated(plan.to_dict(), seats), booths)
        marks = {line: {NOT_SERVED: NOT_COME, CONSENT: ""} for line in mine}
        act.write_lines(session_id, marks)
        why = f"{NOT_COME}; plan SHA-256 {digest_of(changed.serving['plan'])}"
        act.put(changed, expect=session, what="absent assessor", why=why)
        return changed


def _to_change(store: Store, session_id: str) -> tuple[StoredSession, ServingPlan]:
    session, plain = store.session(session_id), served_plan(store, session_id)
    if plain is None or session.closed:
        raise RecordError("Plan the serving first." if plain is None else "It is closed.")
    return session, ServingPlan.from_dict(plain)


def _with_plan(
    session: StoredSession, plan: dict[str, Any], booths: Mapping[str, str]
) -> StoredSession:
    """The session with another plan, whose serving is yet to be confirmed."""
    kept = {name: part for name, part in session.serving.items() if name != CONFIRMED}
    return replace(session, serving={**kept, "plan": plan, "booths": dict(booths)})


def _excluded_before(
    session: StoredSession, seat: str, lines: Mapping[int, dict[str, str]]
) -> dict[int, dict[str, str]]:
    """New lines, marked where they hold a sample that is not for this seat."""
    out = lines_holding(session, seat, lines, excluded_of(session, seat))
    mark = {NOT_SERVED: NOT_THIS_SAMPLE}
    return {line: texts | (mark if line in out else {}) for line, texts in lines.items()}


def progress(store: Store, session_id: str) -> list[tuple[str, int, int]]:
    """Assessor, ballots sent, ballots expected; never an answer.

    Ballots that are not served are not expected.
    """
    session = store.session(session_id)
    cells = store.cells(session_id)
    people: dict[str, dict[int, dict[str, str]]] = {}
    for line, texts in sorted(cells.items()):
        people.setdefault(texts.get("assessor", ""), {})[line] = texts
    return [
        (name, sum(bool(mine[one[0]].get(SENT)) for one in ballots), len(ballots))
        for name, mine in people.items()
        for ballots in [ballots_of(session, to_serve(mine))]
    ]


def hash_of(token: str) -> str:
    """What the record keeps of a token."""
    return hashlib.sha256(token.encode()).hexdigest()

"""What the leader does for the booths: plan on record, links, late assessors, counts.

On record the plan holds seats instead of names, so that a name can be erased.

Why so
------
A link holds its session. A booth token is the session's number and a secret; only its SHA-256 is
on record. The plan on record has seats instead of names, so that an erased name is gone from it;
seats count the assessors of the ballot lines in order, so lines are only ever added.

Plans were once drawn from seeds of six digits, from which everybody at a booth could compute the
key of the session. Such a plan is drawn again on the lines that it has, before anything is tasted;
links, consents, allergens and exclusions stay. Once something was tasted, a new plan would mix cups
of two keys: its booths stay shut, what was sent counts, and the rest belongs into a new session.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from ..base.checks import one_count
from ..base.errors import ArgumentError, RecordError
from ..base.languages import ballot_words
from ..catalogue.columns import Cells
from ..serving.ballot_line import (
    CONSENT,
    NOT_COME,
    NOT_SERVED,
    NOT_THIS_SAMPLE,
    NOT_TODAY,
    BallotLine,
    lines_by_assessor,
    lines_from,
)
from ..serving.chance import guessable, new_seed
from ..serving.cups import samples_by_line
from ..serving.layout import ServingRow
from ..serving.lines import ballot_lines
from ..serving.plan import ServingPlan
from ..serving.planning import drawn_again
from .allergens import undeclared
from .booth_ballots import answered, ballots_of
from .serving import Breaks, Serving, seats_of
from .session import StoredSession
from .store import Store

MOST_MINUTES = 240


def serve(
    store: Store,
    session_id: str,
    plan: ServingPlan,
    lines: Cells,
    *,
    language: str = "en",
    break_minutes: int = 0,
    who: str,
) -> StoredSession:
    """Put the serving plan on record, hashed into the journal, and lay out its ballots.

    `lines`: ballot lines of the plan, `serving.ballot_lines`: assessor, order or sample, codes.
    `language`: of the ballots.
    `break_minutes`: how long the break between two sittings lasts at least for each assessor; 0
        where the leader starts the next sitting for all.

    Raises RecordError when the question is not agreed, the session is closed or has ballots
    already. ArgumentError for an unknown language, minutes that are no whole number up to 240, or a
    plan whose seed can be guessed.
    """
    ballot_words(language)
    if guessable(plan.seed):
        raise ArgumentError(
            f"seed of the plan must have more than 128 bits; got {plan.seed}, from which anybody "
            "at a booth could compute the key. Take the seed from serving.chance.new_seed()."
        )
    minutes = one_count("break_minutes", break_minutes, at_least=0)
    if minutes > MOST_MINUTES:
        raise ArgumentError(f"break_minutes must be at most {MOST_MINUTES}; got {minutes}.")
    people = list(dict.fromkeys(texts["assessor"] for _, texts in sorted(lines.items())))
    seated = plan.renamed(seats_of(people))
    serving = Serving(
        planned=seated.to_dict(),
        language=language,
        breaks=Breaks(minutes=minutes, started=1) if plan.design.sittings > 1 else None,
    )
    why = f"plan SHA-256 {seated.digest}, seed {plan.seed}"
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


def served_plan(store: Store, session_id: str) -> ServingPlan | None:
    """The plan with the names of the assessors; None where there is none.

    On record the plan holds seats instead of names, so that a name can be erased.
    """
    session = store.session(session_id)
    return _named_plan(store, session_id, session.serving) if session.serving else None


def people_of(store: Store, session_id: str) -> list[str]:
    """Assessors of the rows in order; their seats count from 1."""
    rows = sorted(store.cells(session_id).items())
    names = dict.fromkeys(texts.get("assessor", "") for _, texts in rows)
    return [name for name in names if name]


def cups_of(session: StoredSession, seat: str) -> tuple[ServingRow, ...]:
    """The planned cups of one seat, first served first."""
    return session.serving.cups(seat) if session.serving else ()


def excluded_of(session: StoredSession, seat: str) -> tuple[str, ...]:
    """The samples that are not for the assessor of this seat."""
    return session.serving.excluded.get(seat, ()) if session.serving else ()


def lines_holding(
    session: StoredSession,
    seat: str,
    lines: Sequence[BallotLine],
    samples: Collection[str],
) -> set[int]:
    """Numbers of the rows whose ballot holds one of these samples, a labelled one included."""
    holds = samples_by_line(cups_of(session, seat), lines)
    wanted = set(samples)
    return {
        line.row
        for ballot in ballots_of(session, lines)
        if any(holds[line.row] & wanted for line in ballot)
        for line in ballot
    }


def lines_of(store: Store, session_id: str, assessor: str) -> list[BallotLine]:
    """The rows of one assessor, in the order of serving."""
    cells = store.cells(session_id)
    return lines_from(
        {row: texts for row, texts in cells.items() if texts.get("assessor") == assessor}
    )


def open_booths(store: Store, session_id: str, *, who: str) -> dict[str, str]:
    """A fresh link for every assessor of the plan; links given before are no longer valid.

    Returns the token by assessor. It is shown once: the record keeps its SHA-256 only.

    Raises RecordError when there is no serving plan or it has to be made again, the session is
    closed or stopped, or the allergens of a served sample are not declared.
    """
    with store.action(who=who) as act:
        session, serving = open_serving(act, session_id)
        check_secret(serving)
        check_declared(session)
        seats = seats_of(people_of(act, session_id))
        people = [name for name, seat in seats.items() if seat in serving.seats]
        tokens = {person: f"{session_id}.{secrets.token_urlsafe(24)}" for person in people}
        hashed = {hash_of(token): seats[person] for person, token in tokens.items()}
        opened = replace(session, serving=replace(serving, booths=hashed))
        act.put(opened, expect=session, what="booths opened", why=f"{len(people)} links")
        return tokens


def plan_again(store: Store, session_id: str, *, who: str) -> StoredSession:
    """Draw a plan with a seed that can be guessed again: other orders and codes, the same lines.

    Links, consents, allergens and exclusions stay. Of cups and sheets none can be used any more.

    Raises RecordError when the plan needs no other one, the session is closed, or something was
    tasted by this plan.
    """
    with store.action(who=who, why="laid out by the new serving plan") as act:
        session, serving = open_serving(act, session_id)
        if not serving.guessable:
            raise RecordError("This plan need not be made again.")
        if was_tasted(act, session_id):
            raise RecordError(f"Tasting has begun by this plan. {FINISH}")
        plan = drawn_again(_named_plan(act, session_id, serving), seed=new_seed())
        seated = plan.renamed(seats_of(people_of(act, session_id)))
        changed = replace(session, serving=serving.changed(seated, serving.booths))
        why = f"plan SHA-256 {seated.digest}, seed {plan.seed}"
        act.put(changed, expect=session, what="planned again", why=why)
        act.write_lines(session_id, _lines_again(act, changed, plan))
        return changed


def _lines_again(store: Store, session: StoredSession, plan: ServingPlan) -> Cells:
    """The lines of a plan that was drawn again, on the rows that its assessors have."""
    new, seats = ballot_lines(plan), seats_of(people_of(store, session.id))
    changes: dict[int, dict[str, str]] = {}
    for name in plan.assessors:
        mine = [texts for _, texts in sorted(new.items()) if texts["assessor"] == name]
        rows = [line for line in lines_of(store, session.id, name) if line.not_served != NOT_COME]
        if len(rows) != len(mine):
            raise RecordError(f"The rows of {name} are not those of the plan. {FINISH}")
        texts = {line.row: {NOT_SERVED: "", **own} for line, own in zip(rows, mine, strict=True)}
        changes |= _excluded_before(session, seats[name], texts)
        changes |= {
            line.row: changes[line.row] | {NOT_SERVED: NOT_TODAY}
            for line in rows
            if line.not_served == NOT_TODAY
        }
    return changes


FINISH = (
    "Close the ballots with what was tasted, and open a new session for the rest: what was sent "
    "stays on record and counts."
)
"""What to do about a plan that is tasted already and whose key can be computed."""


def was_tasted(store: Store, session_id: str) -> bool:
    """Whether something was answered, sent, tasted or stated of the lines of the plan."""
    own = (NOT_THIS_SAMPLE, NOT_TODAY, NOT_COME)
    return any(
        line.answers or line.guess or line.comment or line.sent or line.warm_up or line.left_out
        or line.departure or (line.not_served and line.not_served not in own)
        for line in lines_from(store.cells(session_id))
    )  # fmt: skip


def to_be_planned_again(session: StoredSession) -> bool:
    """Whether the plan of an unfinished session has to be made again before anybody tastes."""
    return bool(session.serving and session.serving.guessable and not session.closed)


def check_secret(serving: Serving) -> None:
    """RecordError for a plan that has to be made again, since its key can be computed."""
    if serving.guessable:
        raise RecordError(
            "The serving of this session is planned again first: the key of its plan can be "
            "computed from the codes of one booth."
        )


def check_declared(session: StoredSession) -> None:
    """RecordError while tasting is stopped, or a served sample has no declaration of allergens."""
    if session.details.care.stopped:
        raise RecordError("Somebody felt unwell: nothing more is served in this session.")
    if missing := undeclared(session):
        raise RecordError(
            "Declare the allergens of each served sample first, 'none' being a declaration: "
            f"{', '.join(missing)}."
        )


def add_late(store: Store, session_id: str, name: str, *, who: str) -> str:
    """Seat somebody who came late, with the orders that were served least so far.

    Orders, codes and links of the others stay.

    Returns the token of the new booth.

    Raises RecordError when there is no plan or it has to be made again, the session is closed, or
    the allergens of a served sample are not declared. ArgumentError for a name that is empty or in
    the plan.
    """
    with store.action(who=who, why="laid out for a late assessor") as act:
        session, serving = open_serving(act, session_id)
        check_secret(serving)
        before = _named_plan(act, session_id, serving)
        check_declared(session)
        people, last = people_of(act, session_id), max(act.cells(session_id))
        known = {person.casefold(): person for person in people}
        name = known.get(" ".join(name.split()).casefold(), name)
        used = [code for line in lines_of(act, session_id, name) for code in line.codes]
        plan = before.with_late(name, used_codes=used)
        late = plan.assessors[-1]
        laid_out = sorted(ballot_lines(plan).items())
        mine = [texts for _, texts in laid_out if texts["assessor"] == late]
        token = f"{session_id}.{secrets.token_urlsafe(24)}"
        seats = seats_of(list(dict.fromkeys([*people, late])))
        booths = {**serving.booths, hash_of(token): seats[late]}
        seated = plan.renamed(seats)
        changed = replace(session, serving=serving.changed(seated, booths))
        why = f"plan SHA-256 {seated.digest}"
        act.put(changed, expect=session, what="late assessor", why=why)
        new = dict(enumerate(mine, start=last + 1))
        act.write_lines(session_id, _excluded_before(changed, seats[late], new))
        return token


def did_not_come(store: Store, session_id: str, name: str, *, who: str) -> StoredSession:
    """Take somebody who did not come out of the plan; all others stay as they are.

    Their link is dead and their ballots are not missing. Whoever comes late then gets the
    orders that were left.

    Raises RecordError when there is no plan, the session is closed, or a ballot of theirs is
    answered. ArgumentError when nobody of that name is in the plan, or nobody else.
    """
    with store.action(who=who, why=NOT_COME) as act:
        session, serving = open_serving(act, session_id)
        plan = _named_plan(act, session_id, serving).without(name)
        mine = lines_of(act, session_id, name)
        done = any(answered(session, ballot) for ballot in ballots_of(session, mine))
        if done or any(line.left_out for line in mine):
            raise RecordError(f"{name} has answered a ballot or left one out, so {name} came.")
        seats = seats_of(people_of(act, session_id))
        booths = {key: seat for key, seat in serving.booths.items() if seat != seats[name]}
        seated = plan.renamed(seats)
        changed = replace(session, serving=serving.changed(seated, booths))
        marks = {line.row: {NOT_SERVED: NOT_COME, CONSENT: ""} for line in mine}
        act.write_lines(session_id, marks)
        why = f"{NOT_COME}; plan SHA-256 {seated.digest}"
        act.put(changed, expect=session, what="absent assessor", why=why)
        return changed


def open_serving(store: Store, session_id: str) -> tuple[StoredSession, Serving]:
    """A session whose serving may be changed; RecordError for one without a plan, or closed."""
    session = store.session(session_id)
    if session.serving is None:
        raise RecordError("Plan the serving first.")
    if session.closed:
        raise RecordError("The session is closed; reopen it with a reason to change it.")
    return session, session.serving


def _named_plan(store: Store, session_id: str, serving: Serving) -> ServingPlan:
    names = {seat: name for name, seat in seats_of(people_of(store, session_id)).items()}
    return serving.plan.renamed(names)


def _excluded_before(
    session: StoredSession, seat: str, lines: Mapping[int, dict[str, str]]
) -> dict[int, dict[str, str]]:
    """New lines, marked where they hold a sample that is not for this seat."""
    out = lines_holding(session, seat, lines_from(lines), excluded_of(session, seat))
    mark = {NOT_SERVED: NOT_THIS_SAMPLE}
    return {line: texts | (mark if line in out else {}) for line, texts in lines.items()}


def progress(store: Store, session_id: str) -> list[tuple[str, int, int]]:
    """Assessor, ballots sent, ballots expected; never an answer.

    Ballots that are not served are not expected.
    """
    session, cells = store.session(session_id), store.cells(session_id)
    counts = []
    for name, lines in lines_by_assessor(lines_from(cells)).items():
        ballots = ballots_of(session, [line for line in lines if not line.not_served])
        counts.append((name, sum(bool(ballot[0].sent) for ballot in ballots), len(ballots)))
    return counts


def hash_of(token: str) -> str:
    """What the record keeps of a token."""
    return hashlib.sha256(token.encode()).hexdigest()

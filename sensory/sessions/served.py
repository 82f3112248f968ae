"""Use cases of the leader after serving: what was served otherwise than planned, and why.

The plan on record stays as it was; the ballot lines say what was served.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace

from ..base.errors import RecordError
from ..base.records import utc_now
from ..catalogue.columns import Cells
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..serving.ballot_line import (
    DEPARTURE,
    LEFT,
    NOT_COME,
    NOT_SERVED,
    NOT_THIS_SAMPLE,
    NOT_TODAY,
    BallotLine,
)
from ..serving.cups import planned_lines
from .allergens import served_samples
from .booth_ballots import answered, ballots_of
from .booth_plans import lines_of, open_serving, served_plan, was_tasted
from .served_beside_plan import same_serving
from .serving import Confirmation
from .session import StoredSession
from .store import Action, Store

NOT_PUT_DOWN, SPILLED = "not put down", "spilled"
LEFT_OUT = "left out by the assessor"
_AS_PLANNED = "as planned after all"
HAPPENED = (NOT_PUT_DOWN, SPILLED, LEFT_OUT)
"""Why a ballot was not served, where the leader states it; the last as ticked on paper."""
_LONGEST = 200
Planned = Mapping[tuple[str, tuple[str, ...]], BallotLine]
_ELSEWHERE = (NOT_THIS_SAMPLE, NOT_TODAY, NOT_COME)


def possible_servings(session: StoredSession) -> tuple[str, ...]:
    """What can have been served on a row: orders, or samples for a single cup."""
    question = session.question
    kind, orders = find_kind(question.protocol), find_kind(question.protocol).serving.orders
    if kind.protocol:
        fits = kind.protocol.right_answers
        return tuple(order for order in orders if fits(order, question.target))
    if kind.serving.order_column:
        return orders
    if orders:
        return ("A", "B")
    served = served_samples(session)
    planned = session.serving.design.samples if session.serving else ()
    return tuple(name for names in planned for name in names if name in served)


def served_otherwise(
    store: Store, session_id: str, served: Mapping[int, str], *, why: str, who: str
) -> int:
    """State what was served on ballot lines; returns how many cells changed.

    `served`: by line the order, pair or sample that was served; two lines for exchanged cups. What
        was planned takes a statement back.
    `why`: the reason; it needs none where a statement is taken back.

    Raises RecordError when there is no plan, the session is closed, a line is not in the plan, the
    serving is impossible, a sample would stand twice on one ballot, or the reason is missing.
    """
    reason = " ".join(why.split())[:_LONGEST]
    with store.action(who=who, why=reason or _AS_PLANNED) as act:
        session, _ = open_serving(act, session_id)
        planned, cells = _planned_lines(act, session_id), act.cells(session_id)
        lines = [BallotLine.from_texts(row, cells.get(row, {})) for row in served]
        changes = {
            line.row: _otherwise(session, planned, line, served[line.row], reason) for line in lines
        }
        for assessor in {line.assessor for line in lines}:
            _counted(session.question, lines_of(act, session_id, assessor), changes)
        return _stated(act, session, changes)


def _otherwise(
    session: StoredSession,
    planned: Planned,
    line: BallotLine,
    what: str,
    reason: str,
) -> dict[str, str]:
    """Cells that state what was served on a row."""
    was = _planned(planned, line)
    if line.not_served:
        raise RecordError(f"Row {line.row} was not served: {line.not_served}.")
    if what not in (possible := possible_servings(session)):
        raise RecordError(f"{what!r} cannot be served here; possible: {', '.join(possible)}.")
    other = not same_serving(was.served_column, was.served, what)
    if other and not reason:
        raise RecordError("Say why it was served otherwise; the report shows the reason.")
    return {was.served_column: what, DEPARTURE: reason if other else ""}


def _planned_lines(store: Store, session_id: str) -> Planned:
    plan = served_plan(store, session_id)
    return planned_lines(plan) if plan else {}


def _planned(planned: Planned, line: BallotLine) -> BallotLine:
    if was := planned.get((line.assessor, line.codes)):
        return was
    raise RecordError(f"Row {line.row} is not in the serving plan.")


def not_served(
    store: Store, session_id: str, line: int, happened: str, *, why: str, who: str
) -> int:
    """State that a ballot was not put down, spilled or left out; its answers are not missing.

    `line`: any line of the ballot.
    `why`: the reason. What the assessor left out is 'not this sample' and takes no other.

    Raises RecordError when there is no plan, the session is closed, the ballot is answered, or the
    reason is missing.
    """
    if happened not in HAPPENED:
        raise RecordError(f"It can be one of {', '.join(HAPPENED)}; got {happened!r}.")
    if not why.strip() and happened != LEFT_OUT:
        raise RecordError("Say why it was not served; the report shows the reason.")
    marks = {NOT_SERVED: f"{happened}: {' '.join(why.split())[:_LONGEST]}"}
    if happened == LEFT_OUT:
        marks = {NOT_SERVED: NOT_THIS_SAMPLE, LEFT: utc_now()}
    with store.action(who=who, why=marks[NOT_SERVED]) as act:
        session, _, ballot = _ballot(act, session_id, line)
        if answered(session, ballot):
            raise RecordError("This ballot is answered, so it was served.")
        return _stated(act, session, {row.row: marks for row in ballot})


def served_after_all(store: Store, session_id: str, line: int, *, who: str) -> int:
    """Take back what was stated of a ballot: it was, or will be, served as planned.

    Also for a ballot that was left out at the booth; it waits there again. Exclusions and
    absence are taken back where they were stated.

    Raises RecordError when there is no plan, the session is closed, the line is not in the plan, or
    the ballot is left out for an exclusion.
    """
    with store.action(who=who, why=_AS_PLANNED) as act:
        session, mine, ballot = _ballot(act, session_id, line)
        planned = _planned_lines(act, session_id)
        changes: dict[int, dict[str, str]] = {}
        for row in ballot:
            if row.not_served in _ELSEWHERE and not row.left_out:
                raise RecordError(
                    f"This ballot is not served: {row.not_served}. Take that back under "
                    "the exclusions of this assessor."
                )
            was = _planned(planned, row)
            unmarked = {NOT_SERVED: "", LEFT: "", DEPARTURE: ""}
            changes[row.row] = {was.served_column: was.served, **unmarked}
        _counted(session.question, mine, changes)
        return _stated(act, session, changes)


def confirm_served(store: Store, session_id: str, *, who: str) -> StoredSession:
    """Confirm that all, or all that is not stated otherwise, was served as planned.

    A later change of the plan, or of what was served, takes the confirmation back.

    Raises RecordError when there is no plan, no ballot is answered yet, or the session is closed.
    """
    with store.action(who=who, why="all not stated otherwise was served as planned") as act:
        session, serving = open_serving(act, session_id)
        if not was_tasted(act, session_id):
            raise RecordError("No ballot is answered yet: confirm what was served when one is.")
        confirmed = replace(serving, confirmed=Confirmation(at=utc_now()))
        changed = replace(session, serving=confirmed)
        act.put(changed, expect=session, what="serving confirmed")
        return changed


def _stated(act: Action, session: StoredSession, changes: Cells) -> int:
    """Write what was served; a confirmation from before no longer holds."""
    done = act.write_lines(session.id, changes)
    if session.serving and session.serving.confirmed:
        why = "stated otherwise afterwards"
        changed = replace(session, serving=replace(session.serving, confirmed=None))
        act.put(changed, expect=session, what="serving not confirmed", why=why)
    return done


def _counted(
    question: Question, lines: Iterable[BallotLine], changes: dict[int, dict[str, str]]
) -> None:
    """Number the replicates anew where a single cup held another sample than planned."""
    now = [line.changed(changes.get(line.row, {})) for line in lines]
    if not any("sample" in changes.get(line.row, {}) for line in now):
        return
    if find_kind(question.protocol).together:
        _once(now)
        return
    met: Counter[str] = Counter()
    for line in now:
        if line.not_served == NOT_COME:
            continue
        met[line.sample] += 1
        number = str(met[line.sample])
        if line.replicate != number:
            changes.setdefault(line.row, {})["replicate"] = number


def _once(lines: Iterable[BallotLine]) -> None:
    times = Counter(line.sample for line in lines if not line.not_served)
    if twice := [name for name, number in times.items() if number > 1]:
        raise RecordError(
            f"{', '.join(twice)} would stand twice on one ballot: state exchanged cups "
            "together, or that the ballot was not served."
        )


def _ballot(
    store: Store, session_id: str, number: int
) -> tuple[StoredSession, list[BallotLine], tuple[BallotLine, ...]]:
    """Session, all rows of the assessor, and those of the ballot to which a row belongs."""
    session, _ = open_serving(store, session_id)
    cells = store.cells(session_id)
    if number not in cells:
        raise RecordError(f"There is no row {number}.")
    mine = lines_of(store, session_id, cells[number].get("assessor", ""))
    ballots = ballots_of(session, mine)
    return session, mine, next(b for b in ballots if number in [line.row for line in b])

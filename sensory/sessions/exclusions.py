"""Use cases of the leader before serving: allergens of each sample, and who is not served what.

Of a reason nothing is asked and nothing is kept but 'not today' and 'not this sample'.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace

from ..base.errors import RecordError
from ..base.records import utc_now
from ..serving.ballot_line import (
    CONSENT,
    NOT_SERVED,
    NOT_THIS_SAMPLE,
    NOT_TODAY,
    BallotLine,
    lines_by_assessor,
    lines_from,
)
from ..serving.cups import samples_by_line
from .allergens import allergens_in, served_samples
from .booth_ballots import answered, ballots_of
from .booth_places import at_booth, write_at
from .booth_plans import cups_of, excluded_of, lines_holding, lines_of, open_serving, people_of
from .serving import seats_of
from .session import StoredSession
from .store import Store

_LONGEST = 200


def declare_allergens(
    store: Store, session_id: str, declared: Mapping[str, str], *, who: str
) -> StoredSession:
    """Declare the allergens of served samples; 'none' is a declaration.

    `declared`: by sample, several allergens separated by semicolons; an empty text takes back what
        was declared here.

    Raises RecordError when there is no serving plan, the session is closed, or a sample is not
    served.
    """
    texts = {name: " ".join(text.split())[:_LONGEST] for name, text in declared.items()}
    with store.action(who=who, why="before serving") as act:
        session, serving = open_serving(act, session_id)
        _check_served(session, declared)
        changed = replace(session, serving=serving.declaring(texts))
        act.put(changed, expect=session, what="allergens declared")
        return changed


def excluded_samples(store: Store, session_id: str) -> dict[str, tuple[str, ...]]:
    """The samples that are not for an assessor, by name; only where there are any."""
    session = store.session(session_id)
    seats = seats_of(people_of(store, session_id))
    return {name: out for name, seat in seats.items() if (out := excluded_of(session, seat))}


def allergens_by_line(store: Store, session_id: str) -> dict[int, str]:
    """What the samples of each ballot line hold together; empty for nothing declared."""
    session = store.session(session_id)
    by_name = lines_by_assessor(lines_from(store.cells(session_id)))
    return {
        row: allergens_in(session, samples)
        for assessor, seat in seats_of(people_of(store, session_id)).items()
        for row, samples in samples_by_line(cups_of(session, seat), by_name[assessor]).items()
    }


def exclude(
    store: Store, session_id: str, assessor: str, samples: Collection[str], *, who: str
) -> StoredSession:
    """State which samples are not for an assessor; none takes all of it back.

    Ballots that hold one of them are not served; those that are answered already stay, and
    so do those that the assessor left out at the booth.

    Raises RecordError when there is no serving plan, the session is closed, or a name is not in the
    plan.
    """
    with store.action(who=who) as act:
        session, serving = open_serving(act, session_id)
        seat = _seat(act, session_id, assessor)
        _check_served(session, samples)
        changed = replace(session, serving=serving.excluding(seat, samples))
        more = set(samples) - set(serving.excluded.get(seat, ()))
        why = NOT_THIS_SAMPLE if more else f"taken back: {NOT_THIS_SAMPLE}"
        mine = lines_of(act, session_id, assessor)
        marks = {
            line.row: {NOT_SERVED: mark}
            for line, mark in _marks(session, seat, mine, samples)
            if line.not_served in ("", NOT_THIS_SAMPLE)
        }
        act.write_lines(session_id, marks, why=why)
        act.put(changed, expect=session, what="excluded", why=why)
        return changed


def not_today(
    store: Store, session_id: str, assessor: str, *, taken_back: bool = False, who: str
) -> int:
    """Serve an assessor nothing more today, or take that back; how many lines changed.

    It goes before 'not this sample', which stands again when it is taken back.
    Taken back, the booth asks for consent again if it was told 'not today' there.

    Raises RecordError when there is no serving plan, the session is closed, or the name is not in
    the plan.
    """
    why = f"taken back: {NOT_TODAY}" if taken_back else NOT_TODAY
    with store.action(who=who, why=why) as act:
        session, _ = open_serving(act, session_id)
        seat, mine = _seat(act, session_id, assessor), lines_of(act, session_id, assessor)
        changes = _today(session, seat, mine) if taken_back else _no_more(session, mine)
        return act.write_lines(session_id, changes)


def stop_today(store: Store, token: str) -> None:
    """Stop tasting for today, told at the booth: what was sent stays, nothing more is served.

    Nothing is asked about it, and it can be taken back there (`taste_after_all`). Saying it again
    changes nothing.

    Raises RecordError for a link that is not valid, or a session that is closed or stopped.
    """
    with at_booth(store, token) as (act, at):
        if changes := _no_more(at.session, at.lines):
            told = f"{NOT_TODAY} {utc_now()}"
            changes.setdefault(at.lines[0].row, {})[CONSENT] = told
            write_at(act, at, changes, NOT_TODAY)


def taste_after_all(store: Store, token: str) -> None:
    """Take back at the booth what was told there: not to taste today.

    The booth asks for consent again. What the leader stated is not taken back here.

    Raises RecordError for a link that is not valid, or a session that is closed or stopped.
    """
    with at_booth(store, token) as (act, at):
        if any(line.refused for line in at.lines):
            changes = _today(at.session, at.seat, at.lines)
            write_at(act, at, changes, f"taken back: {NOT_TODAY}")


def _no_more(session: StoredSession, lines: Sequence[BallotLine]) -> dict[int, dict[str, str]]:
    """Marks for what is not answered, and neither left out at the booth."""
    return {
        line.row: {NOT_SERVED: NOT_TODAY}
        for ballot in ballots_of(session, lines)
        if not answered(session, ballot)
        for line in ballot
        if line.not_served in ("", NOT_THIS_SAMPLE) and not line.left_out
    }


def _today(
    session: StoredSession, seat: str, lines: Sequence[BallotLine]
) -> dict[int, dict[str, str]]:
    """What takes 'not today' back, and the consent that was refused with it."""
    again = {
        line.row: {NOT_SERVED: mark}
        for line, mark in _marks(session, seat, lines, excluded_of(session, seat))
        if line.not_served == NOT_TODAY
    }
    for line in lines:
        if line.refused:
            again.setdefault(line.row, {})[CONSENT] = ""
    return again


def _marks(
    session: StoredSession, seat: str, lines: Sequence[BallotLine], excluded: Collection[str]
) -> Iterator[tuple[BallotLine, str]]:
    """The mark that each row ought to have, but those that were left out at the booth.

    An answered row ought to have none, even where booth and leader crossed each other.
    """
    out = lines_holding(session, seat, lines, excluded)
    for ballot in ballots_of(session, lines):
        open_still = not answered(session, ballot)
        for line in () if ballot[0].left_out else ballot:
            yield line, NOT_THIS_SAMPLE if open_still and line.row in out else ""


def _check_served(session: StoredSession, names: Collection[str]) -> None:
    served = served_samples(session)
    if strange := [name for name in names if name not in served]:
        raise RecordError(f"Not served: {', '.join(strange)}; there are {', '.join(served)}.")


def _seat(store: Store, session_id: str, assessor: str) -> str:
    seats = seats_of(people_of(store, session_id))
    if assessor not in seats:
        raise RecordError(f"{assessor!r} is not in the plan; there are {', '.join(seats)}.")
    return seats[assessor]

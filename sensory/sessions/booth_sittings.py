"""What stands between an assessor and the next ballot: a warm-up sample, or a break.

The plan says which cup belongs to which sitting. What a session keeps beside it is how long
a break lasts at least, or, without a time, which sitting the leader has started.

Why so
------
Sittings are the plan's, breaks the session's. Which cup belongs to which sitting stands in the
plan; `serving["breaks"]` keeps only the minutes, or the sitting that the leader started last, and
only where there are several sittings. A break of minutes counts from the assessor's own last
ballot, by the record's time, so nothing has to run. So it does for somebody who comes late, or is
slow, and finishes a sitting after the leader has started the next one for the others: the break
is as long as theirs was. A tasted warm-up sample is a mark on the first ballot line of its sitting
(`columns.MARKS`), as consent is; the sample itself has no line, so nothing of it can be counted.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import ceil

from ..base.errors import RecordError
from ..base.records import utc_now
from ..serving.ballot_line import BallotLine, lines_by_assessor, lines_from
from ..serving.layout import ServingRow
from .allergens import allergens_in
from .booth_plans import cups_of, excluded_of
from .serving import Breaks, Ended, seats_of
from .session import StoredSession
from .store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Halt:
    """What comes before the ballot that waits.

    `sitting`, `sittings`: the one that begins, of how many.
    `code`: of the warm-up sample.
    `minutes`: how long a break still lasts; None where the leader says so.
    `allergens`: of the warm-up sample; empty where none are declared.
    """

    kind: str
    sitting: int
    sittings: int
    code: str = ""
    minutes: int | None = None
    allergens: str = ""


def halt_of(
    session: StoredSession,
    seat: str,
    lines: Sequence[BallotLine],
    waiting: Sequence[Sequence[BallotLine]],
) -> Halt | None:
    """What comes before the ballot that waits; None where nothing does.

    `lines`: all of this seat.
    `waiting`: the ballots neither sent nor left out, the next one first.
    """
    if not waiting or session.serving is None:
        return None
    design = session.serving.design
    if not (design.warm_up or design.sittings > 1):
        return None
    rows = cups_of(session, seat)
    sittings = _sittings(lines, rows)
    now = sittings[waiting[0][0].row]
    here = [line for line in lines if sittings[line.row] == now]
    if any(line.sent for line in here):
        return None
    minutes = _break(session, [line for line in lines if sittings[line.row] < now], now)
    if minutes != 0:
        return Halt(kind="break", sitting=now, sittings=design.sittings, minutes=minutes)
    cup = next((row for row in rows if row.sitting == now and not row.set), None)
    if cup is None or any(line.warm_up for line in here):
        return None
    if cup.sample in excluded_of(session, seat):
        return None
    return Halt(
        kind="warm-up",
        sitting=now,
        sittings=design.sittings,
        code=cup.code,
        allergens=allergens_in(session, [cup.sample]),
    )


def _sittings(lines: Iterable[BallotLine], cups: Iterable[ServingRow]) -> dict[int, int]:
    """Sitting by row.

    A row typed by hand has no cup of the plan: sitting 0, before which nothing comes.
    """
    served = {cup.code: cup.sitting for cup in cups if cup.code}
    return {line.row: served.get(next(iter(line.codes), ""), 0) for line in lines}


def _break(session: StoredSession, before: Iterable[BallotLine], now: int) -> int | None:
    """Minutes before a sitting may begin; 0 for none, None until the leader starts it.

    They count from the last ballot that was sent, or left out at the booth. Who finishes a sitting
    after the leader has started the next one has as long a break as the others had.
    """
    breaks = session.serving.breaks if session.serving else None
    if breaks is None:
        return 0
    if now > breaks.started and not breaks.minutes:
        return None
    lasts, last = timedelta(minutes=breaks.minutes), _last(before)
    if now <= breaks.started:
        ended = breaks.ended.get(str(now))
        if ended is None or last <= ended.at:
            return 0
        lasts = timedelta(seconds=ended.seconds)
    if not last:
        return 0
    stopped, at = datetime.fromisoformat(last), datetime.fromisoformat(utc_now())
    if at < stopped:  # the clock was set back since: nobody waits for hours
        return 0
    left = (stopped + lasts - at).total_seconds()
    return max(0, ceil(left / 60))


def _last(lines: Iterable[BallotLine]) -> str:
    """When the last of these ballots was sent, or left out at the booth; empty for never."""
    return max((at for line in lines for at in (line.sent, line.left_out) if at), default="")


def _ended(store: Store, session: StoredSession, number: int) -> Ended:
    """The break before a sitting, which is over now."""
    last, now = "", utc_now()
    lines = lines_from(store.cells(session.id))
    by_name = lines_by_assessor(line for line in lines if line.assessor)
    for name, seat in seats_of(by_name).items():
        sittings = _sittings(by_name[name], cups_of(session, seat))
        done = _last(line for line in by_name[name] if sittings[line.row] < number)
        last = max(last, done)
    if not last:
        return Ended(at=now, seconds=0)
    lasted = datetime.fromisoformat(now) - datetime.fromisoformat(last)
    return Ended(at=now, seconds=max(0, int(lasted.total_seconds())))


def start_sitting(store: Store, session_id: str, number: int, *, who: str) -> StoredSession:
    """Say that the break is over: all booths may go on with this sitting.

    Starting one that has been started changes nothing.

    Raises RecordError when the session is closed or stopped, or has no such sitting that the leader
    starts.
    """
    with store.action(who=who) as act:
        session = act.session(session_id)
        if session.closed:
            raise RecordError("The session is closed.")
        if session.details.care.stopped:
            raise RecordError("Somebody felt unwell: nothing more is served in this session.")
        serving, breaks = session.serving, _led(session)
        if serving is None or breaks is None:
            raise RecordError("No sitting of this session waits for the leader.")
        last, before = serving.design.sittings, breaks.started
        if number <= before:
            return session
        if number != before + 1 or number > last:
            raise RecordError(f"sitting {number} cannot be started: {before} of {last} have been.")
        ended = {**breaks.ended, str(number): _ended(act, session, number)}
        now = replace(serving, breaks=replace(breaks, started=number, ended=ended))
        started = replace(session, serving=now)
        act.put(started, expect=session, what="sitting started", why=f"sitting {number} of {last}")
        return started


def done_with(store: Store, session_id: str, sitting: int) -> tuple[int, int]:
    """How many assessors are done up to a sitting, of how many who have ballots today.

    Done is who has no ballot left that waits: each is sent, left out or not served.
    """
    done = _done(store, session_id, sitting).values()
    return sum(done), len(done)


def not_done_with(store: Store, session_id: str, sitting: int) -> tuple[str, ...]:
    """Names of those who still have a ballot up to a sitting; see `done_with`."""
    done = _done(store, session_id, sitting)
    return tuple(name for name, is_done in done.items() if not is_done)


def _done(store: Store, session_id: str, sitting: int) -> dict[str, bool]:
    session = store.session(session_id)
    lines = lines_from(store.cells(session_id))
    by_name = lines_by_assessor(line for line in lines if line.assessor)
    planned = session.serving.seats if session.serving else ()
    done = {}
    for name, seat in seats_of(by_name).items():
        mine = by_name[name]
        if seat not in planned or any(line.excused for line in mine):
            continue
        # What an assessor left out had been put down; what is excluded never is.
        if all(line.not_served and not line.left_out for line in mine):
            continue
        sittings = _sittings(mine, cups_of(session, seat))
        here = [line for line in mine if sittings[line.row] <= sitting]
        done[name] = all(line.sent or line.not_served for line in here)
    return done


def next_sitting(session: StoredSession) -> int | None:
    """The sitting that waits for the leader, if any does."""
    breaks = _led(session)
    if session.closed or session.serving is None or breaks is None:
        return None
    following = breaks.started + 1
    return following if following <= session.serving.design.sittings else None


def _led(session: StoredSession) -> Breaks | None:
    """The breaks of a session whose sittings the leader starts; None in any other."""
    breaks = session.serving.breaks if session.serving else None
    return None if breaks is None or breaks.minutes else breaks

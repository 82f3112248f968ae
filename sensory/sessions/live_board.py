"""Where each seat of a serving is: what the leader sees while people taste; never an answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from ..base.results import several
from ..serving.ballot_line import NOT_COME, NOT_TODAY, BallotLine, lines_by_assessor, lines_from
from .booth_ballots import answered, ballots_of
from .session import StoredSession
from .store import Store


class At(StrEnum):
    """Where a seat is, in words."""

    WAITING = "waiting"
    TASTING = "tasting"
    SENT = "sent"
    NOT_TODAY = "not today"
    LEFT_OUT = "left out"
    NOT_COME = "did not come"


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """One row of the board.

    Attributes
    ----------
    number : int
        Of the seat, from 1.
    name : str
    at : At
    sent, expected : int
        Ballots; those that are not served are not expected.
    since : str
        UTC, ISO 8601: last ballot, consent or refusal; empty where nothing happened yet.
    late : bool
        Whether its assessor was seated after the others.
    """

    number: int
    name: str
    at: At
    sent: int
    expected: int
    since: str = ""
    late: bool = False

    @property
    def absent(self) -> bool:
        """Whether nothing more is served here today, which can be taken back."""
        return self.at in (At.NOT_TODAY, At.NOT_COME)


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveBoard:
    """All seats of a serving, in their order."""

    seats: tuple[Seat, ...]
    booths: bool

    @property
    def sent(self) -> int:
        """Ballots that were sent, or typed where there are no booths."""
        return sum(seat.sent for seat in self.seats)

    @property
    def expected(self) -> int:
        """Ballots that can still come, with those that have come."""
        return sum(seat.expected for seat in self.seats)

    @property
    def complete(self) -> bool:
        """Whether every ballot that is expected is in."""
        return self.sent == self.expected > 0

    @property
    def absent(self) -> tuple[tuple[str, str], ...]:
        """Name and reason of everybody who is served nothing more today."""
        return tuple((seat.name, str(seat.at)) for seat in self.seats if seat.absent)

    @property
    def words(self) -> str:
        """How far it is, and who is missing."""
        missing = Counter(seat.at for seat in self.seats if seat.absent or seat.at == At.LEFT_OUT)
        beside = [f"{at}: {count}" for at, count in missing.items()]
        if not self.expected:
            return "; ".join(["No ballot is expected", *beside]) + "."
        done = "sent" if self.booths else "answered"
        count = f"{self.sent} of {several(self.expected, 'ballot')} {done}"
        return "; ".join([count, *beside]) + "."


def live_board(store: Store, session_id: str) -> LiveBoard:
    """Where each seat is now; no seats where there is no plan on record."""
    session = store.session(session_id)
    serving = session.serving
    if serving is None:
        return LiveBoard(seats=(), booths=False)
    late = {name for what, name in serving.plan.changes if what == "late"}
    people = lines_by_assessor(
        line for line in lines_from(store.cells(session_id)) if line.assessor
    )
    return LiveBoard(
        seats=tuple(
            _seat(session, number, name, lines, late=f"seat {number}" in late)
            for number, (name, lines) in enumerate(people.items(), start=1)
        ),
        booths=bool(serving.booths),
    )


def _seat(
    session: StoredSession, number: int, name: str, lines: Sequence[BallotLine], *, late: bool
) -> Seat:
    mine = [line for line in lines if line.not_served != NOT_COME]
    ballots = ballots_of(session, [line for line in mine if not line.not_served])
    sent = sum(answered(session, ballot) for ballot in ballots)
    at = _state(mine, sent, len(ballots))
    since = "" if at in (At.WAITING, At.NOT_COME) else _since(mine)
    return Seat(
        number=number, name=name, at=at, sent=sent, expected=len(ballots), since=since, late=late
    )


def _state(lines: Sequence[BallotLine], sent: int, expected: int) -> At:
    if not lines:
        return At.NOT_COME
    if any(line.excused for line in lines):
        return At.NOT_TODAY
    if not expected:
        return At.LEFT_OUT
    if sent == expected:
        return At.SENT
    begun = sent or any(line.consented or line.answers for line in lines)
    return At.TASTING if begun else At.WAITING


def _since(lines: Sequence[BallotLine]) -> str:
    """The last time that is kept of these rows; what stands before it is a reason."""
    stamps = (
        text.removeprefix(NOT_TODAY).strip()
        for line in lines
        for text in (line.sent, line.consent, line.left_out)
    )
    return max(stamps, default="")

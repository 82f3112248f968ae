"""Answers of a booth on their way to the record: checked against the ballot that waits, kept as
they are given, and sent once, as their window shows them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from ..base.errors import RecordError
from ..base.records import utc_now
from ..serving.ballot_line import SENT, BallotLine
from .booth_ballots import (
    BoothBallot,
    ballots_of,
    booth_ballot,
    check_answer,
    scale_of,
    score_of,
    still_open,
    waiting_ballots,
)
from .booth_places import Place, at_booth, write_at
from .booth_sittings import halt_of
from .store import Action, Store

_LONGEST = 300

Shown = Mapping[int, Mapping[str, str]]
"""By line and column, what a window shows of a ballot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """An answer that is on record, and what its ballot still waits for, by label."""

    text: str
    open: tuple[str, ...]


class Turn(NamedTuple):
    """What a window of a booth counts a message: it is taken before or after others by that."""

    window: str
    number: int


Given = str | float


def answer(
    store: Store,
    token: str,
    line: int,
    where: tuple[int, str],
    given: Given,
    over: Sequence[Given],
    turn: Turn,
) -> Kept | None:
    """Keep one answer of the ballot that waits, where the record still holds what was seen of it.

    `where`: line and column.
    `given`: the text, or where the mark on a scale was put, from 0 to 1.
    `over`: what the record held when it was given, and what was sent since and not acknowledged.

    Returns None where another window gave another answer meanwhile: then nothing is written.

    Raises RecordError where a later message of the window was taken before, and as in
    `booths.keep`.
    """
    with at_booth(store, token) as (act, at):
        check_turn(act, at, turn)
        ballot, (row, name), ends = waiting_at(at, line), where, scale_of(at.session.question)
        text = checked_answer(at, ballot, row, name, _text(given, ends))
        if row_at(at, row).text(name) not in {text, *(_text(seen, ends) for seen in over)}:
            return None
        at = write_at(act, at, {row: {name: text}}, "answered")
        return Kept(text=text, open=tuple(still_open(waiting_at(at, line))))


def sent_at(act: Action, at: Place, line: int, shown: Shown) -> Place:
    """Send the ballot as its window shows it, within an action; how the place is after it.

    Raises RecordError when something is still to be answered, or another window sent something
    else.
    """
    as_shown = all(
        row_at(at, where).text(name) == " ".join(text.split())
        for where, texts in shown.items()
        for name, text in texts.items()
    )
    if row_at(at, line).sent:
        if not as_shown:
            raise RecordError("Another window sent this ballot with other answers; they count.")
        return at
    if missing := still_open(waiting_at(at, line)):
        raise RecordError(f"Still to be answered: {', '.join(missing)}.")
    return mark_at(act, at, line, {SENT: utc_now()}, "ballot sent") if as_shown else at


def check_turn(act: Action, at: Place, turn: Turn) -> None:
    """Refuse what a window gave up and said otherwise since; it may come minutes later."""
    if not act.in_turn(at.session.id, *turn):
        raise RecordError("Something that was marked later is on record already.")


def _text(given: Given, ends: tuple[float, float]) -> str:
    return given if isinstance(given, str) else score_of(given, ends)


def checked_answer(at: Place, ballot: BoothBallot, where: int, name: str, text: str) -> str:
    """An answer as it is written; RecordError where the ballot does not ask for it, or so."""
    asked = next((each for each in ballot.asked if (each.line, each.name) == (where, name)), None)
    if asked is not None:
        check_answer(asked, text, scale_of(at.session.question), ballot)
        return " ".join(text.split())
    if where != ballot.line or name not in _beside(ballot):
        raise RecordError(f"This ballot does not ask for {name!r}.")
    return " ".join(str(text).split())[:_LONGEST]


def _beside(ballot: BoothBallot) -> tuple[str, ...]:
    return ("comment",) if ballot.guess is None else ("comment", "guess")


def row_at(at: Place, line: int) -> BallotLine:
    """A row of the seat; an empty one where it is none of it."""
    return next((row for row in at.lines if row.row == line), BallotLine(row=line))


def mark_at(act: Action, at: Place, line: int, mark: dict[str, str], why: str) -> Place:
    """Write marks on all rows of the ballot that begins with a row."""
    ballots = ballots_of(at.session, at.lines)
    ballot = next(ballot for ballot in ballots if ballot[0].row == line)
    return write_at(act, at, {row.row: mark for row in ballot}, why)


def all_waiting_at(at: Place) -> list[tuple[BallotLine, ...]]:
    """The ballots neither sent nor left out; RecordError before consent."""
    if not consented(at.lines):
        raise RecordError("Not before the cautions are read and consent is given.")
    return waiting_ballots(at.session, at.lines)


def waiting_at(at: Place, line: int) -> BoothBallot:
    """The ballot that waits; RecordError for any other, before consent or in a break."""
    waiting = all_waiting_at(at)
    if not waiting or waiting[0][0].row != line:
        raise RecordError("This ballot is not the one that waits.")
    if halt := halt_of(at.session, at.seat, at.lines, waiting):
        raise RecordError(f"The {halt.kind} of sitting {halt.sitting} comes first.")
    return booth_ballot(at.session, waiting[0], ballots_of(at.session, at.lines))


def consented(lines: Iterable[BallotLine]) -> bool:
    """Whether the assessor of these rows wants to taste."""
    return next((line.consented for line in lines if line.consent), False)

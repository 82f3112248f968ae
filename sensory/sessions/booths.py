"""Use cases of the booth: a link for each assessor, one ballot at a time, sent once.

A booth knows its codes and nothing of the key. Every answer is kept as it is given;
a ballot that was sent is not shown again and cannot be changed from the booth.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ..base.errors import RecordError
from ..base.languages import ballot_words
from ..base.records import utc_now
from ..serving.ballot_line import (
    CONSENT,
    LEFT,
    NOT_SERVED,
    NOT_THIS_SAMPLE,
    NOT_TODAY,
    WARM_UP,
    BallotLine,
)
from ..serving.cups import samples_by_line
from .allergens import allergens_in, told_allergens
from .booth_answers import (
    Shown,
    Turn,
    all_waiting_at,
    check_turn,
    checked_answer,
    consented,
    mark_at,
    row_at,
    sent_at,
    waiting_at,
)
from .booth_ballots import BoothBallot, ballots_of, booth_ballot, scale_of, waiting_ballots
from .booth_places import Place, at_booth, is_stopped, place_of, write_at
from .booth_plans import cups_of, to_be_planned_again
from .booth_sittings import Halt, halt_of
from .booth_training import Learned, learned_of
from .care import told_before
from .signing import BOOTH
from .store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class BoothVisit:
    """What a valid link shows.

    `consented`, `excused`, `closed`: wants to taste; does not, today; the session is closed.
    `paused`: nothing is tasted until the serving is planned again, since its key can be computed.
    `stopped`: nothing more is served: somebody felt unwell, or a clearance was taken back.
    `told`: what is read before consent, in the language of the ballots.
    `smelling`: whether the samples are smelled only.
    `unwell`: whether this assessor has reported to feel unwell, and nobody has taken it up.
    `minor`, `barred`: a minor; one who is not served, without consent on file or for the samples.
    `training`: whether nothing of it counts as a result.
    `learned`: of training, the marks of the ballot that was sent last, beside the targets.
    `refused`: told here not to taste today, so it can be taken back here.
    `ballot`: the next one to be answered; None when none waits.
    `left_out`: numbers of the ballots that are left out between the last one sent and this one.
    `halt`: what comes before the ballot: a warm-up sample or a break.
    """

    assessor: str
    language: str
    allergens: str
    consented: bool
    excused: bool
    closed: bool
    ballot: BoothBallot | None
    sent: int
    left_out: tuple[int, ...]
    scale: tuple[float, float]
    halt: Halt | None = None
    paused: bool = False
    stopped: bool = False
    told: tuple[str, ...] = ()
    smelling: bool = False
    minor: bool = False
    barred: str = ""
    unwell: bool = False
    refused: bool = False
    training: bool = False
    learned: Learned | None = None


def visit(store: Store, token: str) -> BoothVisit | None:
    """What a link shows; None when it is not valid. UnreachableError while the record is away."""
    return _visit(store, at) if (at := place_of(store, token)) else None


def _visit(store: Store, at: Place) -> BoothVisit:
    session, lines = at.session, at.lines
    ballots, waiting = ballots_of(session, lines), waiting_ballots(session, lines)
    language = session.serving.language if session.serving else "en"
    care = session.details.care
    return BoothVisit(
        assessor=store.name_of(at.by),
        language=language,
        allergens=told_allergens(session),
        consented=consented(lines),
        excused=any(line.excused for line in lines),
        closed=session.closed or is_stopped(session),
        ballot=_shown(at, waiting[0], ballots) if waiting else None,
        sent=sum(bool(ballot[0].sent) for ballot in ballots),
        left_out=_left_out(ballots, waiting),
        scale=scale_of(session.question),
        halt=halt_of(session, at.seat, lines, waiting),
        paused=to_be_planned_again(session),
        stopped=is_stopped(session),
        told=tuple(told_before(care, ballot_words(language))),
        smelling=care.smelling_only,
        minor=_guardian(at) is not None,
        barred=_barred(at),
        refused=any(line.refused for line in lines),
        unwell=any(reaction.seat == at.seat for reaction in care.unwell),
        training=session.question.training is not None,
        learned=learned_of(store, session, lines),
    )


def _guardian(at: Place) -> str | None:
    """Day of the guardian's consent of a minor, empty for none; None for who is of age."""
    return at.session.serving.guardians.get(at.seat) if at.session.serving else None


def _barred(at: Place) -> str:
    """Why a minor is not served, as the key of the words; empty for everybody else."""
    guardian = _guardian(at)
    if guardian is None:
        return ""
    if at.session.details.care.adults_only:
        return "adults_only"
    return "" if guardian else "guardian_missing"


def _shown(
    at: Place, ballot: tuple[BallotLine, ...], ballots: Sequence[tuple[BallotLine, ...]]
) -> BoothBallot:
    """A ballot with the allergens of exactly its samples, which are not named."""
    holds = samples_by_line(cups_of(at.session, at.seat), ballot)
    allergens = allergens_in(at.session, frozenset().union(*holds.values()))
    return booth_ballot(at.session, ballot, ballots, allergens)


def _left_out(
    ballots: Sequence[tuple[BallotLine, ...]], waiting: Sequence[tuple[BallotLine, ...]]
) -> tuple[int, ...]:
    """Numbers of the ballots left out just before the one that waits."""
    numbers: list[int] = []
    for number, ballot in enumerate(ballots, start=1):
        if waiting and ballot == waiting[0]:
            break
        if ballot[0].sent:
            numbers = []
        elif ballot[0].not_served:
            numbers.append(number)
    return tuple(numbers)


def consent(store: Store, token: str, *, wants: bool = True) -> None:
    """Record that the assessor read the cautions and wants to taste, or not today.

    Of the reason nothing is asked and nothing is kept. Only the first answer counts, until it is
    taken back (`exclusions.taste_after_all`).

    Raises RecordError for a link that is not valid, a session that is closed or stopped, or a minor
    without a guardian's consent on file.
    """
    with at_booth(store, token) as (act, at):
        if wants and _barred(at):
            raise RecordError("A minor is not served without a guardian's consent on file.")
        first = at.lines[0]
        if not first.consent:
            told = utc_now() if wants else f"{NOT_TODAY} {utc_now()}"
            changes = {first.row: {CONSENT: told}}
            for line in () if wants else at.lines:
                if not line.not_served:
                    changes.setdefault(line.row, {})[NOT_SERVED] = NOT_TODAY
            write_at(act, at, changes, "consent given" if wants else NOT_TODAY)


def tasted(store: Store, token: str, code: str) -> None:
    """Record that the warm-up sample of this code was tasted; nothing else is kept of it.

    Raises RecordError for a link that is not valid, a closed session, or no consent.
    """
    _past_warm_up(store, token, code, utc_now(), "warm-up sample tasted")


def leave_warm_up(store: Store, token: str, code: str) -> None:
    """Go on without the warm-up sample of this code; nothing more is asked.

    Raises RecordError as in `tasted`.
    """
    _past_warm_up(store, token, code, NOT_THIS_SAMPLE, NOT_THIS_SAMPLE)


def _past_warm_up(store: Store, token: str, code: str, mark: str, why: str) -> None:
    with at_booth(store, token) as (act, at):
        waiting = all_waiting_at(at)
        halt = halt_of(at.session, at.seat, at.lines, waiting)
        if halt is not None and halt.kind == "warm-up" and halt.code == code:
            write_at(act, at, {waiting[0][0].row: {WARM_UP: mark}}, why)


def keep(
    store: Store, token: str, line: int, answers: Mapping[int, Mapping[str, str]]
) -> BoothVisit:
    """Keep answers of the ballot that waits, as they are given.

    `line`: first line of the ballot.
    `answers`: by line and column; only what the ballot asks for is taken.

    Returns what the link shows now.

    Raises RecordError for a link that is not valid, a closed session, no consent, another ballot
    than the one that waits, or an answer that the ballot does not offer.
    """
    with at_booth(store, token) as (act, at):
        ballot = waiting_at(at, line)
        changes = {
            row: {name: checked_answer(at, ballot, row, name, text) for name, text in texts.items()}
            for row, texts in answers.items()
        }
        at = write_at(act, at, changes, "answered")
        return _visit(act, at)


def send(
    store: Store, token: str, line: int, *, shown: Shown, turn: Turn | None = None
) -> BoothVisit:
    """Send the ballot as its window shows it; sending it again changes nothing.

    Where another window wrote something else than is shown, nothing is sent.

    `turn`: what the window counts the message, so that none is taken after a later one.

    Returns what the link shows now. Raises RecordError when something is still to be answered,
    another window sent something else, or a later message of this one was taken before, and as in
    `keep`.
    """
    with at_booth(store, token) as (act, at):
        if turn is not None:
            check_turn(act, at, turn)
        return _visit(act, sent_at(act, at, line, shown))


def leave_out(store: Store, token: str, line: int, *, turn: Turn | None = None) -> BoothVisit:
    """Leave out the ballot that waits, because of a sample of it; nothing more is asked.

    It is kept as 'not this sample' and not counted as missing. Leaving it out again changes
    nothing.

    Returns what the link shows now. Raises RecordError as in `send`.
    """
    with at_booth(store, token) as (act, at):
        if turn is not None:
            check_turn(act, at, turn)
        if not row_at(at, line).not_served:
            waiting_at(at, line)
            mark = {NOT_SERVED: NOT_THIS_SAMPLE, LEFT: utc_now()}
            at = mark_at(act, at, line, mark, NOT_THIS_SAMPLE)
        return _visit(act, at)


def late(store: Store, token: str) -> bool:
    """Mark answers that were given and not sent before the session was closed.

    They stay on record with their time, and are not counted.

    Returns whether there were any.
    """
    if (there := place_of(store, token)) is None or not _late(there):
        return False
    with store.action(who=store.name_of(there.by), role=BOOTH) as act:
        at = place_of(act, token)
        marks = _late(at) if at else {}
        session = act.session(there.session.id)
        if marks and session.serving:
            told = session.serving.late | marks
            marked = replace(session, serving=replace(session.serving, late=told))
            why = f"ballots {', '.join(marks)}: answered, not sent before closing; not counted"
            act.put(marked, expect=session, what="late ballot", why=why)
    return bool(marks)


def _late(at: Place) -> dict[str, str]:
    """The time by first line of each ballot that is to be marked; none before closing."""
    session = at.session
    told = session.serving.late if session.serving else {}
    return {
        str(ballot[0].row): utc_now()
        for ballot in (waiting_ballots(session, at.lines) if session.closed else ())
        if str(ballot[0].row) not in told
        and any(asked.given for asked in booth_ballot(session, ballot, [ballot]).asked)
    }

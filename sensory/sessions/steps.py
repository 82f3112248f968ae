"""The way of a session: its steps, which is done and which is next, and where its ballots stand.

Why so
------
A session takes one of three ways, by how its ballots come in. Steps that a way does not need are
missing, not grey: ballots of a file were served elsewhere, and ballots that were typed without a
plan need none afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ..catalogue.checking import CheckedBallots
from ..catalogue.columns import filled_lines
from .booth_plans import progress
from .outcomes import check_ballots
from .session import StoredSession
from .store import Store

QUESTION, SERVE, BALLOTS, FINDING = STEPS = ("question", "serve", "ballots", "finding")


class State(StrEnum):
    """Of a step."""

    DONE = "done"
    NOW = "now"
    LATER = "later"


class Way(StrEnum):
    """How ballots come in; as `SessionDetails.way` writes it."""

    PAPER = "paper"
    BOOTHS = "booths"
    FILE = "file"

    @property
    def words(self) -> str:
        """As a choice."""
        return _WAYS[self]


_WAYS = {Way.PAPER: "on paper", Way.BOOTHS: "at booths", Way.FILE: "from a file"}
_NEXT = {
    QUESTION: "agree the question",
    SERVE: "serve",
    BALLOTS: "collect ballots",
    FINDING: "read the finding",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a session; `note` says how far it is, where that is a count."""

    name: str
    state: State
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where the ballots of a session stand.

    Attributes
    ----------
    checked : CheckedBallots
    answered : int
        Ballots without an error that hold an answer; at booths those that were sent.
    blank : int
        Ballots without an error and without an answer.
    errors : int
        What has to be fixed before the ballots can be closed.
    planned : int
        As the question agreed it, or as many as the plan on record lays out, where that is more.
    served : int
        Of a session at booths, how many are served; else 0.
    at_booths : bool
        Whether answers are sent, not typed; also where nobody who is there tastes today.
    """

    checked: CheckedBallots
    answered: int
    blank: int
    errors: int
    planned: int
    served: int = 0
    at_booths: bool = False

    @property
    def notes(self) -> int:
        """How many remarks there are, blank ballots apart."""
        return sum(fault.rule != "no answer" for fault in self.checked.remarks)

    @property
    def fewer(self) -> bool:
        """Whether closing now would leave planned or served ballots out."""
        return self.answered < max(self.planned, self.served)

    @property
    def all_there_will_be(self) -> str:
        """What closing now would mean, where it leaves ballots out."""
        if self.answered < self.served:
            return f"{self.answered} of {self.served}"
        return f"{self.answered} of {self.planned} planned"

    @property
    def can_close(self) -> bool:
        """Whether there is an answer and nothing to fix."""
        return bool(self.answered) and not self.errors

    @property
    def words(self) -> str:
        """How many there are, in a few words."""
        return counted(self.answered, self.served or self.planned)


def counted(answered: int, planned: int) -> str:
    """A count beside what was planned; alone where there are more, as of several samples each.

    >>> counted(18, 24), counted(24, 12)
    ('18 of 24', '24')
    """
    return f"{answered} of {planned}" if answered <= planned else str(answered)


def standing(store: Store, session_id: str) -> Standing:
    """Where the ballots of a session stand, as they are on record."""
    session, cells = store.session(session_id), store.cells(session_id)
    checked = check_ballots(cells, session.question)
    errors = len(checked.blocking) if cells else 0
    agreed = session.question.assessors
    laid_out = sum(not texts.get("not served") for texts in cells.values())
    if session.serving and session.serving.booths:
        counts = progress(store, session_id)
        sent, served = sum(done for _, done, _ in counts), sum(whole for _, _, whole in counts)
        return Standing(
            checked=checked,
            answered=sent,
            blank=served - sent,
            errors=errors,
            planned=agreed,
            served=served,
            at_booths=True,
        )
    blank = checked.blank
    if session.serving and not checked.ready and _only_columns(checked):
        errors, blank = 0, len(filled_lines(cells))  # nothing is typed into the plan yet
    return Standing(
        checked=checked,
        answered=checked.ready - checked.blank,
        blank=blank,
        errors=errors,
        planned=max(agreed, laid_out if session.serving else 0),
    )


def _only_columns(checked: CheckedBallots) -> bool:
    return all(fault.rule == "missing column" for fault in checked.blocking)


def steps_of(
    session: StoredSession, *, lines: int, answered: int | None = None, planned: int = 0
) -> tuple[Step, ...]:
    """The steps that a session takes, in their order; one is now, those before it are done.

    Parameters
    ----------
    lines : int
        How many lines of ballots are on record, blank ones of a plan included.
    answered, planned : int, optional
        Ballots with an answer, and planned ones, for the note of their step.
    """
    names = [name for name in STEPS if name != SERVE or _served(session, lines)]
    now = _now(session, answered or 0, names)
    at = names.index(now)
    states = [State.DONE] * at + [State.NOW] + [State.LATER] * (len(names) - at - 1)
    count = counted(answered, planned) if answered is not None and planned else ""
    return tuple(
        Step(name=name, state=state, note=count if name == BALLOTS and session.agreed else "")
        for name, state in zip(names, states, strict=True)
    )


def _served(session: StoredSession, lines: int) -> bool:
    """Whether the way has a serving of its own: a plan is on record, or can still be made."""
    if session.serving is not None:
        return True
    return session.details.way != Way.FILE and not lines and not session.closed


def _now(session: StoredSession, answered: int, names: list[str]) -> str:
    if session.closed:
        return FINDING
    if not session.agreed:
        return QUESTION
    if SERVE in names and _to_be_served(session, answered):
        return SERVE
    return BALLOTS


def _to_be_served(session: StoredSession, answered: int) -> bool:
    if session.serving is None or session.details.care.unwell:
        return True
    return not (session.serving.booths or answered)


def next_step(store: Store, session: StoredSession) -> str:
    """Name of the step that a session waits for, one of `STEPS`."""
    if session.closed or not session.agreed:
        return FINDING if session.closed else QUESTION
    cells = store.cells(session.id)
    answered = standing(store, session.id).answered if session.serving else len(cells)
    steps = steps_of(session, lines=len(filled_lines(cells)), answered=answered)
    return next(step.name for step in steps if step.state is State.NOW)


def next_in_words(store: Store, session: StoredSession) -> str:
    """What a session waits for, as a list says it."""
    if session.details.care.unwell:
        return "take up the adverse reaction"
    if session.closed and session.question.training is not None:
        return "look at the marks"
    return _NEXT[next_step(store, session)]

"""What a closed session shows, as screens and reports have it: session, outcome, conduct."""

from __future__ import annotations

from dataclasses import dataclass

from ..base.errors import BallotError, RecordError
from ..base.records import utc_now
from ..base.results import Table
from ..catalogue.columns import Cells
from ..catalogue.outcome import NamedTable, Outcome
from ..catalogue.outcome_json import outcome_from_json
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from .afterwards import done_afterwards
from .attempts import attempts_in_words, batch_of, earlier_attempts
from .headline import Headline, headline
from .in_short import limits_in_short, moved_in_words
from .outcome_names import with_names
from .outcomes import check_ballots, read_ballots_of
from .search import ALL
from .served_beside_plan import Served, served_beside_plan
from .session import Anchor, SessionDetails, StoredSession
from .soundness import refuse_changed
from .store import Store

_ABOUT = ("sample", "order", "pair")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SessionReport:
    """A closed session as its page and its document show it.

    `session`: what was asked, agreed and closed, and when.
    `afterwards`: what was done after the finding had been seen.
    `printed_at`, `version`: time of this report and version of the program.
    `attempts`: earlier sessions on the same batch, and what they do to the risks.
    `served`: what was served beside what was planned, where there is a plan.
    `newest`: the newest entry of the record, to be compared with it later.
    `comments`: of assessors, each with its sample or order; no names.
    """

    session: StoredSession
    outcome: Outcome
    afterwards: tuple[str, ...] = ()
    printed_at: str = ""
    version: str = ""
    attempts: tuple[str, ...] = ()
    served: Served | None = None
    newest: Anchor | None = None
    comments: tuple[tuple[str, str], ...] = ()

    @property
    def details(self) -> SessionDetails:
        """Samples and circumstances."""
        return self.session.details

    @property
    def question(self) -> Question:
        """What was agreed."""
        return self.session.question

    @property
    def name_of_test(self) -> str:
        """Name of the test."""
        return find_kind(self.outcome.test).name

    @property
    def direction(self) -> str:
        """Which sample was expected to have more; empty where the test has no direction."""
        protocol = find_kind(self.outcome.test).protocol
        if protocol is None or not protocol.takes_target:
            return ""
        if self.question.two_sided:
            return "not known beforehand, two-sided"
        letter = self.question.target
        names = {sample.letter: sample.name.strip() for sample in self.details.samples}
        return f"{letter}, {names[letter]}" if names.get(letter) else letter

    @property
    def headline(self) -> Headline:
        """The finding, what counts against it, and what was agreed for it."""
        return headline(self.outcome, self.question, decides=self.details.decides)

    @property
    def reasons(self) -> tuple[str, ...]:
        """What the finding rests on: the counts, or a sentence an attribute that moved."""
        return moved_in_words(self.outcome) or (self.outcome.because,)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the form of the file and the checks of the ballots noticed."""
        form = (line for line in self.details.file_remarks.splitlines() if line)
        return (*form, *self.outcome.remarks)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What stands beside the finding: earlier attempts, and what the outcome warns of."""
        return (*self.attempts, *self.outcome.warnings)

    def cannot_tell(self) -> tuple[str, ...]:
        """What the session cannot tell, the way it was conducted included."""
        changed = (
            "Ballots or details were changed after a finding had been seen. The risks alpha "
            "and beta hold for the first finding only; read this one as a correction.",
        )
        entered = self.session.ballots_at_agreement
        before = (
            f"{entered} ballots had been entered when the question "
            "was agreed: this record does not show that the limit was chosen before tasting.",
        )
        return (
            *self.attempts,
            *(changed if self.afterwards else ()),
            *self.outcome.cannot_tell,
            *(before if entered else ()),
        )

    def limits(self) -> tuple[str, ...]:
        """What the session cannot tell, in three short sentences at the most, warnings left out."""
        shown = set(self.attempts)
        return limits_in_short([line for line in self.cannot_tell() if line not in shown])

    def tables(self) -> tuple[NamedTable, ...]:
        """Every table of the session, with a head that says which it was."""
        rows = (
            ("session", self.details.title),
            ("test", self.name_of_test),
            ("tasted on", self.details.held_on),
            ("finding", self.outcome.finding.value),
            ("headline", self.headline.words),
        )
        head = NamedTable("Session", Table(columns=("item", "value"), rows=rows))
        return (head, *self.outcome.tables, *self.outcome.panel_tables)


def session_report(store: Store, session_id: str, *, version: str) -> SessionReport:
    """The finding of a closed session with all that its report states.

    Raises RecordError when the session is not closed, or was changed outside this program.
    """
    refuse_changed(store, session_id, "The finding")
    session, cells = store.session(session_id), store.cells(session_id)
    outcome = outcome_of_session(store, session, cells)
    return SessionReport(
        session=session,
        outcome=outcome,
        afterwards=done_afterwards(store.entries(session_id)),
        printed_at=utc_now(),
        version=version,
        attempts=_attempts(store, session, outcome),
        served=served_beside_plan(session, cells),
        newest=store.newest(),
        comments=_comments(cells),
    )


def _comments(cells: Cells) -> tuple[tuple[str, str], ...]:
    """Comments in the order of their lines, each with what it is about."""
    return tuple(
        (next((texts[name] for name in _ABOUT if texts.get(name)), ""), texts["comment"])
        for _, texts in sorted(cells.items())
        if texts.get("comment", "").strip()
    )


def outcome_of_session(store: Store, session: StoredSession, cells: Cells | None = None) -> Outcome:
    """The outcome that a session left when it closed; with names where the cells are given.

    A record of an older release kept none: then the ballots are read.

    Raises RecordError when the session is not closed, or the frozen question no longer has its
    digest. BallotError when ballots of an older record have to be mended.
    """
    if not session.closed:
        raise RecordError("The finding is shown when the ballots are closed.")
    if session.question.training is not None:
        raise RecordError("This session is training: it has no finding.")
    if session.question.digest != session.digest:
        raise RecordError(
            "The question on record is not the one that was agreed: its digest differs. "
            "Somebody changed the record outside this program."
        )
    if (plain := store.outcome(session.id)) is not None:
        return outcome_from_json(plain if cells is None else with_names(plain, cells))
    checked = check_ballots(store.cells(session.id) if cells is None else cells, session.question)
    if checked.blocking:
        raise BallotError(checked.blocking)
    return read_ballots_of(checked, session.question)


def attempts_on_record(store: Store, session: StoredSession) -> list[StoredSession]:
    """The earlier sessions on the same batch with the same test, however old they are."""
    others = store.sessions(ALL, naming=batch_of(session)) if batch_of(session) else []
    return earlier_attempts(session, others)


def _attempts(store: Store, session: StoredSession, outcome: Outcome) -> tuple[str, ...]:
    """What earlier sessions on the same batch do to the risks of this one."""
    earlier = attempts_on_record(store, session)
    shown = {
        attempt.id: entry.why
        for attempt in earlier
        for entry in store.entries(attempt.id)
        if entry.what == "closed"
    }
    plain = [store.outcome(attempt.id) for attempt in earlier]
    counts = [*(each["counts"] for each in plain if each)]
    counted = [(each["correct"], each["trials"]) for each in counts if each["trials"]]
    if outcome.counts.trials:
        counted.append((outcome.counts.correct, outcome.counts.trials))
    return attempts_in_words(session, earlier, shown, outcome.counts.answers, counted)

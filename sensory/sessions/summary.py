"""Everything that a report of one session states, as plain data."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..base.results import Cell, Table
from ..catalogue.question import Question
from ..choices.protocols import Protocol
from ..choices.session_finding import SessionFinding
from .read_session import told_by_conduct
from .served_beside_plan import Served
from .session import SessionDetails, StoredSession

_Row = tuple[str, Cell, float | None, float | None, float | None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SessionSummary:
    """One session as screens and reports show it.

    Attributes
    ----------
    session : StoredSession
        What was asked, agreed and closed, and when.
    protocol : Protocol
    result : SessionFinding
    missing, guesses, assessors : int
    orders : dict of str to int
    remarks : tuple of str
        What the checks noticed.
    afterwards : tuple of str
        What was done after the finding had been seen.
    printed_at, version : str
        Time of this summary and version of the program.
    attempts : tuple of str
        Earlier sessions on the same batch, and what they do to the risks.
    served : Served or None
        What was served beside what was planned, where there is a plan.
    """

    session: StoredSession
    protocol: Protocol
    result: SessionFinding
    missing: int
    guesses: int
    assessors: int
    orders: dict[str, int] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    afterwards: tuple[str, ...] = ()
    printed_at: str = ""
    version: str = ""
    attempts: tuple[str, ...] = ()
    served: Served | None = None

    @property
    def details(self) -> SessionDetails:
        """Samples and circumstances."""
        return self.session.details

    @property
    def question(self) -> Question:
        """What was agreed."""
        return self.session.question

    @property
    def direction(self) -> str:
        """Which sample was expected to have more; empty where the test has no direction."""
        if not self.protocol.takes_target:
            return ""
        if self.question.two_sided:
            return "not known beforehand, two-sided"
        return "B, the sample compared" if self.question.target == "B" else "A, the reference"

    def cannot_tell(self) -> tuple[str, ...]:
        """What the session cannot tell, the way it was conducted included."""
        by_conduct = told_by_conduct(self.session, self.afterwards)
        changed, entered = by_conduct[: bool(self.afterwards)], by_conduct[bool(self.afterwards) :]
        return (*self.attempts, *changed, *self.result.cannot_tell, *entered)

    def table(self) -> Table:
        """Every number of the session; numbers are not rounded."""
        rows = [*self._counts(), *self._estimates(), *self._tests()]
        rows.append(("finding", self.result.finding.value, None, None, None))
        return Table(columns=("quantity", "estimate", "low", "high", "level"), rows=tuple(rows))

    def _counts(self) -> list[_Row]:
        test, details = self.result.test, self.details
        counted = "answers for B" if test.two_sided else "correct answers"
        words: list[tuple[str, Cell]] = [
            ("session", details.title),
            ("test", self.protocol.name),
            ("tasted on", details.held_on),
            ("answers counted", test.trials),
            (counted, test.correct),
            ("answers missing", self.missing),
            ("answers marked as guesses", self.guesses),
            ("assessors", self.assessors),
            ("guess probability", float(self.protocol.guess)),
        ]
        return [(name, value, None, None, None) for name, value in words]

    def _estimates(self) -> list[_Row]:
        test, replicated = self.result.test, self.result.replicated
        one_sided = 1 - test.beta
        if replicated is not None:
            rows = replicated.table().rows[:2]
            upper = replicated.pd_upper
            listed = [_row(row) for row in rows]
        else:
            upper = test.pd_upper
            listed = [_row(row[:5]) for row in test.table().rows]
            if test.two_sided:
                listed[0] = ("proportion of answers for B", *listed[0][1:])
        return [
            *listed,
            ("distinguishers, upper limit", upper, None, upper, one_sided),
            ("agreed limit, distinguishers", test.pd_limit, None, None, None),
            ("agreed limit, d-prime", test.dprime_limit, None, None, None),
        ]

    def _tests(self) -> list[_Row]:
        test, risks, replicated = self.result.test, self.result.risks, self.result.replicated
        limit = f"at {test.pd_limit:g} distinguishers"
        what = "commoner choice" if test.two_sided else "correct answers"
        rows: list[tuple[str, Cell]] = [
            ("p of the difference test", test.p_difference),
            ("alpha", test.alpha),
            ("beta", test.beta),
            (f"{what} needed for a difference", test.critical_count),
        ]
        if replicated is not None:
            rows.append(("p that assessors are alike", replicated.p_overdispersion))
        else:
            rows += [
                ("p of the similarity test", test.p_similarity),
                (f"{what} allowed for similarity", test.similar_count),
                ("chance of a fair pass, nothing changed", risks.fair_pass),
                (f"risk of a wrong pass (beta error), {limit}", risks.wrong_pass),
                ("risk of a false alarm (alpha error), nothing changed", risks.false_alarm),
                (f"power, {limit}", risks.power),
            ]
        return [(name, value, None, None, None) for name, value in rows]


def _row(cells: tuple[Cell, ...]) -> _Row:
    name, estimate, low, high, level = cells
    return (str(name), estimate, _number(low), _number(high), _number(level))


def _number(cell: Cell) -> float | None:
    return None if cell is None else float(cell)

"""Everything that a report of one session states, as plain data."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..base.records import Question, SessionDetails
from ..base.results import Table
from ..protocols import Protocol
from .findings import SessionFinding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SessionSummary:
    """One session as screens and reports show it.

    Attributes
    ----------
    details, question, protocol, result
        What was asked and what was found.
    digest, agreed_at, agreed_by : str
        The frozen question: SHA-256, time (UTC, ISO 8601) and who agreed.
    ballots_at_agreement : int
        How many ballots had been entered when the question was agreed.
    closed_at : str
        When the ballots were last closed, which opens the finding.
    missing, guesses, assessors : int
    orders : dict of str to int
    remarks : tuple of str
        What the checks noticed.
    afterwards : tuple of str
        What was done after the finding had been seen.
    printed_at, version : str
        Time of this summary and version of the program.
    """

    details: SessionDetails
    question: Question
    protocol: Protocol
    result: SessionFinding
    digest: str
    agreed_at: str
    agreed_by: str
    ballots_at_agreement: int
    closed_at: str
    missing: int
    guesses: int
    assessors: int
    orders: dict[str, int] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    afterwards: tuple[str, ...] = ()
    printed_at: str = ""
    version: str = ""

    def table(self) -> Table:
        """Every number of the session; numbers are not rounded."""
        test, risks = self.result.test, self.result.risks
        limit = f"at {test.pd_limit:g} distinguishers"
        rows: list[tuple[str, str | float | None, float | None, float | None, float | None]] = [
            ("answers counted", test.trials, None, None, None),
            ("correct answers", test.correct, None, None, None),
            ("answers missing", self.missing, None, None, None),
            ("answers marked as guesses", self.guesses, None, None, None),
            ("assessors", self.assessors, None, None, None),
            ("guess probability", float(self.protocol.guess), None, None, None),
        ]
        for name, estimate, low, high, level, _ in test.table().rows:
            rows.append((str(name), estimate, _number(low), _number(high), _number(level)))
        one_sided = 1 - test.beta
        rows += [
            ("distinguishers, upper limit", test.pd_upper, None, test.pd_upper, one_sided),
            ("agreed limit, distinguishers", test.pd_limit, None, None, None),
            ("agreed limit, d-prime", test.dprime_limit, None, None, None),
            ("p of the difference test", test.p_difference, None, None, None),
            ("p of the similarity test", test.p_similarity, None, None, None),
            ("alpha", test.alpha, None, None, None),
            ("beta", test.beta, None, None, None),
            ("correct answers needed for a difference", test.critical_count, None, None, None),
            ("correct answers allowed for similarity", test.similar_count, None, None, None),
            ("chance of a fair pass, nothing changed", risks.fair_pass, None, None, None),
            (f"risk of a wrong pass, {limit}", risks.wrong_pass, None, None, None),
            ("risk of a false alarm, nothing changed", risks.false_alarm, None, None, None),
            (f"power, {limit}", risks.power, None, None, None),
            ("finding", self.result.finding.value, None, None, None),
        ]
        return Table(columns=("quantity", "estimate", "low", "high", "level"), rows=tuple(rows))


def _number(cell: str | float | None) -> float | None:
    return None if cell is None else float(cell)

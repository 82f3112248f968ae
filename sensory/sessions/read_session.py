"""A session with its reading, as screens and reports show it."""

from __future__ import annotations

from dataclasses import dataclass

from ..catalogue.question import Question
from ..catalogue.reading import Reading
from .served_beside_plan import Served
from .session import SessionDetails, StoredSession


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReadSession:
    """A session with its reading, as screens and reports show it.

    Attributes
    ----------
    session : StoredSession
    reading : Reading
    answers, missing, assessors : int
    remarks, afterwards : tuple of str
        What the checks noticed; what was done after the finding had been seen.
    printed_at, version : str
    attempts : tuple of str
        Earlier sessions on the same batch, and what they do to the risks.
    served : Served or None
        What was served beside what was planned, where there is a plan.
    """

    session: StoredSession
    reading: Reading
    answers: int
    missing: int
    assessors: int
    remarks: tuple[str, ...]
    afterwards: tuple[str, ...]
    printed_at: str
    version: str
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

    def cannot_tell(self) -> tuple[str, ...]:
        """What the session cannot tell, the way it was conducted included."""
        return (
            *self.attempts,
            *told_by_conduct(self.session, self.afterwards),
            *self.reading.cannot_tell,
        )


def told_by_conduct(session: StoredSession, afterwards: tuple[str, ...]) -> list[str]:
    """What the order of events takes away from a finding."""
    lines = []
    if afterwards:
        lines.append(
            "Ballots or details were changed after a finding had been seen. The risks alpha "
            "and beta hold for the first finding only; read this one as a correction."
        )
    if session.ballots_at_agreement:
        lines.append(
            f"{session.ballots_at_agreement} ballots had been entered when the question "
            "was agreed: this record does not show that the limit was chosen before tasting."
        )
    return lines

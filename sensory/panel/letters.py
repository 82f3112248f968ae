"""The letter in which somebody reads what was decided on the role in a panel.

Why so
------
It holds no number of the tests: a score without its limits would be taken for a verdict on a
person. 'From today on' is the day of the decision, which stands at the end.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..base.errors import RecordError
from ..base.languages import ballot_words
from .assessors import SERVING_ROLES, Assessor, Role, RoleDecision

_KEYS = {
    Role.CANDIDATE: "candidate",
    Role.TRAINING: "training",
    Role.ASSESSOR: "assessor",
    Role.EXPERT: "expert",
    Role.LEFT: "left",
}
_NEVER_IN = (Role.CANDIDATE, Role.TRAINING)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutcomeLetter:
    """A letter in the words of a language, ready to be printed."""

    language: str
    title: str
    sentences: tuple[str, ...]
    printed_at: str


def outcome_letter(
    assessor: Assessor, decision: RoleDecision, *, language: str = "", printed_at: str
) -> OutcomeLetter:
    """The letter on a decision.

    Parameters
    ----------
    language : str
        Code; the first language of the person, or English, where it is not given.

    Raises RecordError for a person whose name was erased, ArgumentError for an unknown language.
    """
    if assessor.erased:
        raise RecordError("There is no letter to somebody whose name was erased.")
    code = language or next(iter(assessor.languages), "en")
    words = ballot_words(code)["letter"]
    key = _KEYS[decision.role]
    if decision.role is Role.LEFT and decision.before in _NEVER_IN:
        key = "declined"
    lines = [words["dear"].format(assessor=assessor.person),
             words[key].format(panel=decision.panel)]  # fmt: skip
    if decision.requalify_by and decision.role in SERVING_ROLES:
        lines.append(words["again"].format(day=decision.requalify_by))
    lines.append(words["ask"])
    lines.append(words["decided"].format(day=decision.decided_on, leader=decision.decided_by))
    return OutcomeLetter(
        language=code, title=words["title"], sentences=tuple(lines), printed_at=printed_at
    )

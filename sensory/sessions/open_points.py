"""What a question still lacks before it can be agreed, each point at the field that answers it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ..catalogue.tests import find_kind
from .missing import missing_in_training, missing_texts
from .session import CAUTIONS, StoredSession


class Part(StrEnum):
    """The parts of the page that asks."""

    WHY = "What and why"
    HOW = "How many and how sure"
    SAFETY = "Safety"


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPoint:
    """A point that is still open.

    `field`: the field that answers it, such as ``decision``; ``settings`` stands for what the test
        itself asks, ``care`` for the clearance, ``caution-`` and its key for a caution.
    """

    part: Part
    field: str
    says: str


def open_points(session: StoredSession) -> tuple[OpenPoint, ...]:
    """What is still open, in the order of the page.

    The same points stand against agreeing in `workflow.agree`, and two more: who leads the panel,
    and who decides.

    >>> from ..catalogue.question import Question
    >>> from .session import SessionDetails
    >>> blank = StoredSession(id="s", created_at="", details=SessionDetails(), cautions={},
    ...                       question=Question(what_changed="press", decision="release",
    ...                       if_different="hold", if_similar="go", if_undecided="again"))
    >>> [point.field for point in open_points(blank)][:4]
    ['decides', 'leader', 'settings', 'care']
    """
    details, question = session.details, session.question
    lines = [(Part.WHY, name, says) for name, says in missing_texts(question).items()]
    if question.training is None and not details.decides.strip():
        lines.append((Part.WHY, "decides", "Who decides?"))
    if not details.leader.strip():
        lines.append((Part.WHY, "leader", "Who leads the panel?"))
    kind = find_kind(question.protocol)
    trained = question.training is not None
    settings = missing_in_training(question) if trained else kind.missing(question)
    lines += [(Part.HOW, "settings", says) for says in settings]
    lines += [(Part.SAFETY, "care", says) for says in details.care.missing()]
    lines += [
        (Part.SAFETY, f"caution-{caution.key}", caution.advice)
        for caution in CAUTIONS
        if session.cautions.get(caution.key) is not True
    ]
    return tuple(OpenPoint(part=part, field=field, says=says) for part, field, says in lines)


def counted(points: tuple[OpenPoint, ...]) -> str:
    """How many points are open in which part; empty for none.

    >>> point = OpenPoint(part=Part.SAFETY, field="care", says="")
    >>> counted((point, point))
    'Still open: 2 in Safety'
    """
    parts = {part: sum(point.part is part for point in points) for part in Part}
    told = ", ".join(f"{many} in {part}" for part, many in parts.items() if many)
    return f"Still open: {told}" if told else ""

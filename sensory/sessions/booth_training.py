"""What an assessor in training learns at once: own marks of the last sample beside the target.

Why so
------
Where nothing is agreed the marks of the others stand beside one's own, as a range and without
names, and only once there are so many that nobody's mark can be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..base.spelling import same_person
from ..catalogue.scales import agreed_scale
from ..catalogue.tests import find_kind
from ..catalogue.training import Target
from ..serving.ballot_line import BallotLine, lines_from
from .session import StoredSession
from .store import Store

FEWEST_OTHERS = 3
"""So many others have marked a sample before their range is shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """One's own mark on an attribute.

    `target`: the agreed mark; None where there is none.
    `others`: how many others have marked the sample so far.
    `lowest`, `highest`: their range; None for a target, or for fewer than `FEWEST_OTHERS`.
    """

    attribute: str
    own: float
    target: Target | None = None
    others: int = 0
    lowest: float | None = None
    highest: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """The marks of the ballot that was sent last.

    `line`: its first line on record.
    `scale`: lowest and highest score.
    """

    line: int
    code: str
    scale: tuple[float, float]
    marks: tuple[Marked, ...]


def learned_of(store: Store, session: StoredSession, lines: Sequence[BallotLine]) -> Learned | None:
    """What the ballot sent last shows at a booth of training; None before the first, or in a test.

    `lines`: all of this seat.
    """
    training, sent = session.question.training, [line for line in lines if line.sent]
    if training is None or not sent:
        return None
    last = max(sent, key=lambda line: (line.sent, line.row))
    asked = find_kind(session.question.protocol).scored(session.question.settings)
    given = {name: text for name in asked if (text := last.text(name))}
    targets = {name: training.target(last.sample, name) for name in given}
    beside = [] if all(targets.values()) else _others(store, session, last)
    scale = agreed_scale(session.question.settings)
    return Learned(
        line=last.row,
        code=" ".join(last.codes),
        scale=(scale.low, scale.high),
        marks=tuple(
            _marked(name, float(text), targets[name], beside) for name, text in given.items()
        ),
    )


def _others(store: Store, session: StoredSession, own: BallotLine) -> list[BallotLine]:
    """What others have sent of the same sample."""
    wanted, person = same_person(own.sample), same_person(store.name_of(own.assessor))
    return [
        line
        for line in lines_from(store.cells(session.id))
        if line.sent and same_person(line.sample) == wanted and same_person(line.assessor) != person
    ]


def _marked(name: str, own: float, target: Target | None, beside: Sequence[BallotLine]) -> Marked:
    if target is not None:
        return Marked(attribute=name, own=own, target=target)
    marks = [
        (same_person(line.assessor), float(text)) for line in beside if (text := line.text(name))
    ]
    others, scores = len({person for person, _ in marks}), [score for _, score in marks]
    if others < FEWEST_OTHERS:
        return Marked(attribute=name, own=own, others=others)
    return Marked(attribute=name, own=own, others=others, lowest=min(scores), highest=max(scores))

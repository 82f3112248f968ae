"""What each assessor marked in one training session: kept at closing, for the learning curves.

Why so
------
It is no `Sitting`: the history of the panel, its months and what the panel can see read sittings
only, so that nothing of a training gets there. Marks stand beside the targets of their day, since
targets change. Names are held as references, so that an erased person is erased here too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from ..base.errors import RecordError
from ..base.plain import Plain
from ..base.record_checks import iso_date, named
from ..base.spelling import key_of, same_person, tidy_name
from ..catalogue.checking import CheckedBallots
from ..catalogue.scales import agreed_scale
from ..catalogue.training import Target, Training
from .session import StoredSession


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainedSample(Plain):
    """Marks of one sample on one attribute.

    `scores`: by assessor in the order of the training, each mark of a replicate.
    `target`, `low`, `high`: as agreed for that session; None where there was no target.
    """

    sample: str
    attribute: str
    scores: tuple[tuple[float, ...], ...]
    target: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainingSitting(Plain):
    """A training session as the learning curves hold it.

    `held_on`: day, ISO 8601.
    `version`: of the words that were used; 0 for none.
    `assessors`: those who marked something; empty once the session was opened again.
    `scale`: its lowest and highest score.
    """

    session: str
    held_on: str
    product: str
    scale: tuple[float, float]
    version: int = 0
    title: str = ""
    assessors: tuple[str, ...] = ()
    samples: tuple[TrainedSample, ...] = ()

    def __post_init__(self) -> None:
        named("product that is trained", self.product)
        iso_date("day of the training", self.held_on)
        if {len(each.scores) for each in self.samples} - {len(self.assessors)}:
            raise RecordError(f"A training of {len(self.assessors)} needs the marks of each.")

    @property
    def name(self) -> str:
        """Under which it stands in the register."""
        return self.session

    def emptied(self) -> TrainingSitting:
        """The same without anybody: the session was opened again."""
        return TrainingSitting(
            session=self.session,
            held_on=self.held_on,
            product=self.product,
            scale=self.scale,
            version=self.version,
            title=self.title,
        )


def training_of(session: StoredSession) -> Training:
    """What a question says of training; RecordError where it is none."""
    if session.question.training is None:
        raise RecordError("This session is a test, not training.")
    return session.question.training


def trained_of(session: StoredSession, checked: CheckedBallots) -> TrainingSitting:
    """What was marked so far in a training session, each sample beside its target."""
    training, question = training_of(session), session.question
    scale = agreed_scale(question.settings)
    names = _spelled(tidy_name(str(row["assessor"])) for row in checked.rows)
    samples = _spelled(tidy_name(str(row["sample"])) for row in checked.rows)
    attributes = _spelled((str(row["attribute"]) for row in checked.rows), key_of)
    marks: dict[tuple[str, str, str], list[float]] = defaultdict(list)
    for row in checked.rows:
        place = same_person(str(row["sample"])), key_of(str(row["attribute"]))
        marks[(*place, same_person(str(row["assessor"])))].append(float(row["score"]))
    return TrainingSitting(
        session=session.id,
        held_on=session.details.held_on or (session.agreed_at or session.created_at)[:10],
        product=training.product,
        scale=(scale.low, scale.high),
        version=question.vocabulary.version if question.vocabulary else 0,
        title=session.details.title,
        assessors=tuple(names.values()),
        samples=tuple(
            _sample(
                samples[sample],
                attributes[attribute],
                tuple(tuple(marks.get((sample, attribute, person), ())) for person in names),
                training.target(samples[sample], attributes[attribute]),
            )
            for attribute in attributes
            for sample in samples
            if any((sample, attribute, person) in marks for person in names)
        ),
    )


def _sample(
    sample: str, attribute: str, scores: tuple[tuple[float, ...], ...], target: Target | None
) -> TrainedSample:
    if target is None:
        return TrainedSample(sample=sample, attribute=attribute, scores=scores)
    return TrainedSample(
        sample=sample,
        attribute=attribute,
        scores=scores,
        target=target.intensity,
        low=target.low,
        high=target.high,
    )


def _spelled(texts: Iterable[str], key: Callable[[str], str] = same_person) -> dict[str, str]:
    """Each once by its key, in the spelling that came first."""
    spelled: dict[str, str] = {}
    for text in texts:
        spelled.setdefault(key(text), text)
    return spelled

"""Use cases of training: a session is opened, the plant's rule kept, and who is trained qualified.

Why so
------
A training session asks for no decision and has no finding, but it is tasted: cautions, clearance
and allergens are asked as before every tasting. The rule says what the marks show; a person
qualifies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from string import ascii_uppercase

from ..base.errors import RecordError
from ..base.records import utc_now
from ..base.spelling import same_person
from ..catalogue.attributes import Vocabulary
from ..catalogue.question import Question
from ..catalogue.training import Target, Training
from ..sessions.session import Sample, SessionDetails, StoredSession
from ..sessions.steps import Way
from ..sessions.trained import TrainingSitting
from ..sessions.workflow import new_session_id, open_session
from .assessors import Assessor, Qualification
from .register import MOST, PanelDesk, qualify, the_register, who_is_it
from .training import TrainingProgress
from .training_rule import RULE, TrainingRule

_PROFILE = "PROFILE"


def open_training(
    desk: PanelDesk,
    words: Vocabulary,
    *,
    attributes: Sequence[str],
    samples: Sequence[str],
    targets: Sequence[Target] = (),
    ballots: int,
    leader: str = "",
    who: str,
) -> StoredSession:
    """Open a training session on some attributes of a product.

    Parameters
    ----------
    samples : sequence of str
        Names of what is served; those of reference standards bring their recipe and allergens.
    ballots : int
        How many are planned: assessors times samples times replicates.

    Raises RecordError without attributes or samples, or for a target of neither.
    """
    if not attributes or not samples:
        raise RecordError("Choose the attributes that are trained, and what is served.")
    training = Training(product=words.product, targets=tuple(targets))
    settings = {
        "attributes": "; ".join(attributes),
        "reference": "",
        "samples": "; ".join(samples),
        "scale_low": words.low,
        "scale_high": words.high,
    }
    question = Question(
        protocol=_PROFILE,
        what_changed=f"Training: {', '.join(attributes)}.",
        assessors=ballots,
        settings=settings,
        vocabulary=words.for_question(),
        training=training,
    )
    details = SessionDetails(
        title=f"Training on {words.product}: {', '.join(attributes)}",
        samples=tuple(_described(words, samples)),
        leader=leader,
        way=Way.BOOTHS.value,
    )
    return open_session(
        desk, new_session_id(), details=details, question=question, who=who, why="training"
    )


def _described(words: Vocabulary, samples: Sequence[str]) -> list[Sample]:
    """The samples, reference standards with their recipe and allergens."""
    known = {same_person(standard.name): standard for standard in words.standards}
    described = []
    for at, name in enumerate(samples):
        letter = ascii_uppercase[at] if at < len(ascii_uppercase) else str(at + 1)
        standard = known.get(same_person(name))
        described.append(
            Sample(
                letter=letter,
                name=name,
                made_on=standard.made_on if standard else "",
                preparation=standard.recipe if standard else "",
                allergens=standard.allergens if standard else "",
            )
        )
    return described


def trainings_of(desk: PanelDesk, product: str) -> list[TrainingSitting]:
    """The closed training sessions of a product by day."""
    return desk.nouns(TrainingSitting, product, MOST)


def the_training_rule(desk: PanelDesk) -> TrainingRule:
    """The plant's rule; the usual one as long as nobody changed it."""
    return desk.noun(TrainingRule, RULE) or TrainingRule()


def keep_training_rule(desk: PanelDesk, rule: TrainingRule, *, who: str) -> TrainingRule:
    """Change the plant's rule; qualifications that were given stand."""
    with desk.action(who=who, why=rule.words) as act:
        there = act.noun(TrainingRule, RULE)
        if rule != (there or TrainingRule()):
            act.put_noun(rule, expect=there, what="training rule")
    return rule


def qualify_trained(
    desk: PanelDesk,
    progress: TrainingProgress,
    product: str,
    *,
    until: str = "",
    who: str,
) -> list[Assessor]:
    """Qualify for the product, from today on, who is trained and in the register.

    The qualification names the attributes; who has it for these already keeps it.

    Raises RecordError where nobody is trained or none of the trained is in the register.
    """
    register = the_register(desk)
    members = [who_is_it(register, name) for name in progress.trained]
    there = [each for each in members if each is not None]
    if not there:
        raise RecordError("Nobody who is trained is in the register: enter them on the page Panel.")
    today = utc_now()[:10]
    wanted = Qualification(
        product=product, since=today, until=until, attributes=progress.attributes
    )
    with desk.action(who=who, why=f"trained for {product}") as act:
        return [
            qualify(act, each, product, since=today, until=until, attributes=wanted.attributes,
                    who=who)
            for each in there
            if not _has(each, wanted)
        ]  # fmt: skip


def _has(assessor: Assessor, wanted: Qualification) -> bool:
    same = (replace(each, since=wanted.since) for each in assessor.qualified)
    return wanted in same

"""What has to be stated and answered before a question is agreed and anybody tastes."""

from __future__ import annotations

from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from .session import CAUTIONS, StoredSession


def unmet_cautions(session: StoredSession) -> list[str]:
    """The cautions that are not answered with yes, as sentences."""
    return [
        f"{caution.asks} {caution.advice}"
        for caution in CAUTIONS
        if session.cautions.get(caution.key) is not True
    ]


def missing_in_question(question: Question) -> list[str]:
    """What has to be stated before a question can be agreed."""
    if question.training is not None:
        return missing_in_training(question)
    texts = list(missing_texts(question).values())
    return texts + find_kind(question.protocol).missing(question)


def missing_in_training(question: Question) -> list[str]:
    """What has to be stated before a training session can be agreed."""
    kind = find_kind(question.protocol)
    asks = {"attributes": "Which attributes are trained?", "samples": "Which samples are served?"}
    return [says for key, says in asks.items() if not kind.listed(question.settings, key)]


def missing_texts(question: Question) -> dict[str, str]:
    """The texts of a question that are empty, by field, each with what it asks."""
    if question.training is not None:
        return {}
    needed = {
        "what_changed": "What differs between the samples?",
        "decision": "What depends on the answer?",
        "if_different": "What will be done if the finding is different?",
        "if_similar": "What will be done if the finding is similar?",
        "if_undecided": "What will be done if the session cannot tell?",
    }
    if not find_kind(question.protocol).similarity:
        del needed["if_similar"]
    return {name: asks for name, asks in needed.items() if not str(getattr(question, name)).strip()}

"""Allergens of each served sample, as they are declared before anything is handed out.

Why so
------
Allergens of a ballot can tell its sample where a ballot holds one cup and the samples declare
different ones. People come before blinding: they are shown, and the page tells the leader.
"""

from __future__ import annotations

from collections.abc import Iterable

from ..catalogue.tests import find_kind
from .session import StoredSession

NONE = "none"
"""The declaration that a sample holds no allergen; an empty text is no declaration."""


def served_samples(session: StoredSession) -> tuple[str, ...]:
    """Every sample of the serving plan, then labelled references and warm-up."""
    return session.serving.samples if session.serving else ()


def declared_allergens(session: StoredSession) -> dict[str, str]:
    """The declaration of each served sample; empty where there is none.

    What was declared at the serving stands; else what the description of the session says of a
    sample with this letter or name.
    """
    return _declared(session, served_samples(session))


def told_allergens(session: StoredSession) -> str:
    """What everything that is put before an assessor holds together, reference standards too."""
    question = session.question
    asked = find_kind(question.protocol).attributes(question)
    defined = question.vocabulary.asked(asked) if question.vocabulary else ()
    standards = [standard.allergens for each in defined for standard in each.standards]
    return together([*_declared(session, served_samples(session)).values(), *standards])


def _declared(session: StoredSession, samples: Iterable[str]) -> dict[str, str]:
    declared = session.serving.allergens if session.serving else {}
    described = {
        _folded(name): sample.allergens.strip()
        for sample in session.details.samples
        for name in (sample.letter, sample.name)
        if name.strip()
    }
    return {name: declared.get(name) or described.get(_folded(name), "") for name in samples}


def undeclared(session: StoredSession) -> list[str]:
    """Served samples without a declaration."""
    return [name for name, text in declared_allergens(session).items() if not text]


def allergens_in(session: StoredSession, samples: Iterable[str]) -> str:
    """What these samples hold together, in alphabetical order; empty for nothing declared.

    The order says nothing about which sample holds what.
    """
    return together(_declared(session, samples).values())


def together(declarations: Iterable[str]) -> str:
    """Each allergen of several declarations once, in alphabetical order.

    >>> together(["sulphites; milk", "none", "Milk"])
    'milk; sulphites'
    """
    parts = (" ".join(part.split()) for text in declarations for part in text.split(";"))
    by_key: dict[str, str] = {}
    for part in parts:
        if part and part.casefold() != NONE:
            by_key.setdefault(part.casefold(), part)
    return "; ".join(by_key[key] for key in sorted(by_key))


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()

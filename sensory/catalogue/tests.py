"""Every test of the house, in the order in which pages offer them."""

from __future__ import annotations

from collections.abc import Mapping

from ..base.errors import ArgumentError
from ..choices.protocols import Protocol
from .controlled import DIFFERENCE_FROM_CONTROL
from .forced_choice import FORCED_CHOICES
from .graded import SURENESS
from .grading import GRADING
from .kind import KINDS, TestKind, name_of, register
from .question import Question
from .ranked import RANKING
from .rated import PROFILE
from .threshold import RISING_SETS
from .ticked import TICKED_WORDS
from .yes_no import A_NOT_A, SAME_DIFFERENT

for _kind in (
    *FORCED_CHOICES,
    A_NOT_A,
    SAME_DIFFERENT,
    SURENESS,
    RANKING,
    PROFILE,
    DIFFERENCE_FROM_CONTROL,
    TICKED_WORDS,
    GRADING,
    RISING_SETS,
):
    register(_kind)

TESTS: Mapping[str, TestKind] = KINDS
"""Every registered test by its key."""


def kinds() -> tuple[TestKind, ...]:
    """Every registered test, forced choices first."""
    return tuple(sorted(KINDS.values(), key=lambda kind: kind.protocol is None))


def find_kind(test: TestKind | Protocol | str) -> TestKind:
    """The test of that key or name, however it is spaced or capitalised, or of that protocol.

    Raises ArgumentError when there is none.

    >>> find_kind("TRIANGLE").name, find_kind("a-not-a").key
    ('triangle', 'A_NOT_A')
    """
    if isinstance(test, TestKind):
        return test
    text = test.key if isinstance(test, Protocol) else test
    if not isinstance(text, str):
        raise ArgumentError(f"test must be a test of the catalogue or its name; got {test!r}.")
    if text in KINDS:
        return KINDS[text]
    wanted = name_of(text)
    for kind in KINDS.values():
        if wanted in (name_of(kind.key), name_of(kind.name)):
            return kind
    known = ", ".join(kind.key for kind in kinds())
    raise ArgumentError(f"test {text!r} is not known; possible are {known}.")


def name_of_test(question: Question) -> str:
    """The test of a question as lists name it; of training it is said first."""
    name = find_kind(question.protocol).name
    return name if question.training is None else f"training, {name}"


def protocol_of(test: str) -> Protocol:
    """The statistics of the forced choice of that key or name.

    Raises ArgumentError when there is no such test, or it is no forced choice.
    """
    kind = find_kind(test)
    if kind.protocol is None:
        raise ArgumentError(f"{kind.name} is no forced choice.")
    return kind.protocol

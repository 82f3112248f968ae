"""What a session can show."""

from __future__ import annotations

from enum import StrEnum


class Finding(StrEnum):
    """What a session shows; the same four names everywhere."""

    DIFFERENT = "DIFFERENT"
    SIMILAR = "SIMILAR"
    DIFFERENT_WITHIN_LIMIT = "DIFFERENT_WITHIN_LIMIT"
    UNDECIDED = "UNDECIDED"

    @property
    def sentence(self) -> str:
        """The finding in words for the user."""
        return _SENTENCES[self]

    @property
    def heading(self) -> str:
        """The finding as a heading."""
        return self.value.replace("_", " ").capitalize()


FINDINGS = (
    Finding.UNDECIDED,
    Finding.SIMILAR,
    Finding.DIFFERENT,
    Finding.DIFFERENT_WITHIN_LIMIT,
)
"""At index ``2 * difference_is_significant + similarity_is_shown``."""


_SENTENCES = {
    Finding.DIFFERENT: "The batch deviates perceptibly from the reference.",
    Finding.SIMILAR: "Any difference is below the agreed limit.",
    Finding.DIFFERENT_WITHIN_LIMIT: (
        "A difference is perceptible, and it is below the agreed limit."
    ),
    Finding.UNDECIDED: "This session cannot tell.",
}

"""What a session can show.

Why so
------
Beyond the limit is a finding of its own. A significant difference says nothing about its size:
29 of 66 triangles are different at 5 %, and 0 to 35 % of people may notice. A batch is rejected
for what was shown, and held for what is open. Until version 0.1.0 a release rule rejected at any
difference; with 66 triangles and a limit of 30 % that was, and is:

| people who notice | released | rejected until 0.1.0 | rejected now | held now |
|---|---|---|---|---|
| 0 % | 95 % | 5 % | 0 % | 5 % |
| 10 % | 70 % | 30 % | 0 % | 30 % |
| 15 % | 49 % | 51 % | 0 % | 51 % |
| 20 % | 29 % | 71 % | 0 % | 71 % |
| 30 % | 5 % | 95 % | 3 % | 92 % |
| 50 % | 0 % | 100 % | 66 % | 34 % |
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray


class Finding(StrEnum):
    """What a session shows; the same five names everywhere."""

    DIFFERENT = "DIFFERENT"
    SIMILAR = "SIMILAR"
    DIFFERENT_WITHIN_LIMIT = "DIFFERENT_WITHIN_LIMIT"
    BEYOND_LIMIT = "BEYOND_LIMIT"
    UNDECIDED = "UNDECIDED"

    @property
    def sentence(self) -> str:
        """The finding in words for the user."""
        return self.says()

    def says(self, attribute: str = "", *, limit: bool = True) -> str:
        """The finding in words for the user.

        `attribute`: where the test asked about one only, of which alone the finding speaks.
        `limit`: whether a limit was agreed that a difference may lie within or beyond.

        >>> Finding.SIMILAR.says("sweetness")
        'Any difference in sweetness is below the agreed limit.'
        """
        words = _SENTENCES[self] if limit or self is not Finding.DIFFERENT else _NO_LIMIT
        about = f"difference in {attribute}" if attribute else "difference"
        return words.replace("difference", about, 1)

    @property
    def heading(self) -> str:
        """The finding as a heading."""
        return self.value.replace("_", " ").capitalize()

    @property
    def significant(self) -> bool:
        """Whether a difference was shown, of whatever size."""
        return self in _SIGNIFICANT

    @property
    def similar(self) -> bool:
        """Whether the difference was shown to lie below the limit."""
        return self in _WITHIN

    @property
    def without_similarity(self) -> Finding:
        """What is left of the finding where similarity may not be concluded."""
        if self is Finding.DIFFERENT_WITHIN_LIMIT:
            return Finding.DIFFERENT
        return Finding.UNDECIDED if self is Finding.SIMILAR else self

    @property
    def without_limit(self) -> Finding:
        """What is left where nothing may be said about the limit, on either side of it."""
        return Finding.DIFFERENT if self.significant else Finding.UNDECIDED


WORST_FIRST = (
    Finding.BEYOND_LIMIT,
    Finding.DIFFERENT,
    Finding.UNDECIDED,
    Finding.DIFFERENT_WITHIN_LIMIT,
    Finding.SIMILAR,
)
"""From the least favourable finding to the most favourable one."""


FINDINGS = (
    Finding.UNDECIDED,
    Finding.SIMILAR,
    Finding.DIFFERENT,
    Finding.DIFFERENT_WITHIN_LIMIT,
    Finding.BEYOND_LIMIT,
)
"""At index ``2 * difference_is_significant + similarity_is_shown``; last, beyond the limit."""


def findings_of(
    different: ArrayLike, similar: ArrayLike, beyond: ArrayLike = False
) -> NDArray[np.object_]:
    """The finding of each of three claims.

    Parameters
    ----------
    different, similar, beyond : bool or array of bool
        Whether a difference is significant, whether it was shown to lie below the limit, and
        whether above; broadcast together. Both sides of the limit at once takes alpha + beta of
        1 or more; then neither side counts.

    >>> [finding.value for finding in findings_of([False, True, True], False, [False, False, True])]
    ['UNDECIDED', 'DIFFERENT', 'BEYOND_LIMIT']
    """
    above, below = np.asarray(beyond, bool), np.asarray(similar, bool)
    torn = above & below
    place = np.where(above & ~below, _BEYOND, 2 * np.asarray(different, bool) + (below & ~torn))
    return np.asarray(np.array(FINDINGS, dtype=object)[place])


def finding_of(different: bool, similar: bool, beyond: bool = False) -> Finding:
    """The finding of three claims, as in `findings_of`.

    >>> finding_of(True, True).value, finding_of(False, False).value
    ('DIFFERENT_WITHIN_LIMIT', 'UNDECIDED')
    """
    return Finding(findings_of(different, similar, beyond).item())


_BEYOND = 4
_WITHIN = (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT)
_SIGNIFICANT = (Finding.DIFFERENT, Finding.DIFFERENT_WITHIN_LIMIT, Finding.BEYOND_LIMIT)


_SENTENCES = {
    Finding.SIMILAR: "Any difference is below the agreed limit.",
    Finding.DIFFERENT_WITHIN_LIMIT: (
        "A difference is perceptible, and it is below the agreed limit."
    ),
    Finding.DIFFERENT: (
        "A difference is perceptible; whether it is within the agreed limit is open."
    ),
    Finding.BEYOND_LIMIT: "The difference is larger than the agreed limit.",
    Finding.UNDECIDED: "Inconclusive: this session cannot tell.",
}
_NO_LIMIT = "A difference is perceptible."

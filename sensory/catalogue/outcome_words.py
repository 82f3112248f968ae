"""Findings put together and into words: what the readers of all tests share."""

from __future__ import annotations

from collections.abc import Sequence

from ..base.findings import WORST_FIRST, Finding
from ..base.results import p_digits
from ..base.standards import STANDARDS
from ..choices.verdicts import WITHHELD

TOGETHER = (
    "Some assessors answered more than once, and answers of one person go together: the limits "
    "treat them as if they did not, so similarity is not concluded from them."
)
SCOPE = "It speaks of these samples, these assessors and this serving only."
ATTRIBUTE = "The test does not say in which attribute the samples differ, if they do."
ALONE = "One assessor answered: the finding speaks for that person only."
TURNED = WITHHELD
"""Chance of answers so far the wrong way round, from which similarity is not concluded."""
TURNED_ROUND = (
    "The answers lie so far the wrong way round that chance hardly explains it: look for codes "
    "that were mixed up. Similarity is not concluded."
)
ONE_SIDED = "One-sided test; a difference in the other direction is not looked for."


def plain_reason(error: Exception) -> str:
    """The reason of an error, without the advice that is for callers of the library."""
    return str(error).split(" Leave out with the argument")[0].strip()


def overall(findings: Sequence[Finding]) -> Finding:
    """What several findings amount to: the least favourable one.

    >>> overall([Finding.SIMILAR, Finding.UNDECIDED]).value
    'UNDECIDED'
    """
    return min(findings, key=WORST_FIRST.index, default=Finding.SIMILAR)


def no_similarity(number: str) -> str:
    """Why a test after a standard whose scope excludes it never concludes similarity.

    >>> no_similarity("ISO 8588")
    'A - not A, graded or not, shows no similarity: the scope of ISO 8588:2017 excludes it.'
    """
    scope = STANDARDS[number].name
    return f"A - not A, graded or not, shows no similarity: the scope of {scope} excludes it."


def each_named(names: Sequence[str], findings: Sequence[Finding], *, limit: bool = True) -> str:
    """The finding of one sample in its sentence, those of several by name.

    `limit`: whether one was agreed.
    """
    if len(names) == 1:
        return findings[0].says(limit=limit)
    each = zip(names, findings, strict=True)
    return "; ".join(f"{name}: {finding.heading.lower()}" for name, finding in each) + "."


def short_chance(p: float) -> str:
    """A p-value with two digits that count.

    >>> short_chance(0.01234), short_chance(2e-9)
    ('p 0.012', 'p < 0.001')
    """
    return f"p {p:.2g}" if p >= 0.001 else "p < 0.001"


def chance(p: float) -> str:
    """A p-value in words.

    >>> chance(0.03), chance(2e-9)
    ('p 0.030', 'p < 0.001')
    """
    return f"p {p_digits(p)}"

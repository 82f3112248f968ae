"""Findings put together and into words: what the readers of all tests share."""

from __future__ import annotations

from collections.abc import Sequence

from ..base.findings import WORST_FIRST, Finding
from ..base.results import p_digits

TOGETHER = (
    "Some assessors answered more than once, and answers of one person go together: the limits "
    "treat them as if they did not, so similarity is not concluded from them."
)
SCOPE = "It speaks of these samples, these assessors and this serving; not of other batches."
ATTRIBUTE = "The test does not say in which attribute the samples differ, if they do."
ALONE = "One assessor answered: the finding speaks for that person only."
TURNED = 0.001
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


def each_named(names: Sequence[str], findings: Sequence[Finding]) -> str:
    """The finding of one sample in its sentence, those of several by name."""
    if len(names) == 1:
        return findings[0].sentence
    each = zip(names, findings, strict=True)
    return "; ".join(f"{name}: {finding.heading.lower()}" for name, finding in each) + "."


def chance(p: float) -> str:
    """A p-value in words.

    >>> chance(0.03), chance(2e-9)
    ('p 0.030', 'p < 0.001')
    """
    return f"p {p_digits(p)}"

"""What the answers of one session say, in the same form for every method."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ..base.findings import Finding
from ..base.results import Interval, Table
from ..ratings.sample_map import SampleMap

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """One row of the chart: an estimate with its limits.

    Attributes
    ----------
    label : str
    estimate : float
    limits : Interval
    margin : float or None
        What was agreed for this row.
    two_sided : bool
        Whether it holds in both directions.
    """

    label: str
    estimate: float
    limits: Interval
    margin: float | None = None
    two_sided: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanPoint:
    """Mean of one sample in one attribute, for the profile chart.

    Attributes
    ----------
    attribute, sample : str
    estimate : float
    limits : Interval
    """

    attribute: str
    sample: str
    estimate: float
    limits: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class AssessorPoint:
    """One assessor in one attribute, for the chart of the panel.

    Attributes
    ----------
    assessor, attribute : str
    agreement : float
        Correlation with the mean of the others.
    slope : float
        Use of the scale against theirs, 1 for the same.
    flags : int
    """

    assessor: str
    attribute: str
    agreement: float
    slope: float
    flags: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """The finding of a session that is no forced choice, with its numbers.

    Attributes
    ----------
    test : str
        Its key.
    finding : Finding
    sentence, because : str
        The finding for the user, and the counts or numbers behind it.
    tables : tuple of (str, Table)
        Headings and tables; the first one is the main one.
    axis : str
        What the chart shows.
    origin : float or None
        Where no difference lies on that axis, if anywhere.
    spans : tuple of Span
    cannot_tell : tuple of str
    notes : tuple of str
        What was computed how, and what else the reader has to know.
    means : tuple of MeanPoint
        Of a profile.
    places : SampleMap or None
        Of a profile with three samples or more and no empty cell.
    panel : tuple of AssessorPoint
        Of a profile: the assessors, on attributes that the panel tells apart.
    panel_says : tuple of str
        The scorecard in sentences.
    panel_tables : tuple of (str, Table)
    """

    test: str
    finding: Finding
    sentence: str
    because: str
    tables: tuple[tuple[str, Table], ...]
    axis: str
    spans: tuple[Span, ...]
    cannot_tell: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())
    origin: float | None = 0.0
    means: tuple[MeanPoint, ...] = ()
    places: SampleMap | None = None
    panel: tuple[AssessorPoint, ...] = ()
    panel_says: tuple[str, ...] = ()
    panel_tables: tuple[tuple[str, Table], ...] = ()

    def words(self) -> str:
        """The chart in a sentence, for people who do not see it."""
        return " ".join(
            f"{span.label}: {span.estimate:.3g}, {100 * span.limits.level:g} % limits "
            f"{span.limits.low:.3g} to {span.limits.high:.3g}."
            for span in self.spans
        )


def plain_reason(error: Exception) -> str:
    """The reason of an error, without the advice that is for callers of the library."""
    return str(error).split(" Leave out with the argument")[0].strip()


def cannot_read(test: str, answers: int, why: str) -> Reading:
    """The reading of answers from which nothing can be computed."""
    return Reading(
        test=test,
        finding=Finding.UNDECIDED,
        sentence=Finding.UNDECIDED.sentence,
        because=f"Nothing can be computed from these {answers} answers: {why}",
        tables=(("The counts", Table(columns=("answers",), rows=((answers,),))),),
        axis="",
        spans=(),
        cannot_tell=(why, SCOPE),
    )


def overall(findings: Sequence[Finding]) -> Finding:
    """What several findings amount to: the least favourable one.

    >>> overall([Finding.SIMILAR, Finding.UNDECIDED]).value
    'UNDECIDED'
    """
    for finding in (Finding.DIFFERENT, Finding.UNDECIDED, Finding.DIFFERENT_WITHIN_LIMIT):
        if finding in findings:
            return finding
    return Finding.SIMILAR


def each_named(names: Sequence[str], findings: Sequence[Finding]) -> str:
    """The finding of one sample in its sentence, those of several by name."""
    if len(names) == 1:
        return findings[0].sentence
    each = zip(names, findings, strict=True)
    return "; ".join(f"{name}: {finding.heading.lower()}" for name, finding in each) + "."


def chance(p: float) -> str:
    """A p-value in words.

    >>> chance(0.03), chance(2e-9)
    ('p 0.0300', 'p below 0.0001')
    """
    return f"p {p:.4f}" if p >= 0.0001 else "p below 0.0001"


def of_two(difference: bool, similar: bool) -> Finding:
    """The finding of the four.

    >>> of_two(True, True).value, of_two(False, False).value
    ('DIFFERENT_WITHIN_LIMIT', 'UNDECIDED')
    """
    if difference and similar:
        return Finding.DIFFERENT_WITHIN_LIMIT
    if difference:
        return Finding.DIFFERENT
    return Finding.SIMILAR if similar else Finding.UNDECIDED

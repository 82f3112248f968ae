"""What the answers of one session show: one noun for every test, and its plain form.

An outcome is made once, when the ballots are closed, and kept with the session. Finding page,
report, batch, trend and month read it; none of them reads ballots again.

Why so
------
What cannot be computed is UNDECIDED, with its reason. The question is frozen by then; an error at
closing would make people take out true answers. Wrong cells block closing, a wrong situation does
not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

from ..base.findings import Finding
from ..base.results import Interval, Table
from ..base.spelling import key_of
from .outcome_words import SCOPE
from .question import Question

QUANTITIES = ("quantity", "estimate", "low", "high", "level")
"""Columns of a table of single quantities with their limits."""


class NamedTable(NamedTuple):
    """A table with its heading."""

    heading: str
    table: Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """One row of the chart: an estimate with its limits.

    `estimate`: None where the row shows limits only.
    `margin`: what was agreed for this row.
    `two_sided`: whether it holds in both directions.
    `ends`: limits that decide, drawn as ends of the row.
    """

    label: str
    estimate: float | None
    limits: Interval
    margin: float | None = None
    two_sided: bool = False
    ends: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A level that runs through all rows of the chart, with what is said of it.

    `agreed`: whether it was agreed; else it is where there is no difference.
    """

    at: tuple[float, ...]
    says: str
    agreed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """The chart of an outcome as numbers.

    `axis`: what it shows.
    `origin`: where no difference lies on that axis, if anywhere.
    `shares`: whether the axis is one of shares, from 0 to 1.
    `says`: the chart in a sentence; empty where its rows say it.
    """

    axis: str
    spans: tuple[Span, ...]
    origin: float | None = 0.0
    levels: tuple[Level, ...] = ()
    shares: bool = False
    says: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A sample against the reference, in one attribute where attributes were scored.

    `sample`, `attribute`: the attribute is empty where none was scored.
    `estimate`, `se`: sample less reference and its standard error; NaN where there is none.
    `p`: as it decides, adjusted over samples and attributes.
    `upper`: one-sided limit that decides on similarity, where there is one.
    `p_within`: of the two one-sided tests against the margin.
    `margin`: what was agreed.
    `two_sided`: whether differences in both directions were looked for.
    `why`: why nothing can be said, where that is so.
    """

    sample: str
    attribute: str
    finding: Finding
    estimate: float = math.nan
    se: float = math.nan
    limits: Interval | None = None
    p: float | None = None
    upper: float | None = None
    p_within: float | None = None
    margin: float | None = None
    two_sided: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedDefect:
    """A defect that graders named in a batch: by how many of how many.

    `severity`, `action`: as agreed; empty where no list was agreed.
    """

    sample: str
    defect: str
    severity: str
    action: str
    by: int
    graders: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """What was counted.

    `correct`, `trials`: of a forced choice; no trials for any other test.
    `orders`: how often each order was served.
    `replicated`: whether somebody answered a forced choice more than once.
    """

    answers: int
    assessors: int
    missing: int = 0
    guesses: int = 0
    correct: int = 0
    trials: int = 0
    orders: dict[str, int] = field(default_factory=dict)
    replicated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanPoint:
    """Mean of one sample in one attribute, for the profile chart."""

    attribute: str
    sample: str
    estimate: float
    limits: Interval


@dataclass(frozen=True, slots=True, kw_only=True)
class AssessorPoint:
    """One assessor in one attribute, for the chart of the panel.

    `agreement`: correlation with the mean of the others.
    `slope`: use of the scale against theirs, 1 for the same.
    """

    assessor: str
    attribute: str
    agreement: float
    slope: float
    flags: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AssessorLine:
    """Means of one assessor over the samples in one attribute, for the chart of disagreement.

    `share`: of the assessor in the interaction of assessor and sample; NaN where there is none.
    `turned`: whether the attribute was scored the other way round.
    `causes`: whether this is a main cause of a disagreement that was shown.
    """

    assessor: str
    attribute: str
    means: dict[str, float]
    share: float
    turned: bool = False
    causes: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A sample, or the direction of an attribute, on the map.

    `outline`: of the region of a sample.
    """

    name: str
    x: float
    y: float
    outline: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """The map of the samples as numbers.

    `shares`: of the variance on the first two axes.
    `level`: of the regions.
    """

    samples: tuple[Place, ...]
    attributes: tuple[Place, ...]
    shares: tuple[float, ...]
    level: float
    tables: tuple[NamedTable, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """What one session shows, with its numbers; the same for every test.

    `test`: key of the test.
    `sentence`, `because`: the finding for the user, and the counts or numbers behind it.
    `alpha`: with which a difference was looked for.
    `beta`: None where no similarity was looked for at a stated risk.
    `limit`: what was agreed, where it is one number.
    `margins`: what was agreed by attribute, in points of the scale; of rated tests.
    `tables`: the first one is the main one.
    `comparisons`: with the reference, of tests that have one.
    `turned`: whether the answers lie so far the wrong way round that chance hardly explains it.
    `warnings`: what stands beside the finding, so that nobody reads it without.
    `notes`: what was computed how, and what else the reader has to know.
    `remarks`: what the checks of the ballots noticed.
    `means`: of a profile.
    `places`: of a profile with three samples or more and no empty cell.
    `panel`: of a profile: the assessors, on attributes that the panel tells apart.
    `panel_lines`: of a profile: the assessors over the samples.
    `panel_says`: the scorecard in sentences.
    `smallest_differences`: by attribute, what the panel of that day could have seen.
    `defects`: of grading: those that were named.
    """

    test: str
    finding: Finding
    sentence: str
    because: str
    counts: Counts
    alpha: float
    beta: float | None = None
    limit: float | None = None
    margins: dict[str, float] = field(default_factory=dict)
    tables: tuple[NamedTable, ...] = ()
    figure: Figure | None = None
    comparisons: tuple[Comparison, ...] = ()
    turned: bool = False
    warnings: tuple[str, ...] = ()
    cannot_tell: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    means: tuple[MeanPoint, ...] = ()
    places: Places | None = None
    panel: tuple[AssessorPoint, ...] = ()
    panel_lines: tuple[AssessorLine, ...] = ()
    panel_says: tuple[str, ...] = ()
    panel_tables: tuple[NamedTable, ...] = ()
    smallest_differences: dict[str, float] = field(default_factory=dict)
    defects: tuple[NamedDefect, ...] = ()

    @property
    def people(self) -> int:
        """Assessors; answers of a forced choice, where each counts as a person."""
        return self.counts.trials or self.counts.assessors

    def line(self) -> str:
        """The finding in a line, for the journal."""
        counts = self.counts
        if counts.trials:
            return f"{self.finding.heading}, {counts.correct} of {counts.trials} correct"
        return f"{self.finding.heading}, {counts.answers} answers"

    def words(self) -> str:
        """The chart in a sentence, for people who do not see it."""
        if self.figure is None or self.figure.says:
            return self.figure.says if self.figure else ""
        return " ".join(
            f"{span.label}: {span.estimate:.3g}, {100 * span.limits.level:g} % limits "
            f"{span.limits.low:.3g} to {span.limits.high:.3g}."
            for span in self.figure.spans
        )

    def of_batch(self, batch: str) -> tuple[Comparison, ...]:
        """The comparisons of the sample that bears the number of a batch; else the only one's.

        Empty where several samples were served and none bears the number.
        """
        names = list(dict.fromkeys(each.sample for each in self.comparisons))
        named = [name for name in names if key_of(name) == key_of(batch)]
        sample = next(iter(named or (names if len(names) == 1 else [])), None)
        return tuple(each for each in self.comparisons if each.sample == sample)


def cannot_read(question: Question, counts: Counts, why: str) -> Outcome:
    """The outcome of answers from which nothing can be computed."""
    return Outcome(
        test=question.protocol,
        finding=Finding.UNDECIDED,
        sentence=Finding.UNDECIDED.sentence,
        because=f"Nothing can be computed from these {counts.answers} answers: {why}",
        counts=counts,
        alpha=question.alpha,
        beta=question.beta,
        tables=(NamedTable("The counts", Table(columns=("answers",), rows=((counts.answers,),))),),
        cannot_tell=(why, SCOPE),
    )

"""A - not A and same-different: from checked answers to a finding.

Answers of one person go together. So the test of a difference is conditional on how often
each assessor said 'yes' (`by_assessor_one_sided`), and
similarity is concluded only where each assessor answered once.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..base.errors import ArgumentError
from ..base.findings import Finding, finding_of
from ..base.results import Interval, Table
from ..choices.a_not_a import a_not_a, a_not_a_by_assessor
from ..choices.same_different import same_different
from ..choices.two_by_two import by_assessor_one_sided
from .kind import KINDS
from .outcome import QUANTITIES, Comparison, Counts, Figure, NamedTable, Outcome, Span
from .outcome_words import (
    ALONE,
    ATTRIBUTE,
    ONE_SIDED,
    SCOPE,
    TOGETHER,
    TURNED,
    TURNED_ROUND,
    chance,
    no_similarity,
)
from .question import Question

Row = dict[str, Any]
_A_NOT_A, _SAME_DIFFERENT = "A_NOT_A", "SAME_DIFFERENT"
Ints = NDArray[np.int64]


def read_a_not_a(rows: Sequence[Row], question: Question) -> Outcome:
    """A - not A: difference by the exact conditional test, d-prime with its limits.

    Raises ArgumentError when one of the two kinds of sample was never answered.
    """
    table = _by_assessor(rows, "sample", ("A",), "A")
    hits, a_served, alarms, not_a = _totals(table, "A", "B")
    several_each = _several_each(table)
    p = _p_one_sided(table, several_each)
    pooled = a_not_a(hits, a_served, alarms, not_a)
    numbers = [*pooled.summary().rows[:3]]
    if several_each and len(table) > 1:
        clustered = a_not_a_by_assessor(table)
        limits, dprime = clustered.limits, clustered.dprime
        numbers = [
            ("d-prime, within an assessor", dprime, limits.low, limits.high, limits.level),
            ("standard error of d-prime, within an assessor", clustered.se, None, None, None),
            ("d-prime, over assessors", clustered.dprime_marginal, None, None, None),
            ("standard error of d-prime, over assessors", clustered.se_marginal, None, None, None),
            ("spread of criteria between assessors", clustered.sd_criterion, None, None, None),
        ]
    else:
        limits, dprime = pooled.limits, pooled.dprime
    finding = finding_of(p <= question.alpha, False)
    return Outcome(
        test=_A_NOT_A,
        finding=finding,
        sentence=finding.says(limit=False),
        counts=Counts(answers=len(rows), assessors=len(table)),
        alpha=question.alpha,
        because=f"'A' was said of {hits} of {a_served} samples of A and of {alarms} of {not_a} "
        f"of the sample compared; {chance(p)}, alpha {question.alpha:g}.",
        tables=(
            _numbers([*numbers, ("p, exact, one-sided", p, None, None, None)]),
            _counts("sample", ("A", "B"), ("A", "not A"), table),
        ),
        **_compared(finding, dprime, limits, p, None),
        cannot_tell=(*_alone(table), no_similarity("ISO 8588"), ATTRIBUTE, SCOPE),
        notes=(_how(several_each), ONE_SIDED),
    )


def read_same_different(rows: Sequence[Row], question: Question) -> Outcome:
    """Same-different: difference by the exact conditional test, the limit by d-prime.

    Similar where its one-sided upper limit at beta lies below the agreed one, beyond it where its
    lower limit at alpha lies above.

    Raises ArgumentError when like pairs or pairs of the two samples were never answered.
    """
    table = _by_assessor(rows, "pair", ("AA", "BB"), "same")
    counts = _totals(table, "AA or BB", "AB or BA")
    limit = KINDS[_SAME_DIFFERENT].agreed_number(question.settings, "dprime_limit")
    several_each = _several_each(table)
    p = _p_one_sided(table, several_each)
    pooled = same_different(*counts)
    upper = same_different(*counts, level=1 - 2 * question.beta).limits.high
    lower = same_different(*counts, level=1 - 2 * question.alpha).limits.low
    turned = _p_one_sided(table[:, [2, 3, 0, 1]], several_each) <= TURNED
    similar = bool(upper < limit) and not several_each and not turned
    different = p <= question.alpha
    finding = finding_of(different, similar, different and lower > limit and not several_each)
    numbers = [
        *pooled.summary().rows[:3],
        ("d-prime, upper limit, one-sided", upper, None, upper, 1 - question.beta),
        ("d-prime, lower limit, one-sided", lower, lower, None, 1 - question.alpha),
        ("agreed limit, d-prime", limit, None, None, None),
        ("p, exact, one-sided", p, None, None, None),
    ]
    return Outcome(
        test=_SAME_DIFFERENT,
        finding=finding,
        sentence=finding.sentence,
        counts=Counts(answers=len(rows), assessors=len(table)),
        alpha=question.alpha,
        beta=question.beta,
        limit=limit,
        turned=turned,
        because=f"'Same' was said of {counts[0]} of {counts[1]} like pairs and of {counts[2]} of "
        f"{counts[3]} pairs of the two samples; {chance(p)}, alpha {question.alpha:g}; upper limit "
        f"of d-prime {upper:.3g}, agreed {limit:g}.",
        tables=(
            _numbers(numbers),
            _counts("pair", ("AA, BB", "AB, BA"), ("same", "different"), table),
        ),
        **_compared(finding, pooled.dprime, pooled.limits, p, limit),
        cannot_tell=(
            *_alone(table),
            *((TURNED_ROUND,) if turned else ()),
            *((TOGETHER,) if several_each else ()),
            ATTRIBUTE,
            SCOPE,
        ),
        notes=(_how(several_each), ONE_SIDED),
    )


def _by_assessor(rows: Sequence[Row], what: str, first: tuple[str, ...], yes: str) -> Ints:
    """Of each assessor: 'yes' to the first kind, served of it, and the same of the second."""
    table: dict[str, list[int]] = {}
    for row in rows:
        counts = table.setdefault(str(row["assessor"]), [0, 0, 0, 0])
        place = 0 if row[what] in first else 2
        counts[place] += row["answer"] == yes
        counts[place + 1] += 1
    return np.array(list(table.values()), dtype=np.int64).reshape(-1, 4)


def _totals(table: Ints, first: str, second: str) -> tuple[int, int, int, int]:
    a, b, c, d = (int(total) for total in table.sum(axis=0))
    if not (b and d):
        raise ArgumentError(f"{first} and {second} both need at least one answer.")
    return a, b, c, d


def _alone(table: Ints) -> tuple[str, ...]:
    return (ALONE,) if len(table) == 1 else ()


def _several_each(table: Ints) -> bool:
    return bool((table[:, 1] + table[:, 3] > 1).any())


def _p_one_sided(table: Ints, several_each: bool) -> float:
    if several_each:
        return by_assessor_one_sided(table)
    return by_assessor_one_sided(table.sum(axis=0, keepdims=True))


def _compared(
    finding: Finding, dprime: float, limits: Interval, p: float, limit: float | None
) -> dict[str, Any]:
    """Chart and comparison of the sample compared."""
    span = Span(label="sample compared", estimate=dprime, limits=limits, margin=limit)
    compared = Comparison(
        sample="B", attribute="", finding=finding, estimate=dprime, limits=limits, p=p, margin=limit
    )
    return {
        "figure": Figure(axis="d-prime; 0 is no difference", spans=(span,)),
        "comparisons": (compared,),
    }


def _counts(what: str, kinds: tuple[str, str], answers: tuple[str, str], table: Ints) -> NamedTable:
    a, b, c, d = (int(total) for total in table.sum(axis=0))
    rows = ((kinds[0], a, b - a), (kinds[1], c, d - c))
    columns = (what, *(f"said '{word}'" for word in answers))
    return NamedTable("The counts", Table(columns=columns, rows=rows))


def _numbers(rows: Sequence[tuple[Any, ...]]) -> NamedTable:
    return NamedTable("The numbers", Table(columns=QUANTITIES, rows=tuple(rows)))


def _how(several_each: bool) -> str:
    if several_each:
        return (
            "p: exact, given how often each assessor said it, so that a person's habit of saying "
            "it cannot pass for a difference (McNemar's test where each judged one of both)."
        )
    return "p: Fisher's exact test; each assessor answered once."

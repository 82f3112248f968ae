"""Answers graded by sureness: from checked answers to a finding.

Answers of one person go together: where somebody answered more than once, the test of a
difference is a sign test over assessors. Similarity is never concluded, as in A - not A without
grades: one rule for both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..base.arrays import Ints
from ..base.errors import ArgumentError
from ..base.findings import Finding, finding_of
from ..base.results import Table
from ..choices.sureness import GradedProduct, sureness_test
from ..choices.sureness_by_assessor import (
    GradedProductByAssessor,
    SurenessByAssessor,
    sureness_by_assessor,
)
from ..models.binomial import upper_tail
from ..models.multiplicity import holm
from .kind import KINDS
from .outcome import QUANTITIES, Comparison, Counts, Figure, NamedTable, Outcome, Span
from .outcome_words import (
    ALONE,
    ATTRIBUTE,
    SCOPE,
    TOGETHER,
    TURNED,
    TURNED_ROUND,
    chance,
    each_named,
    no_similarity,
    overall,
)
from .question import Question

Row = dict[str, Any]
_KEY = "SURENESS"
_WITHIN = (
    "d-prime: within an assessor; each has thresholds of their own, normal between assessors and "
    "integrated out. Over assessors it is smaller, as their differences count as scatter."
)
_COLUMNS = (
    "sample", "finding", "d-prime", "low", "high", "R-index", "R low", "R high", "p", "p_adjusted",
)  # fmt: skip


def read_sureness(rows: Sequence[Row], question: Question) -> Outcome:
    """Graded answers: one product or many against the reference.

    Raises ArgumentError when the reference A, or every product, was never answered, or all answers
    have one grade.
    """
    grades = KINDS[_KEY].listed(question.settings, "grades")
    rows = [row | {"sample": "A"} if str(row["sample"]).casefold() == "a" else row for row in rows]
    products = list(dict.fromkeys(str(row["sample"]) for row in rows if row["sample"] != "A"))
    if not products or not any(row["sample"] == "A" for row in rows):
        raise ArgumentError("sample A, the reference, and at least one product need answers.")
    table = np.array([_graded(rows, name, len(grades)) for name in ("A", *products)])
    people = [str(row["assessor"]) for row in rows]
    several_each = len(set(people)) < len(people)
    graded, by_assessor = _estimates(rows, products, table)
    raw = [
        _sign_p(rows, name) if several_each else _rank_p(product)
        for name, product in zip(products, graded, strict=True)
    ]
    adjusted = holm(raw).tolist()
    turned = [1 - p <= TURNED and each.r_index < 0.5 for p, each in zip(raw, graded, strict=True)]
    findings = [finding_of(p <= question.alpha, False) for p in adjusted]
    numbers = tuple(
        _line(*entry) for entry in zip(products, findings, graded, raw, adjusted, strict=True)
    )
    counts = tuple((name, *row) for name, row in zip(("A", *products), table.tolist(), strict=True))
    return Outcome(
        test=_KEY,
        finding=overall(findings),
        sentence=each_named(products, findings, limit=False),
        counts=Counts(answers=len(rows), assessors=len(set(people))),
        alpha=question.alpha,
        turned=any(turned),
        because=_because(numbers, question.alpha),
        tables=(
            NamedTable("The numbers", Table(columns=_COLUMNS, rows=numbers)),
            *by_assessor,
            NamedTable("The counts", Table(columns=("sample", *grades), rows=counts)),
        ),
        figure=graded_figure(products, graded),
        comparisons=_compared(products, findings, graded, adjusted),
        cannot_tell=(
            *((ALONE,) if len(set(people)) == 1 else ()),
            *((TURNED_ROUND,) if any(turned) else ()),
            *((TOGETHER,) if several_each else ()),
            no_similarity("ISO 8588"),
            ATTRIBUTE,
            SCOPE,
        ),
        notes=_notes(several_each, len(products)),
    )


def graded_figure(
    names: Sequence[str], products: Sequence[GradedProduct | GradedProductByAssessor]
) -> Figure:
    """d-prime of each product with its limits."""
    return Figure(
        axis="d-prime against the reference; 0 is no difference",
        spans=tuple(
            Span(label=name, estimate=product.dprime, limits=product.limits)
            for name, product in zip(names, products, strict=True)
        ),
    )


def _compared(
    names: Sequence[str],
    findings: Sequence[Finding],
    products: Sequence[GradedProduct],
    adjusted: Sequence[float],
) -> tuple[Comparison, ...]:
    return tuple(
        Comparison(
            sample=name,
            attribute="",
            finding=finding,
            estimate=product.dprime,
            limits=product.limits,
            p=p,
        )
        for name, finding, product, p in zip(names, findings, products, adjusted, strict=True)
    )


def _line(
    name: str, finding: Finding, product: GradedProduct, p: float, p_adjusted: float
) -> tuple[Any, ...]:
    limits, r_limits = product.limits, product.r_limits
    r_index = (product.r_index, r_limits.low, r_limits.high)
    return (name, finding.heading, product.dprime, limits.low, limits.high, *r_index, p, p_adjusted)


def _because(numbers: Sequence[tuple[Any, ...]], alpha: float) -> str:
    parts = [
        f"{line[0]}: {line[1].lower()}, R-index {line[5]:.3f}, {chance(line[9])}"
        for line in numbers
    ]
    return "; ".join(parts) + f"; alpha {alpha:g}."


def _notes(several_each: bool, products: int) -> tuple[str, ...]:
    how = "exact sign test over assessors" if several_each else "rank-sum test with ties"
    return (
        f"p: {how}, one-sided: the product graded further from the reference's end.",
        "Limits: 95 %; d-prime by profile likelihood, R-index on the logit scale.",
        *((_WITHIN,) if several_each else ()),
        *(("p_adjusted: Holm over the products.",) if products > 1 else ()),
    )


def _estimates(
    rows: Sequence[Row], products: Sequence[str], table: Ints
) -> tuple[tuple[GradedProduct, ...], tuple[NamedTable, ...]]:
    """Each product, and by assessor where people answered more than once."""
    pooled = sureness_test(table).products
    mine: dict[str, list[Row]] = {}
    for row in rows:
        mine.setdefault(str(row["assessor"]), []).append(row)
    if len(mine) in (1, len(rows)):
        return pooled, ()
    names, grades = ("A", *products), table.shape[1]
    test = sureness_by_assessor(
        [[_graded(own, name, grades) for name in names] for own in mine.values()]
    )
    clustered = tuple(
        replace(of_all, dprime=own.dprime, se=own.se, limits=own.limits, method="student")
        for of_all, own in zip(pooled, test.products, strict=True)
    )
    return clustered, (_by_assessor(products, test),)


def _by_assessor(names: Sequence[str], test: SurenessByAssessor) -> NamedTable:
    """Both kinds of d-prime with their standard errors, and how much assessors differ."""
    rows: list[tuple[Any, ...]] = []
    for name, own in zip(names, test.products, strict=True):
        within, over = (f"{name}: d-prime, {of}" for of in ("within an assessor", "over assessors"))
        rows.append((within, own.dprime, own.limits.low, own.limits.high, own.limits.level))
        rows.append((f"{within}, standard error", own.se, None, None, None))
        rows.append((over, own.dprime_marginal, None, None, None))
        rows.append((f"{over}, standard error", own.se_marginal, None, None, None))
    rows.append(("spread of thresholds between assessors", test.sd_assessor, None, None, None))
    return NamedTable("By assessor", Table(columns=QUANTITIES, rows=tuple(rows)))


def _graded(rows: Sequence[Row], name: str, grades: int) -> list[int]:
    given = [row["answer"] for row in rows if row["sample"] == name]
    return [given.count(grade) for grade in range(1, grades + 1)]


def _sign_p(rows: Sequence[Row], name: str) -> float:
    """Exact sign test over assessors: the product graded further from the reference's end."""
    further = nearer = 0
    for person in {str(row["assessor"]) for row in rows}:
        mine = [row for row in rows if str(row["assessor"]) == person]
        here = [row["answer"] for row in mine if row["sample"] == name]
        there = [row["answer"] for row in mine if row["sample"] == "A"]
        if here and there:
            gap = sum(here) * len(there) - sum(there) * len(here)
            further, nearer = further + (gap > 0), nearer + (gap < 0)
    return float(upper_tail(further, further + nearer, 0.5)) if further + nearer else 1.0


def _rank_p(product: GradedProduct) -> float:
    half = product.p_r_index / 2
    return float(half if product.r_index >= 0.5 else 1 - half)

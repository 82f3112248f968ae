"""Difference from control: from checked scores to an outcome."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from ..base.findings import Finding
from ..base.results import Interval
from ..ratings.control import SCORE, DifferenceFromControl, difference_from_control
from .columns import ASSESSOR, CODE, COMMENT, REPLICATE, SAMPLE, Column, columns_once
from .frames import (
    Row,
    absent_samples,
    frame_of,
    not_served,
    scorecard,
    smallest_differences,
    spelled,
    table_of,
)
from .kind import ReleaseTerms, ServingRules, TestKind, Words
from .outcome import Comparison, Counts, Figure, NamedTable, Outcome, Span
from .outcome_words import SCOPE, chance, each_named, overall
from .question import Question
from .scales import FROM_ZERO, Setting, equal_steps


def read_difference_from_control(rows: Sequence[Row], question: Question) -> Outcome:
    """Each batch beyond the blind reference, against the action limit.

    Raises ArgumentError, BallotError as in `difference_from_control`.
    """
    settings, setting = question.settings, DIFFERENCE_FROM_CONTROL.setting
    frame = frame_of(rows)
    result = difference_from_control(
        frame,
        control=spelled(frame, str(setting(settings, "control"))),
        limit=float(setting(settings, "limit")),
        alpha=question.alpha,
        beta=question.beta,
    )
    outcome = outcome_of_control(result)
    absent = absent_samples(DIFFERENCE_FROM_CONTROL, question, frame)
    comparisons = outcome.comparisons + tuple(
        Comparison(
            sample=name,
            attribute=SCORE,
            finding=Finding.UNDECIDED,
            margin=outcome.limit,
            why="not scored",
        )
        for name in absent
    )
    findings = [each.finding for each in comparisons]
    return replace(
        outcome,
        finding=overall(findings),
        sentence=each_named([each.sample for each in comparisons], findings),
        counts=replace(outcome.counts, answers=len(rows)),
        comparisons=comparisons,
        cannot_tell=(*not_served(absent), *outcome.cannot_tell),
        notes=(*outcome.notes, *equal_steps(settings)),
        smallest_differences=smallest_differences(scorecard(frame, question.alpha)),
    )


def outcome_of_control(result: DifferenceFromControl) -> Outcome:
    """The outcome of a result that stands by itself."""
    compared = result.against_control.to_dict("records")
    placebo = result.placebo.iloc[0]
    told = [
        f"{row['sample']} lies {row['estimate']:.2f} beyond the blind reference "
        f"({chance(row['p_adjusted'])}, upper limit {row['upper']:.2f})"
        for row in compared
    ]
    findings = [Finding(row["finding"]) for row in compared]
    limit = next(iter(result.limits.values()))
    return Outcome(
        test=DIFFERENCE_FROM_CONTROL.key,
        finding=overall(findings),
        sentence=each_named([str(row["sample"]) for row in compared], findings),
        because="; ".join(told) + f"; action limit {limit:g}, alpha {result.alpha:g}. The blind "
        f"reference itself was scored {placebo['estimate']:.2f}.",
        counts=Counts(answers=len(result.scores.rows), assessors=len(result.scores.assessors)),
        alpha=result.alpha,
        beta=result.beta,
        limit=float(limit),
        margins={str(name): float(size) for name, size in result.limits.items()},
        tables=_tables(result),
        figure=Figure(
            axis="score beyond the blind reference",
            spans=tuple(_span(each) for each in _comparisons(result)),
        ),
        comparisons=_comparisons(result),
        cannot_tell=(
            "It does not say in which attribute a batch lies off, nor in which direction.",
            "The action limit is a decision of management; no number of this session gives it.",
            SCOPE,
        ),
        notes=(
            *result.notes,
            "p: one-sided, p_adjusted: Dunnett over the batches; upper: one-sided limit at 1 - "
            f"beta = {1 - result.beta:g}, each batch at its own risk.",
        ),
    )


def _tables(result: DifferenceFromControl) -> tuple[NamedTable, ...]:
    beyond = "sample finding estimate se df low high upper p p_adjusted"
    means = "sample estimate se low high"
    return (
        NamedTable("Beyond the blind reference", table_of(result.against_control, beyond)),
        NamedTable("As scored, nothing taken off", table_of(result.means, means)),
        NamedTable(
            "Assessors for an unchanged batch to be shown as similar (80 %)",
            table_of(result.assessors_needed(), "sample assessors"),
        ),
    )


def _comparisons(result: DifferenceFromControl) -> tuple[Comparison, ...]:
    return tuple(
        Comparison(
            sample=str(row["sample"]),
            attribute=str(row["attribute"]),
            finding=Finding(row["finding"]),
            estimate=float(row["estimate"]),
            se=float(row["se"]),
            limits=Interval(low=float(row["low"]), high=float(row["high"]), level=result.level),
            p=float(row["p_adjusted"]),
            upper=float(row["upper"]),
            margin=float(result.limits[row["attribute"]]),
        )
        for row in result.against_control.to_dict("records")
    )


def _span(compared: Comparison) -> Span:
    limits = compared.limits or Interval(low=0.0, high=0.0, level=0.0)
    return Span(
        label=compared.sample, estimate=compared.estimate, limits=limits, margin=compared.margin
    )


_BLIND = "blind reference"


def _of_rule(limit: float | None, margins: Mapping[str, float], batch: str) -> dict[str, Any]:
    """The settings of a tasting under a release rule."""
    return {"control": _BLIND, "limit": float(limit or 0.0), "samples": f"{_BLIND}; {batch}"}


DIFFERENCE_FROM_CONTROL = TestKind(
    key="DIFFERENCE_FROM_CONTROL",
    answer="score",
    name="difference from control",
    standard="DIN 10976:2016",
    asks="How far is this sample from the labelled reference?",
    words={
        "en": Words(asks="How far is this sample from the labelled reference?"),
        "de": Words(asks="Wie weit liegt diese Probe von der gekennzeichneten Referenz entfernt?"),
        "es": Words(asks="¿A qué distancia está esta muestra de la referencia identificada?"),
        "fr": Words(asks="À quelle distance cet échantillon est-il de la référence identifiée ?"),
    },
    letters="Coded samples by name; the blind reference is one of them. 0 is no difference.",
    settings=(
        Setting(
            key="control",
            default=_BLIND,
            needed=True,
            label="Name of the blind reference among the samples",
        ),
        Setting(
            key="limit",
            kind="number",
            default=1.5,
            low=0.01,
            label="Action limit: difference from the blind reference",
        ),
        Setting(key="samples", label="Samples in the plan, separated by semicolons (empty: any)"),
        *FROM_ZERO,
    ),
    ballot=columns_once(
        ASSESSOR,
        SAMPLE,
        CODE,
        Column(
            name="score",
            required=True,
            cell="score",
            answer=True,
            also=("difference", "rating"),
            meaning="How far from the labelled reference, on the agreed scale.",
            example="2.5",
        ),
        REPLICATE,
        COMMENT,
    ),
    serving=ServingRules(splittable=True, reference="labelled reference"),
    read=read_difference_from_control,
    release=ReleaseTerms(by="points", settings=_of_rule),
)

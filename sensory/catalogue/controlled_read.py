"""Difference from control: from checked scores to an outcome."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..base.findings import Finding
from ..base.results import Interval
from ..ratings.control import SCORE, DifferenceFromControl, difference_from_control
from ..ratings.frames import records
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
from .kind import KINDS
from .outcome import Comparison, Counts, Figure, NamedTable, Outcome, Span
from .outcome_words import SCOPE, chance, each_named, overall
from .question import Question
from .scales import agreed_scale, equal_steps

_KEY = "DIFFERENCE_FROM_CONTROL"


def read_difference_from_control(rows: Sequence[Row], question: Question) -> Outcome:
    """Each sample above the blind control, against the action limit.

    Raises ArgumentError, BallotError as in `difference_from_control`.
    """
    settings, setting = question.settings, KINDS[question.protocol].setting
    frame, scale = frame_of(rows), agreed_scale(settings)
    result = difference_from_control(
        frame,
        control=spelled(frame, str(setting(settings, "control"))),
        limit=KINDS[question.protocol].agreed_number(settings, "limit"),
        alpha=question.alpha,
        beta=question.beta,
        scale=(scale.low, scale.high),
    )
    outcome = outcome_of_control(result)
    absent = absent_samples(KINDS[question.protocol], question, frame)
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
        smallest_differences=smallest_differences(
            scorecard(frame, question.alpha, (scale.low, scale.high), checked=result.scores)
        ),
    )


def outcome_of_control(result: DifferenceFromControl) -> Outcome:
    """The outcome of a result that stands by itself."""
    compared = records(result.against_control)
    placebo = records(result.placebo)[0]
    comparisons = _comparisons(result, compared)
    told = [
        f"{row['sample']} lies {row['estimate']:.2f} points above the blind control "
        f"({chance(row['p_adjusted'])}, upper limit {row['upper']:.2f})"
        for row in compared
    ]
    findings = [Finding(row["finding"]) for row in compared]
    limit = next(iter(result.limits.values()))
    return Outcome(
        test=_KEY,
        finding=overall(findings),
        sentence=each_named([str(row["sample"]) for row in compared], findings),
        because="; ".join(told) + f"; action limit {limit:g}, alpha {result.alpha:g}. The blind "
        f"control itself was scored {placebo['estimate']:.2f}.",
        counts=Counts(answers=len(result.scores.rows), assessors=len(result.scores.assessors)),
        alpha=result.alpha,
        beta=result.beta,
        limit=float(limit),
        margins={str(name): float(size) for name, size in result.limits.items()},
        tables=_tables(result),
        figure=_figure(comparisons),
        comparisons=comparisons,
        cannot_tell=(
            "It does not say in which attribute a sample lies off, nor in which direction.",
            "The action limit is a decision of management; no number of this session gives it.",
            SCOPE,
        ),
        notes=(
            *result.notes,
            "p: one-sided, p (Dunnett): over the samples; lower: simultaneous, at alpha; "
            f"upper: one-sided at 1 - beta = {1 - result.beta:g}, each sample at its own risk.",
        ),
    )


def _tables(result: DifferenceFromControl) -> tuple[NamedTable, ...]:
    beyond = "sample finding estimate se df low high lower upper p p_adjusted"
    means = "sample estimate se low high"
    return (
        NamedTable("Above the blind control", table_of(result.against_control, beyond)),
        NamedTable("Raw means", table_of(result.means, means)),
        NamedTable(
            "Assessors for an unchanged sample to be shown as similar (80 %)",
            table_of(result.assessors_needed(), "sample assessors"),
        ),
    )


def _comparisons(result: DifferenceFromControl, rows: Sequence[Row]) -> tuple[Comparison, ...]:
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
        for row in rows
    )


def control_figure(result: DifferenceFromControl) -> Figure:
    """What each sample scored beyond the blind control, with its limits and the agreed one."""
    return _figure(_comparisons(result, records(result.against_control)))


def _figure(comparisons: Sequence[Comparison]) -> Figure:
    spans = tuple(_span(each) for each in comparisons)
    return Figure(axis="points above the blind control", spans=spans)


def _span(compared: Comparison) -> Span:
    limits = compared.limits or Interval(low=0.0, high=0.0, level=0.0)
    return Span(
        label=compared.sample, estimate=compared.estimate, limits=limits, margin=compared.margin
    )

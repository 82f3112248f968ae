"""Difference from control: from checked scores to a finding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..base.findings import Finding
from ..base.results import Interval, Table
from ..ratings.control import DifferenceFromControl, difference_from_control
from .columns import ASSESSOR, CODE, COMMENT, REPLICATE, SAMPLE, Column, columns_once
from .frames import Row, absent_samples, frame_of, not_served, spelled, table_of
from .kind import ReleaseTerms, ServingRules, TestKind, Words
from .question import Question
from .reading import SCOPE, Reading, Span, chance, each_named, overall
from .scales import FROM_ZERO, Setting, equal_steps


def read_difference_from_control(rows: Sequence[Row], question: Question) -> Reading:
    """Each batch beyond the blind reference, against the action limit.

    Raises
    ------
    ArgumentError, BallotError
        As in `difference_from_control`.
    """
    settings, setting = question.settings, DIFFERENCE_FROM_CONTROL.setting
    frame = frame_of(rows)
    control = spelled(frame, str(setting(settings, "control")))
    limit = float(setting(settings, "limit"))
    result = difference_from_control(
        frame, control=control, limit=limit, alpha=question.alpha, beta=question.beta
    )
    beyond = result.against_control
    absent = absent_samples(DIFFERENCE_FROM_CONTROL, question, frame)
    findings = [Finding(one) for one in beyond["finding"]] + [Finding.UNDECIDED] * len(absent)
    names = [*map(str, beyond["sample"]), *absent]
    placebo = result.placebo.iloc[0]
    said = [
        f"{row['sample']} lies {row['estimate']:.2f} beyond the blind reference "
        f"({chance(row['p_adjusted'])}, upper limit {row['upper']:.2f})"
        for row in beyond.to_dict("records")
    ]
    return Reading(
        test=DIFFERENCE_FROM_CONTROL.key,
        finding=overall(findings),
        sentence=each_named(names, findings),
        because="; ".join(said) + f"; action limit {limit:g}, alpha {question.alpha:g}. The blind "
        f"reference itself was scored {placebo['estimate']:.2f}.",
        tables=_control_tables(result),
        axis="score beyond the blind reference",
        spans=_beyond(result, limit),
        cannot_tell=(
            *not_served(absent),
            "It does not say in which attribute a batch lies off, nor in which direction.",
            "The action limit is a decision of management; no number of this session gives it.",
            SCOPE,
        ),
        notes=(
            *result.notes,
            "p: one-sided, p_adjusted: Dunnett over the batches; upper: one-sided limit at 1 - "
            f"beta = {1 - question.beta:g}, each batch at its own risk.",
            *equal_steps(settings),
        ),
    )


def _control_tables(result: DifferenceFromControl) -> tuple[tuple[str, Table], ...]:
    beyond = "sample finding estimate se df low high upper p p_adjusted"
    return (
        ("Beyond the blind reference", table_of(result.against_control, beyond)),
        ("As scored, nothing taken off", table_of(result.means, "sample estimate se low high")),
        (
            "Assessors for an unchanged batch to be shown as similar (80 %)",
            table_of(result.assessors_needed(), "sample assessors"),
        ),
    )


def _beyond(result: DifferenceFromControl, limit: float) -> tuple[Span, ...]:
    return tuple(
        Span(
            label=str(row["sample"]),
            estimate=float(row["estimate"]),
            limits=Interval(low=float(row["low"]), high=float(row["high"]), level=result.level),
            margin=limit,
        )
        for row in result.against_control.to_dict("records")
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

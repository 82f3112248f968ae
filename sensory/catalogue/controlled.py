"""Difference from control: how it is asked, served and answered; read by `controlled_read`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..base.standards import STANDARDS
from .columns import ASSESSOR, CODE, COMMENT, REPLICATE, SAMPLE, Column, columns_once
from .kind import ReleaseTerms, ServingRules, TestKind, Words
from .outcome import Outcome
from .question import Question
from .scales import FROM_ZERO, Setting

Row = dict[str, Any]
_BLIND = "blind reference"


def _of_rule(limit: float | None, margins: Mapping[str, float], batch: str) -> dict[str, Any]:
    """The settings of a tasting under a release rule."""
    return {"control": _BLIND, "limit": float(limit or 0.0), "samples": f"{_BLIND}; {batch}"}


def _read(rows: Sequence[Row], question: Question) -> Outcome:
    from .controlled_read import read_difference_from_control  # a booth loads no statistics

    return read_difference_from_control(rows, question)


DIFFERENCE_FROM_CONTROL = TestKind(
    key="DIFFERENCE_FROM_CONTROL",
    answer="score",
    name="difference from control",
    standard=STANDARDS["DIN 10976"],
    asks="How far is this sample from the labelled reference?",
    words={
        "en": Words(asks="How far is this sample from the labelled reference?"),
        "de": Words(asks="Wie weit liegt diese Probe von der gekennzeichneten Referenz entfernt?"),
        "es": Words(asks="¿A qué distancia está esta muestra de la referencia identificada?"),
        "fr": Words(asks="À quelle distance cet échantillon est-il de la référence identifiée ?"),
    },
    letters="Coded samples by name; the blind control is one of them. 0 is no difference.",
    settings=(
        Setting(
            key="control",
            default=_BLIND,
            needed=True,
            label="Name of the blind control among the samples",
        ),
        Setting(
            key="limit",
            kind="number",
            default=None,
            needed=True,
            low=0.01,
            label="Action limit: difference from the blind control",
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
    read=_read,
    release=ReleaseTerms(by="points", settings=_of_rule),
)

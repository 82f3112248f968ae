"""Grades of sureness: how they are asked, served and answered; read by `graded_read`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..base.standards import STANDARDS
from .columns import ASSESSOR, CODE, COMMENT, REPLICATE, Column, columns_once
from .kind import ServingRules, TestKind, Words
from .outcome import Outcome
from .question import Question
from .scales import Setting

Row = dict[str, Any]


def _read(rows: Sequence[Row], question: Question) -> Outcome:
    from .graded_read import read_sureness  # a booth loads no statistics

    return read_sureness(rows, question)


SURENESS = TestKind(
    key="SURENESS",
    answer="grade",
    name="A - not A with sureness",
    standard=STANDARDS["ISO 8588"],
    asks="Is this sample the reference that you know, and how sure are you?",
    words={
        "en": Words(asks="Is this sample A, the reference that you know?"),
        "de": Words(asks="Ist diese Probe A, die Referenz, die Sie kennen?"),
        "es": Words(asks="¿Es esta muestra A, la referencia que conoce?"),
        "fr": Words(asks="Cet échantillon est-il A, la référence que vous connaissez ?"),
    },
    letters="A is the reference; any other name is a product compared with it.",
    settings=(
        Setting(
            key="grades",
            label="Grades, from the reference's end, separated by semicolons",
            default="surely A; perhaps A; perhaps not A; surely not A",
            needed=True,
        ),
    ),
    similarity=STANDARDS["ISO 8588"].similarity,
    former={"dprime_limit": "Limit agreed, which this test does not judge: d-prime"},
    ballot=columns_once(
        ASSESSOR,
        Column(
            name="sample",
            required=True,
            cell="sample",
            also=("served",),
            meaning="What was served: A, the reference, or the name of a product.",
            example="B",
        ),
        CODE,
        Column(
            name="answer",
            required=True,
            cell="grade",
            answer=True,
            also=("grade", "said", "response"),
            meaning="The grade in words as agreed, or its number from 1.",
            example="perhaps not A",
        ),
        REPLICATE,
        COMMENT,
    ),
    serving=ServingRules(splittable=True, has_a=True),
    read=_read,
)

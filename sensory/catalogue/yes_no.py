"""A - not A and same-different: how they are asked, served and answered; read by `yes_no_read`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..base.standards import STANDARDS
from .columns import ASSESSOR, CODE, COMMENT, REPLICATE, Column, columns_once
from .kind import ServingRules, TestKind, Words
from .outcome import Outcome
from .question import Question
from .scales import DPRIME_LIMIT

Row = dict[str, Any]


def _a_not_a(rows: Sequence[Row], question: Question) -> Outcome:
    from .yes_no_read import read_a_not_a  # a booth loads no statistics

    return read_a_not_a(rows, question)


def _same_different(rows: Sequence[Row], question: Question) -> Outcome:
    from .yes_no_read import read_same_different  # a booth loads no statistics

    return read_same_different(rows, question)


_LETTERS = "A is the reference, B the sample compared."

A_NOT_A = TestKind(
    key="A_NOT_A",
    choices=("A", "not A"),
    by_name=False,
    name="A - not A",
    standard=STANDARDS["ISO 8588"],
    asks="Is this sample A, the reference that you know, or is it not A?",
    words={
        "en": Words(asks="Is this sample A, the reference that you know, or not A?"),
        "de": Words(
            asks="Ist diese Probe A, die Referenz, die Sie kennen, oder nicht A?",
            answers={"not A": "nicht A"},
        ),
        "es": Words(
            asks="¿Es esta muestra A, la referencia que conoce, o no A?",
            answers={"not A": "no A"},
        ),
        "fr": Words(
            asks="Cet échantillon est-il A, la référence que vous connaissez, ou non A ?",
            answers={"not A": "non A"},
        ),
    },
    letters=_LETTERS,
    similarity=STANDARDS["ISO 8588"].similarity,
    ballot=columns_once(
        ASSESSOR,
        Column(
            name="sample",
            required=True,
            cell="choice",
            also=("served",),
            choices=(("A", "reference"), ("B", "not a", "nota", "compared")),
            meaning="What was served: A, the reference, or B, the sample compared.",
            example="B",
        ),
        CODE,
        Column(
            name="answer",
            required=True,
            cell="choice",
            answer=True,
            also=("said", "response"),
            choices=(("A", "yes", "a."), ("not A", "nota", "no", "not-a", "b")),
            meaning="What the assessor said: A or not A. Empty when no answer was given.",
            example="not A",
        ),
        REPLICATE,
        COMMENT,
    ),
    serving=ServingRules(order_sets=(("AB", "BA"),)),
    read=_a_not_a,
)

SAME_DIFFERENT = TestKind(
    key="SAME_DIFFERENT",
    choices=("same", "different"),
    by_name=False,
    name="same-different",
    standard=STANDARDS["ASTM E2139"],
    asks="Are the two samples of this pair the same, or different?",
    words={
        "en": Words(asks="Are these two samples the same or different?"),
        "de": Words(
            asks="Sind diese beiden Proben gleich oder verschieden?",
            answers={"same": "gleich", "different": "verschieden"},
        ),
        "es": Words(
            asks="¿Son estas dos muestras iguales o diferentes?",
            answers={"same": "iguales", "different": "diferentes"},
        ),
        "fr": Words(
            asks="Ces deux échantillons sont-ils identiques ou différents ?",
            answers={"same": "identiques", "different": "différents"},
        ),
    },
    letters="A pair is AA, BB (same) or AB, BA (different), first served first.",
    settings=(DPRIME_LIMIT,),
    ballot=columns_once(
        ASSESSOR,
        Column(
            name="pair",
            required=True,
            cell="choice",
            also=("order", "served"),
            choices=(("AA",), ("AB",), ("BA",), ("BB",)),
            meaning="What was served, first served first: AA, BB, AB or BA.",
            example="AB",
        ),
        Column(name="codes", meaning="Codes on the cups.", example="412 837"),
        Column(
            name="answer",
            required=True,
            cell="choice",
            answer=True,
            also=("said", "response"),
            choices=(("same", "s", "equal"), ("different", "d", "diff")),
            meaning="What the assessor said: same or different.",
            example="different",
        ),
        REPLICATE,
        COMMENT,
        once="assessor pair replicate",
    ),
    serving=ServingRules(order_sets=(("AA", "AB", "BA", "BB"),), order_column="pair"),
    read=_same_different,
)

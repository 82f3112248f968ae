"""Ranking: how it is asked, served and answered; read by `ranked_read`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..base.standards import STANDARDS
from .columns import ASSESSOR, CODE, COMMENT, SAMPLE, Column, columns_once
from .kind import ServingRules, TestKind, Words
from .outcome import Outcome
from .question import Question
from .scales import Setting

Row = dict[str, Any]


def _read(rows: Sequence[Row], question: Question) -> Outcome:
    from .ranked_read import read_ranking  # a booth loads no statistics

    return read_ranking(rows, question)


def _planning(question: Question) -> tuple[str, ...]:
    from .ranked_read import planned_ranking  # a booth loads no statistics

    return planned_ranking(question)


RANKING = TestKind(
    key="RANKING",
    answer="place",
    name="ranking",
    standard=STANDARDS["ISO 8587"],
    asks="Put the samples in order, 1 for the least of the attribute.",
    words={
        "en": Words(asks="Put the samples in order of this: {attribute}."),
        "de": Words(asks="Bringen Sie die Proben in eine Reihenfolge nach: {attribute}."),
        "es": Words(asks="Ordene las muestras según: {attribute}."),
        "fr": Words(asks="Classez les échantillons selon : {attribute}."),
    },
    letters="Samples by name; tied samples share the mean of their ranks, such as 2.5. Somebody "
    "who did not rank every sample: take out all rows of that person.",
    settings=(
        Setting(key="attribute", label="Attribute asked about", needed=True),
        Setting(
            key="expected", label="Expected order, lowest first, separated by semicolons (if any)"
        ),
        Setting(key="reference", label="Reference, if the others are compared with it only"),
    ),
    similarity=False,
    ballot=columns_once(
        ASSESSOR,
        SAMPLE,
        CODE,
        Column(
            name="rank",
            required=True,
            cell="rank",
            also=("place", "order_given"),
            meaning="1 for the least of the attribute; tied samples share the mean of their ranks.",
            example="1",
        ),
        COMMENT,
        once="assessor sample",
    ),
    serving=ServingRules(replicates=False),
    read=_read,
    planning=_planning,
)

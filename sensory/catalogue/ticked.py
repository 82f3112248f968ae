"""Words to tick: how they are asked, served and answered; read by `ticked_read`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..base.standards import STANDARDS
from .columns import ASSESSOR, CODE, COMMENT, REPLICATE, SAMPLE, Column, columns_once
from .kind import ServingRules, TestKind, Words
from .outcome import Outcome
from .question import Question
from .scales import Setting
from .typed_lists import NO_WORD

Row = dict[str, Any]


def _read(rows: Sequence[Row], question: Question) -> Outcome:
    from .ticked_read import read_ticked  # a booth loads no statistics

    return read_ticked(rows, question)


TICKED_WORDS = TestKind(
    key="TICKED_WORDS",
    answer="ticks",
    name="ticked words",
    standard=STANDARDS["ISO 6658"],
    standard_note="general guidance; check all that apply is common practice, no clause of it",
    asks="Which of the words apply to this sample? Tick all that apply.",
    words={
        "en": Words(asks="Which of these words apply to this sample? Tick all that apply."),
        "de": Words(
            asks="Welche dieser Wörter treffen auf diese Probe zu? Kreuzen Sie alle an, die "
            "zutreffen."
        ),
        "es": Words(
            asks="¿Cuáles de estas palabras corresponden a esta muestra? Marque todas las que "
            "correspondan."
        ),
        "fr": Words(
            asks="Lesquels de ces mots conviennent à cet échantillon ? Cochez tous ceux qui "
            "conviennent."
        ),
    },
    letters="One row a sample served. An empty cell is no answer; where no word applied, write "
    f"{NO_WORD}.",
    settings=(
        Setting(key="words", label="Words to tick, separated by semicolons", needed=True),
        Setting(key="samples", label="Samples in the plan, separated by semicolons (empty: any)"),
    ),
    similarity=False,
    ballot=columns_once(
        ASSESSOR,
        SAMPLE,
        CODE,
        Column(
            name="ticked",
            required=True,
            cell="ticks",
            answer=True,
            also=("ticks", "words", "words_ticked"),
            meaning=f"The words that were ticked, separated by semicolons; {NO_WORD} for none.",
            example="sweet; jammy",
        ),
        REPLICATE,
        COMMENT,
    ),
    serving=ServingRules(splittable=True),
    read=_read,
)

"""Profile: how it is asked, served and answered; read by `rated_read`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from ..base.standards import STANDARDS
from .columns import ASSESSOR, CODE, COMMENT, REPLICATE, SAMPLE, columns_once
from .kind import ReleaseTerms, ServingRules, TestKind, Words
from .outcome import Outcome
from .question import Question
from .scales import FREE, Setting

Row = dict[str, Any]
_REFERENCE = "reference"


def _of_rule(limit: float | None, margins: Mapping[str, float], batch: str) -> dict[str, Any]:
    """The settings of a tasting under a release rule; margins keep every digit."""
    return {
        "attributes": "; ".join(margins),
        "reference": _REFERENCE,
        "margins": dict(margins),
        "samples": f"{_REFERENCE}; {batch}",
    }


def _read(rows: Sequence[Row], question: Question) -> Outcome:
    from .rated_read import read_profile  # a booth loads no statistics

    return read_profile(rows, question)


PROFILE = TestKind(
    key="PROFILE",
    answer="scores",
    name="profile",
    standard=STANDARDS["ISO 13299"],
    asks="How strong is each attribute in this sample?",
    words={
        "en": Words(
            asks="Mark on each line how strong this is.",
            in_categories="Choose for each word the number that says how strong this is.",
        ),
        "de": Words(
            asks="Markieren Sie auf jeder Linie, wie stark das ausgeprägt ist.",
            in_categories="Wählen Sie zu jedem Wort die Zahl, die sagt, wie stark das ausgeprägt "
            "ist.",
        ),
        "es": Words(
            asks="Marque en cada línea la intensidad percibida.",
            in_categories="Elija para cada palabra el número que indica la intensidad percibida.",
        ),
        "fr": Words(
            asks="Marquez sur chaque ligne l'intensité perçue.",
            in_categories="Choisissez pour chaque mot le nombre qui indique l'intensité perçue.",
        ),
    },
    letters="One row a sample served, one column an attribute.",
    settings=(
        Setting(key="attributes", label="Attributes, separated by semicolons", needed=True),
        Setting(
            key="reference",
            default=_REFERENCE,
            label="Name of the reference among the samples",
            needed=True,
        ),
        Setting(
            key="margins", label="Margins: one number for all, or 'sweet 1; sour 0.8' (empty: none)"
        ),
        Setting(key="samples", label="Samples in the plan, separated by semicolons (empty: any)"),
        *FREE,
    ),
    ballot=columns_once(
        ASSESSOR,
        SAMPLE,
        replace(REPLICATE, also=("repetition",)),
        CODE,
        COMMENT,
        scores=True,
    ),
    serving=ServingRules(splittable=True),
    read=_read,
    release=ReleaseTerms(by="margins", settings=_of_rule),
)

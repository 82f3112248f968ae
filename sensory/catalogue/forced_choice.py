"""The six forced choices: each a protocol, which has the statistics, with what the house needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from ..choices.protocols import (
    DUO_TRIO,
    PAIRED,
    TETRAD,
    THREE_AFC,
    TRIANGLE,
    TWO_OUT_OF_FIVE,
    Protocol,
)
from .choice_ballot import CHOICE
from .kind import ReleaseTerms, ServingRules, TestKind, Words
from .outcome import Outcome
from .question import Question


def forced_choice(protocol: Protocol, *, words: Mapping[str, Words]) -> TestKind:
    """The test that serves, asks and reads a protocol.

    `protocol`: its statistics, orders and right answers.
    `words`: what the ballot asks, by language.
    """
    return TestKind(
        key=protocol.key,
        name=protocol.name,
        standard=protocol.standard,
        standard_note=protocol.standard_note,
        asks=protocol.asks,
        words=words,
        letters="Order: A is the reference, B the sample compared, first served first"
        f"{', the labelled reference in front' if protocol.labelled else ''}; possible are "
        f"{', '.join(protocol.orders)}.",
        ballot=CHOICE,
        serving=ServingRules(
            order_sets=protocol.order_sets,
            labelled=protocol.labelled,
            order_column="order",
            codes="places",
        ),
        read=partial(_read, protocol),
        answer="codes",
        by_name=False,
        protocol=protocol,
        release=ReleaseTerms(by="share", settings=_no_settings),
    )


def _read(protocol: Protocol, rows: Sequence[Any], question: Question) -> Outcome:
    from .choices_read import read_choices  # a booth loads no statistics

    return read_choices(protocol, rows, question)


def _no_settings(limit: float | None, margins: Mapping[str, float], batch: str) -> dict[str, Any]:
    return {}


_ASKS = (
    (
        TRIANGLE,
        {
            "en": "Two of the three samples are alike. Which one is different?",
            "de": "Zwei der drei Proben sind gleich. Welche ist die abweichende?",
            "es": "Dos de las tres muestras son iguales. ¿Cuál es diferente?",
            "fr": "Deux des trois échantillons sont identiques. Lequel est différent ?",
        },
    ),
    (
        DUO_TRIO,
        {
            "en": "Which of the two coded samples is the same as the reference?",
            "de": "Welche der beiden codierten Proben ist gleich der Referenz?",
            "es": "¿Cuál de las dos muestras codificadas es igual a la referencia?",
            "fr": "Lequel des deux échantillons codés est identique à la référence ?",
        },
    ),
    (
        PAIRED,
        {
            "en": "Which sample has more of this: {attribute}?",
            "de": "Welche Probe hat mehr davon: {attribute}?",
            "es": "¿Qué muestra tiene más de esto: {attribute}?",
            "fr": "Quel échantillon en a le plus : {attribute} ?",
        },
    ),
    (
        THREE_AFC,
        {
            "en": "Which sample has most of this: {attribute}?",
            "de": "Welche Probe hat am meisten davon: {attribute}?",
            "es": "¿Qué muestra tiene más de esto: {attribute}?",
            "fr": "Quel échantillon en a le plus : {attribute} ?",
        },
    ),
    (
        TETRAD,
        {
            "en": "Sort the four samples into two pairs of alike samples. Name one pair.",
            "de": "Ordnen Sie die vier Proben zu zwei Paaren gleicher Proben. Nennen Sie ein Paar.",
            "es": "Forme dos pares de muestras iguales. Indique un par.",
            "fr": "Formez deux paires d'échantillons identiques. Indiquez une paire.",
        },
    ),
    (
        TWO_OUT_OF_FIVE,
        {
            "en": "Two of the five samples are alike and differ from the other three. Which two?",
            "de": "Zwei der fünf Proben sind gleich und weichen von den drei anderen ab. "
            "Welche zwei?",
            "es": "Dos de las cinco muestras son iguales y distintas de las otras tres. "
            "¿Cuáles dos?",
            "fr": "Deux des cinq échantillons sont identiques et différents des trois autres. "
            "Lesquels ?",
        },
    ),
)
"""What the ballot of each asks, by language."""

FORCED_CHOICES = tuple(
    forced_choice(protocol, words={language: Words(asks=text) for language, text in asks.items()})
    for protocol, asks in _ASKS
)

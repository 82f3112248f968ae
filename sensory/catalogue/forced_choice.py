"""The six forced choices: each a protocol, which has the statistics, with what the house needs."""

from __future__ import annotations

from collections.abc import Mapping
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
from .choices_read import read_choices
from .kind import ReleaseTerms, ServingRules, TestKind, Words


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
        read=partial(read_choices, protocol),
        answer="codes",
        by_name=False,
        protocol=protocol,
        release=ReleaseTerms(by="share", settings=_no_settings),
    )


def _no_settings(limit: float | None, margins: Mapping[str, float], batch: str) -> dict[str, Any]:
    return {}


FORCED_CHOICES = (
    forced_choice(
        TRIANGLE,
        words={
            "en": Words(asks="Two of the three samples are alike. Which one is different?"),
            "de": Words(asks="Zwei der drei Proben sind gleich. Welche ist die abweichende?"),
            "es": Words(asks="Dos de las tres muestras son iguales. ¿Cuál es diferente?"),
            "fr": Words(asks="Deux des trois échantillons sont identiques. Lequel est différent ?"),
        },
    ),
    forced_choice(
        DUO_TRIO,
        words={
            "en": Words(asks="Which of the two coded samples is the same as the reference?"),
            "de": Words(asks="Welche der beiden codierten Proben ist gleich der Referenz?"),
            "es": Words(asks="¿Cuál de las dos muestras codificadas es igual a la referencia?"),
            "fr": Words(asks="Lequel des deux échantillons codés est identique à la référence ?"),
        },
    ),
    forced_choice(
        PAIRED,
        words={
            "en": Words(asks="Which sample has more of this: {attribute}?"),
            "de": Words(asks="Welche Probe hat mehr davon: {attribute}?"),
            "es": Words(asks="¿Qué muestra tiene más de esto: {attribute}?"),
            "fr": Words(asks="Quel échantillon en a le plus : {attribute} ?"),
        },
    ),
    forced_choice(
        THREE_AFC,
        words={
            "en": Words(asks="Which sample has most of this: {attribute}?"),
            "de": Words(asks="Welche Probe hat am meisten davon: {attribute}?"),
            "es": Words(asks="¿Qué muestra tiene más de esto: {attribute}?"),
            "fr": Words(asks="Quel échantillon en a le plus : {attribute} ?"),
        },
    ),
    forced_choice(
        TETRAD,
        words={
            "en": Words(
                asks="Sort the four samples into two pairs of alike samples. Name one pair.",
            ),
            "de": Words(
                asks="Ordnen Sie die vier Proben zu zwei Paaren gleicher Proben. Nennen Sie "
                "ein Paar.",
            ),
            "es": Words(asks="Forme dos pares de muestras iguales. Indique un par."),
            "fr": Words(asks="Formez deux paires d'échantillons identiques. Indiquez une paire."),
        },
    ),
    forced_choice(
        TWO_OUT_OF_FIVE,
        words={
            "en": Words(
                asks="Two of the five samples are alike and differ from the other three. "
                "Which two?",
            ),
            "de": Words(
                asks="Zwei der fünf Proben sind gleich und weichen von den drei anderen ab. "
                "Welche zwei?",
            ),
            "es": Words(
                asks="Dos de las cinco muestras son iguales y distintas de las otras tres. "
                "¿Cuáles dos?",
            ),
            "fr": Words(
                asks="Deux des cinq échantillons sont identiques et différents des trois "
                "autres. Lesquels ?",
            ),
        },
    ),
)

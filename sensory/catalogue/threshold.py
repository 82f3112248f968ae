"""Threshold by sets of rising concentration: how it is asked, served and answered.

Why so
------
A set is a forced choice of three at one concentration, so orders, codes, booth and checks are those
of a forced choice, and a plan is one of several comparisons, each of the same blank with another
concentration. Only the turn of the sets is another: rising for everybody, since a strong sample
early would dull the weak ones after it. Within a set order and position are drawn and balanced. The
statistics are not those of one comparison, so the test has no protocol of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from ..base.errors import ArgumentError
from ..base.standards import STANDARDS
from ..choices.protocols import THREE_AFC
from .columns import ASSESSOR, COMMENT, REPLICATE, Column, columns_once
from .kind import ServingRules, TestKind, Words
from .outcome import Outcome
from .question import Question
from .rising import concentrations, named_steps
from .scales import Setting

Row = dict[str, Any]
_MOST = 12


def _steps(settings: Mapping[str, Any]) -> list[float]:
    return concentrations(RISING_SETS, settings)


def _fits(settings: Mapping[str, Any]) -> None:
    if not RISING_SETS.listed(settings, "concentrations"):
        return  # asked for before anything is agreed
    steps = _steps(settings)
    if not 2 <= len(steps) <= _MOST:
        raise ArgumentError(f"from 2 to {_MOST} concentrations are needed; got {len(steps)}.")
    if steps[0] <= 0 or any(low >= high for low, high in pairwise(steps)):
        listed = "; ".join(f"{step:g}" for step in steps)
        raise ArgumentError(f"concentrations must be above 0 and rise; got {listed}.")
    concentrations(RISING_SETS, settings, "noticed_at")


def _pairs(settings: Mapping[str, Any]) -> list[tuple[str, str]]:
    """The blank and the sample of each set, from the weakest to the strongest."""
    blank = str(RISING_SETS.setting(settings, "blank"))
    return [(blank, name) for name in named_steps(RISING_SETS, settings)]


def _read(rows: Sequence[Row], question: Question) -> Outcome:
    from .threshold_read import read_threshold  # a booth loads no statistics

    return read_threshold(rows, question)


def _planning(question: Question) -> tuple[str, ...]:
    steps = len(RISING_SETS.listed(question.settings, "concentrations"))
    if not steps:
        return (
            "An assessor tastes three samples a concentration; somebody who notices nothing names "
            "the right sample in the last two sets by luck with a chance of 11 %.",
            "Take concentrations by a constant factor, from one that nobody notices to one that "
            "everybody does: the threshold is found only where it lies between them.",
        )
    return (
        f"{steps} sets of three: {3 * steps} samples for each of {question.assessors} assessors.",
    )


_ASKS = {
    "en": "Two of the three samples are alike. Which one is different?",
    "de": "Zwei der drei Proben sind gleich. Welche ist die abweichende?",
    "es": "Dos de las tres muestras son iguales. ¿Cuál es diferente?",
    "fr": "Deux des trois échantillons sont identiques. Lequel est différent ?",
}
RISING_SETS = TestKind(
    key="RISING_SETS",
    answer="codes",
    counts_people=True,
    finds="The concentration at which half of the tastings are noticed, with its limits, and each "
    "assessor's best estimate.",
    name="threshold by rising sets",
    standard=STANDARDS["ISO 13301"],
    standard_note="best estimates after ASTM E679, from memory",
    asks="At which concentration is the sample told from two blanks?",
    words={language: Words(asks=text) for language, text in _ASKS.items()},
    letters="Order: A is the blank, B the sample with the substance, first served first.",
    settings=(
        Setting(
            key="concentrations",
            label="Concentrations from the weakest on, separated by semicolons",
            needed=True,
        ),
        Setting(key="unit", label="Unit of the concentrations"),
        Setting(key="blank", label="Name of the blank", default="blank", needed=True),
        Setting(key="noticed_at", label="How many notice at (numbers, separated by semicolons)"),
    ),
    similarity=False,
    by_name=False,
    sets_of=THREE_AFC,
    pairs=_pairs,
    ballot=columns_once(
        ASSESSOR,
        Column(
            name="order",
            required=True,
            cell="order",
            also=("serving_order", "sequence"),
            meaning="What was served, first to last: A the blank, B the sample.",
            example="ABA",
        ),
        Column(
            name="sample",
            required=True,
            cell="amount",
            also=("concentration", "dose"),
            meaning="The concentration of the set, as agreed.",
            example="0.5",
        ),
        Column(
            name="codes",
            cell="codes",
            meaning="All codes in the order of serving, or one code a column.",
            in_template=False,
        ),
        *(
            Column(
                name=f"code_{place}",
                cell="code",
                meaning=f"Code of sample number {place}.",
                example=("412", "837", "265")[place - 1],
            )
            for place in (1, 2, 3)
        ),
        Column(
            name="answer",
            required=True,
            cell="named",
            answer=True,
            also=("chosen", "response", "choice"),
            meaning="The code named; a guess is an answer. Empty when no answer was given.",
            example="837",
        ),
        Column(name="guess", cell="mark", meaning="x when the assessor said it was a guess."),
        REPLICATE,
        COMMENT,
    ),
    serving=ServingRules(
        order_sets=(("AAB", "ABA", "BAA"),), order_column="order", codes="places", rising=True
    ),
    read=_read,
    fits=_fits,
    planning=_planning,
)

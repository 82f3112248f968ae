"""Ticked words: from checked ticks to a finding.

Why so
------
The statistics are those of `ratings.ticked`, as for a list from a file. A word differs between
samples, or the session cannot tell: words that nobody ticks differently are no proof of likeness.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from ..base.findings import Finding
from ..base.results import Interval, several
from ..models.binomial import clopper_pearson
from ..ratings.ticked import TickedWords, ticked_words
from .frames import table_of
from .kind import KINDS
from .outcome import Counts, Figure, NamedTable, Outcome, Span
from .outcome_words import SCOPE, chance
from .question import Question

_KEY = "TICKED_WORDS"
_MOST_ROWS = 15


def ticks_frame(rows: Sequence[Mapping[str, Any]], words: Sequence[str]) -> pd.DataFrame:
    """Checked rows as the table that `ticked_words` takes: a column a word, 1 for a tick."""
    return pd.DataFrame(
        [
            {
                "assessor": row["assessor"],
                "sample": row["sample"],
                **{word: int(word in row["ticked"]) for word in words},
            }
            for row in rows
        ]
    )


def read_ticked(rows: Sequence[dict[str, Any]], question: Question) -> Outcome:
    """Which words tell the samples apart, within assessors.

    Raises ArgumentError as in `ticked_words`.
    """
    listed = KINDS[question.protocol].listed(question.settings, "words")
    words = listed or list(dict.fromkeys(word for row in rows for word in row["ticked"]))
    result = ticked_words(ticks_frame(rows, words), alpha=question.alpha)
    apart = result.tell_apart
    finding = Finding.DIFFERENT if apart else Finding.UNDECIDED
    of_word = result.tests.set_index("attribute")["p_adjusted"]
    named = "; ".join(f"{word} ({chance(float(of_word[word]))})" for word in apart) or "none"
    return Outcome(
        test=_KEY,
        finding=finding,
        sentence=f"The samples differ in: {', '.join(apart)}." if apart else finding.sentence,
        counts=Counts(answers=len(rows), assessors=len({str(row["assessor"]) for row in rows})),
        alpha=question.alpha,
        because=f"Words that tell the samples apart: {named}; {len(words)} words looked at, "
        f"alpha {question.alpha:g} for all of them together.",
        tables=(
            NamedTable("Ticks by word and sample", result.summary()),
            NamedTable(
                "Cochran's Q of each word",
                table_of(result.tests, "attribute ticks statistic df p p_adjusted assessors"),
            ),
            NamedTable(
                "Pairs (McNemar)",
                table_of(result.pairs, "attribute sample reference more fewer p p_adjusted"),
            ),
        ),
        figure=ticked_figure(result),
        cannot_tell=(*result.cannot_tell, SCOPE),
        notes=(
            "Q: chi-square; a pair: exact sign test, McNemar's where each sample was ticked once. "
            "p_adjusted: Holm over the words, and over the pairs of a word.",
            "Limits of a share: 95 %, exact, of that share alone, each answer taken as a person's; "
            "the tests compare within assessors, so that limits that overlap prove nothing.",
        ),
    )


def ticked_figure(result: TickedWords) -> Figure:
    """How often each sample was ticked: the words that tell most, as far as they can be drawn."""
    rows = {
        word: own.to_dict("records") for word, own in result.counts.groupby("attribute", sort=False)
    }
    tested = result.tests.sort_values("p", kind="stable")["attribute"]
    order = list(dict.fromkeys([*tested, *result.words]))
    most = max(1, _MOST_ROWS // len(result.samples))
    spans = [
        _span(f"{word}: {row['sample']}", int(row["ticks"]), int(row["of"]))
        for word in order[:most]
        for row in rows[word]
    ]
    left = len(order) - most
    axis = "share of answers in which the word was ticked"
    return Figure(
        axis=axis + (f"; {several(left, 'more word')} in the table" if left > 0 else ""),
        origin=None,
        shares=True,
        spans=tuple(spans),
    )


def _span(label: str, ticks: int, of: int) -> Span:
    low, high = clopper_pearson(ticks, of, 0.95)
    limits = Interval(low=float(low), high=float(high), level=0.95)
    return Span(label=label, estimate=ticks / of, limits=limits)

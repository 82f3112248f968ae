"""Ranking: from checked ranks to a finding."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri

from ..base.findings import Finding
from ..base.results import Interval, Table, several
from ..ratings.rank_pairs import fewest_to_rank
from ..ratings.ranking import RankingTest, ranking_test
from .kind import KINDS
from .outcome import Counts, Figure, NamedTable, Outcome, Span
from .outcome_words import SCOPE, chance
from .question import Question

_KEY = "RANKING"

_USUAL = (3, 4, 5, 6)
"""Numbers of samples for which planning says what it takes."""

_NO_SIMILARITY = "Samples that are not told apart by a ranking are not shown to be alike."


def read_ranking(rows: Sequence[dict[str, Any]], question: Question) -> Outcome:
    """Whether the samples differ in the order given, and which pairs do.

    With a reference the pairs with it decide; without one Friedman's test, and Page's where
    an order was expected beforehand. With both alpha is spent twice: half for each.

    Raises ArgumentError, BallotError as in `ranking_test`.
    """
    frame = pd.DataFrame(list(rows))
    there = {str(sample).casefold(): str(sample) for sample in frame["sample"]}
    wanted = KINDS[question.protocol].listed(question.settings, "expected")
    expected = [there.get(name.casefold(), name) for name in wanted] or None
    named = str(KINDS[question.protocol].setting(question.settings, "reference")).strip()
    reference = there.get(named.casefold(), named) or None
    alpha = _spent(question.alpha, expected=bool(expected), reference=bool(reference))
    ranking = ranking_test(frame, expected=expected, reference=reference, alpha=alpha)
    finding = Finding.DIFFERENT if _differs(ranking) else Finding.UNDECIDED
    pairs = ranking.different_pairs
    told = "; ".join(f"{sample} from {other}" for sample, other in pairs) or "none"
    order = f"; expected order: {chance(ranking.page.p)}" if ranking.page else ""
    return Outcome(
        test=_KEY,
        finding=finding,
        sentence=_sentence(finding, ranking),
        counts=Counts(answers=len(rows), assessors=len(ranking.ballots.ranks)),
        alpha=question.alpha,
        because=f"Samples alike: {chance(ranking.friedman.p)} ({ranking.friedman.method}){order}; "
        f"pairs told apart: {told}; alpha {question.alpha:g}"
        + (", half of it for each of the two tests." if alpha != question.alpha else "."),
        tables=(
            NamedTable("Rank sums", ranking.rank_sums),
            NamedTable("Tests and least significant differences", ranking.summary()),
            NamedTable("Pairs", _yes_no(ranking.pairs)),
        ),
        figure=rank_figure(ranking),
        cannot_tell=(
            _NO_SIMILARITY,
            *_too_few(ranking),
            "Ranks do not say how large a difference is, and depend on which samples were served.",
            SCOPE,
        ),
        notes=(
            f"Attribute: {KINDS[question.protocol].setting(question.settings, 'attribute')}.",
            f"p of a pair: {ranking.pairs_method}; p_adjusted: for all these pairs together, "
            f"by {ranking.adjustment}.",
            "Limits of a mean rank: 95 %, normal, from the scatter of its own ranks.",
        ),
    )


def planned_ranking(question: Question) -> tuple[str, ...]:
    """How many ballots it takes before any pair can be told apart.

    The number of samples is that of the expected order; without one, usual numbers are told.
    """
    kind = KINDS[question.protocol]
    listed = kind.listed(question.settings, "expected")
    beside = bool(str(kind.setting(question.settings, "reference") or "").strip())
    alpha = _spent(question.alpha, expected=bool(listed), reference=beside)
    numbers = (len(listed),) if len(listed) > 1 else _USUAL
    fewest = {n: fewest_to_rank(n, alpha, beside_reference=beside) for n in numbers}
    least = min(fewest.values())
    if beside and len(set(fewest.values())) == 1:
        needed = f"It takes {least} ballots before any sample can be told from the reference"
    else:
        each = ", ".join(f"{size} with {n} samples" for n, size in fewest.items())
        needed = f"Ballots before any two samples can be told apart: {each}"
    lines = (f"{needed}, however well the assessors agree; more to find small differences.",)
    if question.assessors >= least:
        return lines
    return (
        *lines,
        f"Too few: with {several(question.assessors, 'ballot')} no two samples can be told apart.",
    )


def _spent(alpha: float, *, expected: bool, reference: bool) -> float:
    """alpha of each test: half where the expected order and all pairs are both looked at."""
    return alpha / 2 if expected and not reference else alpha


def _too_few(ranking: RankingTest) -> tuple[str, ...]:
    people = len(ranking.ballots.ranks)
    if ranking.fewest is None or people >= ranking.fewest:
        return ()
    return (
        f"Too few for single pairs: with {several(people, 'ballot')} no two samples can be told "
        f"apart, however well the assessors agree. It takes {ranking.fewest}.",
    )


def _differs(ranking: RankingTest) -> bool:
    if ranking.reference is not None:
        return bool(ranking.different_pairs)
    return min(ranking.page.p if ranking.page else 1.0, ranking.friedman.p) <= ranking.alpha


def _sentence(finding: Finding, ranking: RankingTest) -> str:
    if finding is Finding.UNDECIDED:
        return finding.sentence
    if ranking.reference is not None:
        named = ", ".join(sample for sample, _ in ranking.different_pairs)
        return f"Perceptibly different from {ranking.reference}: {named}."
    if ranking.page and ranking.page.p <= ranking.alpha:
        return "The ranks rise with the expected order, not necessarily at each step."
    if ranking.page:
        return "The samples differ perceptibly, but not in the expected order."
    return "The samples differ perceptibly in this attribute."


def rank_figure(ranking: RankingTest) -> Figure:
    """The mean rank of each sample with its limits."""
    axis = "mean rank, 1 for the least of the attribute"
    return Figure(axis=axis, origin=None, spans=_spans(ranking))


def _spans(ranking: RankingTest) -> tuple[Span, ...]:
    ranks = ranking.ballots.ranks
    spans = []
    for name in (str(row["sample"]) for row in ranking.rank_sums.records()):
        given = ranks[:, ranking.ballots.samples.index(name)]
        given = given[~np.isnan(given)]
        scatter = float(given.std(ddof=1)) if given.size > 1 else float("nan")
        half = float(ndtri(0.975)) * scatter / np.sqrt(given.size)
        mean = float(given.mean())
        spans.append(
            Span(
                label=name,
                estimate=mean,
                limits=Interval(low=mean - half, high=mean + half, level=0.95),
            )
        )
    return tuple(spans)


def _yes_no(table: Table) -> Table:
    rows = tuple(
        tuple("yes" if cell is True else "no" if cell is False else cell for cell in row)
        for row in table.rows
    )
    return Table(columns=table.columns, rows=rows)

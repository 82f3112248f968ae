"""Profile: from checked scores to an outcome."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from ..base.errors import ArgumentError
from ..base.findings import Finding, finding_of
from ..base.results import Table
from ..ratings.profile import Profile, profile
from .frames import (
    Row,
    absent_samples,
    frame_of,
    not_served,
    scorecard,
    smallest_differences,
    spelled,
    table_of,
)
from .kind import KINDS
from .outcome import Comparison, Counts, Figure, NamedTable, Outcome
from .outcome_words import SCOPE, chance, each_named, overall, plain_reason
from .panel_read import panel_parts, reversed_in_short
from .profile_figures import (
    COMPONENTS,
    VARIANCE,
    limits_of,
    profile_means,
    profile_spans,
    sample_places,
)
from .question import Question
from .scales import agreed_scale, equal_steps

_KEY = "PROFILE"

_NO_MARGIN = (
    "No margin was agreed, so similarity is not concluded: a difference that was not found is "
    "not a difference that is not there."
)


def read_profile(rows: Sequence[Row], question: Question) -> Outcome:
    """Each sample against the reference in every attribute, and the panel's own scorecard.

    Different where Dunnett's p, adjusted over the attributes by Holm, is at most alpha in
    any of them; beyond the limit where, in any of them, the same test against its margin in
    place of 0 is; similar where every attribute with a margin is equivalent at beta and every
    attribute has one. An attribute that was agreed and never scored, one with the same score
    everywhere, and one that was not scored for a sample bar similarity; they are named.

    Raises ArgumentError, BallotError as in `profile`; an unknown reference or margin.
    """
    frame = frame_of(rows)
    reference = spelled(
        frame, str(KINDS[question.protocol].setting(question.settings, "reference"))
    )
    margins = KINDS[question.protocol].margins(question.settings)
    scale = agreed_scale(question.settings)
    ends = (scale.low, scale.high)
    result, kept, unfit = _fitted(frame, reference, margins, question.alpha, ends)
    seen = {str(name).casefold() for name in frame["attribute"].unique()}
    listed = KINDS[question.protocol].listed(question.settings, "attributes")
    never = {name: "never scored" for name in listed if name.casefold() not in seen}
    absent = absent_samples(KINDS[question.protocol], question, frame)
    outcome = outcome_of_profile(
        result, beta=question.beta, left_out=never | unfit, absent=absent, margins=margins
    )
    checked = None if result.constant else result.scores
    card = scorecard(kept, question.alpha, ends, checked=checked)
    return replace(
        outcome,
        because=" ".join((outcome.because, *reversed_in_short(result))),
        counts=replace(outcome.counts, answers=len(rows)),
        notes=(*outcome.notes, *equal_steps(question.settings)),
        places=sample_places(kept),
        smallest_differences=smallest_differences(card),
        **panel_parts(card, result),
    )


def outcome_of_profile(
    result: Profile,
    *,
    beta: float | None = None,
    left_out: dict[str, str] | None = None,
    absent: Sequence[str] = (),
    margins: dict[str, float] | None = None,
) -> Outcome:
    """The outcome of a result that stands by itself.

    `beta`: with which similarity is judged; the alpha of the result if not given.
    `left_out`: attributes that were agreed and cannot be tested, with the reason.
    `absent`: samples of the plan that nobody scored.
    `margins`: all that were agreed; those of the result if not given.

    Raises ArgumentError where the profile has no reference.
    """
    if result.against_reference is None:
        raise ArgumentError("results: the profile has no reference to compare the batch with.")
    risk, unfit = result.alpha if beta is None else beta, left_out or {}
    agreed = {str(name): float(size) for name, size in (margins or result.margins).items()}
    compared = _comparisons(result, risk)
    samples = list(dict.fromkeys(each.sample for each in compared))
    findings = [_of_sample(sample, compared, result.alpha, risk, unfit) for sample in samples]
    findings += [Finding.UNDECIDED] * len(absent)
    names = [*samples, *absent]
    reference = str(result.reference)
    return Outcome(
        test=_KEY,
        finding=overall(findings),
        sentence=each_named(names, findings, limit=bool(agreed)),
        because=_moved(compared, result.alpha),
        counts=Counts(answers=len(result.scores.rows), assessors=len(result.scores.assessors)),
        alpha=result.alpha,
        beta=beta,
        margins=agreed,
        tables=_tables(result, compared, risk, reference),
        figure=Figure(
            axis=f"difference from {reference}, in points of the scale",
            spans=profile_spans(compared, len(samples)),
        ),
        comparisons=(*compared, *_untested(samples, absent, unfit, agreed)),
        cannot_tell=(
            *not_served(absent),
            *(_left_out(attribute, why) for attribute, why in unfit.items()),
            *_cannot_tell(result, agreed),
        ),
        notes=(*result.notes, *_how(bool(result.margins), risk)),
        means=profile_means(result),
    )


def _fitted(
    frame: pd.DataFrame,
    reference: str,
    margins: dict[str, float],
    alpha: float,
    ends: tuple[float, float],
) -> tuple[Profile, pd.DataFrame, dict[str, str]]:
    """The profile of the attributes that can be tested; the others with the reason."""

    def fitted(scores: pd.DataFrame) -> Profile:
        there = set(scores["attribute"])
        agreed = {name: size for name, size in margins.items() if name in there}
        return profile(scores, reference=reference, margins=agreed or None, alpha=alpha, scale=ends)

    try:
        result = fitted(frame)
        constant = {str(name): _one_score(score) for name, score in result.constant.items()}
        return result, frame[~frame["attribute"].isin(list(constant))], constant
    except ArgumentError as error:
        unfit = {}
        for name, scores in frame.groupby("attribute", sort=False):
            try:
                fitted(scores)
            except ArgumentError as reason:
                unfit[str(name)] = _why_not(scores, plain_reason(reason))
        if not unfit or len(unfit) == frame["attribute"].nunique():
            raise ArgumentError(str(error)) from error
    kept = frame[~frame["attribute"].isin(list(unfit))]
    return fitted(kept), kept, unfit


def _why_not(scores: pd.DataFrame, why: str) -> str:
    if scores["score"].nunique() == 1:
        return _one_score(scores["score"].iloc[0])
    return why


def _one_score(score: float) -> str:
    return f"every score was {score:g}, so that there is no scatter to judge by."


def _comparisons(result: Profile, beta: float) -> tuple[Comparison, ...]:
    within, beyond = _by_pair(result, "p"), _by_pair(result, "p_beyond")
    compared = result.against_reference
    rows = [] if compared is None else compared.to_dict("records")
    margins = result.margins
    return tuple(
        Comparison(
            sample=str(row["sample"]),
            attribute=str(row["attribute"]),
            finding=finding_of(
                row["p_holm"] <= result.alpha,
                within.get((row["sample"], row["attribute"]), 1.0) <= beta,
                beyond.get((row["sample"], row["attribute"]), 1.0) <= result.alpha,
            ),
            estimate=float(row["estimate"]),
            se=float(row["se"]),
            limits=limits_of(row),
            p=float(row["p_holm"]),
            p_within=within.get((row["sample"], row["attribute"])),
            margin=float(margins[row["attribute"]]) if row["attribute"] in margins else None,
            two_sided=True,
        )
        for row in rows
    )


def _by_pair(result: Profile, column: str) -> dict[tuple[Any, Any], float]:
    """p against the margin, by sample and attribute."""
    rows = [] if result.equivalence is None else result.equivalence.to_dict("records")
    return {(row["sample"], row["attribute"]): float(row[column]) for row in rows}


def _is_within(compared: Comparison, beta: float) -> bool:
    return compared.p_within is not None and compared.p_within <= beta


def _of_sample(
    sample: str,
    compared: Sequence[Comparison],
    alpha: float,
    beta: float,
    left_out: dict[str, str],
) -> Finding:
    mine = [each for each in compared if each.sample == sample]
    moved = any(each.p is not None and each.p <= alpha for each in mine)
    within = not left_out and all(_is_within(each, beta) for each in mine)
    beyond = any(each.finding is Finding.BEYOND_LIMIT for each in mine)
    return finding_of(moved, within, beyond)


def _untested(
    samples: Sequence[str],
    absent: Sequence[str],
    left_out: dict[str, str],
    margins: dict[str, float],
) -> tuple[Comparison, ...]:
    """Samples and attributes of which nothing can be said, each with the reason."""
    pairs = [(name, attribute, why) for name in samples for attribute, why in left_out.items()]
    pairs += [(name, "", "not scored") for name in absent]
    return tuple(
        Comparison(
            sample=sample,
            attribute=attribute,
            finding=Finding.UNDECIDED,
            margin=margins.get(attribute),
            two_sided=True,
            why=why,
        )
        for sample, attribute, why in pairs
    )


def _left_out(attribute: str, why: str) -> str:
    if why == "never scored":
        return f"{attribute} was agreed and never scored, so similarity is not concluded."
    return f"{attribute} cannot be tested, so similarity is not concluded: {why}"


def _tables(
    result: Profile, compared: Sequence[Comparison], beta: float, reference: str
) -> tuple[NamedTable, ...]:
    differ = result.anova[result.anova["source"] == "sample"]
    against = f"Against {reference}"
    return (
        NamedTable(against, _differences(result.against_reference, compared, beta)),
        NamedTable(
            "Do the samples differ? (against assessor x sample)",
            table_of(differ, "attribute df df_error statistic p p_holm method"),
        ),
        NamedTable("Means", _means(result)),
        NamedTable(
            VARIANCE,
            table_of(result.anova, "attribute source df ms against df_error statistic p p_holm"),
        ),
        NamedTable(COMPONENTS, table_of(result.components, "attribute source sd share")),
    )


def _means(result: Profile) -> Table:
    """The means, and the least significant difference from the reference and of any pair."""
    least = result.least_differences.set_index("attribute")[["dunnett", "tukey"]]
    means = result.means.join(least.add_prefix("least_"), on="attribute")
    columns = "attribute sample estimate se low high scores least_dunnett least_tukey"
    return table_of(means, columns)


def _differences(frame: pd.DataFrame | None, compared: Sequence[Comparison], beta: float) -> Table:
    columns = "attribute sample estimate se low high p_adjusted p_holm p_false_discovery effect"
    whole = table_of(pd.DataFrame() if frame is None else frame, columns)
    judged = [
        (each.margin, "" if each.p_within is None else "yes" if _is_within(each, beta) else "no")
        for each in compared
    ]
    return Table(
        columns=(*whole.columns[:2], "margin", "equivalent", *whole.columns[2:]),
        rows=tuple(
            (*row[:2], *extra, *row[2:]) for row, extra in zip(whole.rows, judged, strict=True)
        ),
    )


def _moved(compared: Sequence[Comparison], alpha: float) -> str:
    moved = [(each.p, each) for each in compared if each.p is not None and each.p <= alpha]
    if not moved:
        return f"No attribute moved significantly (Dunnett, Holm over attributes, alpha {alpha:g})."
    told = [
        f"'{each.attribute}' is {abs(each.estimate):.2f} "
        f"{'higher' if each.estimate > 0 else 'lower'} in {each.sample} ({chance(p)})"
        for p, each in sorted(moved, key=lambda pair: pair[0])
    ]
    return f"{'; '.join(told[:8])}; alpha {alpha:g}."


def _cannot_tell(result: Profile, margins: dict[str, float]) -> tuple[str, ...]:
    attributes = list(map(str, result.scores.attributes))
    missing = [name for name in attributes if name not in margins]
    lines = [_NO_MARGIN] if len(missing) == len(attributes) else []
    if missing and not lines:
        lines.append(f"Without a margin: {', '.join(missing)}; so similarity is not concluded.")
    return (
        *lines,
        "It speaks of the attributes that were scored; a difference may lie in another one.",
        SCOPE,
    )


def _how(with_margins: bool, beta: float) -> tuple[str, ...]:
    lines = (
        "Samples are tested against assessor x sample. p (Dunnett): over the samples of an "
        "attribute; p (Holm) and p (false discovery rate, Benjamini and Hochberg): that, over the "
        "attributes. Limits: simultaneous over the samples of an attribute.",
        "effect: the difference in units of the panel's repeatability standard deviation.",
        "least_dunnett, least_tukey: from this size on a difference from the reference, or of any "
        "two samples, is significant in its attribute.",
    )
    if not with_margins:
        return lines
    return (*lines, f"equivalent: two one-sided tests against the margin at beta = {beta:g}.")

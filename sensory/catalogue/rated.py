"""Profile: from checked scores to a finding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from ..base.errors import ArgumentError, BallotError
from ..base.findings import Finding
from ..base.results import Interval, Table
from ..base.standards import STANDARDS
from ..ratings.profile import Profile, profile
from ..ratings.sample_map import SampleMap, sample_map
from ..ratings.scorecard import PanelScorecard, panel_scorecard
from .columns import ASSESSOR, CODE, COMMENT, REPLICATE, SAMPLE, columns_once
from .frames import Row, absent_samples, frame_of, not_served, spelled, table_of
from .kind import ReleaseTerms, ServingRules, TestKind, Words
from .question import Question
from .reading import (
    SCOPE,
    AssessorPoint,
    MeanPoint,
    Reading,
    Span,
    chance,
    each_named,
    of_two,
    overall,
    plain_reason,
)
from .scales import FREE, Setting, agreed_scale, equal_steps, in_full

_NO_MARGIN = (
    "No margin was agreed, so similarity is not concluded: a difference that was not found is "
    "not a difference that is not there."
)


def read_profile(rows: Sequence[Row], question: Question) -> Reading:
    """Each sample against the reference in every attribute, and the panel's own scorecard.

    Different where Dunnett's p, adjusted over the attributes by Holm, is at most alpha in
    any of them; similar where every attribute with a margin is equivalent at beta and every
    attribute has one.

    Raises
    ------
    ArgumentError, BallotError
        As in `profile`; an unknown reference or margin.
    """
    frame = frame_of(rows)
    name = spelled(frame, str(PROFILE.setting(question.settings, "reference")))
    kept, left_out = _testable(frame, name, question)
    margins = PROFILE.margins(question.settings)
    agreed = {key: size for key, size in margins.items() if key in set(kept["attribute"])}
    result = profile(kept, reference=name, alpha=question.alpha)
    equivalent = _equivalent(kept, name, agreed, question.beta)
    compared = _of(result.against_reference)
    without = [str(one) for one in result.table.attributes if one not in agreed]
    samples = [one for one in result.table.samples if one != name]
    findings = [
        of_two(
            bool((compared.loc[compared["sample"] == one, "p_holm"] <= question.alpha).any()),
            not (without or left_out)
            and all(equivalent[one, at] for at in result.table.attributes),
        )
        for one in samples
    ]
    absent = absent_samples(PROFILE, question, frame)
    findings += [Finding.UNDECIDED] * len(absent)
    names = [*map(str, samples), *absent]
    return Reading(
        test=PROFILE.key,
        finding=overall(findings),
        sentence=each_named(names, findings),
        because=_moved(compared, question.alpha),
        tables=_profile_tables(result, compared, agreed, equivalent, name),
        axis=f"difference from {name}, in points of the scale",
        spans=_spans(compared, agreed, len(samples)),
        cannot_tell=(*not_served(absent), *left_out, *_cannot_tell(without, result)),
        notes=(*result.notes, *_how(agreed, question), *equal_steps(question.settings)),
        means=_means(result),
        places=_places(kept),
        **_panel(kept, question),
    )


def _testable(
    frame: pd.DataFrame, reference: str, question: Question
) -> tuple[pd.DataFrame, list[str]]:
    """The attributes that can be tested, and a sentence for each that cannot.

    An attribute that was agreed and never scored, one with the same score everywhere, and
    one that was not scored for a sample bar similarity; they are named, never dropped in
    silence.
    """
    there = list(dict.fromkeys(frame["attribute"]))
    seen = {str(one).casefold() for one in there}
    left_out = [
        f"{one} was agreed and never scored, so similarity is not concluded."
        for one in PROFILE.listed(question.settings, "attributes")
        if one.casefold() not in seen
    ]
    try:
        profile(frame, reference=reference, alpha=question.alpha)
    except ArgumentError as error:
        unfit = {}
        for one in there:
            try:
                profile(frame[frame["attribute"] == one], reference=reference)
            except ArgumentError as reason:
                unfit[one] = plain_reason(reason)
        if len(unfit) == len(there) or not unfit:
            raise ArgumentError(str(error)) from error
        left_out += [
            f"{one} cannot be tested, so similarity is not concluded: {_why_not(frame, one, why)}"
            for one, why in unfit.items()
        ]
        frame = frame[~frame["attribute"].isin(list(unfit))]
    return frame, left_out


def _why_not(frame: pd.DataFrame, attribute: str, why: str) -> str:
    scores = frame.loc[frame["attribute"] == attribute, "score"]
    if scores.nunique() == 1:
        return f"every score was {scores.iloc[0]:g}, so that there is no scatter to judge by."
    return why


def _profile_tables(
    result: Profile,
    compared: pd.DataFrame,
    margins: dict[str, float],
    equivalent: dict[tuple[Any, Any], bool],
    reference: str,
) -> tuple[tuple[str, Table], ...]:
    differ = result.anova[result.anova["source"] == "sample"]
    return (
        (f"Against {reference}", _differences(compared, margins, equivalent)),
        (
            "Do the samples differ? (against assessor x sample)",
            table_of(differ, "attribute df df_error statistic p p_holm method"),
        ),
        ("Means", table_of(result.means, "attribute sample estimate se low high scores")),
        (
            "Analysis of variance",
            table_of(result.anova, "attribute source df ms against df_error statistic p p_holm"),
        ),
        ("Components of variance", table_of(result.components, "attribute source sd share")),
    )


def _of(frame: pd.DataFrame | None) -> pd.DataFrame:
    return pd.DataFrame() if frame is None else frame


def _equivalent(
    frame: pd.DataFrame, reference: str, margins: dict[str, float], beta: float
) -> dict[tuple[Any, Any], bool]:
    """Whether sample and attribute are equivalent to the reference, at risk beta."""
    if not margins:
        return {}
    judged = profile(
        frame[frame["attribute"].isin(list(margins))],
        reference=reference,
        margins=margins,
        alpha=beta,
    ).equivalence
    return {
        (row["sample"], row["attribute"]): bool(row["equivalent"])
        for row in _of(judged).to_dict("records")
    }


def _moved(compared: pd.DataFrame, alpha: float) -> str:
    moved = compared[compared["p_holm"] <= alpha]
    if not len(moved):
        return f"No attribute moved significantly (Dunnett, Holm over attributes, alpha {alpha:g})."
    said = [
        f"{row['sample']} in {row['attribute']} by {row['estimate']:+.2f} ({chance(row['p_holm'])})"
        for row in moved.sort_values("p_holm").to_dict("records")
    ]
    return f"Moved: {'; '.join(said[:8])}; alpha {alpha:g}."


def _differences(
    compared: pd.DataFrame, margins: dict[str, float], equivalent: dict[tuple[Any, Any], bool]
) -> Table:
    columns = "attribute sample estimate se low high p_adjusted p_holm p_false_discovery effect"
    judged = [
        (
            margins.get(row["attribute"]),
            {True: "yes", False: "no", None: ""}[equivalent.get((row["sample"], row["attribute"]))],
        )
        for row in compared.to_dict("records")
    ]
    whole = table_of(compared, columns)
    return Table(
        columns=(*whole.columns[:2], "margin", "equivalent", *whole.columns[2:]),
        rows=tuple(
            (*row[:2], *extra, *row[2:]) for row, extra in zip(whole.rows, judged, strict=True)
        ),
    )


def _spans(compared: pd.DataFrame, margins: dict[str, float], samples: int) -> tuple[Span, ...]:
    return tuple(
        Span(
            label=f"{row['attribute']}, {row['sample']}" if samples > 1 else str(row["attribute"]),
            estimate=float(row["estimate"]),
            limits=Interval(
                low=float(row["low"]), high=float(row["high"]), level=float(row["level"])
            ),
            margin=margins.get(row["attribute"]),
            two_sided=True,
        )
        for row in compared.to_dict("records")
    )


def _means(result: Profile) -> tuple[MeanPoint, ...]:
    return tuple(
        MeanPoint(
            attribute=str(row["attribute"]),
            sample=str(row["sample"]),
            estimate=float(row["estimate"]),
            limits=Interval(
                low=float(row["low"]), high=float(row["high"]), level=float(row["level"])
            ),
        )
        for row in result.means.to_dict("records")
    )


def _cannot_tell(missing: Sequence[str], result: Profile) -> tuple[str, ...]:
    lines = [_NO_MARGIN] if len(missing) == len(result.table.attributes) else []
    if missing and not lines:
        lines.append(f"Without a margin: {', '.join(missing)}; so similarity is not concluded.")
    return (
        *lines,
        "It speaks of the attributes that were scored; a difference may lie in another one.",
        SCOPE,
    )


def _how(margins: dict[str, float], question: Question) -> tuple[str, ...]:
    lines = (
        "Samples are tested against assessor x sample. p_adjusted: Dunnett over the samples; "
        "p_holm and p_false_discovery: that, over the attributes by Holm and by Benjamini and "
        "Hochberg. Limits: simultaneous over the samples of an attribute.",
        "effect: the difference in units of the panel's repeatability standard deviation.",
    )
    if not margins:
        return lines
    return (
        *lines,
        f"equivalent: two one-sided tests against the margin at beta = {question.beta:g}.",
    )


def _places(frame: pd.DataFrame) -> SampleMap | None:
    """The map of the samples, where there are enough and no cell is empty."""
    if frame["sample"].nunique() < 3 or frame["attribute"].nunique() < 2:
        return None
    try:
        return sample_map(frame)
    except (ArgumentError, BallotError):
        return None


def _panel(frame: pd.DataFrame, question: Question) -> dict[str, Any]:
    """The scorecard, where the scores allow one."""
    scale = agreed_scale(question.settings)
    try:
        card = panel_scorecard(frame, alpha=question.alpha, scale=(scale.low, scale.high))
    except (ArgumentError, BallotError) as error:
        return {"panel_says": (f"No scorecard of the panel: {error}",)}
    judged = card.assessors[card.assessors["judged"]]
    flags = card.flags.groupby(["assessor", "attribute"]).size()
    return {
        "panel": tuple(
            AssessorPoint(
                assessor=str(row["assessor"]),
                attribute=str(row["attribute"]),
                agreement=float(row["r"]),
                slope=float(row["slope"]),
                flags=int(flags.get((row["assessor"], row["attribute"]), 0)),
            )
            for row in judged.to_dict("records")
        ),
        "panel_says": card.says(),
        "panel_tables": _panel_tables(card),
    }


def _panel_tables(card: PanelScorecard) -> tuple[tuple[str, Table], ...]:
    attributes = "attribute judged statistic p interaction_p sd icc kendall_w smallest_difference"
    assessors = "assessor attribute statistic p sd sd_ratio r slope bias"
    return (
        ("The panel, attribute by attribute", table_of(card.attributes, attributes)),
        ("Each assessor over the judged attributes", table_of(
            card.panel, "assessor attributes apart r slope sd_ratio flags")),
        ("Each assessor in each attribute", table_of(card.assessors, assessors)),
    )  # fmt: skip


_REFERENCE = "reference"


def _of_rule(limit: float | None, margins: Mapping[str, float], batch: str) -> dict[str, Any]:
    """The settings of a tasting under a release rule; margins keep every digit."""
    return {
        "attributes": "; ".join(margins),
        "reference": _REFERENCE,
        "margins": "; ".join(f"{name} {in_full(size)}" for name, size in margins.items()),
        "samples": f"{_REFERENCE}; {batch}",
    }


PROFILE = TestKind(
    key="PROFILE",
    answer="scores",
    name="profile",
    standard=str(STANDARDS["ISO 13299"]),
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
    read=read_profile,
    release=ReleaseTerms(by="margins", settings=_of_rule),
)

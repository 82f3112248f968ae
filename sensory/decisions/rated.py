"""Profile and difference from control: from checked scores to a finding."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError, BallotError
from ..base.records import Finding, Question
from ..base.results import Cell, Interval, Table
from ..methods import DIFFERENCE_FROM_CONTROL, PROFILE
from ..ratings.control import DifferenceFromControl, difference_from_control
from ..ratings.profile import Profile, profile
from ..ratings.sample_map import SampleMap, sample_map
from ..ratings.scorecard import PanelScorecard, panel_scorecard
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
)

Row = dict[str, Any]
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
    settings = question.settings
    reference = str(PROFILE.setting(settings, "reference"))
    frame = _frame(rows)
    name = _spelled(frame, reference)
    margins = PROFILE.margins(settings)
    agreed = {key: size for key, size in margins.items() if key in set(frame["attribute"])}
    result = profile(frame, reference=name, alpha=question.alpha)
    equivalent = _equivalent(frame, name, agreed, question.beta)
    compared = _of(result.against_reference)
    samples = [one for one in result.table.samples if one != name]
    missing = [str(one) for one in result.table.attributes if one not in agreed]
    findings = [
        of_two(
            bool((compared.loc[compared["sample"] == one, "p_holm"] <= question.alpha).any()),
            not missing and all(equivalent[one, at] for at in result.table.attributes),
        )
        for one in samples
    ]
    names = [str(one) for one in samples]
    return Reading(
        method=PROFILE,
        finding=overall(findings),
        sentence=each_named(names, findings),
        because=_moved(compared, question.alpha),
        tables=(
            (f"Against {name}", _differences(compared, agreed, equivalent)),
            (
                "Do the samples differ? (against assessor x sample)",
                _table(
                    result.anova[result.anova["source"] == "sample"],
                    "attribute df df_error statistic p p_holm method",
                ),
            ),
            ("Means", _table(result.means, "attribute sample estimate se low high scores")),
            (
                "Analysis of variance",
                _table(result.anova, "attribute source df ms against df_error statistic p p_holm"),
            ),
            ("Components of variance", _table(result.components, "attribute source sd share")),
        ),
        axis=f"difference from {name}, in points of the scale",
        spans=_spans(compared, agreed, len(samples)),
        cannot_tell=_cannot_tell(missing, result),
        notes=(*result.notes, *_how(agreed, question)),
        means=_means(result),
        places=_places(frame),
        **_panel(frame, question),
    )


def read_difference_from_control(rows: Sequence[Row], question: Question) -> Reading:
    """Each batch beyond the blind reference, against the action limit.

    Raises
    ------
    ArgumentError, BallotError
        As in `difference_from_control`.
    """
    settings, setting = question.settings, DIFFERENCE_FROM_CONTROL.setting
    frame = _frame(rows)
    control = _spelled(frame, str(setting(settings, "control")))
    limit = float(setting(settings, "limit"))
    result = difference_from_control(
        frame, control=control, limit=limit, alpha=question.alpha, beta=question.beta
    )
    beyond = result.against_control
    findings = [Finding(one) for one in beyond["finding"]]
    names = [str(one) for one in beyond["sample"]]
    placebo = result.placebo.iloc[0]
    said = [
        f"{row['sample']} lies {row['estimate']:.2f} beyond the blind reference "
        f"({chance(row['p_adjusted'])}, upper limit {row['upper']:.2f})"
        for row in beyond.to_dict("records")
    ]
    return Reading(
        method=DIFFERENCE_FROM_CONTROL,
        finding=overall(findings),
        sentence=each_named(names, findings),
        because="; ".join(said) + f"; action limit {limit:g}, alpha {question.alpha:g}. The blind "
        f"reference itself was scored {placebo['estimate']:.2f}.",
        tables=_control_tables(result),
        axis="score beyond the blind reference",
        spans=_beyond(result, limit),
        cannot_tell=(
            "It does not say in which attribute a batch lies off, nor in which direction.",
            "The action limit is a decision of management; no number of this session gives it.",
            SCOPE,
        ),
        notes=(
            *result.notes,
            "p: one-sided, p_adjusted: Dunnett over the batches; upper: one-sided limit at 1 - "
            f"beta = {1 - question.beta:g}, each batch at its own risk.",
        ),
    )


def _control_tables(result: DifferenceFromControl) -> tuple[tuple[str, Table], ...]:
    beyond = "sample finding estimate se df low high upper p p_adjusted"
    return (
        ("Beyond the blind reference", _table(result.against_control, beyond)),
        ("As scored, nothing taken off", _table(result.means, "sample estimate se low high")),
        (
            "Assessors for an unchanged batch to be shown as similar (80 %)",
            _table(result.assessors_needed(), "sample assessors"),
        ),
    )


def _beyond(result: DifferenceFromControl, limit: float) -> tuple[Span, ...]:
    return tuple(
        Span(
            label=str(row["sample"]),
            estimate=float(row["estimate"]),
            limits=Interval(low=float(row["low"]), high=float(row["high"]), level=result.level),
            margin=limit,
        )
        for row in result.against_control.to_dict("records")
    )


def _frame(rows: Sequence[Row]) -> pd.DataFrame:
    return pd.DataFrame(list(rows))


def _spelled(frame: pd.DataFrame, name: str) -> str:
    """The sample of that name, however it is capitalised."""
    there = list(dict.fromkeys(frame["sample"]))
    for one in there:
        if str(one).casefold() == name.casefold():
            return str(one)
    raise ArgumentError(f"{name!r} is none of the samples: {', '.join(map(str, there))}.")


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
    within = [
        (
            margins.get(row["attribute"]),
            {True: "yes", False: "no", None: ""}[equivalent.get((row["sample"], row["attribute"]))],
        )
        for row in compared.to_dict("records")
    ]
    plain = _table(compared, columns)
    return Table(
        columns=(*plain.columns, "margin", "equivalent"),
        rows=tuple((*row, *extra) for row, extra in zip(plain.rows, within, strict=True)),
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
    ends = tuple(
        float(PROFILE.setting(question.settings, f"scale_{end}")) for end in ("low", "high")
    )
    try:
        card = panel_scorecard(frame, alpha=question.alpha, scale=(ends[0], ends[1]))
    except ArgumentError as error:
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
        ("The panel, attribute by attribute", _table(card.attributes, attributes)),
        ("Each assessor over the judged attributes", _table(
            card.panel, "assessor attributes apart r slope sd_ratio flags")),
        ("Each assessor in each attribute", _table(card.assessors, assessors)),
    )  # fmt: skip


def _table(frame: pd.DataFrame, columns: str) -> Table:
    names = tuple(columns.split())
    rows = tuple(
        tuple(_cell(value) for value in row)
        for row in frame[list(names)].itertuples(index=False, name=None)
    )
    return Table(columns=names, rows=rows)


def _cell(value: Any) -> Cell:
    """A plain cell; what is missing is empty."""
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return None
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return int(value)
    return float(value) if isinstance(value, (float, np.floating)) else str(value)

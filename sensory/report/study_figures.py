"""Charts of studies: a threshold, two recipes over several lots."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from ..base.errors import ArgumentError
from ..base.results import Interval
from ..catalogue.outcome import Figure, Span
from ..evidence.graders import GraderCheck
from ..evidence.grading_rule import GradingRule
from ..evidence.thresholds import DetectionThreshold
from ..ratings.recipes import RecipeComparison
from .evidence_figures import PICTURES as OF_EVIDENCE
from .figure_parts import (
    BLUE,
    GREY,
    LONG,
    ORANGE,
    SHAPES,
    SHORT,
    Look,
    Spec,
    along,
    column,
    dressed,
    legend,
    marks,
    told_apart,
)
from .limit_figures import PICTURES as OF_LIMITS
from .outcome_figures import outcome_figure
from .plan_figures import WIDE

_RIGHT, _HALF = "share of right answers", "half notice"
_RISKS = {"good_stopped": "good batch stopped", "bad_passed": "bad batch passed"}
_ROOM = 1.15
"""Beside the first and the last concentration, as a ratio."""


def curve_figure(result: DetectionThreshold, width: int | str = WIDE) -> Spec:
    """Share right at each concentration with its limits, the curve, and what guessing gives."""
    steps = result.steps
    unit = f", {result.unit}" if result.unit else ""
    ends = [
        float(steps["concentration"].min()) / _ROOM,
        float(steps["concentration"].max()) * _ROOM,
    ]
    scale = {"type": "log", "domain": ends, "nice": False}
    x = along("concentration:Q", f"concentration{unit}", scale, grid=False)
    y = along("share:Q", _RIGHT, {"domain": [0, 1]}, format="%", tickCount=5)
    points = steps.to_dict("records")
    where = {"x": x, "y": y}
    tips = [column(f"{name}:Q") for name in ("concentration", "correct", "trials")]
    limits = {"x": x, "y": {**y, "field": "low"}, "y2": column("high")}
    guess = float(result.protocol.guess)
    guessing = [{"concentration": at, "share": guess} for at in ends]
    called = [{"concentration": ends[1], "share": guess, "says": "guessing"}]
    words = {**where, "text": column("says:N")}
    layers = [
        marks("rule", points, limits, color=GREY, strokeWidth=1.5),
        marks("point", points, {**where, "tooltip": tips}, color=BLUE, filled=True, size=70),
        marks("line", guessing, where, color=GREY, strokeDash=SHORT, strokeWidth=1.5),
        marks("text", called, words, align="right", dx=-4, dy=10, color=GREY, fontSize=12),
    ]
    if result.curve is not None:
        at = np.geomspace(ends[0], ends[1], 61)
        rows = [
            {"concentration": float(each), "share": float(share)}
            for each, share in zip(at, result.share_right(at), strict=True)
        ]
        half = [{"concentration": 10**result.curve.middle, "says": _HALF}]
        text = {"x": x, "text": column("says:N"), "y": {"value": 10}}
        layers += [
            marks("line", rows, where, color=BLUE, strokeWidth=2),
            marks("rule", half, {"x": x}, color=ORANGE, strokeDash=LONG, strokeWidth=1.5),
            marks("text", half, text, align="right", dx=-6, color=GREY, fontSize=12),
        ]
    return dressed({"layer": layers}, width=width, height=280)


def assessors_figure(result: DetectionThreshold, width: int | str = WIDE) -> Spec:
    """Thresholds of assessors with their limits; best estimates where there is no curve."""
    frame = result.assessors
    of = "best_estimate" if result.curve is None else "threshold"
    frame = frame.sort_values(of)[["assessor", of, "low", "high"]].astype({"assessor": str})
    rows = frame.rename(columns={of: "at"}).to_dict("records")
    title = "threshold" if of == "threshold" else "best estimate"
    unit = f", {result.unit}" if result.unit else ""
    x = along("at:Q", f"{title}{unit}", {"type": "log"}, grid=False)
    y = along("assessor:N", None, sort=[row["assessor"] for row in rows], ticks=False)
    layers = [marks("point", rows, {"x": x, "y": y}, color=BLUE, filled=True, size=70)]
    if result.curve is not None:
        limits = {"x": {**x, "field": "low"}, "x2": column("high"), "y": y}
        layers.insert(0, marks("rule", rows, limits, color=GREY, strokeWidth=1.5))
        middle = [{"at": 10**result.curve.middle}]
        layers.append(marks("rule", middle, {"x": x}, color=GREY, strokeDash=LONG))
    return dressed({"layer": layers}, width=width, height=max(24 * len(rows), 80))


def recipes_figure(result: RecipeComparison, width: int | str = WIDE) -> Spec:
    """The difference of each attribute with its limits, and the margin where one was agreed."""
    spans = tuple(
        Span(
            label=str(row["attribute"]),
            estimate=float(row["estimate"]),
            limits=Interval(low=float(row["low"]), high=float(row["high"]), level=row["level"]),
            margin=None if math.isnan(row["margin"]) else float(row["margin"]),
            two_sided=True,
        )
        for row in result.differences.to_dict("records")
    )
    level = 100 * (1 - result.alpha)
    axis = f"{result.other} less {result.reference}, with {level:g} % limits"
    return outcome_figure(Figure(axis=axis, spans=spans, origin=0.0), width)


def graders_figure(result: GraderCheck, width: int | str = WIDE) -> Spec:
    """Each grader's share of spiked samples found, and of controls called out, with limits.

    Raises ArgumentError where no sample's truth is known.
    """
    rows = result.graders.to_dict("records")
    spans = [
        Span(
            label=f"{row['grader']}, {words}",
            estimate=float(row[f"{key}_rate"]),
            limits=Interval(
                low=float(row[f"{key}_low"]), high=float(row[f"{key}_high"]), level=result.level
            ),
        )
        for key, words in (("hit", "spiked found"), ("false", "controls called out"))
        for row in rows
        if not math.isnan(row[f"{key}_rate"])
    ]
    if not spans:
        raise ArgumentError("there is nothing to draw: no sample's truth is known.")
    axis = f"share of samples, with {100 * result.level:g} % limits"
    return outcome_figure(Figure(axis=axis, spans=tuple(spans), shares=True), width)


def votes_figure(result: GradingRule, width: int = WIDE) -> Spec:
    """Both risks for each number of votes that stops a batch."""
    rows = [
        {"votes": int(row["votes"]), "chance": float(row[name]), "what": what}
        for row in result.rules.to_dict("records")
        for name, what in _RISKS.items()
    ]
    shapes = ((BLUE, SHAPES[0]), (ORANGE, SHAPES[1]))
    looks: dict[str, Look] = dict(zip(_RISKS.values(), shapes, strict=True))
    where = {
        "x": along("votes:O", "votes 'out' that stop a batch", labelAngle=0),
        "y": along("chance:Q", "chance", {"domain": [0, 1]}, format="%", tickCount=5),
        **told_apart("what", looks, legend(labelLimit=400), "shape"),
    }
    return dressed(
        marks("point", rows, where, filled=True, size=110, opacity=1), width=width, height=220
    )


PICTURES: Mapping[type, Mapping[str, Callable[[Any], Spec]]] = {
    **OF_EVIDENCE,
    **OF_LIMITS,
    DetectionThreshold: {"curve": curve_figure, "assessors": assessors_figure},
    GraderCheck: {"graders": graders_figure},
    GradingRule: {"votes": votes_figure},
    RecipeComparison: {"differences": recipes_figure},
}
"""Of all studies."""

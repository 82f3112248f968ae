"""Pictures of an assessor over the months, and of the panel."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError
from ..base.results import Interval
from ..base.spelling import same_person
from ..catalogue.outcome import Figure, Level, Span
from ..evidence.ring_test import OUTLIER, RingTest
from ..models.consistency import mandel_h_critical, mandel_k_critical
from ..panel.attention import Attention
from ..panel.history import History
from ..panel.line_graders import GraderMonths
from ..panel.months import Reproducibility
from ..panel.sensitivity import Sensitivity
from ..panel.steadiness import Steadiness
from ..panel.training import TrainingProgress
from ..sessions.sitting import Sitting
from .figure_parts import (
    BLUE,
    GREY,
    LONG,
    ORANGE,
    SHORT,
    SOLID,
    Look,
    Spec,
    along,
    column,
    dressed,
    heading,
    legend,
    marks,
    told_apart,
    upright,
)
from .outcome_figures import outcome_figure
from .rating_figures import sample_looks
from .training_figures import TRAINING_PICTURES

WIDTH, HEIGHT = 560, 230
_SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down", "triangle-left")
_OWN, _PANEL, _OUT, _IN = "own", "panel", "beyond the limit", "own scatter"


def repeatability_chart(frame: pd.DataFrame, width: int | str = "container") -> Spec:
    """Control chart of own repeatability, from `panel.months.own_repeatability`."""
    rows = [
        {
            "day": row["held_on"],
            "sd": float(row["sd"]),
            "centre": float(row["centre"]),
            "high": float(row["high"]),
            "state": _OUT if row["out"] else _IN,
        }
        for row in frame.to_dict("records")
    ]
    x = along("day:T", None, format="%b %Y", tickCount=6, grid=False, labelOverlap=True)
    y = along("sd:Q", "scatter, the panel's = 1", {"zero": True}, grid=False, tickCount=5)
    looks: dict[str, Look] = {_IN: (BLUE, "circle"), _OUT: (ORANGE, "diamond")}
    points = told_apart("state", looks, legend(), "shape")
    layers = [
        marks("line", rows, {"x": x, "y": column("centre:Q")}, color=GREY),
        marks("line", rows, {"x": x, "y": column("high:Q")}, color=ORANGE, strokeDash=LONG),
        marks("line", rows, {"x": x, "y": y}, color=BLUE, strokeWidth=1),
        marks("point", rows, {"x": x, "y": y, **points}, filled=True, size=80, opacity=1),
    ]
    return dressed({"layer": layers}, width=width, height=HEIGHT)


def dprime_chart(frame: pd.DataFrame, width: int | str = "container") -> Spec:
    """Own d-prime by month with its limits, over the panel's, from `panel.months.own_dprime`."""
    months = list(map(str, frame["month"]))
    rows = [
        {"month": str(row["month"]), "line": line, "dprime": float(row[name]),
         "low": float(row["low"]), "high": float(row["high"])}
        for row in frame.to_dict("records")
        for line, name in ((_OWN, "estimate"), (_PANEL, "panel"))
    ]  # fmt: skip
    x = along("month:O", None, sort=months, labelAngle=-30)
    y = along("dprime:Q", "d'", {"zero": True}, grid=False, tickCount=5)
    own = [row for row in rows if row["line"] == _OWN]
    looks: dict[str, Look] = {_OWN: (BLUE, SOLID), _PANEL: (GREY, SHORT)}
    ways = told_apart("line", looks, legend(symbolType="stroke", symbolSize=300))
    limits = {"x": x, "y": column("low:Q"), "y2": column("high")}
    layers = [
        marks("rule", own, limits, color=BLUE, size=3, opacity=0.6),
        marks("line", rows, {"x": x, "y": y, **ways}, strokeWidth=2.5),
        marks("point", own, {"x": x, "y": y}, color=BLUE, filled=True, size=80, opacity=1),
    ]
    return dressed({"layer": layers}, width=width, height=HEIGHT)


def own_lines(sitting: Sitting, name: str, width: int | str = "container") -> dict[str, Spec]:
    """Means of one assessor over those of the others in one sitting, a chart an attribute."""
    person = same_person(name)
    place = [same_person(each) for each in sitting.assessors].index(person)
    looks: dict[str, Look] = {_OWN: (BLUE, SOLID), _PANEL: (GREY, SHORT)}
    ways = told_apart("line", looks, legend(symbolType="stroke", symbolSize=300))
    charts = {}
    for scores in sitting.attributes:
        means = np.array(scores.means, float)
        others = np.nanmean(np.delete(means, place, 0), 0)
        order = [sitting.samples[at] for at in np.argsort(others)]
        rows = [
            {"sample": sample, "line": line, "mean": float(value)}
            for line, values in ((_PANEL, others), (_OWN, means[place]))
            for sample, value in zip(sitting.samples, values, strict=True)
            if np.isfinite(value)
        ]
        ends = {"domain": list(sitting.scale)} if sitting.scale else {"zero": False}
        where = {
            "x": along("sample:N", None, sort=order, labelAngle=-30, labelLimit=110),
            "y": along("mean:Q", "mean score", ends, tickCount=5, grid=False),
            **ways,
        }
        line = marks("line", rows, where, strokeWidth=2.5, point=True)
        title = heading(scores.attribute)
        charts[scores.attribute] = dressed({"layer": [line], "title": title}, width=width,
                                           height=140)  # fmt: skip
    return charts


def sensitivity_figure(result: Sensitivity) -> Spec:
    """Each assessor beside the panel, with limits; the limit below which somebody is named."""
    table = result.assessors.dropna(subset=["estimate"]).sort_values("estimate")
    if table.empty:
        raise ArgumentError("no session in which the others discriminated; nothing to draw.")
    return _spans(table, "times the panel's d'", "estimate", "low", "high", result.least)


def _spans(table: pd.DataFrame, axis: str, value: str, low: str, high: str, limit: float) -> Spec:
    spans = [
        Span(
            label=str(row["assessor"]),
            estimate=float(row[value]),
            limits=Interval(low=float(row[low]), high=float(row[high]), level=float(row["level"])),
        )
        for row in table.to_dict("records")
    ]
    levels = (
        Level(at=(1.0,), says="the panel", agreed=False),
        Level(at=(limit,), says="limit", agreed=True),
    )
    figure = Figure(axis=axis, spans=tuple(spans), origin=None, levels=levels)
    return outcome_figure(figure, WIDTH)


def _attention(result: Attention) -> Spec:
    if result.choices is None:
        return steadiness_figure(result.scored)
    return sensitivity_figure(result.choices)


def steadiness_figure(result: Steadiness) -> Spec:
    """Use of the scale of each assessor, shrunken, an attribute a panel."""
    table = result.assessors.dropna(subset=["estimate"])
    if table.empty:
        raise ArgumentError("no attribute on which the panel discriminated; nothing to draw.")
    charts = []
    for attribute, part in table.groupby("attribute", sort=False):
        rows = [
            {"assessor": str(row["assessor"]), **{n: float(row[n]) for n in
             ("estimate", "low", "high")}}
            for row in part.to_dict("records")
        ]  # fmt: skip
        y = along("assessor:N", None, ticks=False, domain=False)
        x = along("low:Q", "points for each of the panel's", {"zero": True}, tickCount=5)
        layers = [
            marks("rule", rows, {"x": x, "x2": column("high"), "y": y}, color=BLUE, size=3),
            marks("point", rows, {"x": column("estimate:Q"), "y": y}, color=BLUE, filled=True,
                  size=70, opacity=1),
        ]  # fmt: skip
        chart = {"layer": layers, "width": 180, "height": 20 * len(rows)}
        charts.append({**chart, "title": heading(str(attribute))})
    return dressed({"concat": charts, "columns": 3}, framed=True)


def _attendance(past: History) -> Spec:
    table = past.attendance
    rows = [
        {"assessor": str(row["assessor"]), "what": what, "sittings": int(row[what])}
        for row in table.to_dict("records")
        for what in ("came", "absent")
    ]
    looks: dict[str, Look] = {"came": (BLUE, SOLID), "absent": (ORANGE, SHORT)}
    where = {
        "y": along("assessor:N", None, ticks=False),
        "x": along("sittings:Q", "sittings", {"zero": True}, grid=False),
        "color": told_apart("what", looks, legend())["color"],
    }
    height = 22 * max(len(table), 1)
    return dressed({"layer": [marks("bar", rows, where)]}, width=WIDTH, height=height)


def correlation_chart(result: Reproducibility, width: int | str = WIDTH) -> Spec:
    """Intraclass correlation of the panel's mean by month, a line an attribute, with limits."""
    months = result.months
    months = months[months["kind"] == "mean of the panel"]
    if months.empty:
        raise ArgumentError("no month holds enough scores of the same assessors to draw.")
    charts = []
    x = along("month:O", None, sort=sorted(set(months["month"])), labelAngle=-30)
    y = along("estimate:Q", "ICC, mean of the panel", {"domain": [0, 1], "clamp": True},
              grid=False, tickCount=5)  # fmt: skip
    for attribute, part in months.groupby("attribute", sort=False):
        rows = [
            {"month": row["month"], **{n: float(row[n]) for n in ("estimate", "low", "high")}}
            for row in part.to_dict("records")
        ]
        limits = {"x": x, "y": column("low:Q"), "y2": column("high")}
        layers = [
            marks("rule", rows, limits, color=BLUE, size=3, opacity=0.6),
            marks("line", rows, {"x": x, "y": y}, color=BLUE, point=True),
        ]
        chart = {"layer": layers, "width": 250, "height": 130}
        charts.append({**chart, "title": heading(str(attribute))})
    return dressed({"concat": charts, "columns": 3}, framed=True)


def ring_chart(result: RingTest) -> Spec:
    """h and k of each panel, a point a sample; dashed the limits at 1 %, where k has one."""
    table = result.panels
    many, each = table["panel"].nunique(), set(table["results"])
    limits = {"h": [mandel_h_critical(many, OUTLIER)] * 2, "k": []}
    limits["h"][0] *= -1
    if len(each) == 1:
        limits["k"] = [mandel_k_critical(many, int(each.pop()), OUTLIER)]
    samples = list(map(str, dict.fromkeys(table["sample"])))
    looks = sample_looks(samples, _SHAPES)
    charts = []
    for name, title in (("h", "h: panel mean against the others"), ("k", "k: scatter")):
        rows = [
            {"panel": str(row["panel"]), "sample": str(row["sample"]), name: float(row[name])}
            for row in table.to_dict("records")
            if np.isfinite(row[name])
        ]
        where = {
            "x": along(f"{name}:Q", title, {"zero": True}, grid=False, tickCount=5),
            "y": along("panel:N", None, ticks=False),
            **told_apart("sample", looks, legend(), "shape"),
        }
        layers = upright("at", limits[name], "", colour=ORANGE) if limits[name] else []
        layers.append(marks("point", rows, where, filled=True, size=90, opacity=1))
        charts.append({"layer": layers, "width": 280, "height": 30 * many})
    return dressed({"concat": charts, "columns": 1}, framed=True)


def grader_chart(result: GraderMonths, grader: str = "", width: int | str = "container") -> Spec:
    """Rates by month with their limits: of one grader, or of all.

    Raises ArgumentError where no sample of a known truth was graded.
    """
    spans = []
    for row in result.months.to_dict("records"):
        if grader and row["grader"] != grader:
            continue
        who = row["month"] if grader else f"{row['grader']}, {row['month']}"
        for key, words in (("hit", "spiked found"), ("false", "controls called out")):
            low, rate, high = (float(row[f"{key}_{name}"]) for name in ("low", "rate", "high"))
            if rate == rate:
                limits = Interval(low=low, high=high, level=result.level)
                spans.append(Span(label=f"{who}, {words}", estimate=rate, limits=limits))
    if not spans:
        raise ArgumentError("no sample of a known truth was graded, so there are no rates to draw.")
    figure = Figure(axis="share, with limits", spans=tuple(spans), origin=None, shares=True)
    return outcome_figure(figure, width)


PANEL_PICTURES: Mapping[type, Mapping[str, Callable[[Any], Spec]]] = {
    History: {"attendance": _attendance},
    Sensitivity: {"sensitivity": sensitivity_figure},
    Steadiness: {"use of the scale": steadiness_figure},
    Attention: {"assessors": _attention},
    Reproducibility: {"intraclass correlation": correlation_chart},
    RingTest: {"h and k": ring_chart},
    GraderMonths: {"months": grader_chart},
    **TRAINING_PICTURES,
}
PANEL_TABLES: Mapping[type, Callable[[Any], pd.DataFrame]] = {
    History: lambda result: result.attendance,
    Sensitivity: lambda result: result.assessors,
    Steadiness: lambda result: result.assessors,
    Attention: lambda result: result.reasons,
    Reproducibility: lambda result: result.months,
    RingTest: lambda result: result.panels,
    GraderMonths: lambda result: result.months,
    TrainingProgress: lambda result: result.curve,
}
"""Pictures and tables of the room panel, taken up by `plots` and `result_tables`."""

"""Pictures of scores: samples over attributes, use of the scale, repeats, drift.

Why so
------
A spider is drawn since people ask for it, and lines beside it since they read better: on a spider
the eye takes the area for the size, which depends on the order of the attributes, lengths on
different spokes are hard to compare, and limits overlap near the middle.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import pandas as pd

from ..base.errors import ArgumentError
from ..catalogue.outcome import MeanPoint
from .figure_parts import (
    BLUE,
    GREY,
    LONG,
    ORANGE,
    PALETTE,
    SHAPES,
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
)
from .words import percent

_DASHES = (SOLID, LONG, SHORT, [12, 3], [8, 3, 2, 3], [5, 2], [2, 2])
_ASIDE = 0.06  # of the way to the next attribute, between the limits of two samples
_RINGS = 4
_LEAN = 0.035  # radians between the limits of two samples on one spoke
_RIGHT, _LEFT, _MIDDLE = "left", "right", "center"
"""How a word beside the right, left or middle of a circle is aligned."""


def sample_looks(samples: Sequence[str], second: Sequence[Any] = _DASHES) -> dict[str, Look]:
    """Colour, and dash or shape, of each sample; they begin again after seven."""
    return {
        name: (PALETTE[at % len(PALETTE)], second[at % len(second)])
        for at, name in enumerate(samples)
    }


def profile_lines(means: Sequence[MeanPoint], width: int = 640) -> Spec:
    """A line a sample over the attributes, with the limits of each mean."""
    attributes = list(dict.fromkeys(mean.attribute for mean in means))
    samples = list(dict.fromkeys(mean.sample for mean in means))
    middle = (len(samples) - 1) / 2
    rows = [
        {
            **_row(mean),
            "x": attributes.index(mean.attribute) + _ASIDE * (samples.index(mean.sample) - middle),
        }
        for mean in means
    ]
    places = list(range(len(attributes)))
    x = along(
        "x:Q",
        None,
        {"domain": [-0.5, len(attributes) - 0.5], "nice": False},
        values=places,
        labelExpr=f"{json.dumps(attributes)}[datum.value]",
        labelAngle=-30,
        labelLimit=160,
        grid=False,
    )
    title = f"mean score with {percent(means[0].limits.level)} limits"
    y = along("mean:Q", title, {"zero": False}, grid=False)
    lines = told_apart("sample", sample_looks(samples), legend(symbolSize=120))
    points = told_apart("sample", sample_looks(samples, SHAPES), None, "shape")
    limits = {"x": x, "y": column("low:Q"), "y2": column("high"), "color": lines["color"]}
    layers = [
        marks("rule", rows, limits, size=1.5, opacity=0.6),
        marks("line", rows, {"x": x, "y": y, **lines}, strokeWidth=2.5),
        marks("point", rows, {"x": x, "y": y, **points}, filled=True, size=70, opacity=1),
    ]
    return dressed({"layer": layers}, width=width, height=300)


def spider(means: Sequence[MeanPoint], size: int = 480) -> Spec:
    """The means as a polygon a sample, with limits along the spokes.

    Lines read better, see *Why so*. The middle lies just below the lowest limit and need not be 0;
    the rings are labelled.

    Raises ArgumentError for fewer than three attributes.
    """
    attributes = list(dict.fromkeys(mean.attribute for mean in means))
    samples = list(dict.fromkeys(mean.sample for mean in means))
    if len(attributes) < 3:
        raise ArgumentError(
            f"a spider needs three attributes or more; this profile has {len(attributes)}: "
            "take 'lines'."
        )
    rings = _rings(means)
    turns = {name: 2 * math.pi * at / len(attributes) for at, name in enumerate(attributes)}
    rows = [_spoke(mean, turns[mean.attribute], samples, rings) for mean in means]
    closed = [{**row, "step": step} for step, row in enumerate(rows)]
    for sample in samples:
        own = [row for row in closed if row["sample"] == sample]
        closed.append({**own[0], "step": len(closed)})
    ends: Spec = {"domain": [-1.25, 1.25], "nice": False}
    x, y = (column(f"{side}:Q", scale=ends, axis=None) for side in ("x", "y"))
    lines = told_apart("sample", sample_looks(samples), legend(symbolSize=120))
    points = told_apart("sample", sample_looks(samples, SHAPES), None, "shape")
    outline = {"x": x, "y": y, "order": column("step:Q"), **lines}
    limits = {
        "x": column("x low:Q", scale=ends, axis=None),
        "y": column("y low:Q", scale=ends, axis=None),
        "x2": column("x high"),
        "y2": column("y high"),
        "color": lines["color"],
    }
    layers = [
        *_web(turns, rings, x, y),
        marks("rule", rows, limits, size=1.5, opacity=0.6),
        marks("line", closed, outline, strokeWidth=2.5),
        marks("point", rows, {"x": x, "y": y, **points}, filled=True, size=60, opacity=1),
    ]
    return dressed({"layer": layers}, width=size, height=size)


def _rings(means: Sequence[MeanPoint]) -> list[float]:
    """Scores at the middle and at each ring, in steps that people count in."""
    low = min(mean.limits.low for mean in means)
    high = max(mean.limits.high for mean in means)
    rough = max(high - low, 1e-9) / _RINGS
    ten = 10.0 ** math.floor(math.log10(rough))
    step = next(each * ten for each in (1, 2, 2.5, 5, 10) if each * ten >= rough)
    first, last = math.floor(low / step), math.ceil(high / step)
    return [round(at * step, 10) for at in range(first, max(last, first + 1) + 1)]


def _spoke(
    mean: MeanPoint, turn: float, samples: Sequence[str], rings: Sequence[float]
) -> dict[str, object]:
    lean = _LEAN * (samples.index(mean.sample) - (len(samples) - 1) / 2)
    row = _row(mean)
    for name in ("mean", "low", "high"):
        reach = (row[name] - rings[0]) / (rings[-1] - rings[0])
        end = "" if name == "mean" else f" {name}"
        row[f"x{end}"] = reach * math.sin(turn + lean)
        row[f"y{end}"] = reach * math.cos(turn + lean)
    return row


def _web(turns: Mapping[str, float], rings: Sequence[float], x: Spec, y: Spec) -> list[Spec]:
    """Rings with their scores, spokes, and the attributes around them."""
    corners = [*turns.values(), 0.0]
    web = [
        {
            "x": share * math.sin(turn),
            "y": share * math.cos(turn),
            "ring": share,
            "step": step,
        }
        for share in (at / (len(rings) - 1) for at in range(1, len(rings)))
        for step, turn in enumerate(corners)
    ]
    spokes = [{"x": 0, "y": 0, "x2": math.sin(at), "y2": math.cos(at)} for at in turns.values()]
    scores = [
        {"x": 0.02, "y": at / (len(rings) - 1), "text": f"{score:g}"}
        for at, score in enumerate(rings)
    ]
    where = {"x": x, "y": y}
    ring = {**where, "detail": column("ring:N"), "order": column("step:Q")}
    layers = [
        marks("line", web, ring, color=GREY, opacity=0.3, strokeWidth=1),
        marks(
            "rule", spokes, {**where, "x2": column("x2"), "y2": column("y2")}, color=GREY,
            opacity=0.3,
        ),
        marks(
            "text", scores, {**where, "text": column("text:N")}, color=GREY, fontSize=11,
            align="left", dx=2,
        ),
    ]  # fmt: skip
    names: dict[str, list[dict[str, object]]] = {}
    for name, at in turns.items():
        across = math.sin(at)
        side = _MIDDLE if abs(across) < 0.1 else _RIGHT if across > 0 else _LEFT
        row = {"x": 1.07 * across, "y": 1.07 * math.cos(at), "text": name}
        names.setdefault(side, []).append(row)
    return layers + [
        marks("text", rows, {**where, "text": column("text:N")}, color=GREY, fontSize=12, align=to)
        for to, rows in names.items()
    ]


def scale_use(rows: pd.DataFrame, width: int = 560) -> Spec:
    """A box an assessor: quartiles of all scores, whiskers to the lowest and highest."""
    scores = _plain(rows)
    assessors = list(dict.fromkeys(row["assessor"] for row in scores))
    ways = {
        "x": along("score:Q", "scores of all samples and attributes", {"zero": False}, grid=False),
        "y": along("assessor:N", None, sort=assessors, ticks=False, domain=False),
    }
    box = marks("boxplot", scores, ways, extent="min-max", size=14, color=BLUE)
    box["mark"] |= {"median": {"color": "white"}, "rule": {"color": BLUE}}
    return dressed(box, width=width, height=26 * len(assessors))


def repeats(rows: pd.DataFrame, across: int = 3, size: int = 190) -> Spec:
    """Each score of a replicate against the next one of the same assessor and sample.

    Raises ArgumentError where nobody scored a sample twice.
    """
    pairs: list[dict[str, Any]] = [
        {
            "assessor": assessor,
            "sample": sample,
            "attribute": attribute,
            "first": first,
            "second": second,
        }
        for (attribute, _, assessor, sample), scores in _cells(rows)
        for first, second in pairwise(scores)
    ]
    if not pairs:
        raise ArgumentError("repeats needs replicates; every sample was scored once.")
    ends = [min(row[side] for row in pairs for side in ("first", "second"))]
    ends.append(max(row[side] for row in pairs for side in ("first", "second")))
    reach: Spec = {"domain": ends, "nice": True, "zero": False}
    where = {
        "x": along("first:Q", "one replicate", reach, grid=False, tickCount=5),
        "y": along("second:Q", "the next", reach, grid=False, tickCount=5),
    }
    tooltip = [column("assessor:N"), column("sample:N")]
    line = [{"first": at, "second": at} for at in ends]
    charts = []
    for name in dict.fromkeys(row["attribute"] for row in pairs):
        own = [row for row in pairs if row["attribute"] == name]
        layers = [
            marks("line", line, where, color=GREY, strokeDash=LONG, strokeWidth=1),
            marks("point", own, {**where, "tooltip": tooltip}, color=BLUE, opacity=0.7, size=36),
        ]
        charts.append({"layer": layers, "width": size, "height": size, "title": heading(str(name))})
    return dressed({"concat": charts, "columns": across}, framed=True)


_DRIFTS, _OTHERS = "drifts", "others"


def drift_lines(sessions: pd.DataFrame, drifting: set[tuple[str, str]], across: int = 3) -> Spec:
    """Bias of each assessor over the sessions, an attribute a panel.

    `drifting`: assessor and attribute of those whose trend is shown.
    """
    rows = [
        {
            "assessor": str(row["assessor"]),
            "attribute": str(row["attribute"]),
            "session": str(row["session"]),
            "bias": float(row["bias"]),
            "line": _DRIFTS
            if (str(row["assessor"]), str(row["attribute"])) in drifting
            else _OTHERS,
        }
        for row in sessions.to_dict("records")
        if math.isfinite(row["bias"])
    ]
    names = list(map(str, dict.fromkeys(sessions["session"])))
    looks: dict[str, Look] = {_DRIFTS: (ORANGE, LONG), _OTHERS: (GREY, SOLID)}
    where = {
        "x": along("session:N", "session", sort=names, labelLimit=80, labelOverlap=True),
        "y": along("bias:Q", "own mean less that of the others", grid=False, tickCount=5),
        "detail": column("assessor:N"),
        "tooltip": [column("assessor:N"), column("bias:Q")],
        **told_apart("line", looks, legend(symbolType="stroke", symbolSize=300)),
    }
    charts = []
    for name in dict.fromkeys(row["attribute"] for row in rows):
        own = [row for row in rows if row["attribute"] == name]
        line = marks("line", own, where, strokeWidth=2)
        panel = {"layer": [line], "width": 220, "height": 150}
        charts.append({**panel, "title": heading(str(name))})
    return dressed({"concat": charts, "columns": across}, framed=True)


def _row(mean: MeanPoint) -> dict[str, Any]:
    return {
        "attribute": mean.attribute,
        "sample": mean.sample,
        "mean": mean.estimate,
        "low": mean.limits.low,
        "high": mean.limits.high,
    }


def _plain(rows: pd.DataFrame) -> list[dict[str, Any]]:
    return [
        {"assessor": str(row["assessor"]), "score": float(row["score"])}
        for row in rows.to_dict("records")
    ]


def _cells(rows: pd.DataFrame) -> list[tuple[tuple[str, ...], list[float]]]:
    """Scores of one assessor for one sample in one attribute, by replicate."""
    by = ["attribute", "session", "assessor", "sample"]
    groups = rows.sort_values("replicate", kind="stable").groupby(by, sort=False, observed=True)
    return [
        (tuple(map(str, key)), [float(score) for score in part["score"]]) for key, part in groups
    ]

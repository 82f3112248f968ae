"""The charts of an outcome: estimates with their limits, what was agreed, profile, map, panel."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

from ..catalogue.outcome import (
    AssessorLine,
    AssessorPoint,
    Figure,
    Level,
    MeanPoint,
    Outcome,
    Places,
    Span,
)
from .figure_parts import (
    BLUE,
    GREEN,
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
    upright,
)
from .words import percent

_ROW = 34
_NARROW = 36  # letters that a phone shows below the chart
_WITHIN, _BEYOND = "estimate", "beyond the chart"
_DOT = {"filled": True, "size": 70, "opacity": 1}


def outcome_figure(figure: Figure, width: int | str = "container") -> Spec:
    """One row an estimate: point, limits, levels, and a tick at each agreed margin."""
    low, high = (0.0, 1.0) if figure.shares else _range(figure)
    names = [span.label for span in figure.spans]
    y = along("row:N", None, sort=names, ticks=False, domain=False, labelLimit=260, labelPadding=10)
    shown: dict[str, object] = {"tickCount": 8}
    if figure.shares:
        shown = {"format": "%", "tickCount": 11}
    scale = {"domain": [low, high], "nice": False, "clamp": True}
    x = along("low:Q", wrap(figure.axis, _NARROW), scale, grid=False, **shown)
    rows = [_row(span, low, high) for span in figure.spans]
    points = [row for row in rows if row["estimate"] is not None]
    shape = column(
        "state:N",
        scale={"domain": [_WITHIN, _BEYOND], "range": ["circle", "triangle-right"]},
        legend=legend() if any(row["state"] == _BEYOND for row in points) else None,
    )
    origin = [] if figure.origin is None else [Level(at=(figure.origin,), says="", agreed=False)]
    limits = {"x": x, "x2": column("high"), "y": y}
    point = {"x": column("estimate:Q"), "y": y, "shape": shape}
    layers = [
        *(mark for level in (*origin, *figure.levels) for mark in _level(level)),
        marks("rule", rows, limits, color=BLUE, size=3),
        marks("point", points, point, color=BLUE, size=120, filled=True, opacity=1),
    ]
    tick = {"x": column("at:Q"), "y": y}
    for ticks, colour in ((_ends(figure), BLUE), (_margins(figure, low, high), ORANGE)):
        if ticks:
            layers.append(marks("tick", ticks, tick, color=colour, thickness=4, size=26))
    height = 40 + _ROW * len(names) + (22 if figure.levels else 0)
    return dressed({"layer": layers}, width=width, height=height)


def _row(span: Span, low: float, high: float) -> dict[str, object]:
    estimate = span.estimate
    return {
        "row": span.label,
        "low": max(span.limits.low, low),
        "high": min(span.limits.high, high),
        "estimate": None if estimate is None else min(max(estimate, low), high),
        "state": _WITHIN if estimate is None or low <= estimate <= high else _BEYOND,
    }


def _ends(figure: Figure) -> list[dict[str, object]]:
    return [{"row": span.label, "at": end} for span in figure.spans for end in span.ends]


def _margins(figure: Figure, low: float, high: float) -> list[dict[str, object]]:
    return [
        {"row": span.label, "at": side * span.margin}
        for span in figure.spans
        if span.margin is not None
        for side in ((-1, 1) if span.two_sided else (1,))
        if low <= side * span.margin <= high
    ]


def _level(level: Level) -> list[Spec]:
    """A line through all rows: dashed long and orange where it was agreed."""
    if level.agreed:
        return upright("at", level.at, level.says, colour=ORANGE, align="left", dx=5, dy=-8)
    return upright("at", level.at, level.says, dash=SHORT, align="right", dx=-5, dy=-8)


def profile_figure(outcome: Outcome, width: int | str = "container") -> Spec:
    """Mean of each sample in each attribute with its limits; samples by colour and shape."""
    return means_figure(outcome.means, width)


def means_figure(means: Sequence[MeanPoint], width: int | str = "container") -> Spec:
    """As `profile_figure`, of means that stand by themselves."""
    attributes = list(dict.fromkeys(mean.attribute for mean in means))
    samples = list(dict.fromkeys(mean.sample for mean in means))
    rows = [
        {
            "attribute": mean.attribute,
            "sample": mean.sample,
            "mean": mean.estimate,
            "low": mean.limits.low,
            "high": mean.limits.high,
        }
        for mean in means
    ]
    title = f"mean score with {percent(means[0].limits.level)} limits"
    x = along("low:Q", title, {"zero": False}, grid=False)
    looks: dict[str, Look] = {
        name: (PALETTE[at % len(PALETTE)], SHAPES[at % len(SHAPES)])
        for at, name in enumerate(samples)
    }
    told = told_apart("sample", looks, legend(labelFontSize=12), "shape")
    ways = {
        "y": along(
            "attribute:N",
            None,
            sort=attributes,
            ticks=False,
            domain=False,
            labelLimit=260,
            grid=True,
        ),
        "yOffset": column("sample:N", sort=samples),
        "color": told["color"],
    }
    limits = {"x": x, "x2": column("high"), **ways}
    point = {"x": column("mean:Q"), "shape": told["shape"], **ways}
    layers = [
        marks("rule", rows, limits, size=2),
        marks("point", rows, point, size=90, filled=True, opacity=1),
    ]
    height = len(attributes) * max(_ROW, 15 * len(samples) + 8)
    return dressed({"layer": layers}, width=width, height=height)


def map_figure(places: Places, size: int = 380) -> Spec:
    """Samples on the first two axes with their regions; attributes as lines from the middle."""
    outline = [
        {"sample": sample.name, "x": x, "y": y, "step": step}
        for sample in places.samples
        for step, (x, y) in enumerate([*sample.outline, sample.outline[0]])
    ]
    reach = max(
        abs(side) for sample in places.samples for corner in sample.outline for side in corner
    )
    middle = [{"sample": at.name, "x": at.x, "y": at.y} for at in places.samples]
    lines = [
        {"attribute": to.name, "x": 0.0, "y": 0.0, "x2": reach * to.x, "y2": reach * to.y}
        for to in places.attributes
    ]
    ends: Spec = {"domain": [-1.1 * reach, 1.1 * reach], "nice": False}
    first, second = (percent(share) for share in places.shares)
    x = along("x:Q", f"axis 1, {first}", ends, grid=False)
    y = along("y:Q", f"axis 2, {second}", ends, grid=False)
    scale = {"domain": [sample.name for sample in places.samples], "range": list(PALETTE)}
    colour = column("sample:N", scale=scale, legend=None)
    shape = column("sample:N", legend=None)
    at: Spec = {"x": x, "y": y}
    far: Spec = {"x": column("x2:Q", scale=ends), "y": column("y2:Q", scale=ends)}
    arrow = {**at, "x2": column("x2"), "y2": column("y2")}
    name = {**far, "text": column("attribute:N")}
    region = {**at, "order": column("step:O"), "detail": column("sample:N"), "color": colour}
    label = {**at, "text": column("sample:N"), "color": colour}
    layers = [
        marks("rule", lines, arrow, color=GREY, strokeDash=[2, 2]),
        marks("text", lines, name, color=GREY, fontSize=11, dy=-6),
        marks("line", outline, region, strokeWidth=2),
        marks("point", middle, {**at, "color": colour, "shape": shape}, **_DOT),
        marks("text", middle, label, fontSize=12, dy=-10, fontWeight="bold"),
    ]
    return dressed({"layer": layers}, width=size, height=size)


def panel_figure(outcome: Outcome, across: int = 4) -> Spec:
    """Small multiples: an attribute a panel, an assessor a row, agreement with the others.

    A flagged assessor has a hollow diamond instead of a dot.
    """
    return agreement_figure(outcome.panel, across)


def agreement_figure(seats: Sequence[AssessorPoint], across: int = 4) -> Spec:
    """As `panel_figure`, of assessors that stand by themselves."""
    rows = [
        {
            "assessor": seat.assessor,
            "attribute": seat.attribute,
            "r": seat.agreement if math.isfinite(seat.agreement) else None,
            "state": "flagged" if seat.flags else "no flag",
        }
        for seat in seats
    ]
    looks: dict[str, Look] = {
        "no flag": (BLUE, "circle"),
        "flagged": (ORANGE, "diamond"),
    }
    ways = told_apart("state", looks, legend(), "shape")
    x = along("r:Q", "agreement", {"domain": [-1, 1]}, values=[-1, 0, 1], grid=True)
    y = along("assessor:N", None, ticks=False, domain=False, grid=True)
    points = marks("point", None, {"x": x, "y": y, **ways}, size=70, opacity=1, strokeWidth=2)
    chart = {
        "data": {"values": rows},
        "facet": column(
            "attribute:N", header={"labelColor": GREY, "labelFontSize": 12, "title": None}
        ),
        "spec": {**points, "width": 120, "height": {"step": 16}},
        "columns": across,
    }
    return dressed(chart, framed=True)


_TURNED, _CAUSES, _OTHERS, _PANEL = "the other way round", "disagrees most", "others", "panel mean"
_LINES: dict[str, Look] = {
    _PANEL: (BLUE, SOLID),
    _OTHERS: (GREY, SOLID),
    _TURNED: (ORANGE, LONG),
    _CAUSES: (GREEN, SHORT),
}


def lines_figure(outcome: Outcome, across: int = 3, width: int = 170) -> Spec:
    """Assessors over the samples, an attribute a panel; samples from the lowest to the highest
    panel mean, so that who scores the other way round falls where the others rise.

    Reversed assessors and main causes of disagreement are named at the end of their line.
    """
    return assessors_figure(outcome.panel_lines, across, width)


def assessors_figure(drawn: Sequence[AssessorLine], across: int = 3, width: int = 170) -> Spec:
    """As `lines_figure`, of lines that stand by themselves."""
    scores = [mean for line in drawn for mean in line.means.values()]
    air = 0.05 * (max(scores) - min(scores)) or 1.0
    ends = {"domain": [min(scores) - air, max(scores) + air], "nice": False}
    lines: dict[str, list[AssessorLine]] = {}
    for line in drawn:
        lines.setdefault(line.attribute, []).append(line)
    size = {"width": width, "height": 150}
    charts = [
        {**_lines_of(own, ends), **size, "title": heading(attribute)}
        for attribute, own in lines.items()
    ]
    shared = {"scale": {"color": "shared", "strokeDash": "shared"}}  # one legend for all panels
    return dressed({"concat": charts, "columns": across, "resolve": shared}, framed=True)


def _lines_of(lines: Sequence[AssessorLine], ends: Mapping[str, Any]) -> Spec:
    given: dict[str, list[float]] = {}
    for line in lines:
        for sample, mean in line.means.items():
            given.setdefault(sample, []).append(mean)
    panel = {sample: math.fsum(means) / len(means) for sample, means in given.items()}
    samples = sorted(panel, key=lambda sample: panel[sample])
    looks = [(line.assessor, line.means, _look(line)) for line in lines]
    rows = [
        {"who": who, "sample": sample, "mean": means[sample], "line": look}
        for who, means, look in [*looks, (_PANEL, panel, _PANEL)]
        for sample in samples
        if sample in means
    ]
    low, high = ends["domain"]
    named = [
        {"who": who, "sample": last, "at": means[last], "line": look}
        for who, means, look in looks
        if look != _OTHERS
        for last in [next(sample for sample in reversed(samples) if sample in means)]
    ]
    x = along("sample:N", None, sort=samples, labelAngle=-30, labelLimit=110)
    y = along("mean:Q", "mean score", ends, tickCount=5)
    ways = told_apart("line", _LINES, legend(symbolType="stroke", symbolSize=300))
    where = {"x": x, "y": y, "detail": column("who:N"), **ways}
    layers = [
        marks("line", [row for row in rows if row["line"] in kinds], where, strokeWidth=width)
        for kinds, width in (((_OTHERS,), 1), ((_PANEL,), 4), ((_TURNED, _CAUSES), 2.5))
    ]
    name = {"x": x, "y": column("at:Q"), "text": column("who:N"), "color": ways["color"]}
    names = _apart(named, 0.09 * (high - low))
    return {"layer": [*layers, marks("text", names, name, align="left", dx=5, fontSize=11)]}


def _apart(names: list[dict[str, Any]], gap: float) -> list[dict[str, Any]]:
    """Names beside the ends of their lines, moved up where they would cover each other."""
    placed: list[dict[str, Any]] = []
    for name in sorted(names, key=lambda each: each["at"]):
        least = placed[-1]["at"] + gap if placed else name["at"]
        placed.append({**name, "at": max(name["at"], least)})
    return placed


def _look(line: AssessorLine) -> str:
    if line.turned:
        return _TURNED
    return _CAUSES if line.causes else _OTHERS


def _range(figure: Figure) -> tuple[float, float]:
    """From the lowest to the highest finite mark, origin and margins included, with air."""
    marks = [] if figure.origin is None else [figure.origin]
    for span in figure.spans:
        low_margin = None if span.margin is None or not span.two_sided else -span.margin
        ends = (span.limits.low, span.limits.high, span.estimate, span.margin, low_margin)
        marks += [end for end in ends if end is not None]
    finite = [mark for mark in marks if math.isfinite(mark)]
    low, high = min(finite), max(finite)
    low, high = (low - 1, high + 1) if low == high else (low, high)
    if any(math.isinf(mark) for mark in marks):
        high = high + 0.5 * (high - low)
    air = 0.06 * (high - low)
    return low - air, high + air

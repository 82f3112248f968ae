"""Charts of the release of batches: batches over time, and what the rule does to them.

Each line of production has a panel of its own, all with the same axes. What stands out has
another shape and its number beside it, so that the chart reads without its colours.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from math import isfinite
from typing import Literal, NamedTuple

import numpy as np

from ..base.arrays import Name, Row
from ..base.errors import ArgumentError
from ..release.batch_rows import ONE_LINE
from ..release.batch_trend import NO_LINE, ProductTrend, line_title
from ..release.characteristic import Characteristic
from ..release.rule import ReleaseRule
from ..release.trend_marks import LOT, REFERENCE, Mark
from ..release.trend_words import batch_count, by_itself
from .figure_parts import (
    AMBER,
    BLUE,
    GREEN,
    GREY,
    LONG,
    ORANGE,
    SHORT,
    SKY,
    SOLID,
    Look,
    Spec,
    along,
    chance_curves,
    column,
    dressed,
    heading,
    legend,
    marks,
    told_apart,
    upright,
)
from .trend_drawn import DAY, Drawn, drawn_trend, lines_shown, step_words, trend_sentences
from .words import clipped, percent

_MEAN, _LEVEL, _RANGE = "weighted mean of the latest", "usual level", "usual range"
_TICKS = 7
_LABEL, _NAMED = 12, 6
"""Letters of a number beside a batch, and how many batches of a panel have it; the rest is in
the table."""
_WIDEST = 0.4  # of the time shown, that the place of a change may take to be drawn
_DENSE = 60
"""Batches of a line from which their own limits are drawn fainter and the points smaller."""

_TRUTHS = {
    "pd": "share of people who truly notice",
    "dprime": "true d-prime",
    "points": "true difference beyond the blind control, points",
}
_OWN = {"scale": dict.fromkeys(("color", "shape", "strokeDash"), "independent")}


def trend_figure(
    trend: ProductTrend,
    width: int = 640,
    *,
    height: int | None = None,
    most: int | None = None,
) -> Spec | None:
    """Batches over time against what is usual and what was agreed, one panel a line.

    `width` and `height` are pixels of a panel, by default fewer high where there are many lines;
    of more lines than `most` those in which something shows are drawn. None where there are too
    few batches for a chart.

    Scores: batch less reference with its own limits, the chart's limits, and the weighted mean
    of the latest batches. Choices: proportion correct with exact limits; the usual range ends
    half an answer beyond the last usual count, so that what lies outside is unusual.
    """
    if trend.result is None:
        return None
    drawn = drawn_trend(trend)
    lines = lines_shown(drawn, most)
    tall = height or max(110, 210 - 30 * len(lines))
    size = {"width": width, "height": tall}
    panels = [
        _panel(drawn, line, trend.marks, first=line == lines[0], last=line == lines[-1]) | size
        for line in lines
    ]
    return dressed({"vconcat": panels, "spacing": 12, "resolve": _OWN}, framed=True)


def trend_words(trend: ProductTrend) -> str:
    """The chart in words, for people who do not see it."""
    if trend.result is None:
        return " ".join(trend_sentences(trend))
    points = drawn_trend(trend).points
    days = [_day(at) for at in (points["at"].min(), points["at"].max())]
    return (
        f"Chart of {batch_count(len(points))} made from {days[0]} to {days[1]}. "
        f"{' '.join(trend_sentences(trend))}"
    )


def characteristic_figure(
    rule: ReleaseRule, width: int | str = "container", height: int = 240
) -> Spec | None:
    """Chance that a batch passes, is held or rejected, against its true difference.

    None where no formula knows it: for a profile, and for difference from control without
    the scatter of the assessors.
    """
    share, limit = rule.protocol is not None, float(rule.limit or 0.0)
    far = min(1.0, max(0.5, 2.5 * limit)) if share else 2 * limit
    try:
        does = rule.characteristic(np.linspace(0.0, far, 81))
    except ArgumentError:
        return None
    words = f"agreed limit {percent(limit) if share else f'{limit:g} points'}"
    level = upright("truth", [limit], words, y=-9)  # above the curves, which all cross it
    return rule_curves(does, level, width, height)


def rule_curves(
    does: Characteristic, level: list[Spec], width: int | str, height: int = 280
) -> Spec:
    """The chances of a rule against the truth, with what is drawn of the agreed limit."""
    far = float(does.truths.max())
    curves = {
        name: (chances, look)
        for name, chances, look in (
            ("release", does.passes, (GREEN, SOLID)),
            ("hold", does.holds, (GREY, SHORT)),
            ("reject or rework", does.rejects, (ORANGE, LONG)),
        )
        if chances.max() > 0
    }
    rows = [
        {"truth": float(truth), "chance": float(chance), "what": name}
        for name, (chances, _) in curves.items()
        for truth, chance in zip(does.truths, chances, strict=True)
    ]
    x = along(
        "truth:Q",
        _TRUTHS[does.scale],
        {"domain": [0, far], "nice": False},
        format="%" if does.scale == "pd" else "~g",
        grid=False,
        tickCount=6,
    )
    looks = {name: look for name, (_, look) in curves.items()}
    layers = [chance_curves(rows, looks, x, _legend("top")), *level]
    return dressed({"layer": layers}, width=width, height=height)


class _Panel(NamedTuple):
    """Batches of one line, and what all its layers share."""

    drawn: Drawn
    points: Sequence[Row]
    x: Spec
    y: Spec


def _panel(drawn: Drawn, line: Name, changes: Sequence[Mark], *, first: bool, last: bool) -> Spec:
    low, high = drawn.heights
    y = along(
        "y:Q",
        drawn.title,
        {"domain": [low, high], "nice": False},
        grid=False,
        tickCount=5,
        format="%" if drawn.share else "~g",
        titleLimit=150,
    )
    panel = _Panel(drawn, drawn.rows[line], _days_axis(drawn, labels=last), y)
    rules, batches = _rules(panel, legend=last), _batches(panel, legend=first)
    moved = next((row for row in drawn.steps.get(line, ()) if row["clear"]), None)
    alone = line in (NO_LINE, ONE_LINE) and len(drawn.rows) == 1
    title = "All batches" if alone else line_title(line)
    if moved is not None:
        title += f": {step_words(drawn, moved)}"
    band = [] if moved is None else _band(panel, moved)
    return {
        "title": heading(title, anchor="start", fontWeight=600, limit=600),
        "layer": [*band, rules, batches, *_changes(panel, changes)],
        "resolve": _OWN,
    }


def _days_axis(drawn: Drawn, *, labels: bool) -> Spec:
    ticks, written = _ticks(*drawn.days)
    words = f"utcFormat(datum.value, '{written}')"
    if drawn.numbered:
        words = f"format(datum.value / {DAY}, 'd')"
    return along(
        "at:Q",  # milliseconds: the browser's chart library reads a temporal domain otherwise
        "batches in their order" if drawn.numbered and labels else None,
        {"domain": list(drawn.days), "nice": False},
        values=ticks,
        labelExpr=words,
        grid=False,
        labels=labels,
        labelOverlap=True,
    )


def _ticks(first: float, last: float) -> tuple[list[float], str]:
    """Days to be named: firsts of months over a longer time, else days."""
    span = (last - first) / DAY
    if span <= 75:
        step = max(1, round(span / _TICKS))
        start = int(first // DAY) + 1
        return [day * DAY for day in range(start, int(last // DAY) + 1, step)], "%-d %b"
    step = max(1, round(span / 30.4 / _TICKS))
    at, ticks = datetime.fromtimestamp(first / 1000, UTC), []
    month = at.year * 12 + at.month  # the first of the following one
    while (tick := datetime(month // 12, month % 12 + 1, 1, tzinfo=UTC).timestamp() * 1000) <= last:
        ticks.append(tick)
        month += step
    return ticks, "%b %Y"


def _rules(panel: _Panel, *, legend: bool) -> Spec:
    """Usual level and range, weighted mean, the reference itself, the agreed limit."""
    drawn = panel.drawn
    looks: dict[str, Look] = {
        drawn.agreed: (ORANGE, LONG),
        _RANGE: (GREY, SHORT),
        _LEVEL: (GREY, SOLID),
        _MEAN: (GREEN, SOLID),
        drawn.origin_words: (SKY, [5, 2]),
    }
    straight = [("origin", drawn.origin_words, drawn.origin)]
    straight += [(f"agreed {at}", drawn.agreed, at) for at in drawn.limits]
    ends = [
        {"at": at, "y": height, "what": what, "part": part}
        for part, what, height in straight
        for at in drawn.days
    ]
    usual = _over_time(panel, {"lower": _RANGE, "upper": _RANGE})
    means = _over_time(panel, {"centre": _LEVEL, "ewma": _MEAN})
    met = {row["what"] for row in (*ends, *usual, *means)}
    ways = told_apart(
        "what",
        {name: look for name, look in looks.items() if name in met},
        _legend("bottom") if legend else None,
    )
    where = {"x": panel.x, "y": panel.y, "detail": column("part:N"), **ways}
    layers = [marks("line", [*ends, *means], where, strokeWidth=1.8, clip=True)]
    if usual:
        look = {"interpolate": "step", "strokeWidth": 1.2, "clip": True}
        layers.append(marks("line", usual, where, **look))
    return {"layer": layers}


def _over_time(panel: _Panel, columns: dict[str, str]) -> list[dict[str, object]]:
    """The finite values of these columns, each with what it is."""
    return [
        {"at": row["at"], "part": part, "y": row[part], "what": what}
        for part, what in columns.items()
        for row in panel.points
        if isfinite(row[part])
    ]


def _legend(orient: Literal["top", "bottom"]) -> Spec:
    return legend(
        orient=orient, direction="horizontal", labelFontSize=12, labelLimit=260, symbolSize=120
    )


def _batches(panel: _Panel, *, legend: bool) -> Spec:
    """A point a batch with its own limits; what stands out has another shape and its number."""
    named = set(_spread(panel.points))
    usual, odd = f"batch, with its own {percent(panel.drawn.level)} limits", "signal"
    rows = [
        {
            "at": row["at"],
            "y": row["value"],
            "low": row["low"],
            "high": row["high"],
            "batch": str(row["batch"]),
            "shows": row["signals"] or "nothing unusual",
            "state": odd if by_itself(row["signals"]) else usual,
            "label": clipped(str(row["batch"]), _LABEL) if at in named else "",
            "side": "above" if row["value"] >= row["centre"] else "below",
        }
        for at, row in enumerate(panel.points)
    ]
    looks: dict[str, Look] = {
        usual: (BLUE, "circle"),
        odd: (ORANGE, "triangle-up"),
    }
    ways = told_apart("state", looks, _legend("top") if legend else None, "shape")
    opacity, size = (0.22, 30) if len(rows) > _DENSE else (0.45, 56)
    tooltip = [
        column("batch:N"),
        column("at:T", title="made on", format="%Y-%m-%d"),
        column("y:Q", title="value", format=".3g"),
        column("shows:N"),
    ]
    limits = {"x": panel.x, "y": column("low:Q"), "y2": column("high")}
    point = {"x": panel.x, "y": panel.y, "tooltip": tooltip, **ways}
    layers = [
        marks("rule", rows, limits, color=BLUE, opacity=opacity, clip=True),
        marks("point", rows, point, filled=True, opacity=1, size=size),
    ]
    for side, end, dy in (("above", "high", -7), ("below", "low", 8)):
        where = {"x": panel.x, "y": column(f"{end}:Q"), "text": column("label:N")}
        if labelled := [row for row in rows if row["label"] and row["side"] == side]:
            layers.append(marks("text", labelled, where, color=GREY, fontSize=11, dy=dy))
    return {"layer": layers}


def _spread(rows: Sequence[Row]) -> Iterator[int]:
    """Places of the batches that get their number: those that stand out, with room between.

    Points beyond the limits of the chart come first, then the others in the order of time.
    """
    room = 0.1 * max(max(row["at"] for row in rows) - min(row["at"] for row in rows), 1.0)
    odd = [place for place, row in enumerate(rows) if by_itself(row["signals"])]
    taken: list[float] = []
    for place in sorted(odd, key=lambda place: not _outside(rows[place])):
        at = rows[place]["at"]
        if len(taken) < _NAMED and all(abs(at - other) >= room for other in taken):
            taken.append(at)
            yield place


def _outside(row: Row) -> bool:
    return bool(row["value"] > row["upper"] or row["value"] < row["lower"])


def _band(panel: _Panel, moved: Row) -> list[Spec]:
    """Where the step lies, with its interval: from the batch before its first possible place."""
    at, batches = [[row[name] for row in panel.points] for name in ("at", "batch")]
    left = at[max(batches.index(moved["first"]) - 1, 0)]
    right = at[batches.index(moved["last"])]
    if right - left > _WIDEST * (max(at) - min(at)):
        return []  # it would say no more than that there was a change; the title says which
    rows = [{"at": left, "to": right, "middle": (left + right) / 2, "text": "change"}]
    word = {"x": column("middle:Q"), "y": {"value": "height"}, "text": column("text:N")}
    return [
        marks("rect", rows, {"x": panel.x, "x2": column("to")}, color=AMBER, opacity=0.3),
        marks("text", rows, word, color=GREY, fontSize=11, baseline="bottom", dy=-3),
    ]


def _changes(panel: _Panel, changes: Sequence[Mark]) -> list[Spec]:
    """A dotted line and its name where the reference changed, a small mark where a lot did."""
    at = {str(row["batch"]): row["at"] for row in panel.points}
    told: dict[tuple[str, str], list[str]] = {}
    for mark in changes:
        if mark.batch in at:
            told.setdefault((mark.batch, mark.what), []).append(mark.words)
    there = [
        {"at": at[batch], "text": "; ".join(words), "what": what}
        for (batch, what), words in told.items()
    ]
    references = [row for row in there if row["what"] == REFERENCE]
    lots = [row for row in there if row["what"] == LOT]
    tip = [column("text:N", title="changed")]
    layers: list[Spec] = []
    if references:
        name = {"x": panel.x, "y": {"value": 0}, "text": column("text:N")}
        line = {"x": panel.x, "tooltip": tip}
        layers += [
            marks("rule", references, line, color=GREY, strokeDash=SHORT, size=1.5),
            marks("text", references, name, color=GREY, fontSize=11, align="left", dx=4, dy=8),
        ]
    if lots:
        foot = {"x": panel.x, "y": {"value": "height"}, "tooltip": tip}
        look = {"shape": "triangle-up", "filled": True, "size": 45, "opacity": 1, "yOffset": -5}
        layers.append(marks("point", lots, foot, color=GREY, **look))
    return layers


def _day(at: float) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).date().isoformat()

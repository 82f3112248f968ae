"""Charts of the release of batches: batches over time, and what the rule does to them.

Each line of production has a panel of its own, all with the same axes. What stands out has
another shape and its number beside it, so that the chart reads without its colours.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Literal, NamedTuple

import altair as alt
import numpy as np
import pandas as pd

from ..base.arrays import Name, Row
from ..base.errors import ArgumentError
from ..release.batch_trend import NO_LINE, ProductTrend, line_title
from ..release.rule import ReleaseRule
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
    along,
    chance_curves,
    dressed,
    legend,
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

_OWN: dict[str, Literal["independent"]] = dict.fromkeys(
    ("color", "shape", "strokeDash"), "independent"
)

Layer = alt.LayerChart | alt.FacetChart
Kept = dict[str, Sequence[Mapping[str, object]] | Sequence[Row]]
"""The rows of a chart by name: charts are copied whole while they are put together, and rows
inside them made that slow."""


def trend_figure(
    trend: ProductTrend,
    width: int = 640,
    *,
    height: int | None = None,
    most: int | None = None,
) -> alt.VConcatChart | None:
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
    kept: Kept = {}
    panels = [
        _panel(drawn, line, kept, first=line == lines[0], last=line == lines[-1]).properties(
            width=width, height=tall
        )
        for line in lines
    ]
    chart = dressed(alt.vconcat(*panels, spacing=12).resolve_scale(**_OWN), framed=True)
    chart.datasets = kept
    return chart


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
) -> alt.LayerChart | None:
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
    curves = {
        name: (chances, look)
        for name, chances, look in (
            ("release recommended", does.passes, (GREEN, SOLID)),
            ("held", does.holds, (GREY, SHORT)),
            ("rejected or reworked", does.rejects, (ORANGE, LONG)),
        )
        if chances.max() > 0
    }
    rows = [
        {"truth": float(truth), "chance": float(chance), "what": name}
        for name, (chances, _) in curves.items()
        for truth, chance in zip(does.truths, chances, strict=True)
    ]
    title = "share of people who truly notice"
    x = along(
        alt.X,
        "truth:Q",
        title if share else "true difference beyond the blind control, points",
        {"domain": [0, far], "nice": False},
        format="%" if share else "~g",
        grid=False,
        tickCount=6,
    )
    looks = {name: look for name, (_, look) in curves.items()}
    words = f"agreed limit {percent(limit) if share else f'{limit:g} points'}"
    side, dx = ("right", -6) if share and limit > 0.5 else ("left", 6)
    chart = alt.layer(
        chance_curves(rows, looks, x, _legend("top")),
        *upright("truth", [limit], words, y=height / 2, align=side, dx=dx),
    )
    return dressed(chart, width=width, height=height)


class _Panel(NamedTuple):
    """Batches of one line, and what all its layers share."""

    drawn: Drawn
    points: pd.DataFrame
    kept: Kept
    x: alt.X
    y: alt.Y

    def rows(self, rows: Sequence[Mapping[str, object]] | Sequence[Row]) -> alt.Chart:
        name = f"rows {len(self.kept) + 1}"
        self.kept[name] = rows
        return alt.Chart(alt.NamedData(name))


def _panel(drawn: Drawn, line: Name, kept: Kept, *, first: bool, last: bool) -> Layer:
    low, high = drawn.heights
    y = along(
        alt.Y,
        "y:Q",
        drawn.title,
        {"domain": [low, high], "nice": False},
        grid=False,
        tickCount=5,
        format="%" if drawn.share else "~g",
        titleLimit=150,
    )
    points = drawn.points[drawn.points["line"] == line].reset_index(drop=True)
    panel = _Panel(drawn, points, kept, _days_axis(drawn, labels=last), y)
    rules, batches = _rules(panel, legend=last), _batches(panel, legend=first)
    changes = drawn.change[drawn.change["line"] == line].to_dict("records")
    moved = next((row for row in changes if row["clear"]), None)
    alone = line == NO_LINE and drawn.points["line"].nunique() == 1
    title = "All batches" if alone else line_title(line)
    if moved is not None:
        title += f": {step_words(drawn, moved)}"
    heading = alt.TitleParams(
        text=title, anchor="start", color=GREY, fontSize=12, fontWeight=600, limit=600
    )
    band = [] if moved is None else _band(panel, moved)
    return alt.layer(*band, rules, batches).resolve_scale(**_OWN).properties(title=heading)


def _days_axis(drawn: Drawn, *, labels: bool) -> alt.X:
    ticks, written = _ticks(*drawn.days)
    return along(
        alt.X,
        "at:Q",  # milliseconds: the browser's chart library reads a temporal domain otherwise
        None,
        {"domain": list(drawn.days), "nice": False},
        values=ticks,
        labelExpr=f"utcFormat(datum.value, '{written}')",
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


def _rules(panel: _Panel, *, legend: bool) -> Layer:
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
    columns = {"lower": _RANGE, "upper": _RANGE, "centre": _LEVEL, "ewma": _MEAN}
    steps = panel.points.melt("at", list(columns), "part", "y")
    steps = steps[np.isfinite(steps["y"])].assign(what=lambda rows: rows["part"].map(columns))
    usual = steps["what"] == _RANGE
    met = {drawn.origin_words, *(row["what"] for row in ends), *steps["what"]}
    ways = told_apart(
        "what",
        {name: look for name, look in looks.items() if name in met},
        _legend("bottom") if legend else None,
    )
    smooth, stepped = [*ends, *steps[~usual].to_dict("records")], steps[usual].to_dict("records")
    marks = [panel.rows(smooth).mark_line(strokeWidth=1.8, clip=True)]
    if stepped:
        line = panel.rows(stepped)
        marks.append(line.mark_line(interpolate="step", strokeWidth=1.2, clip=True))
    return alt.layer(
        *(mark.encode(x=panel.x, y=panel.y, detail="part:N", **ways) for mark in marks)
    )


def _legend(orient: Literal["top", "bottom"]) -> alt.Legend:
    return legend(
        orient=orient, direction="horizontal", labelFontSize=12, labelLimit=260, symbolSize=120
    )


def _batches(panel: _Panel, *, legend: bool) -> Layer:
    """A point a batch with its own limits; what stands out has another shape and its number."""
    named = set(_spread(panel.points))
    usual, odd = f"batch, with its own {percent(panel.drawn.level)} limits", "stands out"
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
        for at, row in enumerate(panel.points.to_dict("records"))
    ]
    looks: dict[str, Look] = {
        usual: (BLUE, "circle"),
        odd: (ORANGE, "triangle-up"),
    }
    ways = told_apart("state", looks, _legend("top") if legend else None, "shape")
    opacity, size = (0.22, 30) if len(rows) > _DENSE else (0.45, 56)
    base = panel.rows(rows)
    tooltip = [
        alt.Tooltip("batch:N"),
        alt.Tooltip("at:T", title="made on", format="%Y-%m-%d"),
        alt.Tooltip("y:Q", title="value", format=".3g"),
        alt.Tooltip("shows:N"),
    ]
    bar = base.mark_rule(color=BLUE, opacity=opacity, clip=True)
    point = base.mark_point(filled=True, opacity=1, size=size)
    words = (
        base.transform_filter(f"datum.side == '{side}'")
        .mark_text(color=GREY, fontSize=11, dy=dy)
        .encode(x=panel.x, y=f"{end}:Q", text="label:N")
        for side, end, dy in (("above", "high", -7), ("below", "low", 8))
    )
    return alt.layer(
        bar.encode(x=panel.x, y=alt.Y("low:Q"), y2="high:Q"),
        point.encode(x=panel.x, y=panel.y, tooltip=tooltip, **ways),
        *words,
    )


def _spread(rows: pd.DataFrame) -> Iterator[int]:
    """Places of the batches that get their number: those that stand out, with room between.

    Points beyond the limits of the chart come first, then the others in the order of time.
    """
    room = 0.1 * float(max(rows["at"].max() - rows["at"].min(), 1.0))
    outside = (rows["value"] > rows["upper"]) | (rows["value"] < rows["lower"])
    odd = rows["signals"].map(by_itself)
    taken: list[float] = []
    for place in [*np.flatnonzero(odd & outside), *np.flatnonzero(odd & ~outside)]:
        at = float(rows["at"][place])
        if len(taken) < _NAMED and all(abs(at - other) >= room for other in taken):
            taken.append(at)
            yield int(place)


def _band(panel: _Panel, moved: Row) -> list[alt.Chart]:
    """Where the step lies, with its interval: from the batch before its first possible place."""
    at, batches = panel.points["at"], list(panel.points["batch"])
    left = float(at[max(batches.index(moved["first"]) - 1, 0)])
    right = float(at[batches.index(moved["last"])])
    if right - left > _WIDEST * float(at.max() - at.min()):
        return []  # it would say no more than that there was a change; the title says which
    row = {"at": left, "to": right, "middle": (left + right) / 2, "text": "change"}
    base = panel.rows([row])
    word = base.mark_text(color=GREY, fontSize=11, baseline="bottom", dy=-3)
    return [
        base.mark_rect(color=AMBER, opacity=0.3).encode(x=panel.x, x2="to:Q"),
        word.encode(x=alt.X("middle:Q"), y=alt.value("height"), text="text:N"),
    ]


def _day(at: float) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).date().isoformat()

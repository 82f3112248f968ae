"""Charts of the release of batches: batches over time, and what the rule does to them.

Each line of production has a panel of its own, all with the same axes. What stands out has
another shape and its number beside it, so that the chart reads without its colours.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any, Literal

import altair as alt
import numpy as np
import pandas as pd

from ..base.arrays import Name, Row
from ..base.errors import ArgumentError
from ..release.batch_trend import NO_LINE, ProductTrend, line_title
from ..release.rule import ReleaseRule
from ..release.trend_words import batch_count, by_itself
from .figure_parts import BLUE, FONT, GREY, ORANGE, PALETTE, axis, values
from .trend_drawn import DAY, Drawn, drawn_trend, lines_shown, step_words, trend_sentences
from .words import clipped, percent

_GREEN, _SKY = PALETTE[2], PALETTE[4]
_MEAN, _LEVEL, _RANGE = "weighted mean of the latest", "usual level", "usual range"
_TICKS = 7
_LABEL, _NAMED = 12, 6
"""Letters of a number beside a batch, and how many batches of a panel have it; the rest is in
the table."""
_WIDEST = 0.4  # of the time shown, that the place of a change may take to be drawn
_DENSE = 60
"""Batches of a line from which their own limits are drawn fainter and the points smaller."""

Layer = alt.LayerChart | alt.FacetChart
Kept = dict[str, list[dict[str, object]]]
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

    Parameters
    ----------
    width : int
        Pixels of a panel.
    height : int, optional
        Pixels of a panel; fewer where there are many lines, if not given.
    most : int, optional
        Panels at the most; lines in which something shows come before the others.

    Returns
    -------
    VConcatChart or None
        None where there are too few batches for a chart.

    Notes
    -----
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
    chart = alt.vconcat(*panels, spacing=12).resolve_scale(
        color="independent", shape="independent", strokeDash="independent"
    )
    chart = chart.configure(font=FONT).configure_view(stroke=GREY, strokeOpacity=0.3)
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
    limit = rule.limit or 0.0
    far = min(1.0, max(0.5, 2.5 * limit)) if rule.protocol else 2 * limit
    try:
        chances_of = rule.characteristic(np.linspace(0.0, far, 81))
    except ArgumentError:
        return None
    what = {
        "release recommended": (chances_of.passes, _GREEN, [1, 0]),
        "held": (chances_of.holds, GREY, [2, 3]),
        "rejected or reworked": (chances_of.rejects, ORANGE, [8, 4]),
    }
    names = [name for name, (chances, _, _) in what.items() if chances.max() > 0]
    rows = [
        {"truth": float(truth), "chance": float(chance), "what": name}
        for name in names
        for truth, chance in zip(chances_of.truths, what[name][0], strict=True)
    ]
    ways = _scales("what", {name: (what[name][1], what[name][2]) for name in names}, "top")
    share = rule.protocol is not None
    x = alt.X(
        "truth:Q",
        title="share of people who truly notice"
        if share
        else "true difference beyond the blind control, points",
        scale=alt.Scale(domain=[0, far], nice=False),
        axis=axis(format="%" if share else "~g", grid=False, tickCount=6),
    )
    y = alt.Y(
        "chance:Q",
        title="chance",
        scale=alt.Scale(domain=[0, 1]),
        axis=axis(format="%", tickCount=5, grid=False),
    )
    curves = alt.Chart(values(rows)).mark_line(strokeWidth=3).encode(x=x, y=y, **ways)
    chart = alt.layer(curves, *_agreed_mark(rule, height)).properties(width=width, height=height)
    return chart.configure(font=FONT).configure_view(stroke=None)


def _agreed_mark(rule: ReleaseRule, height: int) -> tuple[alt.Chart, alt.Chart]:
    limit = float(rule.limit or 0.0)
    text = percent(limit) if rule.protocol else f"{limit:g} points"
    data = values([{"truth": limit, "text": f"agreed limit {text}"}])
    mark = alt.Chart(data).mark_rule(color=GREY, strokeDash=[8, 4], size=2).encode(x="truth:Q")
    right = rule.protocol is not None and limit > 0.5
    words = alt.Chart(data).mark_text(
        align="right" if right else "left", dx=-6 if right else 6, color=GREY, fontSize=12
    )
    return mark, words.encode(x="truth:Q", y=alt.value(height / 2), text="text:N")


def _panel(drawn: Drawn, line: Name, kept: Kept, *, first: bool, last: bool) -> Layer:
    points = drawn.points[drawn.points["line"] == line]
    change = drawn.change[drawn.change["line"] == line].to_dict("records")
    moved = next((row for row in change if row["clear"]), None)
    x = _days_axis(drawn, labels=last)
    low, high = drawn.heights
    y = alt.Y(
        "y:Q",
        title=drawn.title,
        scale=alt.Scale(domain=[low, high], nice=False),
        axis=axis(grid=False, tickCount=5, format="%" if drawn.share else "~g", titleLimit=150),
    )
    rules = _rules(drawn, points, kept, x, y, last)
    batches = _batches(drawn, points, kept, x, y, first)
    alone = line == NO_LINE and drawn.points["line"].nunique() == 1
    title = "All batches" if alone else line_title(line)
    title = title if moved is None else f"{title}: {step_words(drawn, moved)}"
    layers: list[Layer | alt.Chart] = [
        *([] if moved is None else _band(points, moved, kept, x)),
        rules,
        batches,
    ]
    return (
        alt.layer(*layers)
        .resolve_scale(color="independent", strokeDash="independent", shape="independent")
        .properties(
            title=alt.TitleParams(
                text=title, anchor="start", color=GREY, fontSize=12, fontWeight=600, limit=600
            )
        )
    )


def _named(kept: Kept, rows: list[dict[str, object]]) -> alt.NamedData:
    name = f"rows {len(kept) + 1}"
    kept[name] = rows
    return alt.NamedData(name)


def _days_axis(drawn: Drawn, *, labels: bool) -> alt.X:
    first, last = drawn.days
    ticks, written = _ticks(first, last)
    return alt.X(
        "at:Q",  # milliseconds: the browser's chart library reads a temporal domain otherwise
        title=None,
        scale=alt.Scale(domain=[first, last], nice=False),
        axis=axis(
            values=ticks,
            labelExpr=f"utcFormat(datum.value, '{written}')",
            grid=False,
            labels=labels,
            labelOverlap=True,
        ),
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


def _rules(
    drawn: Drawn, points: pd.DataFrame, kept: Kept, x: alt.X, y: alt.Y, legend: bool
) -> Layer:
    """Usual level and range, weighted mean, the reference itself, the agreed limit."""
    first, last = drawn.days
    looks: dict[str, tuple[str, list[int]]] = {
        drawn.agreed: (ORANGE, [8, 4]),
        _RANGE: (GREY, [2, 3]),
        _LEVEL: (GREY, [1, 0]),
        _MEAN: (_GREEN, [1, 0]),
        drawn.origin_words: (_SKY, [5, 2]),
    }
    straight = [("origin", drawn.origin_words, drawn.origin)]
    straight += [(f"agreed {at}", drawn.agreed, at) for at in drawn.limits]
    rows = [
        {"at": at, "y": height, "what": what, "part": part}
        for part, what, height in straight
        for at in (first, last)
    ]
    columns = (("lower", _RANGE), ("upper", _RANGE), ("centre", _LEVEL), ("ewma", _MEAN))
    steps = [
        {"at": row["at"], "y": row[column], "what": what, "part": column}
        for column, what in columns
        for row in points.to_dict("records")
        if np.isfinite(row[column])
    ]
    there = {row["what"] for row in (*rows, *steps)}
    ways = _scales("what", {name: look for name, look in looks.items() if name in there}, legend)
    smooth = [row for row in (*rows, *steps) if row["what"] != _RANGE]
    stepped = [row for row in steps if row["what"] == _RANGE]
    marks = [alt.Chart(_named(kept, smooth)).mark_line(strokeWidth=1.8, clip=True)]
    if stepped:
        chart = alt.Chart(_named(kept, stepped))
        marks.append(chart.mark_line(interpolate="step", strokeWidth=1.2, clip=True))
    return alt.layer(*(mark.encode(x=x, y=y, detail="part:N", **ways) for mark in marks))


def _scales(
    name: str, looks: Mapping[str, tuple[str, list[int]]], legend: bool | Literal["top"]
) -> dict[str, Any]:
    """Colour and dash of named lines, with one legend for both."""
    names = list(looks)
    shown = _legend("top" if legend == "top" else "bottom") if legend else None
    colour = alt.Scale(domain=names, range=[look[0] for look in looks.values()])
    dash = alt.Scale(domain=names, range=[look[1] for look in looks.values()])
    return {
        "color": alt.Color(f"{name}:N", sort=names, title=None, scale=colour, legend=shown),
        "strokeDash": alt.StrokeDash(f"{name}:N", sort=names, title=None, scale=dash, legend=shown),
    }


def _legend(orient: Literal["top", "bottom"]) -> alt.Legend:
    return alt.Legend(
        title=None,
        orient=orient,
        direction="horizontal",
        labelColor=GREY,
        labelFontSize=12,
        labelLimit=260,
        symbolSize=120,
    )


def _batches(
    drawn: Drawn, points: pd.DataFrame, kept: Kept, x: alt.X, y: alt.Y, legend: bool
) -> Layer:
    """A point a batch with its own limits; what stands out has another shape and its number."""
    named = set(_spread(points))
    usual, odd = f"batch, with its own {percent(drawn.level)} limits", "stands out"
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
        for at, row in enumerate(points.to_dict("records"))
    ]
    looks = {usual: (BLUE, "circle"), odd: (ORANGE, "triangle-up")}
    shown = _legend("top") if legend else None
    ways: dict[str, Any] = {}
    for channel, kind, of in (("color", alt.Color, 0), ("shape", alt.Shape, 1)):
        scale = alt.Scale(domain=list(looks), range=[look[of] for look in looks.values()])
        ways[channel] = kind("state:N", sort=list(looks), title=None, scale=scale, legend=shown)
    dense = len(rows) > _DENSE
    size = 30 if dense else 56
    base = alt.Chart(_named(kept, rows))
    tooltip = [
        alt.Tooltip("batch:N"),
        alt.Tooltip("at:T", title="made on", format="%Y-%m-%d"),
        alt.Tooltip("y:Q", title="value", format=".3g"),
        alt.Tooltip("shows:N"),
    ]
    bar = base.mark_rule(color=BLUE, opacity=0.22 if dense else 0.45, clip=True).encode(
        x=x, y=alt.Y("low:Q"), y2="high:Q"
    )
    point = base.mark_point(filled=True, opacity=1, size=size).encode(
        x=x, y=y, tooltip=tooltip, **ways
    )
    words = (
        base.transform_filter(f"datum.side == '{side}'")
        .mark_text(color=GREY, fontSize=11, dy=dy)
        .encode(x=x, y=f"{end}:Q", text="label:N")
        for side, end, dy in (("above", "high", -7), ("below", "low", 8))
    )
    return alt.layer(bar, point, *words)


def _spread(points: pd.DataFrame) -> Iterator[int]:
    """Places of the batches that get their number: those that stand out, with room between.

    Points beyond the limits of the chart come first, then the others in the order of time.
    """
    rows = points.reset_index(drop=True)
    room = 0.1 * float(max(rows["at"].max() - rows["at"].min(), 1.0))
    outside = (rows["value"] > rows["upper"]) | (rows["value"] < rows["lower"])
    told = rows["signals"].map(by_itself)
    taken: list[float] = []
    for place in [*np.flatnonzero(told & outside), *np.flatnonzero(told & ~outside)]:
        at = float(rows["at"][place])
        if len(taken) < _NAMED and all(abs(at - other) >= room for other in taken):
            taken.append(at)
            yield int(place)


def _band(points: pd.DataFrame, moved: Row, kept: Kept, x: alt.X) -> list[alt.Chart]:
    """Where the step lies, with its interval: from the batch before its first possible place."""
    numbered = points.reset_index(drop=True)
    places = {batch: place for place, batch in enumerate(numbered["batch"])}
    first, last = places[moved["first"]], places[moved["last"]]
    left, right = float(numbered["at"][max(first - 1, 0)]), float(numbered["at"][last])
    if right - left > _WIDEST * float(numbered["at"].max() - numbered["at"].min()):
        return []  # it would say no more than that there was a change; the title says which
    data = _named(kept, [{"at": left, "to": right, "middle": (left + right) / 2, "text": "change"}])
    band = alt.Chart(data).mark_rect(color=PALETTE[5], opacity=0.3)
    word = alt.Chart(data).mark_text(color=GREY, fontSize=11, baseline="bottom", dy=-3)
    return [
        band.encode(x=x, x2="to:Q"),
        word.encode(x=alt.X("middle:Q"), y=alt.value("height"), text="text:N"),
    ]


def _day(at: float) -> str:
    return datetime.fromtimestamp(at / 1000, UTC).date().isoformat()

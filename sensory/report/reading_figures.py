"""The chart of a reading: estimates with their limits, and what was agreed."""

from __future__ import annotations

import math
from typing import Any

import altair as alt

from ..decisions.reading import Reading, Span
from .figure_parts import BLUE, FONT, GREY, ORANGE, axis, values

_ROW = 34


def reading_figure(reading: Reading, width: int | str = "container") -> alt.LayerChart:
    """One row an estimate: point, limits, zero line, and a tick at each agreed margin."""
    low, high = _range(reading.spans)
    rows = [span.label for span in reading.spans]
    y = alt.Y("row:N", sort=rows, title=None, axis=axis(ticks=False, domain=False, labelLimit=260))
    x = alt.X(
        "low:Q",
        title=reading.axis,
        scale=alt.Scale(domain=[low, high], nice=False, clamp=True),
        axis=axis(grid=False, tickCount=8),
    )
    spans = [
        {
            "row": span.label,
            "low": max(span.limits.low, low),
            "high": min(span.limits.high, high),
            "estimate": min(max(span.estimate, low), high),
        }
        for span in reading.spans
    ]
    margins = [
        {"row": span.label, "at": side * span.margin}
        for span in reading.spans
        if span.margin is not None
        for side in (-1, 1)
        if low <= side * span.margin <= high
    ]
    rule = alt.Chart(values(spans)).mark_rule(color=BLUE, size=3)
    point = alt.Chart(values(spans)).mark_point(
        color=BLUE, size=110, filled=True, shape="circle", opacity=1
    )
    zero = alt.Chart(values([{"at": 0.0}])).mark_rule(color=GREY, strokeDash=[2, 3], size=2)
    layers: list[Any] = [
        zero.encode(x="at:Q"),
        rule.encode(x=x, x2="high:Q", y=y),
        point.encode(x="estimate:Q", y=y),
    ]
    if margins:
        tick = alt.Chart(values(margins)).mark_tick(color=ORANGE, thickness=3, size=26)
        layers.append(tick.encode(x="at:Q", y=y))
    height = 40 + _ROW * len(rows)
    chart: Any = alt.layer(*layers).properties(width=width, height=height)
    return chart.configure(font=FONT).configure_view(stroke=None)


def _range(spans: tuple[Span, ...]) -> tuple[float, float]:
    """From the lowest to the highest finite mark, zero and margins included, with air."""
    marks = [0.0]
    for span in spans:
        margin = span.margin or 0.0
        marks += [span.estimate, span.limits.low, span.limits.high, margin, -margin]
    finite = [mark for mark in marks if math.isfinite(mark)]
    low, high = min(finite), max(finite)
    low, high = (low - 1, high + 1) if low == high else (low, high)
    if any(math.isinf(mark) for mark in marks):
        high = high + 0.5 * (high - low)
    air = 0.06 * (high - low)
    return low - air, high + air

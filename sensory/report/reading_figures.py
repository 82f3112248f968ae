"""The chart of a reading: estimates with their limits, and what was agreed."""

from __future__ import annotations

import math
from typing import Any

import altair as alt

from ..catalogue.reading import Reading
from ..ratings.sample_map import SampleMap
from .figure_parts import BLUE, FONT, GREY, ORANGE, PALETTE, axis, values
from .words import percent

_ROW = 34


def reading_figure(reading: Reading, width: int | str = "container") -> alt.LayerChart:
    """One row an estimate: point, limits, zero line, and a tick at each agreed margin."""
    low, high = _range(reading)
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
            "state": "beyond the chart" if not low <= span.estimate <= high else "estimate",
        }
        for span in reading.spans
    ]
    margins = [
        {"row": span.label, "at": side * span.margin}
        for span in reading.spans
        if span.margin is not None
        for side in ((-1, 1) if span.two_sided else (1,))
        if low <= side * span.margin <= high
    ]
    rule = alt.Chart(values(spans)).mark_rule(color=BLUE, size=3)
    point = alt.Chart(values(spans)).mark_point(color=BLUE, size=110, filled=True, opacity=1)
    states = ["estimate", "beyond the chart"]
    beyond = any(row["state"] == states[1] for row in spans)
    shape = alt.Shape(
        "state:N",
        scale=alt.Scale(domain=states, range=["circle", "triangle-right"]),
        legend=alt.Legend(title=None, orient="top", labelColor=GREY) if beyond else None,
    )
    zero = alt.Chart(values([{"at": reading.origin}])).mark_rule(
        color=GREY, strokeDash=[2, 3], size=2
    )
    layers: list[Any] = [
        *([] if reading.origin is None else [zero.encode(x="at:Q")]),
        rule.encode(x=x, x2="high:Q", y=y),
        point.encode(x="estimate:Q", y=y, shape=shape),
    ]
    if margins:
        tick = alt.Chart(values(margins)).mark_tick(color=ORANGE, thickness=3, size=26)
        layers.append(tick.encode(x="at:Q", y=y))
    height = 40 + _ROW * len(rows)
    chart: Any = alt.layer(*layers).properties(width=width, height=height)
    return chart.configure(font=FONT).configure_view(stroke=None)


def profile_figure(reading: Reading, width: int | str = "container") -> alt.LayerChart:
    """Mean of each sample in each attribute with its limits; samples by colour and shape."""
    attributes = list(dict.fromkeys(one.attribute for one in reading.means))
    samples = list(dict.fromkeys(one.sample for one in reading.means))
    rows = [
        {
            "attribute": one.attribute,
            "sample": one.sample,
            "mean": one.estimate,
            "low": one.limits.low,
            "high": one.limits.high,
        }
        for one in reading.means
    ]
    y = alt.Y(
        "attribute:N",
        sort=attributes,
        title=None,
        axis=axis(ticks=False, domain=False, labelLimit=260, grid=True),
    )
    offset = alt.YOffset("sample:N", sort=samples)
    legend = alt.Legend(labelColor=GREY, orient="top", labelFontSize=12)
    colour = alt.Color(
        "sample:N", sort=samples, title=None, scale=alt.Scale(range=list(PALETTE)), legend=legend
    )
    base = alt.Chart(values(rows))
    rule = base.mark_rule(size=2).encode(
        x=alt.X(
            "low:Q",
            title=f"mean score with {percent(reading.means[0].limits.level)} limits",
            scale=alt.Scale(zero=False),
            axis=axis(grid=False),
        ),
        x2="high:Q",
        y=y,
        yOffset=offset,
        color=colour,
    )
    point = base.mark_point(size=90, filled=True, opacity=1).encode(
        x="mean:Q",
        y=y,
        yOffset=offset,
        color=colour,
        shape=alt.Shape("sample:N", sort=samples, title=None, legend=legend),
    )
    height = len(attributes) * max(_ROW, 15 * len(samples) + 8)
    chart: Any = alt.layer(rule, point).properties(width=width, height=height)
    return chart.configure(font=FONT).configure_view(stroke=None)


def map_figure(places: SampleMap, size: int = 380) -> alt.LayerChart:
    """Samples on the first two axes with their regions; attributes as lines from the middle."""
    shares = [percent(float(share)) for share in places.share[:2]]
    outline = [
        {"sample": region.sample, "x": float(x), "y": float(y), "step": step}
        for region in places.regions
        for step, (x, y) in enumerate([*region.outline(), region.outline()[0]])
    ]
    middle = [
        {"sample": region.sample, "x": region.centre[0], "y": region.centre[1]}
        for region in places.regions
    ]
    reach = float(max(abs(region.outline()).max() for region in places.regions))
    lines = [
        {"attribute": name, "x": 0.0, "y": 0.0, "x2": reach * float(a), "y2": reach * float(b)}
        for name, a, b in zip(places.attributes, *places.loadings[:, :2].T, strict=True)
    ]
    scale = alt.Scale(domain=[-1.1 * reach, 1.1 * reach], nice=False)
    x = alt.X("x:Q", title=f"axis 1, {shares[0]}", scale=scale, axis=axis(grid=False))
    y = alt.Y("y:Q", title=f"axis 2, {shares[1]}", scale=scale, axis=axis(grid=False))
    colour = alt.Color(
        "sample:N",
        scale=alt.Scale(domain=list(places.samples), range=list(PALETTE)),
        legend=None,
    )
    arrows = alt.Chart(values(lines)).mark_rule(color=GREY, strokeDash=[2, 2])
    names = alt.Chart(values(lines)).mark_text(color=GREY, fontSize=11, dy=-6)
    region = alt.Chart(values(outline)).mark_line(strokeWidth=2)
    point = alt.Chart(values(middle)).mark_point(filled=True, size=70, opacity=1)
    label = alt.Chart(values(middle)).mark_text(fontSize=12, dy=-10, fontWeight="bold")
    chart: Any = alt.layer(
        arrows.encode(x=x, y=y, x2="x2:Q", y2="y2:Q"),
        names.encode(
            x=alt.X("x2:Q", scale=scale), y=alt.Y("y2:Q", scale=scale), text="attribute:N"
        ),
        region.encode(x=x, y=y, order="step:O", detail="sample:N", color=colour),
        point.encode(x=x, y=y, color=colour, shape=alt.Shape("sample:N", legend=None)),
        label.encode(x=x, y=y, text="sample:N", color=colour),
    ).properties(width=size, height=size)
    return chart.configure(font=FONT).configure_view(stroke=None)


def panel_figure(reading: Reading, across: int = 4) -> alt.FacetChart:
    """Small multiples: an attribute a panel, an assessor a row, agreement with the others.

    A flagged assessor has a hollow diamond instead of a dot.
    """
    rows = [
        {
            "assessor": one.assessor,
            "attribute": one.attribute,
            "r": one.agreement if math.isfinite(one.agreement) else None,
            "state": "flagged" if one.flags else "no flag",
        }
        for one in reading.panel
    ]
    states = ["no flag", "flagged"]
    points = (
        alt.Chart()
        .mark_point(size=70, opacity=1, strokeWidth=2)
        .encode(
            x=alt.X(
                "r:Q",
                title="agreement",
                scale=alt.Scale(domain=[-1, 1]),
                axis=axis(values=[-1, 0, 1], grid=True),
            ),
            y=alt.Y("assessor:N", title=None, axis=axis(ticks=False, domain=False, grid=True)),
            color=alt.Color(
                "state:N", scale=alt.Scale(domain=states, range=[BLUE, ORANGE]), legend=None
            ),
            shape=alt.Shape(
                "state:N",
                scale=alt.Scale(domain=states, range=["circle", "diamond"]),
                legend=alt.Legend(title=None, orient="top", labelColor=GREY),
            ),
        )
        .properties(width=120, height=alt.Step(16))
    )
    header = alt.Header(labelColor=GREY, labelFontSize=12, title=None)
    chart: Any = points.facet(
        facet=alt.Facet("attribute:N", header=header), columns=across, data=values(rows)
    )
    return chart.configure(font=FONT).configure_view(stroke=GREY, strokeOpacity=0.3)


def _range(reading: Reading) -> tuple[float, float]:
    """From the lowest to the highest finite mark, origin and margins included, with air."""
    marks = [] if reading.origin is None else [reading.origin]
    for span in reading.spans:
        marks += [span.estimate, span.limits.low, span.limits.high]
        marks += [] if span.margin is None else [span.margin]
        marks += [-span.margin] if span.margin is not None and span.two_sided else []
    finite = [mark for mark in marks if math.isfinite(mark)]
    low, high = min(finite), max(finite)
    low, high = (low - 1, high + 1) if low == high else (low, high)
    if any(math.isinf(mark) for mark in marks):
        high = high + 0.5 * (high - low)
    air = 0.06 * (high - low)
    return low - air, high + air

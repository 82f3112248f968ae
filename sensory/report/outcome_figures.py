"""The charts of an outcome: estimates with their limits, what was agreed, profile, map, panel."""

from __future__ import annotations

import math
from typing import Any

import altair as alt

from ..catalogue.outcome import Figure, Level, Outcome, Places, Span
from .figure_parts import BLUE, FONT, GREY, ORANGE, PALETTE, axis, values
from .words import percent

_ROW = 34


def outcome_figure(figure: Figure, width: int | str = "container") -> alt.LayerChart:
    """One row an estimate: point, limits, levels, and a tick at each agreed margin."""
    low, high = (0.0, 1.0) if figure.shares else _range(figure)
    names = [span.label for span in figure.spans]
    y = alt.Y("row:N", sort=names, title=None, axis=axis(ticks=False, domain=False, labelLimit=260))
    shown = {"format": "%", "tickCount": 11} if figure.shares else {"tickCount": 8}
    x = alt.X(
        "low:Q",
        title=figure.axis,
        scale=alt.Scale(domain=[low, high], nice=False, clamp=True),
        axis=axis(grid=False, **shown),
    )
    rows = [_row(span, low, high) for span in figure.spans]
    points = [row for row in rows if row["estimate"] is not None]
    states = ["estimate", "beyond the chart"]
    beyond = any(row["state"] == states[1] for row in points)
    shape = alt.Shape(
        "state:N",
        scale=alt.Scale(domain=states, range=["circle", "triangle-right"]),
        legend=alt.Legend(title=None, orient="top", labelColor=GREY) if beyond else None,
    )
    origin = [] if figure.origin is None else [Level(at=(figure.origin,), says="", agreed=False)]
    layers: list[Any] = [
        *(_level(level) for level in (*origin, *figure.levels)),
        alt.Chart(values(rows)).mark_rule(color=BLUE, size=3).encode(x=x, x2="high:Q", y=y),
        alt.Chart(values(points))
        .mark_point(color=BLUE, size=120, filled=True, opacity=1)
        .encode(x="estimate:Q", y=y, shape=shape),
    ]
    for marks, colour in ((_ends(figure), BLUE), (_margins(figure, low, high), ORANGE)):
        if marks:
            tick = alt.Chart(values(marks)).mark_tick(color=colour, thickness=4, size=26)
            layers.append(tick.encode(x="at:Q", y=y))
    height = 40 + _ROW * len(names) + (22 if figure.levels else 0)
    chart: Any = alt.layer(*layers).properties(width=width, height=height)
    return chart.configure(font=FONT).configure_view(stroke=None)


def _row(span: Span, low: float, high: float) -> dict[str, Any]:
    estimate = span.estimate
    return {
        "row": span.label,
        "low": max(span.limits.low, low),
        "high": min(span.limits.high, high),
        "estimate": None if estimate is None else min(max(estimate, low), high),
        "state": "estimate" if estimate is None or low <= estimate <= high else "beyond the chart",
    }


def _ends(figure: Figure) -> list[dict[str, Any]]:
    return [{"row": span.label, "at": end} for span in figure.spans for end in span.ends]


def _margins(figure: Figure, low: float, high: float) -> list[dict[str, Any]]:
    return [
        {"row": span.label, "at": side * span.margin}
        for span in figure.spans
        if span.margin is not None
        for side in ((-1, 1) if span.two_sided else (1,))
        if low <= side * span.margin <= high
    ]


def _level(level: Level) -> Any:
    """A line through all rows: dashed long and orange where it was agreed."""
    dash, colour = ([8, 4], ORANGE) if level.agreed else ([2, 3], GREY)
    rule = alt.Chart(values([{"at": at} for at in level.at])).mark_rule(
        color=colour, strokeDash=dash, size=2
    )
    if not level.says:
        return rule.encode(x="at:Q")
    align: Any = "left" if level.agreed else "right"
    words = alt.Chart(values([{"at": level.at[0], "text": level.says}])).mark_text(
        align=align, dx=5 if level.agreed else -5, dy=-8, color=GREY, fontSize=12
    )
    return rule.encode(x="at:Q") + words.encode(x="at:Q", y=alt.value(0), text="text:N")


def profile_figure(outcome: Outcome, width: int | str = "container") -> alt.LayerChart:
    """Mean of each sample in each attribute with its limits; samples by colour and shape."""
    attributes = list(dict.fromkeys(one.attribute for one in outcome.means))
    samples = list(dict.fromkeys(one.sample for one in outcome.means))
    rows = [
        {
            "attribute": one.attribute,
            "sample": one.sample,
            "mean": one.estimate,
            "low": one.limits.low,
            "high": one.limits.high,
        }
        for one in outcome.means
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
            title=f"mean score with {percent(outcome.means[0].limits.level)} limits",
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


def map_figure(places: Places, size: int = 380) -> alt.LayerChart:
    """Samples on the first two axes with their regions; attributes as lines from the middle."""
    shares = [percent(share) for share in places.shares]
    outline: list[dict[str, Any]] = [
        {"sample": sample.name, "x": x, "y": y, "step": step}
        for sample in places.samples
        for step, (x, y) in enumerate([*sample.outline, sample.outline[0]])
    ]
    middle: list[dict[str, Any]] = [
        {"sample": sample.name, "x": sample.x, "y": sample.y} for sample in places.samples
    ]
    reach = max(abs(row[side]) for row in outline for side in ("x", "y"))
    lines = [
        {"attribute": to.name, "x": 0.0, "y": 0.0, "x2": reach * to.x, "y2": reach * to.y}
        for to in places.attributes
    ]
    scale = alt.Scale(domain=[-1.1 * reach, 1.1 * reach], nice=False)
    x = alt.X("x:Q", title=f"axis 1, {shares[0]}", scale=scale, axis=axis(grid=False))
    y = alt.Y("y:Q", title=f"axis 2, {shares[1]}", scale=scale, axis=axis(grid=False))
    colour = alt.Color(
        "sample:N",
        scale=alt.Scale(domain=[row["sample"] for row in middle], range=list(PALETTE)),
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


def panel_figure(outcome: Outcome, across: int = 4) -> alt.FacetChart:
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
        for one in outcome.panel
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


def _range(figure: Figure) -> tuple[float, float]:
    """From the lowest to the highest finite mark, origin and margins included, with air."""
    marks = [] if figure.origin is None else [figure.origin]
    for span in figure.spans:
        marks += [span.limits.low, span.limits.high]
        marks += [] if span.estimate is None else [span.estimate]
        marks += [] if span.margin is None else [span.margin]
        marks += [-span.margin] if span.margin is not None and span.two_sided else []
    finite = [mark for mark in marks if math.isfinite(mark)]
    low, high = min(finite), max(finite)
    low, high = (low - 1, high + 1) if low == high else (low, high)
    if any(math.isinf(mark) for mark in marks):
        high = high + 0.5 * (high - low)
    air = 0.06 * (high - low)
    return low - air, high + air

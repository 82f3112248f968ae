"""Pictures of shelf life: what was seen over storage time, and until when it is shown."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from ..base.results import digits
from ..evidence.shelf_life import ShelfLife, in_words
from ..evidence.shelf_plan import BASIC, StoragePlan
from .figure_parts import (
    BLUE,
    GREY,
    LONG,
    ORANGE,
    SHORT,
    SOLID,
    Rows,
    Spec,
    along,
    column,
    dressed,
    legend,
    marks,
    told_apart,
)
from .plan_figures import WIDE

_HEIGHT, _LINE = 280, 16
_ROOM = 1.02
_ROOM_LEFT, _ROOM_RIGHT = 0.4, 0.65
"""Share of the axis from which words stand left of their rule."""


def shelf_life_figure(result: ShelfLife, width: int | str = WIDE, height: int = _HEIGHT) -> Spec:
    """Points and curve over days of storage; the agreed limit across, the dates upright."""
    curve, points = _rows(result.curve), _rows(result.points)
    days = [float(row["time"] or 0) for row in (*curve, *points)]
    end = _ROOM * max(*days, result.last)
    x = along(
        "time:Q", "days of storage", {"domain": [0, end], "nice": False}, grid=False, tickCount=8
    )
    y = along("estimate:Q", result.axis, {"zero": False}, grid=False, tickCount=5)
    places = {"x": x, "y": y}
    ends = {"y": column("low:Q"), "y2": column("high")}
    layers: list[Spec] = []
    if any(row["low"] is not None for row in curve):
        layers.append(marks("area", curve, {"x": x, **ends}, color=BLUE, opacity=0.15))
    layers.append(marks("line", curve, places, color=BLUE, strokeWidth=2))
    barred = [row for row in points if row["low"] is not None and row["high"] is not None]
    if barred:
        layers.append(marks("rule", barred, {"x": x, **ends}, color=GREY))
    layers.append(marks("point", points, places, color=GREY, filled=True, size=60, opacity=1))
    layers += _across(result, end)
    layers += _upright(result, end)
    return dressed({"layer": layers}, width=width, height=height)


def _rows(frame: Any) -> list[dict[str, float | None]]:
    names = ("time", "estimate", "low", "high")
    return [
        {name: float(row[name]) if math.isfinite(row[name]) else None for name in names}
        for row in frame.to_dict("records")
    ]


def _across(result: ShelfLife, end: float) -> list[Spec]:
    """The agreed limit, with the limits of the time on it."""
    y = column("y:Q")
    unit = " %" if result.axis.endswith("%") else ""
    limit = [{"y": result.at, "time": 0, "text": f"agreed limit {digits(result.at)}{unit}"}]
    word = {"x": column("time:Q"), "y": y, "text": column("text:N")}
    layers = [
        marks("rule", limit, {"y": y}, color=ORANGE, strokeDash=LONG, size=2),
        marks("text", limit, word, align="left", dx=5, dy=-8, color=GREY, fontSize=12),
    ]
    if result.low < end:
        span: Rows = [{"y": result.at, "low": result.low, "high": min(result.high, end)}]
        where = {"x": column("low:Q"), "x2": column("high"), "y": y}
        layers.append(marks("rule", span, where, color=BLUE, size=5))
    return layers


def _upright(result: ShelfLife, end: float) -> list[Spec]:
    """The dates that decide, each with its words in a line of its own, if they lie in sight."""
    storage = result.storage
    shown = (min(result.shown_days, storage.safe_days), f"shown until {in_words(result.date_low)}")
    best = f"best estimate {in_words(result.date)}" if result.date else ""
    safe = f"food safety {in_words(result.safety_date)}"
    rules = (
        (*shown, SOLID),
        (result.estimate, best, SHORT),
        (float(storage.safe_days), safe, LONG),
    )
    layers = []
    for at, (days, words, dash) in enumerate(rules):
        if not words or not math.isfinite(days) or days > end:
            continue
        row: Rows = [{"time": days, "text": words}]
        x = column("time:Q")
        left = days > _ROOM_LEFT * end if at == 0 else days > _ROOM_RIGHT * end
        word = {"x": x, "y": {"value": _LINE * at + 6}, "text": column("text:N")}
        side = {"align": "right", "dx": -5} if left else {"align": "left", "dx": 5}
        layers += [
            marks("rule", row, {"x": x}, color=GREY, strokeDash=dash, size=1.5),
            marks("text", row, word, color=GREY, fontSize=12, **side),
        ]
    return layers


def storage_figure(plan: StoragePlan, width: int | str = WIDE) -> Spec:
    """Each storage time from put away to tasted."""
    tasted = "taken out and tasted"
    rows = [
        {
            "days": f"{time.days} days",
            "from": (time.put_away - plan.start).days,
            "to": (time.pulled - plan.start).days,
            "what": tasted,
        }
        for time in plan.times
    ]
    names = [row["days"] for row in rows]
    title = "days from the start" + ("" if plan.design == BASIC else " of the first storage")
    y = along("days:N", "stored for", sort=names, ticks=False, domain=False)
    bar = {"x": along("from:Q", title, grid=True, tickCount=8), "x2": column("to"), "y": y}
    looks = told_apart("what", {tasted: (BLUE, "circle")}, legend(), "shape")
    point = {"x": column("to:Q"), "y": y, **looks}
    layers = [
        marks("rule", rows, bar, color=GREY, size=3),
        marks("point", rows, point, filled=True, size=90, opacity=1),
    ]
    return dressed({"layer": layers}, width=width, height={"step": 22})


SHELF_PICTURES: Mapping[type, Mapping[str, Callable[[Any], Spec]]] = {
    ShelfLife: {"shelf life": shelf_life_figure},
    StoragePlan: {"storage": storage_figure},
}

"""Charts of limits that people set, or that history suggests."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from ..base.errors import ArgumentError
from ..base.results import digits
from ..evidence.consumer_limit import UNITS, ConsumerLimit
from ..evidence.consumer_rows import ANSWER
from ..evidence.history_limit import HistoryLimit
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
    legend,
    marks,
    told_apart,
    upright,
)
from .plan_figures import WIDE

_HIGH = 280


def consumers_figure(result: ConsumerLimit, width: int | str = WIDE) -> Spec:
    """Each sample with its limits, the curve, and the limit to agree."""
    rejection = result.asked == ANSWER
    percent = {"format": "%"} if rejection else {}
    scale = {"domain": [0, 1]} if rejection else {"zero": False}
    title = "share of consumers that reject" if rejection else "mean liking"
    rows = [
        {name: row[name] for name in ("distance", "estimate", "low", "high")}
        for row in result.samples.to_dict("records")
    ]
    x = along("distance:Q", f"distance from the reference, {UNITS[result.unit]}", grid=False)
    y = along("estimate:Q", title, scale, grid=False, tickCount=5, **percent)
    ends = {"x": x, "y": along("low:Q", title, scale, grid=False, **percent),
            "y2": {"field": "high"}}  # fmt: skip
    layers = [
        marks("rule", rows, ends, color=GREY, size=2),
        marks("point", rows, {"x": x, "y": y}, color=BLUE, filled=True, size=90, opacity=1),
    ]
    curve = result.curve.to_dict("records")
    if curve:
        layers.append(marks("line", curve, {"x": x, "y": y}, color=BLUE, strokeWidth=2.5))
    if rejection:
        level = [{"estimate": result.tolerated}]
        layers.append(
            marks("rule", level, {"y": column("estimate:Q")}, color=GREY, strokeDash=SHORT)
        )
    if result.limit is not None:
        words = f"limit to agree {digits(result.limit, 3)}"
        layers += upright("distance", [result.limit], words, colour=ORANGE, align="left", dx=5)
    return dressed({"layer": layers}, width=width, height=_HIGH)


def history_figure(result: HistoryLimit, width: int | str = WIDE) -> Spec:
    """Share of good batches that each limit would have stopped.

    Raises ArgumentError where there were too few batches.
    """
    limits = result.limits
    if limits.empty:
        raise ArgumentError(f"there is no limit to draw: {result.why_none}")
    looks: dict[str, Look] = {
        "beyond the limit in truth": (BLUE, SOLID),
        "would not pass the test": (ORANGE, LONG),
    }
    names = dict(zip(looks, ("beyond", "held"), strict=True))
    rows = [
        {"limit": float(row["limit"]), "chance": float(row[column_]), "what": name}
        for name, column_ in names.items()
        for row in limits.to_dict("records")
        if np.isfinite(row[column_])
    ]
    x = along("limit:Q", f"limit, {UNITS[result.unit]}", {"zero": False}, grid=False)
    domain = {"domain": [0, 1]}
    y = along("chance:Q", "share of good batches", domain, format="%", tickCount=5, grid=False)
    where = {"x": x, "y": y, **told_apart("what", looks, legend())}
    return dressed(marks("line", rows, where, strokeWidth=3), width=width, height=_HIGH)


PICTURES: Mapping[type, Mapping[str, Callable[[Any], Spec]]] = {
    ConsumerLimit: {"consumers": consumers_figure},
    HistoryLimit: {"good batches stopped": history_figure},
}

"""The chart of a plan. It has its numbers in a table beside it and its sentence above it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..base.findings import Finding
from ..choices.plans import PanelPlan
from .figure_parts import (
    BLUE,
    GREEN,
    GREY,
    LONG,
    ORANGE,
    PINK,
    SHORT,
    SOLID,
    Look,
    Spec,
    along,
    chance_curves,
    dressed,
    legend,
    upright,
)
from .words import percent

_CURVES: dict[Finding, tuple[str, Look]] = {
    Finding.SIMILAR: ("similar", (GREEN, SOLID)),
    Finding.DIFFERENT: ("different", (ORANGE, LONG)),
    Finding.BEYOND_LIMIT: ("beyond the limit", (PINK, [12, 3])),
    Finding.UNDECIDED: ("cannot tell", ("#767676", SHORT)),
    Finding.DIFFERENT_WITHIN_LIMIT: ("different, within the limit", (BLUE, [8, 3, 2, 3])),
}


def characteristic_figure(plan: PanelPlan, width: int | str = "container") -> Spec:
    """Chance of each finding against the true share of people who notice."""
    return finding_curves(plan.truths, plan.curves, plan.risks.pd_limit, width)


def finding_curves(
    truths: Sequence[float],
    curves: Mapping[Finding, Sequence[float]],
    limit: float | None,
    width: int | str = "container",
) -> Spec:
    """Chance of each finding against the truth; those that cannot be are left out."""
    rows = [
        {"truth": truth, "chance": chance, "what": _CURVES[finding][0]}
        for finding, chances in curves.items()
        if max(chances) > 0
        for truth, chance in zip(truths, chances, strict=True)
    ]
    x = along("truth:Q", "share of people who truly notice", format="%", grid=False)
    shown = legend(title="the session says", titleColor=GREY)
    layers = [chance_curves(rows, dict(_CURVES.values()), x, shown)]
    if limit is not None:
        words, side = f"agreed limit {percent(limit)}", "right" if limit > 0.5 else "left"
        layers += upright("truth", [limit], words, align=side, dy=-8)
    return dressed({"layer": layers}, width=width, height=280)

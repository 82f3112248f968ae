"""The chart of a plan. It has its numbers in a table beside it and its sentence above it."""

from __future__ import annotations

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
    rows = [
        {"truth": truth, "chance": chance, "what": _CURVES[finding][0]}
        for finding, chances in plan.curves.items()
        if max(chances) > 0
        for truth, chance in zip(plan.truths, chances, strict=True)
    ]
    x = along("truth:Q", "share of people who truly notice", format="%", grid=False)
    shown = legend(title="the session says", titleColor=GREY)
    limit = plan.risks.pd_limit
    words, side = f"agreed limit {percent(limit)}", "right" if limit > 0.5 else "left"
    layers = [
        chance_curves(rows, dict(_CURVES.values()), x, shown),
        *upright("truth", [limit], words, align=side, dy=-8),
    ]
    return dressed({"layer": layers}, width=width, height=280)

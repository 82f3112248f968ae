"""The chart of a plan. It has its numbers in a table beside it and its sentence above it.

Colours are from Okabe and Ito's palette for colour-blind readers; shape and dash say the
same again. Text and rules are mid-grey, so that they stand on a light and a dark page.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from ..base.findings import Finding
from ..choices.plans import PanelPlan
from .figure_parts import FONT, GREY, axis, values
from .words import percent

_CURVES: dict[Finding, tuple[str, str, list[int]]] = {
    Finding.SIMILAR: ("similar", "#009E73", [1, 0]),
    Finding.DIFFERENT: ("different", "#D55E00", [8, 4]),
    Finding.UNDECIDED: ("cannot tell", "#767676", [2, 3]),
    Finding.DIFFERENT_WITHIN_LIMIT: ("different, within the limit", "#0072B2", [8, 3, 2, 3]),
}


def characteristic_figure(plan: PanelPlan, width: int | str = "container") -> alt.LayerChart:
    """Chance of each finding against the true share of people who notice."""
    names = [entry[0] for entry in _CURVES.values()]
    rows = [
        {"truth": truth, "chance": chance, "finding": _CURVES[finding][0]}
        for finding, chances in plan.curves.items()
        if max(chances) > 0
        for truth, chance in zip(plan.truths, chances, strict=True)
    ]
    scale = alt.Scale(domain=names, range=[entry[1] for entry in _CURVES.values()])
    dashes = alt.Scale(domain=names, range=[entry[2] for entry in _CURVES.values()])
    legend = alt.Legend(title="the session says", labelColor=GREY, titleColor=GREY, orient="top")
    lines = (
        alt.Chart(values(rows))
        .mark_line(strokeWidth=3)
        .encode(
            x=alt.X(
                "truth:Q",
                title="share of people who truly notice",
                axis=axis(format="%", grid=False),
            ),
            y=alt.Y(
                "chance:Q",
                title="chance",
                scale=alt.Scale(domain=[0, 1]),
                axis=axis(format="%", tickCount=5, grid=False),
            ),
            color=alt.Color("finding:N", sort=names, scale=scale, legend=legend),
            strokeDash=alt.StrokeDash("finding:N", sort=names, scale=dashes, legend=legend),
        )
    )
    limit = plan.risks.pd_limit
    mark = (
        alt.Chart(values([{"truth": limit}]))
        .mark_rule(color=GREY, strokeDash=[8, 4])
        .encode(x="truth:Q")
    )
    words = (
        alt.Chart(values([{"truth": limit, "text": f"agreed limit {percent(limit)}"}]))
        .mark_text(align="right" if limit > 0.5 else "left", dy=-8, color=GREY, fontSize=12)
        .encode(x="truth:Q", y=alt.value(0), text="text:N")
    )
    chart: Any = alt.layer(lines, mark, words).properties(width=width, height=280)
    return chart.configure(font=FONT).configure_view(stroke=None)

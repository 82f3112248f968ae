"""Charts. Each has its numbers in a table beside it and its sentence above it.

Colours are from Okabe and Ito's palette for colour-blind readers; shape and dash say the
same again. Text and rules are mid-grey, so that they stand on a light and a dark page.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from ..base.findings import Finding
from ..choices.plans import PanelPlan
from ..sessions.summary import SessionSummary
from .figure_parts import BLUE, FONT, GREY, ORANGE, axis, values
from .words import percent

_ESTIMATE, _UPPER = "estimate, 95 % limits", "upper limit for similarity"


def interval_figure(summary: SessionSummary, width: int | str = "container") -> alt.LayerChart:
    """Guess level, estimate with its limits, and the agreed limit, as proportions correct.

    The upper row is the two-sided 95 % interval; the lower row reaches up to the one-sided
    limit that decides on similarity.
    """
    test = summary.result.test
    guess, limit = float(summary.protocol.guess), test.pc_at_limit
    upper_row = f"{_UPPER} ({percent(1 - test.beta)})"
    rows = [_ESTIMATE, upper_row]
    upper = max(test.pc_upper, 1 - test.pc_upper) if test.two_sided else test.pc_upper
    spans = [
        {"row": _ESTIMATE, "low": test.pc_limits.low, "high": test.pc_limits.high},
        {"row": upper_row, "low": 1 - upper if test.two_sided else guess, "high": upper},
    ]
    points = [{"row": _ESTIMATE, "pc": test.pc}]
    ticks = [{"row": upper_row, "pc": upper}]
    if test.two_sided:
        ticks.append({"row": upper_row, "pc": 1 - upper})
    limits = [limit, 1 - limit] if test.two_sided else [limit]
    if summary.result.replicated is not None:  # the lower row is judged by assessor
        replicated = summary.result.replicated
        upper = float(summary.protocol.pc_at(round(replicated.pd_upper, 6)))
        spans[1]["high"], ticks = upper, [{"row": upper_row, "pc": upper}]
    y = alt.Y("row:N", sort=rows, title=None, axis=axis(ticks=False, domain=False, labelLimit=260))
    x = alt.X(
        "low:Q",
        title="proportion of answers for B" if test.two_sided else "proportion of correct answers",
        scale=alt.Scale(domain=[0, 1], nice=False),
        axis=axis(format="%", tickCount=11, grid=False),
    )
    layers = (
        _level([guess], f"guessing {percent(guess)}", [2, 3], GREY, "right"),
        _level(
            limits,
            f"agreed limit {percent(limit)} ({percent(test.pd_limit)} notice)",
            [8, 4],
            ORANGE,
            "left",
        ),
        alt.Chart(values(spans)).mark_rule(color=BLUE, size=3).encode(x=x, x2="high:Q", y=y),
        alt.Chart(values(points))
        .mark_point(color=BLUE, size=130, filled=True, shape="circle", opacity=1)
        .encode(x="pc:Q", y=y),
        alt.Chart(values(ticks)).mark_tick(color=BLUE, thickness=4, size=26).encode(x="pc:Q", y=y),
    )
    chart: Any = alt.layer(*layers).properties(width=width, height=130)
    return chart.configure(font=FONT).configure_view(stroke=None)


def interval_words(summary: SessionSummary) -> str:
    """The chart in a sentence, for people who do not see it."""
    test = summary.result.test
    what = "named B" if test.two_sided else "were correct"
    return (
        f"{percent(test.pc)} of the answers {what}, 95 % limits "
        f"{percent(test.pc_limits.low)} to {percent(test.pc_limits.high)}; guessing gives "
        f"{percent(float(summary.protocol.guess))}, the agreed limit is "
        f"{percent(test.pc_at_limit)}."
    )


def _level(at: list[float], text: str, dash: list[int], colour: str, align: Any) -> Any:
    data = values([{"pc": value} for value in at])
    rule = alt.Chart(data).mark_rule(color=colour, strokeDash=dash, size=2).encode(x="pc:Q")
    words = (
        alt.Chart(values([{"pc": at[0], "text": text}]))
        .mark_text(align=align, dx=-5 if align == "right" else 5, dy=-8, color=GREY, fontSize=12)
        .encode(x="pc:Q", y=alt.value(0), text="text:N")
    )
    return rule + words


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

"""Outcomes of the batches, month by month."""

from __future__ import annotations

from ..release.month import MonthReport
from .figure_parts import AMBER, ORANGE, SKY, Spec, along, column, dressed, legend, marks
from .words import listed

_COLOURS = (SKY, ORANGE, AMBER, "#b3b3b3")
_ROOM = 0.09
"""Share of the tallest bar from which a part has room for its number."""


def months_figure(month: MonthReport, width: int | str = 760, height: int = 120) -> Spec | None:
    """Bars of a year: released, rejected, sent to rework, waiting, with their numbers.

    None where no earlier month made a batch, so that there is nothing to compare with.
    """
    if not month.before:
        return None
    table = month.by_month()
    names = table.columns[1:]
    bars = {str(name): [int(count or 0) for count in counts] for name, *counts in table.rows}
    tallest = max(map(sum, bars.values()))
    rows = [
        {
            "month": name,
            "what": what,
            "batches": count,
            "text": str(count) if count > _ROOM * tallest else "",
            "middle": sum(counts[:at]) + count / 2,
            "order": at,
        }
        for name, counts in bars.items()
        for at, (what, count) in enumerate(zip(names, counts, strict=True))
        if count
    ]
    months = list(bars)
    x = along("month:O", None, {"domain": months}, sort=months, labelAngle=0, ticks=False)
    y = along("batches:Q", "batches", grid=False, tickCount=4, tickMinStep=1)
    met = {row["what"] for row in rows}
    colours = {name: way for name, way in zip(names, _COLOURS, strict=True) if name in met}
    colour = column(
        "what:N",
        sort=list(names),
        scale={"domain": list(colours), "range": list(colours.values())},
        legend=legend(direction="horizontal", labelFontSize=12),
    )
    bar = {"x": x, "y": y, "color": colour, "order": column("order:Q")}
    number = {"x": x, "y": column("middle:Q"), "text": column("text:N")}
    layers = [
        marks("bar", rows, bar, stroke="white", strokeWidth=1),
        marks("text", rows, number, fontSize=11, color="black"),
    ]
    return dressed({"layer": layers}, width=width, height=height)


def months_words(month: MonthReport) -> str:
    """The bars in words, for people who do not see them."""
    table = month.by_month()
    months = []
    for name, *counts in table.rows:
        parts = [f"{n} {what}" for what, n in zip(table.columns[1:], counts, strict=True) if n]
        months.append(f"{name}: {', '.join(parts) or 'no batch'}")
    return f"Batches by month. {listed(months, most=len(months))}."

"""Outcomes of the batches, month by month."""

from __future__ import annotations

import altair as alt

from ..release.month import MonthReport
from .figure_parts import FONT, GREY, ORANGE, PALETTE, axis, values
from .words import listed

_COLOURS = (PALETTE[4], ORANGE, PALETTE[5], "#b3b3b3")
_ROOM = 0.09
"""Share of the tallest bar from which a part has room for its number."""


def months_figure(
    month: MonthReport, width: int | str = 760, height: int = 120
) -> alt.LayerChart | None:
    """Bars of a year: released, rejected, sent to rework, waiting, with their numbers.

    None where no earlier month made a batch, so that there is nothing to compare with.
    """
    if not month.before:
        return None
    table = month.by_month()
    names = [str(name) for name in table.columns[1:]]
    tallest = max(sum(int(count or 0) for count in cells[1:]) for cells in table.rows)
    rows = [
        {
            "month": str(cells[0]),
            "what": name,
            "batches": count,
            "text": str(count) if int(count or 0) > _ROOM * tallest else "",
            "middle": sum(int(cell or 0) for cell in cells[1 : at + 1]) + int(count or 0) / 2,
            "order": at,
        }
        for cells in table.rows
        for at, (name, count) in enumerate(zip(names, cells[1:], strict=True))
        if count
    ]
    months = [str(cells[0]) for cells in table.rows]
    x = alt.X(
        "month:O",
        title=None,
        sort=months,
        scale=alt.Scale(domain=months),
        axis=axis(labelAngle=0, ticks=False),
    )
    legend = alt.Legend(
        title=None, orient="top", direction="horizontal", labelColor=GREY, labelFontSize=12
    )
    shown = [name for name in names if any(row["what"] == name for row in rows)]
    colours = [colour for name, colour in zip(names, _COLOURS, strict=True) if name in shown]
    base = alt.Chart(values(rows))
    bars = base.mark_bar(stroke="white", strokeWidth=1).encode(
        x=x,
        y=alt.Y("batches:Q", title="batches", axis=axis(grid=False, tickCount=4, tickMinStep=1)),
        color=alt.Color(
            "what:N",
            sort=names,
            scale=alt.Scale(domain=shown, range=colours),
            legend=legend,
        ),
        order="order:Q",
    )
    words = base.mark_text(fontSize=11, color="black").encode(x=x, y="middle:Q", text="text:N")
    chart = alt.layer(bars, words).properties(width=width, height=height)
    return chart.configure(font=FONT).configure_view(stroke=None)


def months_words(month: MonthReport) -> str:
    """The bars in words, for people who do not see them."""
    table = month.by_month()
    months = []
    for cells in table.rows:
        counts = zip(table.columns[1:], cells[1:], strict=True)
        parts = [f"{count} {name}" for name, count in counts if count]
        months.append(f"{cells[0]}: {', '.join(parts) or 'no batch'}")
    return f"Batches by month. {listed(months, most=len(months))}."

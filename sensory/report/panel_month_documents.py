"""The month of the panel on one page, for people who answer for the panel."""

from __future__ import annotations

import json

from ..base.results import Table, several
from ..panel.panel_month import PanelMonth
from .documents import Words, fitted, printed_table, stamp
from .figure_parts import BLUE, Spec, along, as_svg, column, dressed, marks
from .words import clipped, percent

_SIZES = ((9.4, 12, 90), (8.6, 12, 80), (8.0, 10, 70), (7.2, 8, 60), (6.8, 5, 40))
"""Size of the type, rows of a list, letters of a name."""
_LINES = 400


def panel_month_pdf(month: PanelMonth) -> bytes:
    """Sittings, attendance, what the panel sees, who needs attention, and what comes next.

    The type shrinks and long lists are cut, with how many more there are, until all is on a page.
    """
    some = month.year.past.sittings
    files = {"months.svg": as_svg(sittings_figure(month))} if some else {}
    tries = [
        {**files, "data.json": json.dumps(panel_month_words(month, *setting)).encode()}
        for setting in _SIZES
    ]
    return fitted("panel_month.typ", tries, month.printed_at, pages=1)


def panel_month_words(
    month: PanelMonth, size: float = _SIZES[0][0], rows: int = 12, letters: int = 90
) -> Words:
    """Every word and number of the page, as plain data for the template."""
    performance = _rounded(month.performance())
    return {
        "size": size,
        "kind": "Monthly report of the panel",
        "title": month.title,
        "headline": month.headline(),
        "remarks": list(month.remarks()),
        "tests": _capped(month.by_test(), rows, letters),
        "with_months": bool(month.year.past.sittings),
        "months_words": sittings_words(month),
        "attendance": _clipped(month.attendance(), rows),
        "performance": _capped(performance, rows, letters),
        "attention": _clipped(month.needs_attention(), rows),
        "training": _clipped((*month.training(), *month.screening()), rows),
        "planned": _capped(month.sessions_planned(), rows, letters),
        "next": _clipped(month.next_up(), rows),
        "footer": f"{month.title} · printed {stamp(month.printed_at)} · program version "
        f"{month.version}" + (f" · {month.newest.words}" if month.newest else ""),
    }


def _rounded(table: Table) -> Table:
    """The correlations with two decimals, the smallest difference with one more digit."""
    rows = tuple(
        (name, *("" if cell is None else f"{float(cell):.2f}" for cell in cells))
        for name, *cells in table.rows
    )
    return Table(columns=table.columns, rows=rows)


def _capped(table: Table, rows: int, letters: int) -> Words:
    left = len(table.rows) - rows
    shown = tuple(
        tuple(clipped(cell, letters) if isinstance(cell, str) else cell for cell in row)
        for row in table.rows[:rows]
    )
    note = f"and {left} more, on record" if left > 0 else ""
    return printed_table(Table(columns=table.columns, rows=shown), note=note)


def _clipped(lines: tuple[str, ...], rows: int) -> list[str]:
    left = len(lines) - rows
    shown = [clipped(line, _LINES) for line in lines[:rows]]
    return [*shown, *([f"and {left} more, on record"] if left > 0 else [])]


def sittings_figure(month: PanelMonth, width: int = 640, height: int = 90) -> Spec:
    """Bars of twelve months: sittings, and above each the share of those expected who came."""
    counts = [int(count or 0) for _, count, _ in month.by_month().rows]
    rows = [
        {
            "month": name,
            "sittings": int(count or 0),
            "text": "" if came is None else percent(float(came)),
        }
        for name, count, came in month.by_month().rows
    ]
    x = along("month:O", None, labelAngle=0, ticks=False)
    tallest = max(1, *counts)
    y = along("sittings:Q", "sittings", {"domain": [0, 1.2 * tallest]}, grid=False, tickCount=3,
              tickMinStep=1)  # fmt: skip
    above = {"x": x, "y": column("sittings:Q"), "text": column("text:N")}
    layers = [
        marks("bar", rows, {"x": x, "y": y}, color=BLUE),
        marks("text", rows, above, fontSize=10, dy=-7, color="black"),
    ]
    return dressed({"layer": layers}, width=width, height=height)


def sittings_words(month: PanelMonth) -> str:
    """The bars in words, for people who do not see them."""
    return "; ".join(
        f"{name}: {several(int(count or 0), 'sitting')}"
        + ("" if came is None else f", {percent(float(came))} came")
        for name, count, came in month.by_month().rows
    )

"""The month of a product on two pages, for people who decide and do not compute."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from ..base.results import Table, several
from ..release.month import MonthReport
from ..sessions.session import ADVICE
from .documents import Words, fitted, printed_table, stamp
from .figure_parts import as_svg
from .month_figures import months_figure, months_words
from .trend_drawn import trend_sentences
from .trend_figures import trend_figure, trend_words
from .words import clipped, number

_LINES = 3
_HEIGHTS = {1: 250, 2: 190, 3: 150}
"""Panels of the chart at the most, and their heights, so that its sentences have room."""

_SENTENCE = 450
"""Letters of what is said of one line of production."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    """How much is printed: size of the type, rows of a list, letters of a reason and of a name."""

    size: float
    rows: int
    letters: int
    name: int = 40


_SETTINGS = (
    _Setting(size=10.0, rows=16, letters=200),
    _Setting(size=9.4, rows=16, letters=200),
    _Setting(size=8.8, rows=16, letters=170),
    _Setting(size=8.4, rows=14, letters=140),
    _Setting(size=8.0, rows=12, letters=110),
    _Setting(size=7.4, rows=8, letters=90),
    _Setting(size=7.0, rows=6, letters=70, name=24),
    _Setting(size=7.0, rows=5, letters=50, name=16),
)


def month_pdf(month: MonthReport) -> bytes:
    """What happened in the month, and where the product stands, on two pages.

    The first page holds outcomes, lines and the batches that need attention; the second the
    chart of twelve months, the reference, what the rule sees, and what it cost. Long lists end
    with how many more there are, long texts are cut, and the type shrinks step by step. The same
    month gives the same bytes.
    """
    files = {}
    if bars := months_figure(month):
        files["months.svg"] = as_svg(bars)
    if month.trend.result is not None:
        panels = min(len(month.trend.result.lines), _LINES)
        chart = trend_figure(month.trend, width=760, height=_HEIGHTS[panels], most=_LINES)
        files |= {} if chart is None else {"trend.svg": as_svg(chart)}
    words = _fixed(month)
    tries = [
        {**files, "data.json": json.dumps(words | _capped_words(month, setting)).encode()}
        for setting in _SETTINGS
    ]
    return fitted("month.typ", tries, month.printed_at, pages=2)


def month_words(month: MonthReport) -> Words:
    """Every word and number of the report, as plain data for the template."""
    return _fixed(month) | _capped_words(month, _SETTINGS[0])


def _fixed(month: MonthReport) -> Words:
    """What is printed however little room there is."""
    product = clipped(month.product, 60)
    remarks = month.remarks()
    if month.batches and not month.noteworthy():
        remarks = (*remarks, "Every batch was released as recommended.")
    return {
        "kind": "Release by taste, month by month",
        "title": f"{product}, {date.fromisoformat(f'{month.month}-01'):%B %Y}",
        "headline": month.headline() if month.batches else "No batch was made.",
        "remarks": [clipped(remark, _SENTENCE) for remark in remarks],
        "outcomes": _outcomes(month),
        "with_months": bool(month.before),
        "months_words": months_words(month),
        "with_trend": month.trend.result is not None,
        "trend_words": trend_words(month.trend),
        "trend": [
            clipped(sentence, _SENTENCE)
            for sentence in (*trend_sentences(month.trend, most=_LINES), *month.explained())
        ],
        "risks": list(month.risks()),
        "cost": list(_cost(month)),
        "advice": ADVICE,
        "footer": f"{product}, {month.month} · printed {stamp(month.printed_at)} · program version "
        f"{month.version}" + (f" · {month.newest.words}" if month.newest else ""),
    }


def _capped_words(month: MonthReport, setting: _Setting) -> Words:
    """The lists, as long as the setting allows."""
    rows = tuple(
        (batch.name, batch.batch.made_on, batch.batch.line, why)
        for batch, why in month.noteworthy()
    )
    attention = Table(columns=("batch", "made on", "line", "why"), rows=rows)
    return {
        "size": setting.size,
        "lines": _capped(month.lines(), setting, "line", "lines"),
        "attention": _capped(attention, setting, "batch", "batches"),
        "reference": _reference(month, setting),
    }


def _outcomes(month: MonthReport) -> Words:
    outcomes, months = month.outcomes(), len({batch.batch.made_on[:7] for batch in month.before})
    before = f"mean of {several(months, 'month')} before" if months else "months before: none"
    rows = tuple(
        (str(name).capitalize(), now, "" if then is None else f"{then:.1f}")
        for name, now, then in outcomes.rows
    )
    return printed_table(Table(columns=("", "this month", before), rows=rows), note="")


def _capped(table: Table, setting: _Setting, noun: str, nouns: str) -> Words:
    rows = []
    for cells in table.rows[: setting.rows]:
        *first, last = map(number, cells)
        names = (clipped(cell, setting.name) for cell in first)
        rows.append((*names, clipped(last, setting.letters)))
    left = len(table.rows) - len(rows)
    note = f"and {left} more {noun if left == 1 else nouns}, on record" if left > 0 else ""
    return printed_table(Table(columns=table.columns, rows=tuple(rows)), note=note)


def _reference(month: MonthReport, setting: _Setting) -> list[str]:
    sentences = [line for state in month.references for line in state.says()]
    sentences = sentences or ["No reference was in use."]
    shown = [clipped(line, setting.letters) for line in sentences[: setting.rows]]
    left = len(sentences) - len(shown)
    return [*shown, *([f"and {left} more, on record"] if left else [])]


def _cost(month: MonthReport) -> Iterator[str]:
    aborted = sum(bool(tasting.aborted) for batch in month.batches for tasting in batch.tastings)
    given_up = f", {aborted} of them given up" if aborted else ""
    before = month.tastings_before
    then = "" if before is None else f" In the months before there were {before:.1f} a month."
    yield (
        f"{several(month.tastings, 'tasting')} of this month's batches{given_up}; the rule asks "
        f"for {several(month.rule.assessors, 'assessor')} each.{then}"
    )

"""CPU time of what pages draw, beside what is wanted; prints, asserts no time.

Each line has ours, an anchor measured on the same machine in the same run, their ratio, and the
ratio that is wanted (the milliseconds wanted on the machine of the first measurement, over the
anchor there).
Run with: python -m pytest -q -s --override-ini addopts= --import-mode=importlib
tests/benchmarks/test_page_speed.py
"""

from __future__ import annotations

import json

from sensory.release.batch_trend import trend_of_batches
from sensory.report.trend_drawn import _drawn
from sensory.report.trend_figures import trend_figure

from ..report.conftest import SCORES, a_year
from .shared import cpu_of, told


def test_chart_of_400_batches() -> None:
    """Anchor: writing the finished chart as JSON. Through chart objects it took 0.78 s."""
    trend = trend_of_batches(a_year(400, days=3000), SCORES)
    chart = trend_figure(trend)
    assert chart is not None
    assert sum("batch" in row for rows in chart["datasets"].values() for row in rows) >= 400
    anchor = cpu_of(5, json.dumps, chart)

    def anew() -> None:
        _drawn.cache_clear()
        trend_figure(trend)

    told("chart of 400 batches, drawn first", cpu_of(5, anew), anchor, 10)
    told("the same, drawn again", cpu_of(5, lambda: trend_figure(trend)), anchor, 10)

"""Prints how often an assessor is named without cause in a year, and how soon with cause.

A panel of ten, looked at after each month; see `tests/panel/years.py`. The table stands in
`sensory/panel/attention.py`.
"""

from __future__ import annotations

import numpy as np
import pytest

from sensory.models.pooling import Pooled
from sensory.panel import sensitivity as sensitive
from sensory.panel import steadiness as steady
from sensory.panel.attention import attention
from sensory.panel.history import history

from ..panel.years import MONTHS, Fault, year

YEARS = 1000
FAULTS = {
    "nobody": Fault(),
    "drifts by 0.1 a month in one attribute": Fault(drift=0.1),
    "drifts by 0.2 a month in one attribute": Fault(drift=0.2),
    "reversed on one attribute": Fault(turned=True),
    "tired from month 7 on, scatter x 1.5": Fault(tired=1.5),
    "tired from month 7 on, scatter x 2": Fault(tired=2.0),
    "guesses throughout": Fault(guesses=True),
}


def looked_at(fault: Fault, years: int, seed: int = 1) -> tuple[float, list[int]]:
    """Share of years in which somebody sound is named, and the months until the other is."""
    false, months = 0, []
    for number in range(years):
        sittings = year(np.random.default_rng([seed, number]), fault=fault)
        wrong, named = False, MONTHS + 1
        for month in range(1, MONTHS + 1):
            table = attention(history(sittings, until=f"2026-{month:02d}-31")).reasons
            sound = set(table["assessor"]) - ({"P10"} if fault != Fault() else set())
            wrong |= bool(sound)
            if "P10" in set(table["assessor"]) and fault != Fault():
                named = min(named, month)
        false += wrong
        months.append(named)
    return false / years, months


def without_estimates(patch) -> None:
    """Leave the shrunken estimates out: names rest on the p alone, and these take half the time."""
    patch.setattr(steady, "_shrunken", lambda frame, level: frame)
    nothing = np.full(10, np.nan)
    unknown = Pooled(mean=1.0, spread=0.0, estimate=nothing, sd=nothing, low=nothing,
                     high=nothing, level=0.95)  # fmt: skip
    patch.setattr(sensitive, "pooled_slopes", lambda told, level: unknown)


def line_of(words: str, years: int) -> str:
    false, months = looked_at(FAULTS[words], years)
    at = sorted(months)
    shares = [sum(month <= by for month in at) / years for by in (3, 6, 9, 12)]
    named = ", ".join(f"{share:.3f}" for share in shares)
    return (
        f"{words}: named by month 3, 6, 9, 12: {named}; median month {at[years // 2]}; "
        f"somebody without cause {false:.3f} ({years} years)"
    )


def test_attention(show, monkeypatch):
    without_estimates(monkeypatch)
    show(*(line_of(words, YEARS) for words in FAULTS))


if __name__ == "__main__":
    import sys

    without_estimates(pytest.MonkeyPatch())
    for number in map(int, sys.argv[2].split(",")):
        print(line_of(list(FAULTS)[number], int(sys.argv[1])), flush=True)

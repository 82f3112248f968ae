"""CPU time of the causes of a year of batches, as a ratio to one fit of statsmodels' mixed model
to the same batches; asserts no time.

Run with: python -m pytest -q -s --override-ini addopts= --import-mode=importlib
tests/benchmarks/test_cause_speed.py
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import statsmodels.formula.api as models

from sensory import explain_batches

from .shared import against, cpu_of

YEAR = Path(__file__).parents[1] / "evidence" / "r" / "causes.csv"
WANTED = 0.5
"""Seconds, since Trend waits for it once."""


def test_causes_of_a_year(capsys):
    year = pd.read_csv(YEAR)
    ours = cpu_of(3, explain_batches, year)
    mixed = models.mixedlm("estimate ~ drift", year, groups=year["sweetener_lot"])
    theirs = cpu_of(3, mixed.fit)
    with capsys.disabled():
        print(against(f"causes of {len(year)} batches", ours, WANTED, "one mixed model", theirs))

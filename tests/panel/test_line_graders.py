"""Graders over the months: rates, drift by Fisher's exact test, and who is named."""

from __future__ import annotations

from math import comb

import numpy as np
import pytest
from scipy.stats import beta

from sensory import grader_months
from sensory.sessions.sitting import Sitting


def grading(day: str, *counts: tuple[int, int, int, int], names=("Ada", "Bo")) -> Sitting:
    hits, spiked, alarms, controls = zip(*counts, strict=True)
    return Sitting(
        session=day, held_on=day, test="GRADING", assessors=names[: len(counts)],
        came=("came",) * len(counts), hits=hits, spiked=spiked, false_alarms=alarms,
        controls=controls,
    )  # fmt: skip


PAST = [
    grading("2026-01-10", (10, 12, 1, 12), (11, 12, 0, 12)),
    grading("2026-01-20", (11, 12, 0, 12), (12, 12, 0, 12), names=("ada", "Bo")),
    grading("2026-03-10", (12, 12, 1, 12), (12, 12, 1, 12)),
    grading("2026-07-01", (11, 12, 0, 12), (4, 12, 1, 12)),
    grading("2026-08-01", (10, 12, 2, 12), (3, 12, 0, 12)),
]


def test_months_are_added_up_with_exact_limits():
    months = grader_months(PAST).months.set_index(["grader", "month"])
    row = months.loc["Ada", "2026-01"]
    assert (row["hits"], row["spiked"], row["false_alarms"], row["controls"]) == (21, 24, 1, 24)
    # Clopper and Pearson by the beta distribution.
    limits = [beta.ppf(0.025, 21, 4), beta.ppf(0.975, 22, 3)]
    np.testing.assert_allclose(row[["hit_low", "hit_high"]].astype(float), limits)
    assert len(months) == 8


def test_drift_is_fisher_of_the_last_quarter_against_the_days_before():
    result = grader_months(PAST)
    assert result.since == "2026-05-03"
    rows = result.signals.set_index(["grader", "change"])
    # 35 of 36 before, 7 of 24 lately: the hypergeometric tail, summed here.
    tail = sum(comb(36, k) * comb(24, 42 - k) for k in (35, 36)) / comb(60, 42)
    assert rows.loc[("Bo", "finds fewer"), "p"] == pytest.approx(tail)
    # Holm over two graders, and 5 % over twelve looks and two kinds of drift.
    assert rows.loc[("Bo", "finds fewer"), "p_adjusted"] == pytest.approx(2 * tail)
    assert list(rows[rows["named"]].index) == [("Bo", "finds fewer")]
    assert result.says()[0].startswith(
        "Bo finds fewer spiked samples since 2026-05-03: 7 of 24, 35 of 36 before"
    )
    assert result.plot().spec["$schema"]
    assert "2 graders, 1 signal" in repr(result)


def test_who_always_misses_much_does_not_drift_and_false_alarms_do():
    same = [grading(f"2026-0{month}-05", (2, 12, 0, 12)) for month in (1, 3, 7, 8)]
    assert grader_months(same).says() == ()
    alarms = [grading(f"2026-0{n}-05", (9, 10, 0 if n < 6 else 9, 10)) for n in (1, 3, 7, 8)]
    assert "calls more controls out" in grader_months(alarms).says()[0]


def test_nothing_without_known_samples():
    empty = grader_months([Sitting(session="s", held_on="2026-01-01", test="TRIANGLE")])
    assert (empty.sessions, empty.says(), len(empty.months)) == (0, (), 0)
    with pytest.raises(ValueError, match="no rates to draw"):
        empty.plot()

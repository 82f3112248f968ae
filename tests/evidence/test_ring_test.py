"""The ring test: against one-way layouts in the literature, by hand and by simulation."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sensory.base.errors import ArgumentError
from sensory.evidence.ring_test import ring_test
from sensory.models.consistency import (
    cochran_critical,
    grubbs_critical,
    mandel_h_critical,
    mandel_k_critical,
)

MORE = Path(__file__).parents[1] / "references" / "published_more.json"
COLUMNS = ["panel", "sample", "result"]


def published(key: str) -> tuple[pd.DataFrame, dict]:
    held = json.loads(MORE.read_text(encoding="utf-8"))
    entry = next(each for part in held.values() if isinstance(part, list) for each in part
                 if isinstance(each, dict) and each.get("id") == key)  # fmt: skip
    y = entry["inputs"]["yield_"]
    rows = [(f"L{place // 5}", "dye", value) for place, value in enumerate(y)]
    return pd.DataFrame(rows, columns=COLUMNS), entry["expected"]


def test_six_batches_of_dyestuff_as_six_panels():
    frame, expected = published("m24_dyestuff")
    row = ring_test(frame).samples.iloc[0]
    assert row["sd_repeatability"] ** 2 == pytest.approx(expected["var_within"], abs=0.01)
    assert row["sd_between"] ** 2 == pytest.approx(expected["var_between"], abs=0.05)
    assert row["mean"] == pytest.approx(expected["mean"])
    both = expected["var_within"] + expected["var_between"]
    assert row["sd_reproducibility"] ** 2 == pytest.approx(both, abs=0.06)


def test_a_negative_variance_is_none_and_the_repeatability_stays_within():
    frame, _ = published("m25_dyestuff2_zero")
    row = ring_test(frame).samples.iloc[0]
    within = frame.groupby("panel")["result"].var().mean()  # 24 degrees of freedom, not pooled
    assert row["sd_between"] == 0
    assert row["sd_repeatability"] ** 2 == pytest.approx(within, rel=1e-12)
    assert row["sd_reproducibility"] == row["sd_repeatability"]


def test_unequal_numbers_by_hand():
    rows = [("N", "A", 1.0), ("N", "A", 3.0), ("S", "A", 4.0), ("S", "A", 6.0), ("S", "A", 5.0),
            ("E", "A", 2.0), ("E", "A", 2.0)]  # fmt: skip
    row = ring_test(pd.DataFrame(rows, columns=COLUMNS)).samples.iloc[0]
    # within: (2 + 2 + 0) / 4; apart: (2 (2 - 23/7)^2 2 + 3 (5 - 23/7)^2) / 2; size (7 - 17/7) / 2
    apart = (4 * (2 - 23 / 7) ** 2 + 3 * (5 - 23 / 7) ** 2) / 2
    assert row["sd_repeatability"] ** 2 == pytest.approx(1.0)
    assert row["sd_between"] ** 2 == pytest.approx((apart - 1) / ((7 - 17 / 7) / 2))
    assert np.isnan(row["cochran_limit"])


def test_who_lies_apart_and_who_scatters_is_flagged():
    rng = np.random.default_rng(1)
    rows = [(f"P{p}", "A", rng.normal(8 * (p == 7), 8 if p == 0 else 1))
            for p in range(8) for _ in range(4)]  # fmt: skip
    table = ring_test(pd.DataFrame(rows, columns=COLUMNS)).panels.set_index("panel")
    assert table.loc["P0", "k_flag"] == "outlier"
    assert set(table["k_flag"].drop("P0")) == {""}


@pytest.mark.parametrize("level", [0.05, 0.01])
def test_critical_values_are_crossed_as_often_as_they_say(level):
    rng = np.random.default_rng(4)
    y = rng.normal(size=(40_000, 8, 3))
    mean, variance = y.mean(2), y.var(2, ddof=1)
    h = np.abs(mean - mean.mean(1, keepdims=True)) / mean.std(1, ddof=1, keepdims=True)
    k = np.sqrt(8 * variance / variance.sum(1, keepdims=True))
    rates = {
        "one h": (h[:, 0] > mandel_h_critical(8, level)).mean(),
        "one k": (k[:, 0] > mandel_k_critical(8, 3, level)).mean(),
        "any h": (h.max(1) > grubbs_critical(8, level)).mean(),
        "any k": (k.max(1) ** 2 / 8 > cochran_critical(8, 3, level)).mean(),
    }
    for name, rate in rates.items():
        assert rate == pytest.approx(level, abs=4 * np.sqrt(level / 40_000)), name


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([("N", "A", 1), ("N", "A", 2), ("S", "A", 1), ("S", "A", 1)], "3 panels at least; got 2"),
        ([(p, "A", v) for p in "NSE" for v in (1, 2)][:-1], "E needs 2 results on A at least"),
        ([("N", "A", "high")], "result of N on A must be a number; got 'high'"),
    ],
)
def test_what_is_no_ring_test_is_refused(rows, says):
    with pytest.raises(ArgumentError, match=says):
        ring_test(pd.DataFrame(rows, columns=COLUMNS))


def test_what_a_ring_test_leaves_open_is_said():
    alike = [(p, "A", v) for p, v in zip("NNSSEE", (1, 2, 1.05, 2.05, 1.1, 2.1), strict=True)]
    result = ring_test(pd.DataFrame(alike, columns=COLUMNS))
    assert result.finding == "No panel stands apart from the others."
    assert "of 6 values of h and k" in result.cannot_tell[1]
    assert len(result.cannot_tell) == 3
    unequal = ring_test(pd.DataFrame([*alike, ("N", "A", 1.5)], columns=COLUMNS))
    assert "of 3 values" in unequal.cannot_tell[1]
    assert "k has no limit there" in unequal.cannot_tell[-1]

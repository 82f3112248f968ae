"""Makes the invented shelf-life series of the cordial. Run it from this folder.

One batch is stored at 20 °C for half a year, in three ways of asking. In truth the panel's
distance from the fresh reference grows by 0.45 in 30 days, in a line from 0.1, so that it meets the
limit of 2.0 after 127 days; a quarter of the consumers reject after 110 days (Weibull); d-prime
grows by 0.33 in 30 days and meets 1.5 after 136 days. Food safety allows 200 days. The seed makes
the answers come out the same on every machine.
"""

from __future__ import annotations

import json

import numpy as np
from make_demo import HERE, write_csv

from sensory.choices.protocols import TRIANGLE

SEED = 20261130
Rng = np.random.Generator
Rows = list[dict[str, str]]
DAYS = (0, 30, 60, 90, 120, 150, 180)
ABOUT = {
    "product": "Quince cordial",
    "start": "2026-03-02",
    "safety_date": "2026-09-18",
    "storage": "20 °C, in the dark, closed bottles of one batch",
    "agreed_by": "A. Leader, head of quality",
    "series": {
        "Panel scores": {"file": "shelf_scores.csv", "limit": 2.0},
        "Consumers who accept or reject": {"file": "shelf_consumers.csv", "limit": 25.0},
        "Choice tests": {"file": "shelf_choices.csv", "limit": 1.5},
    },
}


def scores(rng: Rng) -> Rows:
    """Ten assessors score the stored sample and the fresh reference beside it, 0 to 10."""
    rows = []
    level = rng.normal(2.0, 0.7, 10)
    for day in DAYS:
        of_the_day = rng.normal(0, 0.15)
        for person in range(10):
            fresh = np.clip(level[person] + rng.normal(0, 0.5), 0, 10)
            stored = np.clip(
                level[person] + 0.1 + 0.015 * day + of_the_day + rng.normal(0, 0.8), 0, 10
            )
            rows.append(
                {
                    "days": str(day),
                    "assessor": f"P{person + 1:02d}",
                    "score": f"{stored:.1f}",
                    "reference": f"{fresh:.1f}",
                }
            )
    return rows


def consumers(rng: Rng) -> Rows:
    """Sixty taste every storage time; four answers are given the other way round."""
    rejects_at = 150 * np.exp(0.35 * (np.log(-np.log1p(-rng.random(60))) - np.log(np.log(2))))
    rows = [
        {
            "consumer": f"C{person + 1:02d}",
            "days": str(day),
            "accepts": "yes" if day < rejects_at[person] else "no",
        }
        for person in range(60)
        for day in DAYS
    ]
    for at in rng.choice(len(rows), 4, replace=False):
        rows[at]["accepts"] = "no" if rows[at]["accepts"] == "yes" else "yes"
    return rows


def choices(rng: Rng) -> Rows:
    """A triangle of 30 answers after each storage time."""
    return [
        {
            "days": str(day),
            "test": "triangle",
            "correct": str(rng.binomial(30, float(TRIANGLE.proportion_correct(0.011 * day)))),
            "answers": "30",
        }
        for day in DAYS[1:]
    ]


def main() -> None:
    rng = np.random.default_rng(SEED)
    for name, make in (("scores", scores), ("consumers", consumers), ("choices", choices)):
        write_csv(f"shelf_{name}", make(rng))
    text = json.dumps(ABOUT, indent=2, ensure_ascii=False)
    (HERE / "shelf_life.json").write_text(f"{text}\n", encoding="utf-8")


if __name__ == "__main__":
    main()

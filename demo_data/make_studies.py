"""Makes the invented studies that are no session. Run it from this folder.

An off-note of the cap liner in quince cordial, noticed by half of the assessors near 6 µg/l; the
present and a new recipe of three lots each, the new one 0.2 more sour where lots scatter by 0.3;
three graders at the filling line, of whom the third misses every third spiked sample; a ring test
of six sites, of which Delta scores the cordials 1.2 higher, and Foxtrot scatters three times as
much from session to session; five pairs of lots of both recipes by tetrad, the new one 0.3 d-prime
away where pairs scatter by 0.35, and two pairs of the present recipe.
"""

from __future__ import annotations

import numpy as np
from make_demo import write_csv

from sensory.choices.protocols import TETRAD

SEED = 20261128
Rng = np.random.Generator
Rows = list[dict[str, str]]
SITES = ("Alpha", "Bravo", "Charlie", "Delta", "Echo", "Foxtrot")
STEPS = (0.5, 1, 2, 4, 8, 16, 32)
GRADERS = {"G1": (0.94, 0.04), "G2": (0.92, 0.06), "G3": (0.66, 0.05)}
"""Chance of calling a spiked sample out, and a control."""


def threshold(rng: Rng) -> Rows:
    """Fifteen assessors, rising concentrations, the spiked one among three cups."""
    rows = []
    for person in range(1, 16):
        own = np.log10(6) + rng.normal(0, 0.3)
        for step in STEPS:
            noticed = np.log10(step) + rng.normal(0, 0.12) > own
            right = noticed or rng.random() < 1 / 3
            rows.append(
                {"assessor": f"P{person:02d}", "concentration": f"{step:g}",
                 "correct": "yes" if right else "no"}
            )  # fmt: skip
    return rows


def recipe_lots(rng: Rng) -> Rows:
    """Ten assessors score every lot once for two attributes."""
    more = {"sour": 0.2, "sweet": 0.0}
    lots = [(recipe, f"{recipe[0].upper()}{n}") for recipe in ("present", "new") for n in (1, 2, 3)]
    level = {(lot, name): rng.normal(0, 0.3) for _, lot in lots for name in more}
    rows = []
    for person in range(1, 11):
        for recipe, lot in lots:
            for name, shift in more.items():
                score = 5 + (recipe == "new") * shift + level[lot, name] + rng.normal(0, 0.5)
                rows.append(
                    {"assessor": f"P{person:02d}", "recipe": recipe, "lot": lot,
                     "attribute": name, "score": f"{score:.1f}"}
                )  # fmt: skip
    return rows


def recipe_pairs(rng: Rng) -> Rows:
    """Five pairs of lots by tetrad, 24 answers each, and two pairs of the present recipe."""
    rows = []
    for pair in range(1, 8):
        control = pair > 5
        shift = abs((0.0 if control else 0.3) + rng.normal(0, 0.35))
        right = rng.binomial(24, float(TETRAD.proportion_correct(shift)))
        new = f"P{pair + 10}" if control else f"N{pair}"
        rows.append(
            {"present lot": f"P{pair}", "new lot": new, "test": "tetrad", "correct": str(right),
             "answers": "24", "pair": "control" if control else "recipes"}
        )  # fmt: skip
    return rows


def graders(rng: Rng) -> Rows:
    """A month of 60 spiked samples and 60 blind controls, each graded by all three."""
    rows = []
    for number, truth in enumerate(rng.permutation(["out", "in"] * 60), start=1):
        for name, (hit, false) in GRADERS.items():
            out = rng.random() < (hit if truth == "out" else false)
            rows.append(
                {"grader": name, "sample": str(number), "truth": str(truth),
                 "grade": "out" if out else "in"}
            )  # fmt: skip
    return rows


def ring_test(rng: Rng) -> Rows:
    """Three cordials at six sites, the mean of each of three sessions, in one attribute."""
    truth = {"gooseberry": 4.2, "quince": 5.6, "rhubarb": 7.1}
    rows = []
    for site in SITES:
        own = 1.2 if site == "Delta" else rng.normal(0, 0.1)
        scatter = 0.45 if site == "Foxtrot" else 0.15
        for cordial, mean in truth.items():
            for _ in range(3):
                result = mean + own + rng.normal(0, scatter)
                rows.append({"site": site, "sample": cordial, "attribute": "sour",
                             "result": f"{result:.2f}"})  # fmt: skip
    return rows


if __name__ == "__main__":
    for place, make in enumerate((threshold, recipe_lots, graders, ring_test, recipe_pairs)):
        write_csv(make.__name__, make(np.random.default_rng(SEED + place)))

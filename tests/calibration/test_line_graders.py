"""How often graders are named as drifting: sound ones, and one who finds fewer from month 7 on.

Three graders, hit rate 0.9, false alarms 0.05, 8, 16 or 32 known samples of each kind a month,
looked at each month from the fourth on. 20,000 sound years; 4,000 of each drop. ``PYTHONPATH=.
python tests/calibration/test_line_graders.py`` prints the table in the docstring of
`grader_months`; its tests are Fisher's by scipy, a second route beside the package's own.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import hypergeom

from sensory.panel.line_graders import grader_months
from sensory.sessions.sitting import Sitting

SHARE = 0.05 / 12 / 2


def adjusted(p):
    """Holm over the graders of each year, (years, graders)."""
    many, order = p.shape[1], np.sort(p, 1)
    stepped = np.minimum(np.maximum.accumulate(order * (many - np.arange(many)), 1), 1)
    return np.take_along_axis(stepped, p.argsort(1).argsort(1), 1)


def named(years, each, rng, *, drop=0.9, months=12, graders=3):
    """Whether each grader of each year is ever named, with the counts of the year."""
    rate = np.full((months, graders), 0.9)
    rate[6:, 0] = drop
    hits = rng.binomial(each, rate, (years, months, graders))
    alarms = rng.binomial(each, 0.05, (years, months, graders))
    ever = np.zeros((years, graders), bool)
    for month in range(4, months + 1):
        for counts, worse in ((hits, False), (alarms, True)):
            before, late = counts[:, : month - 3].sum(1), counts[:, month - 3 : month].sum(1)
            of_before, of_late = each * (month - 3), each * 3
            whole, total = of_before + of_late, before + late
            tail = (
                (late - 1, whole, of_late, total)
                if worse
                else (before - 1, whole, of_before, total)
            )
            low, size, part, drawn = tail
            ever |= adjusted(hypergeom.sf(low, size, part, drawn)) <= SHARE
    return ever, hits, alarms


def test_the_last_look_of_a_year_is_the_same_by_both_routes():
    """One year with a drop: who is named in its last look, by the package and by scipy."""
    _, hits, alarms = named(1, 16, np.random.default_rng(3), drop=0.4)
    past = [
        Sitting(
            session=str(month), held_on=f"2026-{month + 1:02d}-15", test="GRADING",
            assessors=("A", "B", "C"), came=("came",) * 3, hits=tuple(map(int, hits[0, month])),
            spiked=(16,) * 3, false_alarms=tuple(map(int, alarms[0, month])), controls=(16,) * 3,
        )
        for month in range(12)
    ]  # fmt: skip
    signals = grader_months(past, lately=90).signals.query("change == 'finds fewer'")
    before, late = hits[:, :9].sum(1), hits[:, 9:].sum(1)
    p = adjusted(hypergeom.sf(before - 1, 16 * 12, 16 * 9, before + late))
    np.testing.assert_allclose(signals["p_adjusted"], p[0], rtol=1e-10)
    assert signals["named"].tolist() == (p[0] <= SHARE).tolist()
    assert signals["named"].tolist()[0]


if __name__ == "__main__":
    draws = np.random.default_rng(1)
    for size in (8, 16, 32):
        sound, *_ = named(20_000, size, draws)
        print(size, "sound", round(100 * sound.any(1).mean(), 2))
        for rate in (0.7, 0.5):
            year, *_ = named(4_000, size, draws, drop=rate)
            print(
                size,
                rate,
                round(100 * year[:, 0].mean(), 1),
                round(100 * year[:, 1:].any(1).mean(), 2),
            )

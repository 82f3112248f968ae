"""How often a defect is named as risen: in years without a change, and after a rise.

Three defects at rates of 0.02, 0.05 and 0.1; 250 days of grading a year, five a week, looked at
after each; the year has no history before it. ``PYTHONPATH=. python
tests/calibration/test_defect_rates.py`` prints the table below: 2,000 years without a change, with
the share of years in which anything was named (5 % is allowed); and 1,000 years in which a defect
of 0.03 rises after 120 days of grading, with the share that named it within 5, 10 and 20 more.

===============  ==========  ====  ====  ====  ====
batches a day    no change   0.06  0.09  0.15  0.30
===============  ==========  ====  ====  ====  ====
5, within 5                     0     0     0    12
5, within 10                    0     0    10    79
5, within 20     0.40           1    13    68   100
10, within 5                    0     0     3    47
10, within 10                   0     4    36   100
10, within 20    0.90           5    39    98   100
20, within 5                    0     1    13    94
20, within 10                   1    14    86   100
20, within 20    0.95          17    87   100   100
===============  ==========  ====  ====  ====  ====
"""

from __future__ import annotations

import numpy as np
from scipy.stats import hypergeom

from sensory.release.defect_rates import ALPHA, LATELY, LOOKS, _counted

DAYS = np.array([7 * (at // 5) + at % 5 for at in range(LOOKS)])
SHARE = ALPHA / LOOKS


def named(counts, each):
    """Whether each defect is named at each look: counts (years, defects, days of grading)."""
    late_days, before_days = _counted(DAYS, DAYS, LATELY)
    total = np.concatenate([np.zeros((*counts.shape[:-1], 1), int), counts.cumsum(-1)], -1)
    before = total[..., before_days]
    late = total[..., 1:] - before
    graded = each * late_days
    p = hypergeom.sf(late - 1, graded + each * before_days, late + before, graded)
    seen = (late + before > 0).sum(1, keepdims=True)
    return p * np.maximum(seen, 1) <= SHARE


def without_change(years, each, rng):
    """Share of years in which any defect is named."""
    rates = np.array([0.02, 0.05, 0.1])[:, None]
    counts = rng.binomial(each, rates, (years, 3, LOOKS))
    return named(counts, each).any((1, 2)).mean()


def after_a_rise(years, each, rate, rng, more=(5, 10, 20)):
    """Share of years in which the defect that rises is named within so many days of grading."""
    rates = np.repeat(np.array([0.03, 0.05, 0.1])[:, None], LOOKS, 1)
    rates[0, 120:] = rate
    counts = rng.binomial(each, rates, (years, 3, LOOKS))
    hit = named(counts, each)[:, 0]
    return [float(hit[:, 120 : 120 + days].any(1).mean()) for days in more]


def test_false_alarms_stay_within_what_is_stated():
    """The bound is 5 %; looks that share batches make it about 1 %."""
    assert without_change(100, 10, np.random.default_rng(5)) <= ALPHA


def test_a_large_rise_is_named():
    assert after_a_rise(20, 10, 0.3, np.random.default_rng(6))[1] > 0.9


if __name__ == "__main__":
    for each in (5, 10, 20):
        share = without_change(2000, each, np.random.default_rng([7, each]))
        print(f"{each} batches a day, no change: {100 * share:.2f} %")
        for rate in (0.06, 0.09, 0.15, 0.3):
            shares = after_a_rise(1000, each, rate, np.random.default_rng([8, each]))
            print(f"  {rate:g}:", *(f"{100 * share:.0f} %" for share in shares))

"""How often limits of the distance that consumers set hold it.

Reference and four samples at 0.6, 1.2, 1.8 and 2.6, known with a standard error each. Rejection:
logit -3 + 1.6 d with a spread of consumers, 25 % tolerated. Liking: falls by 0.7 a unit with a
spread of 0.35 between consumers, margin 0.5. `below`: the truth lies under the lower limit, which
is the limit to agree. `none`: no number was given.

With 200 rows (counts: 100):

    consumers spread se | limits hold, truth below them, none
      60  1.0  0.0 | 0.965 0.020 0.000
      60  1.0  0.2 | 0.930 0.030 0.000
      60  2.5  0.2 | 0.974 0.021 0.045
      30  1.0  0.2 | 0.920 0.055 0.000
      15  1.0  0.2 | 0.965 0.030 0.000
    liking: consumers se | as above; below: the fall is steeper than its limits
      60  0.0 | 0.950 0.010 0.000
      60  0.2 | 0.945 0.025 0.000
      15  0.2 | 0.960 0.020 0.000
"""

import numpy as np
import pytest
from scipy.special import chdtri, expit

from sensory.models.random_consumers import Rejections, cut, over_saddle
from sensory.models.random_consumers import _ends as ends_of
from sensory.models.random_lines import fall_of, line_fit

TRUE = np.array([0.0, 0.6, 1.2, 1.8, 2.6])
INTERCEPT, SLOPE, SHARE = -3.0, 1.6, 0.25
DROP = float(chdtri(1, 0.05)) / 2


def errors_of(se):
    return np.where(TRUE > 0, se, 0.0)


def rejection_row(consumers, spread, se, rows, seed=5):
    """Shares of rows: limits hold, truth below them, no number."""
    rng = np.random.default_rng([seed, consumers, int(10 * spread), int(10 * se)])
    truth = (cut(SHARE, spread)[0] - INTERCEPT) / SLOPE
    held, below, none = 0, 0, 0
    for _ in range(rows):
        tendency = rng.normal(0, spread, (consumers, 1))
        rejects = rng.random((consumers, 5)) < expit(INTERCEPT + SLOPE * TRUE + tendency)
        known = np.maximum(TRUE + rng.normal(0, 1, 5) * errors_of(se), 0.0)
        model = Rejections(
            rejects=rejects.astype(float), distances=known, se=errors_of(se), share=SHARE
        )
        fit = model.fit()
        if fit.p_slope > 0.05 or fit.limit <= 0:
            none += 1
            continue
        ends = ends_of(2, len(fit.errors))
        ends[0], ends[1] = (0.0, 0.0), (0.0, 200.0)
        place = np.array([truth, fit.slope * np.ptp(known), max(fit.spread, 0.5), *fit.errors])
        inside = fit.log_likelihood - over_saddle(model._at_limit, place, ends, 2)[1] <= DROP
        held += inside
        below += not inside and truth < fit.limit
    return held / (rows - none), below / (rows - none), none / rows


def liking_row(consumers, se, rows, seed=6):
    rng = np.random.default_rng([seed, consumers, int(10 * se)])
    held, below, none = 0, 0, 0
    for _ in range(rows):
        own, steep = rng.normal(0, 1, (consumers, 1)), rng.normal(0, 0.35, (consumers, 1))
        liking = 6.8 + own - (0.7 + steep) * TRUE + rng.normal(0, 0.8, (consumers, 5))
        known = np.maximum(TRUE + rng.normal(0, 1, 5) * errors_of(se), 0.0)
        fall = fall_of(line_fit(liking, known), known, errors_of(se), 0.95)
        if fall.p > 0.05:
            none += 1
            continue
        held += fall.low <= 0.7 <= fall.high
        below += fall.high < 0.7
    return held / (rows - none), below / (rows - none), none / rows


def table(rows=200):
    yield "consumers spread se | limits hold, truth below them, none"
    for consumers, spread, se in (
        (60, 1.0, 0.0), (60, 1.0, 0.2), (60, 2.5, 0.2), (30, 1.0, 0.2), (15, 1.0, 0.2),
    ):  # fmt: skip
        shares = rejection_row(consumers, spread, se, rows)
        yield f"{consumers:4} {spread:4} {se:4} | " + " ".join(f"{part:.3f}" for part in shares)
    yield "liking: consumers se | as above; below: the fall is steeper than its limits"
    for consumers, se in ((60, 0.0), (60, 0.2), (15, 0.2)):
        shares = liking_row(consumers, se, rows)
        yield f"{consumers:4} {se:4} | " + " ".join(f"{part:.3f}" for part in shares)


@pytest.mark.parametrize("se", [0.0, 0.2])
def test_limits_hold_the_distance(show, se):
    held = rejection_row(60, 1.0, se, 200)[0]
    show(f"se {se}: limits hold in {held:.3f}")
    assert held > 0.95 - 3 * (0.95 * 0.05 / 200) ** 0.5


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)

"""Prints levels of the comparison of two samples of which one scatters more than all others.

4 or 6 samples, one score an assessor and sample; standard deviations assessors 1, the sample as
said, all others 1. 'pooled' is the scatter of the model, 'paired' that of the two samples alone,
the others count the rest of the panel by w of p, the p of 'no larger than the rest': `profile`
takes p^2. Power: true differences of 3.2 standard errors at 0.05, and of 4.5 at 0.005, as the
adjusted p of many samples and attributes ask for, where all scatter alike.

As printed, 20,000 sessions (+- 0.0016):

                             pooled 2p     p      p^2    cut    paired
5 assessors, 4 samples, 0% gone
  scatter 1.0, different   0.048  0.038  0.033  0.028  0.027  0.047
  scatter 1.0, equivalent  0.048  0.040  0.036  0.033  0.031  0.048
  scatter 1.5, different   0.074  0.055  0.046  0.039  0.036  0.049
  scatter 1.5, equivalent  0.065  0.051  0.045  0.040  0.038  0.049
  scatter 2.4, different   0.114  0.073  0.061  0.049  0.045  0.048
  scatter 2.4, equivalent  0.090  0.063  0.056  0.048  0.044  0.048
  scatter 4.0, different   0.153  0.082  0.068  0.054  0.050  0.048
  scatter 4.0, equivalent  0.114  0.068  0.059  0.050  0.046  0.047
  power of 3.2 se at 0.050  0.84   0.77   0.74   0.69   0.67   0.67
  power of 4.5 se at 0.005  0.83   0.70   0.61   0.51   0.48   0.37
8 assessors, 4 samples, 0% gone
  scatter 1.0, different   0.049  0.042  0.037  0.034  0.033  0.050
  scatter 1.0, equivalent  0.048  0.041  0.039  0.037  0.035  0.048
  scatter 1.5, different   0.076  0.057  0.051  0.044  0.040  0.049
  scatter 1.5, equivalent  0.067  0.053  0.048  0.043  0.042  0.048
  scatter 2.4, different   0.115  0.071  0.061  0.051  0.048  0.049
  scatter 2.4, equivalent  0.090  0.061  0.056  0.048  0.046  0.047
  scatter 4.0, different   0.151  0.071  0.062  0.052  0.050  0.049
  scatter 4.0, equivalent  0.111  0.060  0.055  0.049  0.048  0.048
  power of 3.2 se at 0.050  0.86   0.82   0.81   0.78   0.77   0.78
  power of 4.5 se at 0.005  0.90   0.82   0.78   0.72   0.69   0.67
8 assessors, 4 samples, 10% gone
  scatter 1.0, different   0.050  0.041  0.037  0.032  0.031  0.051
  scatter 1.0, equivalent  0.048  0.041  0.038  0.034  0.032  0.047
  scatter 1.5, different   0.074  0.055  0.048  0.041  0.038  0.048
  scatter 1.5, equivalent  0.066  0.052  0.047  0.041  0.039  0.047
  scatter 2.4, different   0.114  0.072  0.062  0.050  0.046  0.048
  scatter 2.4, equivalent  0.088  0.061  0.055  0.047  0.044  0.046
  scatter 4.0, different   0.150  0.075  0.065  0.052  0.048  0.049
  scatter 4.0, equivalent  0.109  0.063  0.055  0.048  0.045  0.046
  power of 3.2 se at 0.050  0.80   0.75   0.73   0.69   0.67   0.68
  power of 4.5 se at 0.005  0.82   0.72   0.66   0.57   0.54   0.48
8 assessors, 6 samples, 0% gone
  scatter 1.0, different   0.050  0.041  0.037  0.034  0.031  0.051
  scatter 1.0, equivalent  0.050  0.045  0.042  0.039  0.036  0.050
  scatter 1.5, different   0.090  0.065  0.057  0.047  0.043  0.050
  scatter 1.5, equivalent  0.079  0.060  0.056  0.049  0.045  0.051
  scatter 2.4, different   0.155  0.081  0.071  0.057  0.050  0.051
  scatter 2.4, equivalent  0.119  0.069  0.063  0.054  0.051  0.052
  scatter 4.0, different   0.221  0.072  0.064  0.054  0.052  0.052
  scatter 4.0, equivalent  0.150  0.063  0.059  0.053  0.053  0.053
  power of 3.2 se at 0.050  0.87   0.84   0.82   0.79   0.77   0.78
  power of 4.5 se at 0.005  0.92   0.86   0.82   0.75   0.69   0.66
"""

import numpy as np
import pytest
from scipy.special import fdtrc, stdtr

from sensory.models.pair_scatter import pair_scatter
from sensory.models.unweighted import cell_means, unweighted_squares

ALPHA, SESSIONS = 0.05, 20_000
FIRST, OTHER = np.array([1]), np.array([0])
WAYS = {
    "pooled": np.ones_like,
    "2p": lambda p: np.minimum(1, 2 * p),
    "p": lambda p: p,
    "p^2": lambda p: p**2,
    "cut": lambda p: (p >= 0.5).astype(float),
    "paired": np.zeros_like,
}


def sessions(assessors, samples, ratio, gaps, seed=3, count=SESSIONS, noisy=1):
    """Difference of the first two samples, its variance factor and mean squares."""
    rng = np.random.default_rng(seed)
    a, s = (code.ravel() for code in np.indices((assessors, samples)))
    score = rng.normal(size=(a.size, count)) * np.where(s == noisy, ratio, 1.0)[:, None]
    score += rng.normal(size=(assessors, count))[a]
    score[rng.random(score.shape).argsort(0) < round(gaps * a.size)] = np.nan
    cells = cell_means(score, a, s, np.zeros_like(a))
    squares = unweighted_squares(cells.only(np.flatnonzero(cells.usable)))
    contrast = np.eye(samples)[[1]] - np.eye(samples)[[0]]
    estimate, se, _ = squares.fit.contrasts(contrast)
    return squares, estimate[:, 0], se[:, 0] / np.sqrt(squares.ms[:, -1])


def by_weight(squares, weight_of):
    """Mean square and df of the pair, written out for any weight of the rest."""
    apart = squares.cells[:, :, 1] - squares.cells[:, :, 0]
    there = np.isfinite(apart)
    count = there.sum(1)
    middle = np.where(there, apart, 0.0).sum(1) / count
    own = (np.where(there, apart - middle[:, None], 0.0) ** 2).sum(1) / 2
    df = count - 1.0
    rest, rest_df = squares.ss[:, -1] - own, squares.df[:, -1] - df
    weight = weight_of(fdtrc(df, rest_df, own / df / (rest / rest_df)))
    return (own + weight * rest) / (df + weight * rest_df), df + weight * rest_df


def rates(drawn, way, shift=0.0, alpha=ALPHA):
    """Found different at alpha; passed at the margin at alpha (from above)."""
    squares, estimate, factor = drawn
    ms, df = by_weight(squares, WAYS[way])
    t = (estimate + shift) / (factor * np.sqrt(ms))
    return (2 * stdtr(df, -np.abs(t)) <= alpha).mean(), (stdtr(df, t) <= alpha).mean()


def test_the_way_taken_is_that_of_profile():
    squares, _, _ = sessions(8, 4, 2.4, 0.1, count=500)
    ms, df = by_weight(squares, WAYS["p^2"])
    own, own_df = pair_scatter(squares, FIRST, OTHER)
    np.testing.assert_allclose(own[:, 0], ms, rtol=1e-8)
    np.testing.assert_allclose(own_df[:, 0], df, rtol=1e-8)


@pytest.mark.parametrize("gaps", [0.0, 0.1])
@pytest.mark.parametrize(("assessors", "samples"), [(5, 4), (8, 4), (8, 6), (12, 6)])
def test_levels_where_one_sample_scatters_more(show, assessors, samples, gaps):
    show(f"{assessors} assessors, {samples} samples, {gaps:.0%} gone: " + "  ".join(WAYS))
    for ratio in (1.0, 1.5, 2.4, 4.0):
        drawn = sessions(assessors, samples, ratio, gaps)
        levels = {way: rates(drawn, way) for way in WAYS}
        for place, name in ((0, "different"), (1, "equivalent")):
            cells = "  ".join(f"{level[place]:.3f}" for level in levels.values())
            show(f"  scatter {ratio:3.1f}, {name:10}  {cells}")
        assert max(levels["p^2"]) < 0.065
        if ratio >= 2.4:
            assert min(levels["pooled"]) > 0.085
    alike = sessions(assessors, samples, 1.0, gaps)
    error = np.sqrt(2 / assessors)
    for size, alpha in ((3.2, ALPHA), (4.5, ALPHA / 10)):
        power = [rates(alike, way, size * error, alpha)[0] for way in WAYS]
        cells = "  ".join(f"{each:.2f} " for each in power)
        show(f"  power of {size} se at {alpha:.3f}  {cells}")
        at = list(WAYS).index("p^2")
        assert power[-1] - 0.02 < power[at] < power[0]
    assert power[at] > power[-1]

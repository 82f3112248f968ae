"""How often the 95 % limits of rated tests hold the truth, in simulated sessions.

One row a setting: shares of sessions or panels, as printed by `python` on this file, seed 2026.

intraclass: one way, agreement, consistency
  (8, 5, 1.0, 0.0) 0.951 0.953 0.952
  (8, 5, 1.0, 1.0) 0.947 0.953 0.952
  (8, 5, 3.0, 1.0) 0.942 0.950 0.951
  (12, 10, 1.0, 1.0) 0.934 0.946 0.949
drift: slopes of bias, panels in which nobody drifts
  (6, 5) 0.936 0.940
  (10, 8) 0.948 0.947
profile: mean, all from the reference, all pairs
  (5, 4, 1.0) 0.952 0.973 0.969
  (8, 4, 1.0) 0.952 0.959 0.963
  (8, 4, 2.4) 0.967 0.949 0.968
  (12, 6, 2.4) 0.970 0.945 0.971
difference from control: low-high of one batch, lower of all, upper of one
  (12, 3, 2.4) 0.880 0.944 0.946
  (8, 3, 1.0, 0.1) 0.965 0.970 0.970
  (8, 1, 1.0) 0.946 0.944 0.948
  (8, 3, 1.0) 0.959 0.956 0.970
  (12, 3, 1.0) 0.956 0.952 0.962
  (8, 3, 0.5) 0.971 0.930 0.977
  (8, 3, 2.4) 0.877 0.934 0.954
"""

import numpy as np
from scipy.special import stdtrit
from scipy.stats import f

from sensory.models.multiplicity import holm
from sensory.ratings.control import difference_from_control
from sensory.ratings.drift import BIAS, assessor_drift
from sensory.ratings.intraclass import intraclass_table
from sensory.ratings.profile import profile
from tests.calibration.shared import tidy

SEED = 2026


def holds(low, truth, high):
    return (low <= truth) & (truth <= high)


def scores_of(rng, assessors, samples, replicates, sessions, *, mean, own, scatter=None, error=1.0):
    """Scores, (sessions, assessors, samples, replicates); `own` is the scatter between people
    in each sample, of which all but the first may scatter otherwise."""
    shape = (sessions, assessors, samples, replicates)
    deviations = np.full(samples, own) if scatter is None else np.asarray(scatter)
    return (
        np.asarray(mean)[:, None]
        + rng.normal(0, 1, (sessions, assessors, 1, 1))
        + rng.normal(0, 1, (sessions, assessors, samples, 1)) * deviations[:, None]
        + rng.normal(0, error, shape)
    )


def by_control(assessors, batches, ratio, gaps=0.0):
    """Shares of sessions: `low` to `high` of the last batch, all `lower` together, `upper`.

    Each session is an attribute of its own; the last batch scatters `ratio` times as much.
    """
    rng = np.random.default_rng([SEED, assessors, batches, round(10 * ratio)])
    sessions = 200 if gaps else 2000
    mean = np.r_[1.0, np.full(batches, 1.5)]
    scatter = np.r_[np.ones(batches), ratio]
    scores = scores_of(rng, assessors, batches + 1, 1, sessions, mean=mean, own=1, scatter=scatter,
                       error=1e-9)  # fmt: skip
    if gaps:
        scores[rng.random(scores.shape) < gaps] = np.nan
    rows = tidy("attribute assessor sample replicate", score=scores).dropna()
    table = difference_from_control(rows, control=0, limit=2.0).against_control
    last = table[table["sample"] == batches]
    within = holds(last["low"], 0.5, last["high"]).mean()
    lower = (table["lower"] <= 0.5).groupby(table["attribute"]).all().mean()
    return within, lower, (last["upper"] >= 0.5).mean()


def by_profile(assessors, samples, ratio, sessions=2000):
    """Shares of sessions: mean of the first sample, all differences from the reference, all pairs;
    the last sample is the reference and scatters `ratio` times as much."""
    rng = np.random.default_rng([SEED, assessors, samples, round(10 * ratio)])
    scatter = np.r_[np.full(samples - 1, 0.7), 0.7 * ratio]
    scores = scores_of(rng, assessors, samples, 2, sessions, mean=np.zeros(samples), own=0.7,
                       scatter=scatter, error=0.5)  # fmt: skip
    result = profile(tidy("attribute assessor sample replicate", score=scores),
                     reference=samples - 1)  # fmt: skip
    means = result.means
    first = means[means["sample"] == 0]
    shares = [holds(first["low"], 0.0, first["high"]).mean()]
    for table in (result.against_reference, result.pairs):
        inside = holds(table["low"], 0.0, table["high"])
        shares.append(inside.groupby(table["attribute"]).all().mean())
    return tuple(shares)


def intraclass_limits(score):
    """Limits of one way, agreement and consistency, (3, 2, panels), from (panels, n, k) scores.

    McGraw, K.O. and Wong, S.P. (1996). Psychological Methods 1, 30-46. (From memory.)
    """
    n, k = score.shape[1:]
    middle = score.mean((1, 2), keepdims=True)
    rows, columns = score.mean(2, keepdims=True), score.mean(1, keepdims=True)
    msr = k * ((rows - middle) ** 2).sum((1, 2)) / (n - 1)
    msc = n * ((columns - middle) ** 2).sum((1, 2)) / (k - 1)
    mse = ((score - rows - columns + middle) ** 2).sum((1, 2)) / (n - 1) / (k - 1)
    msw = ((score - rows) ** 2).sum((1, 2)) / n / (k - 1)

    def by_ratio(ratio, df):
        low, high = ratio / f.ppf(0.975, n - 1, df), ratio * f.ppf(0.975, df, n - 1)
        return (low - 1) / (low + k - 1), (high - 1) / (high + k - 1)

    icc = (msr - mse) / (msr + (k - 1) * mse + k * (msc - mse) / n)
    a, b = k * icc / n / (1 - icc), 1 + k * icc * (n - 1) / n / (1 - icc)
    free = (a * msc + b * mse) ** 2 / (
        (a * msc) ** 2 / (k - 1) + (b * mse) ** 2 / (n - 1) / (k - 1)
    )
    up, down = f.ppf(0.975, n - 1, free), f.ppf(0.975, free, n - 1)
    rest = k * msc + (k * n - k - n) * mse
    agreement = (
        n * (msr - up * mse) / (up * rest + n * msr),
        n * (down * msr - mse) / (rest + n * down * msr),
    )
    return np.array(
        [by_ratio(msr / msw, n * (k - 1)), agreement, by_ratio(msr / mse, (n - 1) * (k - 1))]
    )


def panels_of(rng, assessors, samples, between, people, panels):
    return (
        rng.normal(0, between, (panels, samples, 1))
        + rng.normal(0, people, (panels, 1, assessors))
        + rng.normal(0, 1, (panels, samples, assessors))
    )


def by_intraclass(assessors, samples, between, people, panels=20_000):
    """Shares of panels by kind; samples, assessors and rest are all random and normal."""
    rng = np.random.default_rng([SEED, assessors, samples, round(10 * between)])
    low, high = intraclass_limits(
        panels_of(rng, assessors, samples, between, people, panels)
    ).swapaxes(0, 1)
    agreeing = between**2 / (between**2 + people**2 + 1)
    truths = np.array([agreeing, agreeing, between**2 / (between**2 + 1)])[:, None]
    return tuple(holds(low, truths, high).mean(1))


def by_drift(assessors, sittings, replicates=2, samples=3, panels=150):
    """Shares of slopes within t times se, of bias; of panels in which nobody was said to drift.

    Each panel is an attribute of its own.
    """
    rng = np.random.default_rng([SEED, assessors, sittings])
    scores = scores_of(rng, assessors, samples, replicates, panels * sittings,
                       mean=np.arange(samples), own=0.4)  # fmt: skip
    scores = scores.reshape(panels, sittings, *scores.shape[1:])
    trends = assessor_drift(
        tidy("attribute session assessor sample replicate", score=scores)
    ).trends
    bias = trends[trends["measure"] == BIAS]
    inside = bias["estimate"].abs() <= stdtrit(bias["df"], 0.975) * bias["se"]
    least = trends.groupby("attribute")["p"].agg(lambda p: holm(p.to_numpy()).min())
    return inside.mean(), (least > 0.05).mean()


PARTS = {
    "intraclass: one way, agreement, consistency": (
        by_intraclass,
        [(8, 5, 1.0, 0.0), (8, 5, 1.0, 1.0), (8, 5, 3.0, 1.0), (12, 10, 1.0, 1.0)],
    ),
    "drift: slopes of bias, panels in which nobody drifts": (
        by_drift,
        [(6, 5), (10, 8)],
    ),
    "profile: mean, all from the reference, all pairs": (
        by_profile,
        [(5, 4, 1.0), (8, 4, 1.0), (8, 4, 2.4), (12, 6, 2.4)],
    ),
    "difference from control: low-high of one batch, lower of all, upper of one": (
        by_control,
        [(8, 3, 1.0, 0.1), (12, 3, 2.4), (8, 1, 1.0), (8, 3, 1.0), (12, 3, 1.0), (8, 3, 0.5),
         (8, 3, 2.4)],
    ),
}  # fmt: skip


def table(parts=PARTS):
    for name, (measured, settings) in parts.items():
        yield name
        for setting in settings:
            yield f"  {setting} " + " ".join(f"{share:.3f}" for share in measured(*setting))


def test_limits_of_rated_tests(show):
    show(*table())


def test_intraclass_limits_are_those_of_the_scorecard():
    score = panels_of(np.random.default_rng(1), 8, 5, 1.5, 0.7, 1)
    own = intraclass_limits(score)[:, :, 0]
    theirs = intraclass_table(score[0])
    np.testing.assert_allclose(own, theirs[["low", "high"]].to_numpy()[:3], atol=0.0051)


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)

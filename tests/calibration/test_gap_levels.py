"""Prints levels and power of F for samples where scores are missing, by three ways.

Each response of one array is a session: 4 samples, 2 replicates, so many assessors; standard
deviations assessors 1, error 1, assessor x sample as said. Exactly the share of scores is gone, at
least one, anywhere. Power: one sample lies 1 higher.

Ways: unweighted mean squares (what `profile` takes); restricted likelihood with Satterthwaite
(`method="reml"`); the same fit with the covariance and F of Kenward and Roger (Biometrics 53, 1997,
983-997, from memory), all variances kept in their information, also those at 0.

As printed, 2,000 sessions (+- 0.005):

assessors gaps  no interaction: level, power        interaction 0.5: level, power
                squares     likelihood  K-R         squares     likelihood  K-R
        5   1%  0.050 0.45  0.039 0.42  0.023 0.37  0.043 0.32  0.043 0.32  0.034 0.29
        5   5%  0.050 0.43  0.037 0.41  0.022 0.35  0.040 0.32  0.043 0.31  0.033 0.29
        5  15%  0.054 0.37  0.036 0.36  0.022 0.29  0.048 0.28  0.042 0.29  0.032 0.25
        8   1%  0.043 0.75  0.033 0.74  0.025 0.72  0.048 0.55  0.043 0.56  0.038 0.55
        8   5%  0.048 0.72  0.031 0.71  0.028 0.69  0.045 0.53  0.049 0.54  0.042 0.53
        8  15%  0.047 0.63  0.034 0.64  0.026 0.60  0.056 0.48  0.051 0.49  0.041 0.47
       12   1%  0.042 0.93  0.033 0.93  0.031 0.92  0.049 0.78  0.050 0.78  0.049 0.78
       12   5%  0.046 0.91  0.034 0.91  0.029 0.91  0.048 0.76  0.045 0.77  0.043 0.77
       12  15%  0.049 0.85  0.034 0.86  0.029 0.85  0.049 0.70  0.049 0.72  0.046 0.71
Powers of ten by which p moves when one of 96 scores is lost, interaction below 0.6 of error,
median and 99 %: squares 0.11 1.22, likelihood 0.69 1.68, K-R 0.94 2.03 (against the mean squares
of the complete scores).
One sample scored once, the others twice, no interaction: F 0.053 to 0.055, t of that sample by the
scatter of all 0.071 to 0.076, by that of the two 0.039 to 0.046.
"""

import numpy as np
import pytest
from scipy.special import fdtrc, stdtr

from sensory.models.mean_squares import mean_squares
from sensory.models.mixed import orthonormal_contrasts, restricted_likelihood
from sensory.models.pair_scatter import pair_scatter
from sensory.models.unweighted import cell_means, unweighted_squares

SAMPLES, REPLICATES, ALPHA = 4, 2, 0.05
SESSIONS = 2000
CHUNK = 200
WAYS = ("squares", "likelihood", "K-R")


def sessions(assessors, gaps, interaction, count, seed, high=0.0):
    """Scores (rows, sessions) and the codes of the rows."""
    rng = np.random.default_rng(seed)
    shape = (assessors, SAMPLES, REPLICATES)
    a, s, _ = (code.ravel() for code in np.indices(shape))
    score = rng.normal(size=(a.size, count)) + rng.normal(size=(assessors, count))[a]
    score += interaction * rng.normal(size=(assessors * SAMPLES, count))[a * SAMPLES + s]
    score[s == 1] += high
    lost = max(1, round(gaps * a.size)) if gaps else 0
    order = rng.random(score.shape).argsort(0)
    score[order < lost] = np.nan
    return score, a, s


def kenward_roger(score, a, s, variances):
    """F, its scaled value's p; dense, rows without a score are cut off by zeros."""
    there = np.isfinite(score).T.astype(float)
    y = np.nan_to_num(score).T
    x = there[:, :, None] * np.eye(SAMPLES)[s]
    cell = a * SAMPLES + s
    pair = there[:, :, None] * there[:, None, :]
    parts = [(code[:, None] == code) * pair for code in (a, cell, np.arange(len(a)))]
    v = sum(size[:, None, None] * part for size, part in zip(variances.T, parts, strict=True))
    v = v + np.eye(len(a)) * (1 - there)[:, None, :]
    inverse = np.linalg.inv(v)
    left = np.swapaxes(x, 1, 2) @ inverse
    phi = np.linalg.inv(left @ x)
    projection = inverse - np.swapaxes(left, 1, 2) @ phi @ left
    turned = [projection @ part for part in parts]
    information = np.array(
        [[np.einsum("nij,nji->n", one, other) for other in turned] for one in turned]
    )
    w = 2 * np.linalg.inv(np.moveaxis(information, 2, 0))
    p = [-left @ part @ np.swapaxes(left, 1, 2) for part in parts]
    extra = np.zeros_like(phi)
    for i in range(3):
        for j in range(3):
            q = left @ parts[i] @ inverse @ parts[j] @ np.swapaxes(left, 1, 2)
            extra += w[:, i, j, None, None] * (q - p[i] @ phi @ p[j])
    return kenward_roger_test(phi, phi + 2 * phi @ extra @ phi, p, w, left, y)


def kenward_roger_test(phi, wider, p, w, left, y):
    contrast = orthonormal_contrasts(SAMPLES)
    count = len(contrast)
    means = (phi @ left @ y[:, :, None])[:, :, 0] @ contrast.T
    theta = contrast.T @ np.linalg.inv(contrast @ phi @ contrast.T) @ contrast
    turned = [theta @ phi @ part @ phi for part in p]
    a1, a2 = np.zeros((2, len(phi)))
    for i in range(3):
        for j in range(3):
            trace = np.trace(turned[i], axis1=1, axis2=2) * np.trace(turned[j], axis1=1, axis2=2)
            a1 += w[:, i, j] * trace
            a2 += w[:, i, j] * np.einsum("nij,nji->n", turned[i], turned[j])
    b = (a1 + 6 * a2) / (2 * count)
    g = ((count + 1) * a1 - (count + 4) * a2) / ((count + 2) * a2)
    below = 3 * count + 2 * (1 - g)
    c1, c2, c3 = g / below, (count - g) / below, (count + 2 - g) / below
    mean = 1 / (1 - a2 / count)
    variance = 2 / count * (1 + c1 * b) / ((1 - c2 * b) ** 2 * (1 - c3 * b))
    df = 4 + (count + 2) / (count * variance / (2 * mean**2) - 1)
    scale = df / (mean * (df - 2))
    apart = np.linalg.inv(contrast @ wider @ contrast.T)
    statistic = np.einsum("ni,nij,nj->n", means, apart, means) / count
    return scale * statistic, df, fdtrc(count, df, scale * statistic)


def p_values(score, a, s):
    """p of each way, (ways, sessions)."""
    squares = unweighted_squares(cell_means(score, a, s, np.zeros_like(a)))
    fit = restricted_likelihood(score, s, {"assessor": a, "both": a * SAMPLES + s})
    p = []
    for each in (squares.fit, fit):
        statistic, df, df_error = each.equality()
        p.append(fdtrc(df, df_error, statistic))
    parts = [slice(at, at + CHUNK) for at in range(0, score.shape[1], CHUNK)]
    own = [kenward_roger(score[:, part], a, s, fit.variances[part])[2] for part in parts]
    return np.array([*p, np.concatenate(own)])


def test_the_second_and_third_way_are_those_of_mean_squares_where_these_agree():
    """Complete scores, all variances above 0: F and df of Kenward and Roger are the classical."""
    score, a, s = sessions(8, 0, 1.5, 60, seed=4)
    fit = restricted_likelihood(score, s, {"assessor": a, "both": a * SAMPLES + s})
    inside = fit.variances.min(1) > 0
    statistic, df, p = kenward_roger(score, a, s, fit.variances)
    squares = mean_squares(score.reshape(8, SAMPLES, 1, REPLICATES, -1))
    assert inside.sum() > 50
    np.testing.assert_allclose(statistic[inside], squares.fit.equality()[0][inside], rtol=1e-5)
    np.testing.assert_allclose(df[inside], 21, rtol=1e-5)
    assert ((p > 0) & (p < 1)).all()


@pytest.mark.parametrize("assessors", [5, 8, 12])
@pytest.mark.parametrize("gaps", [0.01, 0.05, 0.15])
def test_levels_and_power_with_gaps(show, assessors, gaps):
    line = f"{assessors:9} {gaps:4.0%}"
    for interaction in (0.0, 0.5):
        level = p_values(*sessions(assessors, gaps, interaction, SESSIONS, seed=7)) <= ALPHA
        power = p_values(*sessions(assessors, gaps, interaction, SESSIONS, 8, 1.0)) <= ALPHA
        cells = [f"{x:.3f} {y:.2f}" for x, y in zip(level.mean(1), power.mean(1), strict=True)]
        line += "  " + "  ".join(cells)
        assert abs(level[0].mean() - ALPHA) < 4.5 * np.sqrt(ALPHA * (1 - ALPHA) / SESSIONS)
    show(line)


@pytest.mark.parametrize("assessors", [5, 8, 12])
def test_one_sample_scored_once_and_the_others_twice(show, assessors):
    """Its cells scatter more than the rule takes them to: F, and t of that sample."""
    line = f"{assessors} assessors, one sample scored once: F, t by one scatter, t by its own "
    for interaction in (0.0, 0.5):
        score, a, s = sessions(assessors, 0, interaction, 10_000, seed=11)
        once = (s == 2) & (np.arange(len(s)) % REPLICATES == 1)
        score[once] = np.nan
        squares = unweighted_squares(cell_means(score, a, s, np.zeros_like(a)))
        statistic, df, df_error = squares.fit.equality()
        estimate, se, free = squares.fit.contrasts(np.array([[-1.0, 0, 1, 0]]))
        ms, own = pair_scatter(squares, np.array([2]), np.array([0]))
        se_own = se * np.sqrt(ms / squares.ms[:, 2, None])
        p = [fdtrc(df, df_error, statistic)]
        p += [2 * stdtr(d, -np.abs(estimate / e))[:, 0] for e, d in ((se, free), (se_own, own))]
        level = [(each <= ALPHA).mean() for each in p]
        line += "  " + " ".join(f"{each:.3f}" for each in level)
        assert max(level[0], level[2]) < 0.065
    show(line)


def test_what_the_loss_of_one_score_does(show):
    """12 assessors, interaction below 0.6 of error: how far p moves when one of 96 is lost."""
    score, a, s = sessions(12, 0, 0.0, 2000, seed=9, high=0.7)
    whole = mean_squares(score.reshape(12, SAMPLES, 1, REPLICATES, -1))
    below = whole.ms[:, 2] < 0.6 * whole.ms[:, 3]
    statistic, df, df_error = whole.fit.equality()
    before = fdtrc(df, df_error, statistic)[below]
    score = score[:, below]
    lost = np.random.default_rng(1).integers(0, len(a), score.shape[1])
    score[lost, np.arange(score.shape[1])] = np.nan
    moved = np.abs(np.log10(p_values(score, a, s) / before))
    quantiles = np.quantile(moved, [0.5, 0.99], axis=1).T
    show("powers of ten by which p moves when one of 96 scores is lost: median, 99 %")
    show(*(f"  {way}: {q[0]:.2f} {q[1]:.2f}" for way, q in zip(WAYS, quantiles, strict=True)))
    assert quantiles[0, 0] < quantiles[1:, 0].min() / 3
    assert quantiles[0, 1] < quantiles[1:, 1].min()

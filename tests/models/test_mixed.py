"""The mixed model against R, against a dense likelihood, and against its own symmetries."""

import csv
import tracemalloc
from functools import cache

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import fdtrc

from sensory.models.crossed import cross_products, profile_deviance
from sensory.models.mean_squares import mean_squares
from sensory.models.mixed import likelihood_ratios, orthonormal_contrasts, restricted_likelihood

from ..references.readers import HERE, entries

# How each number was made stands in tests/references/ratings.R, the versions in the file.
CASES = entries("ratings.json", "cases")


@cache
def rows_of(name):
    with open(HERE / "ratings" / f"{name}.csv", newline="") as file:
        return list(csv.DictReader(file))


def kept_rows(case):
    """Rows of a case, as dictionaries of text, those without a score left out."""
    out = set(np.atleast_1d(case["dropped"]).astype(int).tolist())
    return [
        row
        for place, row in enumerate(rows_of(case["set"]), start=1)
        if place not in out and row[case["attribute"]] not in ("", "NA")
    ]


def engine_input(case):
    """Scores (rows, 1), sample codes in the order of the case, and random factors."""
    rows = kept_rows(case)
    scores = np.array([[float(row[case["attribute"]])] for row in rows])
    names = list(case["samples"])
    sample = np.array([names.index(row["sample"]) for row in rows])

    def codes(column):
        return np.unique([row[column] for row in rows], return_inverse=True)[1]

    random = {"assessor": codes("assessor")}
    if case["interaction"]:
        random["assessor x sample"] = random["assessor"] * len(names) + sample
    if case["session"]:
        random["session"] = codes("session")
    return scores, sample, random


def comparisons(levels):
    """Each mean, each mean less the first, each pair."""
    eye = np.eye(levels)
    pairs = [eye[i] - eye[j] for i in range(levels) for j in range(i + 1, levels)]
    return eye, eye[1:] - eye[0], np.array(pairs)


# Program against program: both optimisers stop within 1e-7 of the optimum in relative
# terms; ten times that is left to other machines.
CLOSE = {"rtol": 1e-6}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_fit_against_r(case):
    scores, sample, random = engine_input(case)
    fit = restricted_likelihood(scores, sample, random)
    assert fit.terms == (*random, "error")
    whole = sum(case["variances"])
    np.testing.assert_allclose(fit.variances[0], case["variances"], rtol=1e-6, atol=1e-6 * whole)
    statistic, df, df_error = fit.equality()
    assert df == case["df"]
    np.testing.assert_allclose(statistic, case["F"], **CLOSE)
    np.testing.assert_allclose(df_error, case["df_error"], **CLOSE)
    np.testing.assert_allclose(fdtrc(df, df_error, statistic), case["p"], **CLOSE)
    # The program's own basis of contrasts is another one.
    np.testing.assert_allclose(df_error, case["df_error_program_basis"], rtol=2e-3)
    ratios = likelihood_ratios(scores, sample, random, fit)[0]
    np.testing.assert_allclose(ratios, np.atleast_1d(case["likelihood_ratios"]), atol=1e-7)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_means_and_comparisons_against_r(case):
    fit = restricted_likelihood(*engine_input(case))
    for weights, name in zip(
        comparisons(len(case["samples"])), ("means", "against", "pairs"), strict=True
    ):
        estimate, se, df = (found[0] for found in fit.contrasts(weights))
        np.testing.assert_allclose(estimate, case[name], **CLOSE)
        np.testing.assert_allclose(se, case[f"{name}_se"], **CLOSE)
        np.testing.assert_allclose(df, case[f"{name}_df"], **CLOSE)


def test_the_cases_hold_components_at_zero_and_above():
    zeros = [min(case["variances"]) < 1e-9 for case in CASES.values()]
    assert 5 <= sum(zeros) <= len(zeros) - 5


def panel(assessors=6, samples=4, replicates=3, responses=5, missing=0.1, interaction=0.7, seed=1):
    """Scores with assessor, interaction and occasion effects; about a tenth missing."""
    rng = np.random.default_rng(seed)
    grid = np.meshgrid(*map(np.arange, (assessors, samples, replicates)), indexing="ij")
    a, s, r = (code.ravel() for code in grid)
    scores = rng.normal(size=(assessors, responses))[a] + rng.normal(size=(samples, responses))[s]
    scores += interaction * rng.normal(size=(assessors * samples, responses))[a * samples + s]
    scores += 0.5 * rng.normal(size=(replicates, responses))[r]
    scores += rng.normal(size=scores.shape)
    scores[rng.random(scores.shape) < missing] = np.nan
    return scores, s, {"assessor": a, "both": a * samples + s, "occasion": r}


def dense_deviance(variances, scores, sample, random):
    """-2 log restricted likelihood by matrices as long as the scores; no constants."""
    there = np.isfinite(scores)
    y, x = scores[there], np.eye(sample.max() + 1)[sample[there]]
    v = variances[-1] * np.eye(len(y))
    for variance, code in zip(variances, random.values(), strict=False):
        z = np.eye(code.max() + 1)[code[there]]
        v = v + variance * z @ z.T
    inverse = np.linalg.inv(v)
    information = x.T @ inverse @ x
    residual = y - x @ np.linalg.solve(information, x.T @ inverse @ y)
    logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
    return logs + residual @ inverse @ residual


@pytest.mark.parametrize("interaction", [0.0, 0.7])
def test_against_a_dense_likelihood(interaction):
    scores, sample, random = panel(interaction=interaction)
    fit = restricted_likelihood(scores, sample, random)
    for column, variances in enumerate(fit.variances):

        def deviance(v, column=column):
            return dense_deviance(v, scores[:, column], sample, random)

        bounds = [(0, None)] * 3 + [(1e-3, None)]
        other = minimize(deviance, variances + 0.05, method="L-BFGS-B", bounds=bounds)
        assert deviance(variances) <= other.fun + 1e-9
        np.testing.assert_allclose(variances, other.x, atol=2e-3)
        active = np.flatnonzero(variances > 0)
        step = 1e-3 * np.diag(variances)

        def second(i, j, deviance=deviance, at=variances, step=step):
            corners = [
                p * q * deviance(at + p * step[i] + q * step[j]) for p in (1, -1) for q in (1, -1)
            ]
            return sum(corners) / (4 * step[i, i] * step[j, j])

        information = np.array([[second(i, j) for j in active] for i in active])
        spread = fit.spread[column]
        np.testing.assert_allclose(
            spread[np.ix_(active, active)], 2 * np.linalg.inv(information), rtol=1e-4
        )
        held = variances == 0
        assert not spread[held].any()


def test_slopes_are_the_derivatives_of_the_covariance():
    scores, sample, random = panel(responses=1)
    products = cross_products(scores, sample, [random["both"], random["assessor"]])
    at = np.array([[0.4, 0.8]])
    slopes = profile_deviance(products, at).slopes[0]
    for term in (0, 1):
        move = np.zeros((1, 2))
        move[0, term] = 1e-5
        up, down = (profile_deviance(products, at + d * move).inverse[0] for d in (1, -1))
        np.testing.assert_allclose(slopes[term], (up - down) / 2e-5, rtol=1e-6, atol=1e-9)


def traces_by_matrices(ratios, y, sample, random):
    """tr(P V_k), y'P V_k P y and those of pairs, by matrices as long as the scores."""
    there = np.isfinite(y)
    y, x = y[there], np.eye(sample.max() + 1)[sample[there]]
    parts = [np.eye(code.max() + 1)[code[there]] for code in random]
    parts = [z @ z.T for z in parts]
    inverse = np.linalg.inv(np.eye(len(y)) + sum(r * v for r, v in zip(ratios, parts, strict=True)))
    p = inverse - inverse @ x @ np.linalg.solve(x.T @ inverse @ x, x.T @ inverse)
    pv = [p @ v for v in parts]
    return (
        [np.trace(m) for m in pv],
        [y @ m @ p @ y for m in pv],
        [[np.trace(m @ o) for o in pv] for m in pv],
        [[y @ m @ o @ p @ y for o in pv] for m in pv],
    )


@pytest.mark.parametrize(
    "terms",
    [
        ("assessor",),
        ("assessor", "occasion"),
        ("both", "assessor"),
        ("occasion", "assessor", "both"),
        ("assessor", "visit"),  # nested, and crossed with samples
        ("occasion", "both"),  # no term of assessors
    ],
    ids=" ".join,
)
def test_traces_by_matrices(terms):
    scores, sample, random = panel(responses=2, missing=0.2)
    random["visit"] = random["assessor"] * 3 + random["occasion"]
    codes = [random[term] for term in terms]
    ratios = np.random.default_rng(3).uniform(0, 2, (2, len(terms)))
    at = profile_deviance(cross_products(scores, sample, codes), ratios)
    for column in range(2):
        wanted = traces_by_matrices(ratios[column], scores[:, column], sample, codes)
        ours = (at.trace, at.square, at.traces, at.squares)
        for own, other in zip(ours, wanted, strict=True):
            np.testing.assert_allclose(own[column], other, rtol=1e-9)


def test_memory_is_linear_in_assessors():
    """Twice the assessors take twice the memory, not four times: no matrix holds their pairs."""

    def most(assessors):
        scores, sample, random = panel(assessors, responses=2)
        products = cross_products(scores, sample, list(random.values()))
        tracemalloc.start()
        profile_deviance(products, np.full((2, 3), 0.5))
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak

    assert most(400) < 2.2 * most(200)


@pytest.mark.parametrize("occasions", [1, 3])
def test_both_roads_agree_where_all_variances_are_positive(occasions):
    rng = np.random.default_rng(5)
    shape = (8, 5, occasions, 6 // occasions, 40)
    cube = rng.normal(size=shape) + rng.normal(size=(8, 1, 1, 1, 40))
    cube += rng.normal(size=(8, 5, 1, 1, 40)) + rng.normal(size=(1, 1, occasions, 1, 40))
    codes = np.indices(shape[:4]).reshape(4, -1)
    random = {"assessor": codes[0], "both": codes[0] * 5 + codes[1]}
    if occasions > 1:
        random["occasion"] = codes[2]
    fit = restricted_likelihood(cube.reshape(-1, 40), codes[1], random)
    closed = mean_squares(cube).fit
    positive = (fit.variances > 0).all(1)
    assert positive.sum() >= 30
    np.testing.assert_allclose(fit.variances[positive], closed.variances[positive], rtol=1e-8)
    weights = np.vstack(comparisons(5))
    for one, other in zip(fit.contrasts(weights), closed.contrasts(weights), strict=True):
        np.testing.assert_allclose(one[positive], other[positive], rtol=1e-8, atol=1e-10)
    for one, other in zip(fit.equality(), closed.equality(), strict=True):
        one, other = np.broadcast_to(one, 40), np.broadcast_to(other, 40)
        np.testing.assert_allclose(one[positive], other[positive], rtol=1e-8)


def test_each_response_is_fitted_as_if_alone():
    scores, sample, random = panel()
    together = restricted_likelihood(scores, sample, random)
    for column in range(scores.shape[1]):
        alone = restricted_likelihood(scores[:, [column]], sample, random)
        np.testing.assert_allclose(
            alone.variances[0], together.variances[column], rtol=1e-7, atol=1e-9
        )
        np.testing.assert_allclose(alone.means[0], together.means[column], rtol=1e-9)


def test_order_of_the_random_terms_does_not_matter():
    scores, sample, random = panel()
    one = restricted_likelihood(scores, sample, random)
    turned = restricted_likelihood(scores, sample, dict(reversed(random.items())))
    np.testing.assert_allclose(one.variances[:, [2, 1, 0, 3]], turned.variances, rtol=1e-9)
    np.testing.assert_allclose(one.equality()[2], turned.equality()[2], rtol=1e-7)


def test_unit_and_origin_of_the_scale():
    scores, sample, random = panel()
    plain = restricted_likelihood(scores, sample, random)
    other = restricted_likelihood(1e5 - 1e-3 * scores, sample, random)
    np.testing.assert_allclose(other.variances, 1e-6 * plain.variances, rtol=1e-5, atol=1e-14)
    np.testing.assert_allclose(other.means, 1e5 - 1e-3 * plain.means, rtol=1e-12)
    for place in (0, 2):
        np.testing.assert_allclose(other.equality()[place], plain.equality()[place], rtol=1e-5)
    differ = other.deviance - plain.deviance
    free = np.isfinite(scores).sum(0) - 4
    np.testing.assert_allclose(differ, free * np.log(1e-6), rtol=1e-7)


def test_variances_that_are_far_apart():
    """A tiny error beside huge assessors, and the other way round."""
    scores, sample, random = panel(missing=0.05)
    effect = np.random.default_rng(2).normal(size=(6, 1))[random["assessor"]]
    for size in (10.0, 1e-3):
        y = scores / 1e2 + size * effect
        fit = restricted_likelihood(y, sample, random)
        for column in range(y.shape[1]):
            best = dense_deviance(fit.variances[column], y[:, column], sample, random)
            for factor in (0.98, 1.02):
                for term in range(4):
                    moved = fit.variances[column].copy()
                    moved[term] *= factor
                    assert dense_deviance(moved, y[:, column], sample, random) >= best - 1e-7


def test_orthonormal_contrasts():
    for levels in (2, 3, 7):
        basis = orthonormal_contrasts(levels)
        np.testing.assert_allclose(basis @ basis.T, np.eye(levels - 1), atol=1e-15)
        np.testing.assert_allclose(basis.sum(1), 0, atol=1e-15)


@pytest.mark.parametrize("seed", range(12))
def test_no_ratios_give_a_lower_deviance(seed):
    """Designs with few assessors and up to a third missing, against 60 random points."""
    rng = np.random.default_rng(seed)
    shape = (rng.integers(3, 9), rng.integers(2, 6), rng.integers(2, 4))
    a, s, r = (code.ravel() for code in np.indices(shape))
    both = a * shape[1] + s
    scores = rng.normal(size=(a.size, 20)) + rng.choice([0, 3, 30]) * rng.normal(size=(9, 20))[a]
    scores += rng.choice([0, 0.3, 3]) * rng.normal(size=(45, 20))[both]
    scores[rng.random(scores.shape) < rng.choice([0.05, 0.3])] = np.nan
    seen = np.stack([np.isfinite(scores[s == level]).any(0) for level in range(shape[1])]).all(0)
    scores = scores[:, seen]
    fit = restricted_likelihood(scores, s, {"both": both, "assessor": a, "occasion": r})
    products = cross_products(scores, s, [both, a, r])
    ratios = fit.variances[:, :-1] / fit.variances[:, -1:]
    at = profile_deviance(products, ratios)
    gradient = at.trace - at.square / at.error[:, None]
    np.testing.assert_allclose(np.where(ratios > 0, gradient * ratios, 0), 0, atol=1e-5)
    assert (gradient[ratios == 0] >= -1e-7).all()
    for _ in range(60):
        other = 10 ** rng.uniform(-3, 2.5, ratios.shape) * (rng.random(ratios.shape) < 0.7)
        assert (profile_deviance(products, other).deviance >= at.deviance - 1e-7).all()


def test_a_term_that_cannot_be_told_from_error_is_put_at_zero():
    rng = np.random.default_rng(1)
    sample = np.tile([0, 1], 6)
    scores = rng.normal(size=(12, 3))
    random = {"assessor": np.repeat(np.arange(6), 2), "row": np.arange(12)}
    fit = restricted_likelihood(scores, sample, random)
    assert (fit.variances[:, 1] == 0).all()
    alone = restricted_likelihood(scores, sample, {"assessor": random["assessor"]})
    np.testing.assert_allclose(fit.equality()[0], alone.equality()[0], rtol=1e-9)
    np.testing.assert_allclose(fit.equality()[2], alone.equality()[2], rtol=1e-7)

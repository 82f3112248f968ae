"""Beta-binomial: masses by integration, the maximum by another optimiser, limits inverted."""

from math import comb

import numpy as np
import pytest
from scipy import special
from scipy.integrate import quad
from scipy.optimize import minimize, minimize_scalar
from scipy.stats import beta, betabinom, binom, chi2

from sensory.models.beta_binomial import ReplicateLikelihood, tabulated
from sensory.models.beta_moments import mass_jets, masses

GUESSES = (0.1, 1 / 3, 0.5)


@pytest.mark.parametrize("guess", GUESSES)
@pytest.mark.parametrize(("mean", "spread"), [(0.3, 0.3), (0.5, 0.1), (0.7, 0.25)])
@pytest.mark.parametrize("times", [1, 3, 6])
def test_masses_against_integration(times, mean, spread, guess):
    scale = 1 / spread - 1
    a, b = mean * scale, (1 - mean) * scale
    for x, ours in enumerate(masses(times, guess, mean, spread)):
        ways = comb(times, x) / special.beta(a, b)

        def mass(q, x=x, ways=ways):
            right = guess + (1 - guess) * q
            beta_density = q ** (a - 1) * (1 - q) ** (b - 1)
            return ways * beta_density * right**x * (1 - right) ** (times - x)

        assert ours == pytest.approx(quad(mass, 0, 1, epsabs=1e-12, limit=200)[0], rel=1e-7)


@pytest.mark.parametrize("times", [1, 2, 7, 40])
@pytest.mark.parametrize("spread", [0.001, 0.3, 0.9])
def test_masses_without_guessing(times, spread):
    scale = 1 / spread - 1
    exact = betabinom.pmf(range(times + 1), times, 0.35 * scale, 0.65 * scale)
    np.testing.assert_allclose(masses(times, 0.0, 0.35, spread), exact, rtol=1e-9)


@pytest.mark.parametrize("guess", GUESSES)
@pytest.mark.parametrize("mean", [0.0, 0.4, 1.0])
def test_no_spread_is_the_binomial(guess, mean):
    exact = binom.pmf(range(9), 8, guess + (1 - guess) * mean)
    np.testing.assert_allclose(masses(8, guess, mean, 0.0), exact, rtol=1e-12, atol=1e-300)


@pytest.mark.parametrize("guess", GUESSES)
def test_full_spread_is_a_mixture_of_two_kinds(guess):
    # A share notices always, the others guess.
    exact = 0.7 * binom.pmf(range(6), 5, guess)
    exact[5] += 0.3
    np.testing.assert_allclose(masses(5, guess, 0.3, 1 - 1e-9), exact, atol=1e-8)
    np.testing.assert_allclose(masses(5, guess, 0.3, 1), exact, rtol=1e-12)


@pytest.mark.parametrize("guess", GUESSES)
def test_moments(guess):
    # Two answers of one person share pi: covariance (1 - guess)^2 Var(pi), Var(pi) from scipy.
    mean, spread, times = 0.35, 0.4, 6
    x, chance = np.arange(times + 1), masses(times, guess, mean, spread)
    scale = 1 / spread - 1
    share = beta(mean * scale, (1 - mean) * scale)
    pc = guess + (1 - guess) * share.mean()
    expected = times * pc * (1 - pc) + times * (times - 1) * (1 - guess) ** 2 * share.var()
    assert chance.sum() == pytest.approx(1, abs=1e-12)
    assert (x * chance).sum() == pytest.approx(times * pc)
    assert ((x - times * pc) ** 2 * chance).sum() == pytest.approx(expected)


def test_masses_broadcast():
    means, spreads = np.array([[0.1], [0.6]]), np.array([0.0, 0.2, 0.9])
    many = masses(4, 1 / 3, means, spreads)
    assert many.shape == (2, 3, 5)
    for i in range(2):
        for j in range(3):
            one = masses(4, 1 / 3, means[i, 0], spreads[j])
            np.testing.assert_allclose(many[i, j], one, rtol=1e-14)


@pytest.mark.parametrize("times", [1, 4, 9])
def test_derivatives_of_the_masses_are_those_of_differences(times):
    mean, spread, h = np.array([0.0, 0.2, 0.6, 0.95]), np.array([0.5, 0.0, 0.3, 0.98]), 1e-5

    def at(a, b):
        return mass_jets(times, 1 / 3, mean + a * h, spread + b * h)

    here = at(0, 0)
    np.testing.assert_allclose(here[0], masses(times, 1 / 3, mean, spread), rtol=1e-13)
    for place, of, move in ((1, 0, (1, 0)), (2, 0, (0, 1)), (3, 1, (1, 0)), (4, 1, (0, 1))):
        apart = at(*move)[of] - at(*(-step for step in move))[of]
        np.testing.assert_allclose(here[place], apart / (2 * h), atol=1e-7)
    apart = at(0, 1)[2] - at(0, -1)[2]
    np.testing.assert_allclose(here[5], apart / (2 * h), atol=1e-7)


def test_a_maximum_beside_an_end_is_not_missed():
    """At a mean of 0 every spread fits alike; here a small mean fits better, all alike."""
    given = np.array([4, 1, 4, 3, 4, 5, 1, 4, 1, 3, 1, 2, 5, 3, 4, 5, 5, 1, 2, 5, 4, 3])
    correct = np.array([1, 0, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 2, 1, 2, 2, 0, 1, 0, 3, 2, 2])
    likelihood = ReplicateLikelihood(guess=1 / 3, tables=tabulated(correct, given))
    assert likelihood.best[2] >= likelihood.best_equal[1] - 1e-12
    assert likelihood.best[2] >= by_other_optimiser(likelihood) - 1e-8


def panel(seed, people=20):
    rng = np.random.default_rng(seed)
    guess = GUESSES[seed % 3]
    mean, spread = rng.uniform(0, 0.9), rng.uniform(0.02, 0.9)
    scale = 1 / spread - 1
    noticing = rng.beta(mean * scale + 1e-9, (1 - mean) * scale, people)
    given = rng.integers(1, 6, people)
    correct = rng.binomial(given, guess + (1 - guess) * noticing)
    return ReplicateLikelihood(guess=guess, tables=tabulated(correct, given))


def by_other_optimiser(likelihood):
    """The best of a fine net over both parameters, and a simplex from there."""
    mean, spread = np.meshgrid(np.linspace(0.01, 0.99, 60), np.linspace(0.0, 0.99, 60))
    net = likelihood.at(mean.ravel(), spread.ravel())
    best = int(np.argmax(net))
    least = minimize(
        lambda t: -float(likelihood.at(t[0], t[1])),
        (mean.ravel()[best], max(spread.ravel()[best], 0.005)),
        method="Nelder-Mead",
        bounds=[(1e-9, 1 - 1e-9), (0, 1)],
        options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 3000},
    )
    return max(float(net[best]), -least.fun)


@pytest.mark.parametrize("seed", range(12))
def test_maximum_is_not_beaten(seed):
    likelihood = panel(seed)
    mean, spread, top = likelihood.best
    assert float(likelihood.at(mean, spread)) == pytest.approx(top, abs=1e-12)
    assert likelihood.profile_mean(np.array([mean]))[0] == pytest.approx(top, abs=1e-8)
    assert likelihood.profile_spread(np.array([spread]))[0] == pytest.approx(top, abs=1e-8)
    assert top >= by_other_optimiser(likelihood) - 1e-8


@pytest.mark.parametrize("seed", range(12))
def test_maximum_of_like_assessors_is_the_pooled_proportion(seed):
    likelihood = panel(seed)
    tables = likelihood.tables
    right = sum((np.arange(m + 1) * table).sum() for m, table in tables.items())
    given = sum(m * table.sum() for m, table in tables.items())
    expected = max((right / given - likelihood.guess) / (1 - likelihood.guess), 0)
    assert likelihood.best_equal[0] == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("name", ["mean", "spread"])
def test_limits_invert_the_profile(seed, name):
    """At an inner limit the log-likelihood, maximised by scipy, lies the right drop lower."""
    likelihood = panel(seed)
    top = likelihood.best[2]
    drop = chi2.ppf(0.95, 1) / 2
    ends = (0.0, 1.0)
    for limit, end in zip(likelihood.limits(name, 0.95), ends, strict=True):
        grid = np.linspace(0, 1, 201)
        pair = (limit, grid) if name == "mean" else (grid, limit)
        place = grid[int(np.argmax(likelihood.at(*pair)))]

        def loss(other, limit=limit):
            pair = (limit, other) if name == "mean" else (other, limit)
            return -float(likelihood.at(*pair))

        near = (max(place - 0.01, 0), min(place + 0.01, 1))
        best = -min(
            minimize_scalar(loss, bounds=near, options={"xatol": 1e-10}).fun,
            loss(near[0]),
            loss(near[1]),
        )
        if limit == end:
            assert top - best <= drop + 1e-6
        else:
            assert top - best == pytest.approx(drop, abs=1e-4)


def test_tabulated_counts_assessors():
    tables = tabulated(np.array([2, 0, 1, 2, 3]), np.array([2, 2, 2, 2, 3]))
    assert {m: table.tolist() for m, table in tables.items()} == {2: [1, 1, 2], 3: [0, 0, 0, 1]}

"""The findings keep the risks they state: over all outcomes, and in simulated sessions."""

from math import sqrt

import numpy as np
import pytest
from scipy.stats import binom

from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import PAIRED

from .shared import ALARMS, PASSES, every_protocol

every_risk = pytest.mark.parametrize(("alpha", "beta"), [(0.05, 0.05), (0.2, 0.1), (0.01, 0.2)])

SESSIONS = 200_000
LIMIT = 0.3


def share(findings, wanted):
    return np.isin(findings, wanted).mean()


def four_errors(risk):
    return 4 * sqrt(risk * (1 - risk) / SESSIONS)


@every_protocol
@every_risk
@pytest.mark.parametrize("n", [24, 60])
def test_simulated_panels_that_guess_and_that_lie_at_the_limit(protocol, alpha, beta, n):
    agreed, guess = {"alpha": alpha, "beta": beta, "pd_limit": LIMIT}, float(protocol.guess)
    guesses = np.random.default_rng(41).binomial(n, guess, SESSIONS)
    found = choice_test(protocol, guesses, n, **agreed).finding
    assert share(found, ALARMS) <= alpha + four_errors(alpha)
    # Distinguishers are right, the others guess.
    rng = np.random.default_rng(42)
    noticing = rng.binomial(n, LIMIT, SESSIONS)
    found = choice_test(protocol, noticing + rng.binomial(n - noticing, guess), n, **agreed).finding
    assert share(found, PASSES) <= beta + four_errors(beta)


def test_two_sided_risks_in_simulated_sessions():
    rng = np.random.default_rng(43)
    guesses = rng.binomial(50, 0.5, SESSIONS)
    found = choice_test(PAIRED, guesses, 50, two_sided=True).finding
    assert share(found, ALARMS) <= 0.05 + four_errors(0.05)
    shifted = rng.binomial(50, 0.5 - LIMIT / 2, SESSIONS)
    found = choice_test(PAIRED, shifted, 50, two_sided=True, pd_limit=LIMIT).finding
    assert share(found, PASSES) <= 0.05 + four_errors(0.05)


def every_outcome(sizes):
    """Each number of correct answers in sessions of each of these sizes, and the sizes."""
    return np.concatenate([np.arange(n + 1) for n in sizes]), np.repeat(sizes, np.add(sizes, 1))


@every_protocol
@every_risk
def test_risks_over_all_outcomes(protocol, alpha, beta):
    guess = float(protocol.guess)
    at_limit = guess + (1 - guess) * LIMIT
    x, n = every_outcome(range(1, 101))
    found = choice_test(protocol, x, n, alpha=alpha, beta=beta, pd_limit=LIMIT).finding
    alarms = np.bincount(n, binom.pmf(x, n, guess) * np.isin(found, ALARMS))
    passes = np.bincount(n, binom.pmf(x, n, at_limit) * np.isin(found, PASSES))
    assert len(alarms) == len(passes) == 101
    assert (alarms <= alpha + 1e-12).all()
    assert (passes <= beta + 1e-12).all()


@every_protocol
def test_no_smaller_critical_count_would_keep_alpha(protocol):
    # Honest, but not timid: the outcome just below significance would break alpha.
    x, n = every_outcome(range(5, 101))
    alarm = np.isin(choice_test(protocol, x, n).finding, ALARMS)
    sizes, first = np.unique(n[alarm], return_index=True)
    assert len(sizes) > 90
    assert (binom.sf(x[alarm][first] - 2, sizes, float(protocol.guess)) > 0.05).all()


@every_protocol
def test_limits_cover_the_true_proportion(protocol):
    # Two-sided 95 % limits of pc hold the truth in at least 95 % of the sessions.
    n, x = 40, np.arange(41)
    limits = choice_test(protocol, x, n).pc_limits
    for truth in np.linspace(float(protocol.guess), 0.99, 25):
        holds = (limits.low <= truth) & (truth <= limits.high)
        assert binom.pmf(x, n, truth)[holds].sum() >= 0.95

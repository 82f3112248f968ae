"""Sizes and power against plain scans and enumeration over every outcome."""

from fractions import Fraction
from functools import cache

import numpy as np
import pytest
from scipy.stats import binom

from sensory.base.findings import Finding
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import DUO_TRIO, PAIRED, TETRAD, TRIANGLE, TWO_OUT_OF_FIVE
from sensory.choices.size import (
    deciding_size,
    fair_pass_size,
    operating_characteristic,
    panel_size,
    power,
)

from .shared import ALARMS, PASSES, chance, every_protocol

RISKS = (0.2, 0.1, 0.05, 0.01, 0.001)
PDS = (0.1, 0.2, 0.3, 0.4, 0.5)


def pc_at(protocol, pd):
    return float(protocol.guess + (1 - protocol.guess) * Fraction(str(pd)))


@cache
def scanned_critical(protocol, alpha, most):
    """For n = 1 .. most the least x whose upper tail is at most alpha, by scipy.stats.binom."""
    n = np.arange(1, most + 1)
    x = binom.isf(alpha, n, float(protocol.guess)).astype(int)
    x = x + (binom.sf(x - 1, n, float(protocol.guess)) > alpha * (1 + 1e-12))
    assert (binom.sf(x - 1, n, float(protocol.guess)) <= alpha * (1 + 1e-12)).all()
    assert (binom.sf(x - 2, n, float(protocol.guess)) > alpha).all()
    return x


def kept(protocol, alpha, beta, pd, most):
    n = np.arange(1, most + 1)
    critical = scanned_critical(protocol, alpha, most)
    return binom.cdf(critical - 1, n, pc_at(protocol, pd)) <= beta


@every_protocol
@pytest.mark.parametrize(
    ("alpha", "beta", "pd"), [(0.05, 0.1, 0.4), (0.2, 0.01, 0.3), (0.01, 0.2, 0.5)]
)
def test_sizes_against_a_scan(protocol, alpha, beta, pd):
    able = kept(protocol, alpha, beta, pd, 2500)
    first = panel_size(protocol, alpha=alpha, beta=beta, pd=pd)
    stable = panel_size(protocol, alpha=alpha, beta=beta, pd=pd, rule="stable")
    assert first.assessors == np.argmax(able) + 1
    assert stable.assessors == np.flatnonzero(~able).max() + 2
    assert first.assessors <= stable.assessors


@pytest.mark.parametrize("protocol", [TRIANGLE, TWO_OUT_OF_FIVE], ids=repr)
def test_stable_sizes_hold_far_beyond(protocol):
    risks = np.array(RISKS)
    found = panel_size(
        protocol, alpha=risks[:, None, None], beta=risks[:, None], pd=PDS, rule="stable"
    ).assessors
    for i, alpha in enumerate(RISKS):
        for j, beta in enumerate(RISKS):
            for k, pd in enumerate(PDS):
                size = found[i, j, k]
                most = 3 * size + 300
                able = kept(protocol, alpha, beta, pd, 12000)[:most]
                assert able[size - 1 :].all()
                assert size == 1 or not able[size - 2]


@pytest.mark.parametrize("protocol", [TRIANGLE, DUO_TRIO, TWO_OUT_OF_FIVE], ids=repr)
def test_extreme_risks_against_a_scan(protocol):
    for alpha, beta, pd in ((0.5, 0.5, 0.9), (0.9, 0.6, 0.3), (1e-6, 1e-6, 0.7), (0.3, 1e-4, 0.95)):
        able = kept(protocol, alpha, beta, pd, 3000)
        assert panel_size(protocol, alpha=alpha, beta=beta, pd=pd).assessors == np.argmax(able) + 1
        stable = panel_size(protocol, alpha=alpha, beta=beta, pd=pd, rule="stable").assessors
        assert stable == (np.flatnonzero(~able).max() + 2 if not able.all() else 1)


def test_first_and_stable_differ_as_the_design_says():
    # 326 of 375 cells, by up to 36 assessors; source: the design notes of this project,
    # section 6, conventions, item 4: no outside check.
    risks, differing, largest = np.array(RISKS), 0, 0
    for protocol in (TRIANGLE, DUO_TRIO, TWO_OUT_OF_FIVE):
        grid = {"alpha": risks[:, None, None], "beta": risks[:, None], "pd": PDS}
        first = panel_size(protocol, **grid).assessors
        apart = panel_size(protocol, **grid, rule="stable").assessors - first
        assert (apart >= 0).all()
        differing, largest = differing + (apart > 0).sum(), max(largest, apart.max())
    assert (differing, largest) == (326, 36)


def exact_tail(n, p, counted):
    return float(chance(n, p, counted))


@every_protocol
def test_reached_risks_by_enumeration(protocol):
    found = panel_size(protocol, alpha=0.05, beta=0.1, pd=0.4)
    n, x = found.assessors, found.critical_count
    at_limit = protocol.guess + (1 - protocol.guess) * Fraction(2, 5)
    assert found.alpha == pytest.approx(exact_tail(n, protocol.guess, range(x, n + 1)), rel=1e-10)
    assert found.beta == pytest.approx(exact_tail(n, at_limit, range(x)), rel=1e-10)
    assert exact_tail(n, protocol.guess, range(x - 1, n + 1)) > 0.05


@every_protocol
def test_arrays_agree_with_single_numbers(protocol):
    alpha, beta, pd = np.array([0.1, 0.01]), np.array([0.2, 0.05, 0.1]), np.array([0.3, 0.5])
    for rule in ("first", "stable"):
        many = panel_size(
            protocol, alpha=alpha[:, None, None], beta=beta[:, None], pd=pd, rule=rule
        )
        for i, a in enumerate(alpha):
            for j, b in enumerate(beta):
                for k, d in enumerate(pd):
                    one = panel_size(protocol, alpha=a, beta=b, pd=d, rule=rule)
                    for name in ("assessors", "critical_count", "alpha", "beta"):
                        assert getattr(one, name) == getattr(many, name)[i, j, k]


def test_sizes_by_dprime_are_sizes_at_its_pd():
    # A paired comparison at d-prime d: pc = Phi(d / sqrt 2), so pd = 2 pc - 1.
    d = 1.0
    pd = 0.5204998778130465  # 2 Phi(1 / sqrt 2) - 1 = erf(1 / 2), to all digits by mpmath
    by_pd, by_d = panel_size(PAIRED, pd=pd), panel_size(PAIRED, dprime=d)
    assert (by_pd.assessors, by_pd.critical_count) == (by_d.assessors, by_d.critical_count)
    assert power(PAIRED, 30, dprime=d) == pytest.approx(power(PAIRED, 30, pd=pd), rel=1e-12)


@every_protocol
@pytest.mark.parametrize("n", [1, 2, 5, 17, 40])
def test_power_and_operating_characteristic_by_enumeration(protocol, n):
    # Every outcome is judged by choice_test, and weighed in rational arithmetic.
    alpha, beta, limit = 0.1, 0.15, 0.35
    findings = choice_test(
        protocol, range(n + 1), n, alpha=alpha, beta=beta, pd_limit=limit
    ).finding
    for pd in ("0", "0.2", "0.5", "1"):
        p = protocol.guess + (1 - protocol.guess) * Fraction(pd)
        chances = operating_characteristic(
            protocol, n, alpha=alpha, beta=beta, pd_limit=limit, pd=float(pd)
        )
        assert set(chances) == set(Finding)
        for finding, ours in chances.items():
            outcomes = [x for x in range(n + 1) if findings[x] == finding]
            assert ours == pytest.approx(exact_tail(n, p, outcomes), rel=1e-9, abs=1e-14)
        outcomes = [x for x in range(n + 1) if findings[x] in ALARMS]
        ours = power(protocol, n, alpha=alpha, pd=float(pd))
        assert ours == pytest.approx(exact_tail(n, p, outcomes), rel=1e-10, abs=1e-300)


@every_protocol
def test_operating_characteristic_adds_to_one(protocol):
    truths = np.linspace(0, 1, 101)
    for n in (3, 24, 150):
        chances = operating_characteristic(protocol, n, pd=truths)
        assert all((part >= 0).all() for part in chances.values())
        np.testing.assert_allclose(sum(chances.values()), 1, rtol=0, atol=1e-12)


def test_power_on_arrays_agrees_with_single_numbers():
    sizes, truths = np.array([[1], [2], [12], [60]]), np.array([0.0, 0.3, 0.8])
    many = power(TRIANGLE, sizes, pd=truths)
    assert many.shape == (4, 3)
    for i, n in enumerate(sizes[:, 0]):
        assert many[i].tolist() == [power(TRIANGLE, int(n), pd=float(pd)) for pd in truths]
    assert power(TRIANGLE, 2, pd=1.0) == 0.0  # two answers can never be significant at 5 %


def session_scan(protocol, alpha, beta, limit, most):
    """Critical and similar counts for n = 1 .. most, by scipy.stats.binom."""
    n = np.arange(1, most + 1)
    critical = scanned_critical(protocol, alpha, most)
    p = pc_at(protocol, limit)
    similar = binom.ppf(beta, n, p).astype(int)
    similar = similar - (binom.cdf(similar, n, p) > beta)
    assert (binom.cdf(similar, n, p) <= beta).all()
    assert (binom.cdf(similar + 1, n, p) > beta).all()
    return n, critical, similar


@pytest.mark.parametrize("protocol", [TRIANGLE, TETRAD, DUO_TRIO, TWO_OUT_OF_FIVE], ids=repr)
@pytest.mark.parametrize("pd", [0.0, 0.15, 0.3, 0.6])
def test_deciding_size_against_a_scan(protocol, pd):
    n, critical, similar = session_scan(protocol, 0.05, 0.05, 0.3, 2000)
    p = pc_at(protocol, pd)
    undecided = np.where(
        similar < critical, binom.cdf(critical - 1, n, p) - binom.cdf(similar, n, p), 0
    )
    able = 1 - undecided >= 0.9
    assert deciding_size(protocol, pd=pd) == np.argmax(able) + 1
    assert deciding_size(protocol, pd=pd, rule="stable") == np.flatnonzero(~able).max() + 2


@every_protocol
@pytest.mark.parametrize("limit", [0.2, 0.4])
def test_fair_pass_size_against_a_scan(protocol, limit):
    n, _, similar = session_scan(protocol, 0.05, 0.05, limit, 2000)
    able = binom.cdf(similar, n, float(protocol.guess)) >= 0.9
    assert fair_pass_size(protocol, pd_limit=limit) == np.argmax(able) + 1
    stable = fair_pass_size(protocol, pd_limit=limit, rule="stable")
    assert stable == np.flatnonzero(~able).max() + 2


def test_fair_pass_of_the_design():
    # 58 triangles for a 90 % chance that an unchanged product passes at pd 30 %, beta 5 %;
    # with 8 assessors it passes 20 % of the time. Source: the design notes of this project,
    # section 3: no outside check.
    assert fair_pass_size(TRIANGLE, chance=0.9, beta=0.05, pd_limit=0.3, rule="stable") == 58
    chances = operating_characteristic(TRIANGLE, 8, beta=0.05, pd_limit=0.3, pd=0.0)
    assert sum(chances[finding] for finding in PASSES) == pytest.approx(0.20, abs=0.005)

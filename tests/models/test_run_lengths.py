"""Run lengths against published tables, geometric laws and simulation."""

import numpy as np
import pytest
from scipy.stats import norm

from sensory.models.charts import RUN_RULES, SAME_SIDE, RunRule
from sensory.models.run_lengths import ewma_run_length, ewma_width, rules_run_length

EIGHT = RunRule(
    key="eight", words="eight on one side", kind=SAME_SIDE, count=8, window=8, zone=0.0, source=""
)
NAMED = {**RUN_RULES, "eight": EIGHT}


def rules(*keys):
    return [NAMED[key] for key in keys]


# Lucas, J.M. and Saccucci, M.S. (1990), Technometrics 32, table of average run lengths, from
# memory: limits of the long run, a shift from the first point on.
SHIFTS = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0)
LUCAS_SACCUCCI = {
    (0.05, 2.615): (500, 84.1, 28.8, 16.4, 11.4, 7.1, 5.2),
    (0.10, 2.814): (500, 106, 31.3, 15.9, 10.3, 6.1, 4.4),
    (0.20, 2.962): (500, 150, 41.8, 18.2, 10.5, 5.5, 3.7),
    (0.25, 2.998): (500, 170, 48.2, 20.1, 11.1, 5.5, 3.6),
    (0.40, 3.054): (500, 224, 71.2, 28.4, 14.3, 5.9, 3.5),
}


@pytest.mark.parametrize(("setting", "printed"), LUCAS_SACCUCCI.items())
def test_weighted_mean_as_published(setting, printed):
    """To the last printed digit, and 0.3 % for the approximation behind the print."""
    for shift, value in zip(SHIFTS, printed, strict=True):
        found = ewma_run_length(*setting, shift=shift, widening=False)
        last = 0.5 if value >= 100 else 0.05
        assert found == pytest.approx(value, abs=last + 0.003 * value)


# Champ, C.W. and Woodall, W.H. (1987), Technometrics 29, table 1, from memory.
@pytest.mark.parametrize(
    ("keys", "shift", "printed"),
    [
        (("limit",), 0.0, 370.40),
        (("limit",), 1.0, 43.89),
        (("limit", "two of three"), 0.0, 225.44),
        (("limit", "four of five"), 0.0, 166.05),
        (("limit", "eight"), 0.0, 152.73),
        (("limit", "two of three", "four of five"), 0.0, 132.89),
        (("limit", "two of three", "four of five", "eight"), 0.0, 91.75),
        (("limit", "two of three", "four of five", "eight"), 1.0, 9.22),
    ],
)
def test_rules_as_published(keys, shift, printed):
    assert rules_run_length(rules(*keys), shift=shift) == pytest.approx(printed, abs=0.011)


@pytest.mark.parametrize("run", [2, 5, 7, 9])
def test_runs_on_one_side_are_tosses_of_a_coin(run):
    """The mean wait for r alike tosses is 2^r - 1."""
    rule = RunRule(key="", words="", kind=SAME_SIDE, count=run, window=run, zone=0.0, source="")
    assert rules_run_length([rule]) == pytest.approx(2.0**run - 1, rel=1e-10)


def test_runs_inside_and_outside_are_successes_in_a_row():
    """The mean wait for r successes in a row is (1 - p^r) / ((1 - p) p^r)."""
    for key, p, run in (("too even", 2 * norm.cdf(1) - 1, 15), ("two heaps", 2 * norm.sf(1), 8)):
        wait = (1 - p**run) / ((1 - p) * p**run)
        assert rules_run_length(rules(key)) == pytest.approx(wait, rel=1e-9)


@pytest.mark.parametrize(("width", "shift"), [(3.0, 0.0), (2.5, 0.7), (3.09, 2.0)])
def test_limits_alone_are_geometric(width, shift):
    chance = norm.sf(width - shift) + norm.cdf(-width - shift)
    assert rules_run_length(rules("limit"), width=width, shift=shift) == pytest.approx(1 / chance)
    assert ewma_run_length(1.0, width, shift=shift) == pytest.approx(1 / chance, rel=1e-8)


def first_hits(hits):
    """Number of the first signal in each row; all rows have one."""
    assert hits.any(axis=1).all()
    return hits.argmax(axis=1) + 1


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_rules_by_simulation(shift):
    rng = np.random.default_rng(4)
    z = rng.normal(shift, 1, (2500, 1400))
    chosen = rules("limit", "two of three", "four of five", "nine on one side", "two heaps")
    waits = first_hits(np.logical_or.reduce([rule.hits(z) for rule in chosen]))
    error = waits.std() / np.sqrt(len(waits))
    assert rules_run_length(chosen, shift=shift) == pytest.approx(waits.mean(), abs=3.5 * error)


@pytest.mark.parametrize(("widening", "shift"), [(True, 0.0), (True, 1.0), (False, 0.6)])
def test_weighted_mean_by_simulation(widening, shift):
    weight, width, rng = 0.3, 2.3, np.random.default_rng(9)
    points, rows = 900, 4000
    mean = np.zeros(rows)
    waits = np.zeros(rows)
    for i in range(1, points + 1):
        mean = weight * rng.normal(shift, 1, rows) + (1 - weight) * mean
        reach = width * np.sqrt(weight / (2 - weight))
        reach *= np.sqrt(1 - (1 - weight) ** (2 * i)) if widening else 1
        waits = np.where((waits == 0) & (np.abs(mean) > reach), i, waits)
    assert waits.all()
    error = waits.std() / np.sqrt(rows)
    found = ewma_run_length(weight, width, shift=shift, widening=widening)
    assert found == pytest.approx(waits.mean(), abs=3.5 * error)


@pytest.mark.parametrize("weight", [0.03, 0.1, 0.5, 1.0])
def test_width_gives_the_run_length_back(weight):
    width = ewma_width(weight, 370.4)
    assert ewma_run_length(weight, width) == pytest.approx(370.4, rel=1e-6)


@pytest.mark.parametrize(
    "wait",
    [
        lambda shift: rules_run_length(rules("limit", "nine on one side"), shift=shift),
        lambda shift: rules_run_length(rules("limit", "two of three"), shift=shift),
        lambda shift: ewma_run_length(0.2, 2.9, shift=shift),
    ],
)
def test_a_larger_shift_is_seen_sooner_and_its_sign_does_not_matter(wait):
    assert (np.diff([wait(shift) for shift in SHIFTS]) < 0).all()
    assert wait(-0.8) == pytest.approx(wait(0.8))


@pytest.mark.parametrize("weight", [0.02, 0.05, 0.3])
def test_more_nodes_change_nothing(weight, monkeypatch):
    few = ewma_run_length(weight, 2.6, shift=0.3)
    nodes = np.polynomial.legendre.leggauss
    monkeypatch.setattr(np.polynomial.legendre, "leggauss", lambda count: nodes(2 * count))
    assert ewma_run_length(weight, 2.6, shift=0.3) == pytest.approx(few, rel=1e-9)

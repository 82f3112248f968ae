"""Values computed by other routes: tests/references/independent.json and its scripts."""

from functools import cache

import numpy as np
import pytest
from scipy.stats import chi2

from sensory.base.findings import Finding
from sensory.choices.a_not_a import a_not_a, a_not_a_by_assessor
from sensory.choices.dprime import estimate_dprime
from sensory.choices.protocols import PROTOCOLS
from sensory.choices.replicates import replicated_choice_test
from sensory.choices.same_different import same_different
from sensory.choices.sequential import sequential_plan
from sensory.choices.size import operating_characteristic, panel_size, power
from sensory.choices.sureness import sureness_test
from sensory.choices.two_stage import TwoStagePlan, two_stage_plan
from sensory.models.beta_binomial import ReplicateLikelihood
from sensory.models.beta_moments import masses

from ..references.readers import entries

VALUES = entries("independent.json")


def with_limits(result, quantity, dprime="dprime"):
    holder = result.limits if quantity in ("low", "high") else result
    return getattr(holder, dprime if quantity == "dprime" else quantity)


COUNTS = ("first", "second", "similar_first", "different_first", "different_total")


def risk_of_plan(quantity, plan, most, **options):
    assert most >= plan[0] + plan[1]
    return getattr(TwoStagePlan(**options, **dict(zip(COUNTS, plan, strict=True))), quantity)


def beta_binomial(quantity, mean, spread, protocol=None, table=None, replicates=None):
    if quantity == "sum_of_logs":
        return np.log(masses(replicates, 0.0, mean, spread)).sum()
    tables = {len(table) - 1: np.array(table, float)}
    return float(ReplicateLikelihood(guess=float(protocol.guess), tables=tables).at(mean, spread))


def replicates(quantity, protocol, table):
    correct = np.repeat(np.arange(len(table)), table)
    result = replicated_choice_test(protocol, correct, len(table) - 1)
    if quantity in ("low", "high"):
        return getattr(result.pd_limits, quantity)
    return getattr(result, quantity)


clustered_of = cache(a_not_a_by_assessor)


def clustered(quantity, answers):
    result = clustered_of(tuple(map(tuple, answers)))
    if quantity == "chi_square":
        return chi2.isf(result.p_likelihood_ratio, 1)
    return getattr(result, quantity)


sureness_of = cache(sureness_test)


def sureness(quantity, table):
    result = sureness_of(tuple(tuple(row) for row in table), method="profile")
    name, number = quantity.rsplit("_", 1)
    if name == "threshold":
        return result.thresholds[int(number) - 1]
    one = result.products[int(number) - 1]
    return getattr(one.limits, name) if name in ("low", "high") else getattr(one, name)


OURS = {
    "estimate_dprime": lambda quantity, protocol, correct, trials: with_limits(
        estimate_dprime(protocol, correct, trials, method="profile"), quantity, dprime="estimate"
    ),
    "panel_size": lambda quantity, protocol, **o: getattr(panel_size(protocol, **o), quantity),
    "power": lambda _, protocol, trials, **options: power(protocol, trials, **options),
    "operating_characteristic": lambda quantity, protocol, trials, pd: operating_characteristic(
        protocol, trials, pd=pd
    )[Finding(quantity)],
    "two_stage_plan": lambda quantity, protocol, **o: getattr(
        two_stage_plan(protocol, **o), quantity
    ),
    "two_stage_risk": risk_of_plan,
    "sequential_plan": lambda quantity, protocol, pd, **o: getattr(
        sequential_plan(protocol, **o).outcomes(pd), quantity
    ),
    "beta_binomial": beta_binomial,
    "replicates": replicates,
    "a_not_a": lambda quantity, counts: with_limits(a_not_a(*counts, method="profile"), quantity),
    "a_not_a_by_assessor": clustered,
    "same_different": lambda quantity, counts: with_limits(
        same_different(*counts, method="profile"), quantity
    ),
    "sureness": sureness,
}


@pytest.mark.parametrize("entry", VALUES.values(), ids=VALUES)
def test_against_another_route(entry):
    inputs = dict(entry["inputs"])
    if "protocol" in inputs:
        inputs["protocol"] = PROTOCOLS[inputs["protocol"]]
    ours = OURS[entry["method"]](entry["quantity"], **inputs)
    expected = pytest.approx(entry["value"], rel=entry["tolerance"], abs=0)
    assert ours == expected, entry["source"]


def test_every_value_names_its_birth():
    wanted = {"id", "method", "quantity", "inputs", "value", "source", "version", "date"}
    assert all(wanted | {"tolerance"} == set(entry) for entry in VALUES.values())
    assert len(VALUES) >= 60

"""Prints the true levels of the profile's tests and limits.

Each attribute of one large profile is a session of its own. Ten assessors score five
samples three times; standard deviations: assessors 1, assessor x sample 0.8, error 1.
"""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import f

from sensory.ratings.profile import profile

from .shared import tidy

ASSESSORS, SAMPLES, REPLICATES = 10, 5, 3
SESSIONS = 2000
ALPHA = 0.05
MARGIN = 1.0
NAMES = ["plum", "lime", "pear", "rose", "sloe"]


def sessions(effect, interaction, missing, seed, count=SESSIONS):
    """Tidy ballots; `effect` is added to each sample."""
    rng = np.random.default_rng(seed)
    shape = (ASSESSORS, SAMPLES, REPLICATES, count)
    score = np.asarray(effect, float)[None, :, None, None] + rng.normal(size=shape)
    score += rng.normal(size=(ASSESSORS, 1, 1, count))
    score += interaction * rng.normal(size=(ASSESSORS, SAMPLES, 1, count))
    score[rng.random(shape) < missing] = np.nan
    ballots = tidy("assessor sample replicate attribute", score=score).dropna()
    return ballots.assign(sample=pd.Categorical.from_codes(ballots["sample"], NAMES))


def share(hits):
    """A share with its standard error."""
    hits = np.asarray(hits, float)
    return hits.mean(), np.sqrt(max(hits.mean() * (1 - hits.mean()), 1e-4) / hits.size)


def near(found, nominal, slack=0.0):
    value = found[0]
    return abs(value - nominal) <= 4.5 * np.sqrt(nominal * (1 - nominal) / SESSIONS) + slack


@pytest.mark.parametrize("interaction", [0.8, 0.3, 0.0])
def test_pure_panel_noise(show, interaction):
    """No sample differs: how often is one of them found to?"""
    lines = [f"no difference, assessor x sample {interaction}; nominal {ALPHA}"]
    for label, missing in (("complete", 0.0), ("5 % missing", 0.05)):
        found = profile(sessions([0] * SAMPLES, interaction, missing, seed=1), reference="plum")
        sample = found.anova[found.anova["source"] == "sample"]
        product = share(sample["p"] <= ALPHA)
        least = found.against_reference.groupby("attribute")["p_adjusted"].min()
        family = share(least <= ALPHA)
        pairs = share(found.pairs.groupby("attribute")["p_adjusted"].min() <= ALPHA)
        raw = share(found.against_reference.groupby("attribute")["p"].min() <= ALPHA)
        lines += [
            f"  {label}: samples {product[0]:.4f}, Dunnett family {family[0]:.4f}, "
            f"Tukey family {pairs[0]:.4f} (+-{product[1]:.4f}); "
            f"unadjusted t, any of {SAMPLES - 1}: {raw[0]:.4f}"
        ]
        # Each comparison by its own scatter: below the nominal risk where all scatter alike.
        assert near(product, ALPHA)
        for rate in (family, pairs):
            assert 0.01 < rate[0] < ALPHA + 4.5 * np.sqrt(ALPHA * (1 - ALPHA) / SESSIONS)
        assert raw[0] > 1.4 * ALPHA
        if not missing:
            table = found.anova.pivot(index="attribute", columns="source", values="ms")
            wrong = f.sf(
                table["sample"] / table["error"],
                SAMPLES - 1,
                ASSESSORS * SAMPLES * (REPLICATES - 1),
            )
            mistake = share(wrong <= ALPHA)
            lines.append(f"    the mistake, samples against error: {mistake[0]:.4f}")
            if interaction == 0.8:
                assert mistake[0] > 0.4
    show(*lines)


@pytest.mark.parametrize("missing", [0.0, 0.05])
@pytest.mark.parametrize("noisy", ["plum", "lime"])
def test_families_where_one_sample_scatters_more(show, noisy, missing):
    """The reference (plum) or another sample scatters 2.4 times as much; no sample differs."""
    count = 1000
    rng, ratio = np.random.default_rng(6), np.where(np.array(NAMES) == noisy, 2.4, 1.0)
    score = rng.normal(size=(ASSESSORS, SAMPLES, REPLICATES, count)) * ratio[:, None, None]
    score += rng.normal(size=(ASSESSORS, 1, 1, count))
    score += 0.6 * rng.normal(size=(ASSESSORS, SAMPLES, 1, count)) * ratio[:, None, None]
    score[rng.random(score.shape) < missing] = np.nan
    ballots = tidy("assessor sample replicate attribute", score=score).dropna()
    ballots = ballots.assign(sample=pd.Categorical.from_codes(ballots["sample"], NAMES))
    rates = []
    for method in ("mean squares", "reml"):
        found = profile(ballots, reference="plum", method=method)
        for table in (found.against_reference, found.pairs):
            rates.append(share(table.groupby("attribute")["p_adjusted"].min() <= ALPHA)[0])
    show(
        f"{noisy} scatters 2.4 times as much, {missing:.0%} missing: Dunnett {rates[0]:.3f}, "
        f"Tukey {rates[1]:.3f}; by one scatter {rates[2]:.3f}, {rates[3]:.3f} (+-0.007)"
    )
    assert max(rates[:2]) < 0.08
    assert min(rates[2:]) > min(rates[:2])


@pytest.mark.parametrize("missing", [0.0, 0.05])
def test_simultaneous_limits_cover(show, missing):
    effect = np.array([0.0, 0.5, -1.0, 2.0, 0.1])
    found = profile(sessions(effect, 0.8, missing, seed=2), reference="plum")
    truth = dict(zip(NAMES, effect, strict=True))
    lines = [f"true differences, {missing:.0%} missing; nominal {1 - ALPHA}"]
    for name, table, other in (
        ("Dunnett", found.against_reference, "reference"),
        ("Tukey", found.pairs, "other"),
    ):
        true = table["sample"].astype(str).map(truth) - table[other].astype(str).map(truth)
        inside = (table["low"] <= true) & (true <= table["high"])
        covered = share(inside.groupby(table["attribute"]).all())
        lines.append(f"  {name} limits, all at once: {covered[0]:.4f} (+-{covered[1]:.4f})")
        assert covered[0] > 1 - ALPHA - 4.5 * np.sqrt(ALPHA * (1 - ALPHA) / SESSIONS)
        assert covered[0] < 0.99
    means = found.means
    inside = (means["low"] <= means["sample"].astype(str).map(truth)) & (
        means["sample"].astype(str).map(truth) <= means["high"]
    )
    covered = share(inside)
    lines.append(f"  limits of a mean: {covered[0]:.4f}")
    assert abs(covered[0] - (1 - ALPHA)) < 0.01
    show(*lines)


@pytest.mark.parametrize("missing", [0.0, 0.05])
def test_size_of_equivalence_at_the_margin(show, missing):
    """One sample lies exactly at the margin, one is the same as the reference."""
    ballots = sessions([0, MARGIN, -MARGIN, 0, 2 * MARGIN], 0.4, missing, seed=3)
    table = profile(ballots, reference="plum", margins=MARGIN).equivalence
    passed = table.groupby("sample", observed=True)["equivalent"].apply(share)
    text = ", ".join(f"{name} {value[0]:.4f}" for name, value in passed.items())
    show(
        f"equivalence, {missing:.0%} missing: at the margin lime, pear; the same rose; "
        f"twice the margin sloe\n  {text}"
    )
    for name in ("lime", "pear"):
        assert passed[name][0] <= ALPHA + 4.5 * np.sqrt(ALPHA * (1 - ALPHA) / SESSIONS)
        assert passed[name][0] > 0.02
    assert passed["rose"][0] > 0.5
    assert passed["sloe"][0] < 0.005

"""What must not matter to a profile: origin, direction, names, order of rows."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensory.base.errors import SensoryError
from sensory.ratings.profile import profile

from .shared import tidy

NAMES = ["lime", "pear", "plum", "quince"]


@st.composite
def ballots(draw):
    """Invented scores with a share missing, some attributes complete."""
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    shape = (draw(st.integers(3, 7)), draw(st.integers(2, 4)), draw(st.integers(1, 3)), 2)
    a, s, _, k = (code.ravel() for code in np.indices(shape))
    score = rng.normal(size=shape[0])[a] + rng.normal(size=shape[:2])[a, s]
    score += rng.normal(size=a.size)
    missing = (rng.random(a.size) < draw(st.sampled_from([0.0, 0.08]))) & (k == 1)
    score[missing & (a > 1)] = np.nan
    return tidy(score.reshape(shape), samples=NAMES, attributes=["sour", "sweet"])


def numbers(found):
    return {
        "anova": found.anova[["df", "df_error", "statistic", "p"]],
        "means": found.means[["se", "df"]],
        "against": found.against_reference[["se", "df", "p", "p_adjusted"]],
        "pairs": found.pairs[["se", "df", "p", "p_adjusted"]],
        "components": found.components["estimate"],
    }


def alike(one, other):
    """Equal up to the accuracy at which the likelihood is maximised."""
    for name, table in numbers(one).items():
        twin = numbers(other)[name]
        np.testing.assert_allclose(table, twin, rtol=2e-6, atol=1e-7, err_msg=name)


calm = settings(max_examples=8, deadline=None, derandomize=True)


@calm
@given(ballots(), st.floats(-50, 50))
def test_adding_a_constant_flipping_the_scale_and_changing_the_unit(table, constant):
    one = profile(table, reference="lime")
    moved = profile(table.assign(score=table["score"] + constant), reference="lime")
    flipped = profile(table.assign(score=15 - table["score"]), reference="lime")
    longer = profile(table.assign(score=table["score"] * 25.4), reference="lime")
    alike(one, moved)
    alike(one, flipped)
    np.testing.assert_allclose(moved.means["estimate"], one.means["estimate"] + constant, atol=1e-6)
    against = one.against_reference
    np.testing.assert_allclose(moved.against_reference["estimate"], against["estimate"], atol=1e-6)
    np.testing.assert_allclose(
        flipped.against_reference["statistic"], -against["statistic"], atol=1e-5
    )
    columns = ["df", "df_error", "statistic", "p"]
    np.testing.assert_allclose(one.anova[columns], longer.anova[columns], rtol=2e-6, atol=1e-7)


@calm
@given(ballots(), st.randoms(use_true_random=False))
def test_order_of_the_rows(table, random):
    order = list(table.index)
    random.shuffle(order)
    shuffled = table.loc[order]
    one = profile(table, reference="lime", attributes=["sour", "sweet"])
    alike(one, profile(shuffled, reference="lime", attributes=["sour", "sweet"]))


@calm
@given(ballots())
def test_renaming_samples_and_assessors(table):
    new = {"lime": "702", "pear": "118", "plum": "935", "quince": "351"}
    renamed = table.assign(
        sample=table["sample"].map(new), assessor="x" + table["assessor"].str[::-1]
    )
    one, other = profile(table, reference="lime"), profile(renamed, reference="702")
    columns = ["df", "df_error", "statistic", "p"]
    np.testing.assert_allclose(one.anova[columns], other.anova[columns], rtol=2e-6, atol=1e-7)
    left = one.against_reference.assign(sample=one.against_reference["sample"].map(new))
    both = left.merge(other.against_reference, on=["attribute", "sample"])
    assert len(both) == len(left)
    for column in ("estimate", "se", "df", "p_adjusted", "low", "high"):
        np.testing.assert_allclose(both[f"{column}_x"], both[f"{column}_y"], rtol=2e-6, atol=1e-6)


@calm
@given(ballots())
def test_swapping_sample_and_reference_turns_the_sign(table):
    one = profile(table, reference="lime").against_reference
    other = profile(table, reference="pear").against_reference
    forward = one.query("sample == 'pear'")[["estimate", "se", "df"]].to_numpy()
    back = other.query("sample == 'lime'")[["estimate", "se", "df"]].to_numpy()
    np.testing.assert_allclose(forward * [-1, 1, 1], back, rtol=1e-8)


def test_a_copy_of_an_attribute_gets_the_same_numbers():
    rng = np.random.default_rng(5)
    a, s, r = (code.ravel() for code in np.indices((6, 3, 2)))
    one = pd.DataFrame(
        {"assessor": a, "sample": s, "replicate": r, "score": rng.normal(size=a.size)}
    ).drop(index=[4])
    both = pd.concat([one.assign(attribute="sour"), one.assign(attribute="copy")])
    found = profile(both, reference=0)
    for table in (found.anova, found.pairs, found.means, found.against_reference):
        halves = [table[table["attribute"] == name] for name in ("sour", "copy")]
        for column in table.select_dtypes("number"):
            if column not in ("p_holm", "p_false_discovery"):
                assert halves[0][column].to_numpy() == pytest.approx(
                    halves[1][column].to_numpy(), nan_ok=True
                )


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from([0.0, 0.05, 0.3, 0.6]), st.sampled_from([0, 1, 9]))
def test_any_ballots_give_numbers_or_a_clear_sentence(seed, missing, digits):
    """Few assessors, many gaps, coarse scales: no other error, no number that is none."""
    rng = np.random.default_rng(seed)
    shape = (*rng.integers(2, 6, 2), rng.integers(1, 4), 2)
    a, s, r, k = (code.ravel() for code in np.indices(shape))
    score = (rng.normal(size=a.size) + rng.choice([0, 2]) * rng.normal(size=shape[0])[a]).round(
        digits
    )
    session = rng.integers(1, 3, a.size) if seed % 3 == 0 else 1
    columns = {"session": session, "assessor": a, "sample": s, "replicate": r, "attribute": k}
    table = pd.DataFrame(columns | {"score": score})[rng.random(a.size) >= missing]
    try:
        found = profile(table, reference=0, margins=1.0, scaling=True)
    except SensoryError as error:
        said = str(error)
        found = None
    if found is None:
        assert said.startswith(("ballots", "reference must be one of"))
        return
    for name in ("against_reference", "pairs", "means", "equivalence", "components"):
        values = getattr(found, name).drop(columns="effect", errors="ignore")
        assert np.isfinite(values.select_dtypes("number")).all(axis=None)
    for compared in (found.against_reference, found.pairs):
        assert (compared["p_adjusted"] >= compared["p"] - 1e-9).all()
        assert compared["p"].between(0, 1).all()

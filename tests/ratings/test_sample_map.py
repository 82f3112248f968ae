"""The map by other roads: eigenvectors, the scatter of assessors, a textbook, renaming."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sensory.base.errors import ArgumentError, BallotError
from sensory.ratings.sample_map import sample_map

from . import shared

SAMPLES = ("apple", "blackcurrant", "cherry", "elderflower", "lime")
ATTRIBUTES = ("bitter", "fruity", "sour", "sweet")


def frame(scores, samples=SAMPLES, attributes=ATTRIBUTES):
    """A tidy frame from assessors by samples by attributes, or with replicates in the end."""
    scores = scores[..., None] if scores.ndim == 3 else scores
    rows = [
        ("s1", f"assessor {i:02}", samples[j], r + 1, attributes[k], scores[i, j, k, r])
        for i, j, k, r in product(*map(range, scores.shape))
    ]
    columns = ["session", "assessor", "sample", "replicate", "attribute", "score"]
    return pd.DataFrame(rows, columns=columns)


def panel(seed, people=8, spread=1.0):
    rng = np.random.default_rng(seed)
    truth = rng.normal(5, 2, (len(SAMPLES), len(ATTRIBUTES)))
    people_differ = rng.normal(0, 1, (people, 1, len(ATTRIBUTES)))
    return truth + people_differ + rng.normal(0, spread, (people, *truth.shape))


@pytest.mark.parametrize("scaled", [False, True])
def test_components_are_eigenvectors(scaled):
    scores = panel(1)
    means = scores.mean(0)
    found = sample_map(frame(scores), scaled=scaled)
    matrix = np.corrcoef(means.T) if scaled else np.cov(means.T)
    values, vectors = np.linalg.eigh(matrix)
    values, vectors = values[::-1], vectors[:, ::-1]
    np.testing.assert_allclose(found.variance, values[: found.variance.size], rtol=1e-9)
    np.testing.assert_allclose(found.share, values / values.sum(), rtol=1e-9)
    np.testing.assert_allclose(found.means, means, rtol=1e-12)
    for axis in range(found.variance.size):
        turn = np.sign(vectors[np.abs(vectors[:, axis]).argmax(), axis])
        np.testing.assert_allclose(found.loadings[:, axis], turn * vectors[:, axis], atol=1e-9)
    away = (means - means.mean(0)) / (means.std(0, ddof=1) if scaled else 1)
    np.testing.assert_allclose(found.coordinates, away @ found.loadings, atol=1e-9)
    np.testing.assert_allclose(found.coordinates.var(0, ddof=1), found.variance, rtol=1e-9)
    np.testing.assert_allclose(found.coordinates @ found.loadings.T, away, atol=1e-9)
    if scaled:
        assert found.variance.sum() == pytest.approx(len(ATTRIBUTES))
    for k, axis in product(range(4), range(found.variance.size)):
        expected = np.corrcoef(found.means[:, k], found.coordinates[:, axis])[0, 1]
        assert found.correlations[k, axis] == pytest.approx(expected, abs=1e-9)


def test_three_points_by_hand():
    """Means (2, 6), (8, 6), (4, 10): covariance 28/3, 16/3 and -4/3 with divisor 2."""
    means = np.array([[2.0, 6], [8, 6], [4, 10]])
    found = sample_map(frame(np.tile(means, (4, 1, 1)), SAMPLES[:3], ATTRIBUTES[:2]))
    middle, half = 22 / 3, np.sqrt(2.0**2 + (4 / 3) ** 2)
    assert found.variance.tolist() == pytest.approx([middle + half, middle - half])
    assert all(max(region.half_axes) == pytest.approx(0, abs=1e-6) for region in found.regions)
    line = np.tile([[1.0, 2], [2, 4], [4, 8]], (5, 1, 1))  # still has a second axis
    found = sample_map(frame(line, SAMPLES[:3], ATTRIBUTES[:2]))
    assert found.share.tolist() == pytest.approx([1, 0], abs=1e-9)
    assert found.coordinates.shape == (3, 2)


def test_largest_loading_is_positive():
    for seed in range(40):
        found = sample_map(frame(panel(seed)), scaled=bool(seed % 2), draws=200)
        for loadings in found.loadings.T:
            assert loadings[np.abs(loadings).argmax()] > 0


def test_two_largest_loadings_of_one_size():
    """The first in the alphabet is made positive, also where noise makes the other larger."""
    means = np.array([[0.0, 9, 5], [3, 6, 5], [9, 0, 5]])
    for noise in (-1e-12, 0, 1e-12):
        scores = np.tile(means, (4, 1, 1))
        scores[:, 0, 1] += noise
        found = sample_map(frame(scores, SAMPLES[:3], ATTRIBUTES[:3]))
        assert found.loadings[:2, 0].tolist() == pytest.approx([np.sqrt(0.5), -np.sqrt(0.5)])


def test_a_turned_scale_mirrors_the_loading():
    scores = panel(3)
    one = sample_map(frame(scores))
    scores[..., 2] = 10 - scores[..., 2]
    other = sample_map(frame(scores))
    np.testing.assert_allclose(np.abs(other.loadings), np.abs(one.loadings), atol=1e-9)
    np.testing.assert_allclose(other.variance, one.variance, rtol=1e-9)


@pytest.mark.parametrize("scaled", [False, True])
def test_regions_are_hotellings_ellipses(scaled):
    """Second road: the scatter of the assessors' own places, without any resampling."""
    scores = panel(4, people=10)
    found = sample_map(frame(scores), scaled=scaled, draws=100_000, level=0.9)
    unit = found.means.std(0, ddof=1) if scaled else 1
    own = (scores - scores.mean(1, keepdims=True)) / unit @ found.loadings[:, :2]
    reach = 2 * 9 / 8 * stats.f.isf(0.1, 2, 8)
    for place, region in enumerate(found.regions):
        covariance = np.cov(own[:, place].T) / 10
        sizes = np.linalg.eigvalsh(covariance)
        expected = np.sqrt(reach * sizes[::-1])
        assert region.half_axes == pytest.approx(expected, rel=0.02)
        assert region.centre == pytest.approx(own[:, place].mean(0))
        lean = np.deg2rad(region.angle)
        along = np.array([np.cos(lean), np.sin(lean)])
        assert along @ covariance @ along == pytest.approx(sizes[1], rel=0.02)
        assert -90 < region.angle <= 90


def test_cloud_holds_means_of_resampled_assessors():
    found = sample_map(frame(panel(5)), draws=20_000)
    assert found.cloud.shape == (20_000, 5, 2)
    np.testing.assert_allclose(found.cloud.mean(0), found.coordinates[:, :2], atol=0.03)
    # Each draw is centred, as the map is.
    np.testing.assert_allclose(found.cloud.mean(1), 0, atol=1e-9)


def test_outline_lies_on_the_ellipse():
    region = sample_map(frame(panel(6))).regions[2]
    points = region.outline(50) - region.centre
    lean = np.deg2rad(region.angle)
    along = points @ [np.cos(lean), np.sin(lean)] / region.half_axes[0]
    across = points @ [-np.sin(lean), np.cos(lean)] / region.half_axes[1]
    np.testing.assert_allclose(along**2 + across**2, 1, atol=1e-9)
    assert points.shape == (50, 2)


def test_a_wide_level_and_the_use_of_the_scale():
    scores = panel(7)
    small, large = (sample_map(frame(scores), level=level) for level in (0.5, 0.99))
    for one, other in zip(small.regions, large.regions, strict=True):
        ratio = np.sqrt(stats.f.isf(0.01, 2, 6) / stats.f.isf(0.5, 2, 6))
        assert other.half_axes[0] / one.half_axes[0] == pytest.approx(ratio, rel=1e-9)
    # How high somebody scores altogether moves no sample.
    moved = sample_map(frame(scores + np.arange(8)[:, None, None]), level=0.5)
    assert moved.regions[0].half_axes == pytest.approx(small.regions[0].half_axes, rel=1e-9)


def test_assessors_weigh_alike_whatever_they_repeat():
    scores = panel(8)
    twice = np.stack([scores, scores + 0.5], axis=-1)
    ballots = frame(twice)
    only_once = ballots[~((ballots["assessor"] > "assessor 03") & (ballots["replicate"] == 2))]
    found = sample_map(only_once)
    expected = scores.mean(0) + 0.25 * 4 / 8
    np.testing.assert_allclose(found.means, expected, rtol=1e-12)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.randoms(use_true_random=False), st.booleans())
def test_order_of_rows_does_not_matter(seed, random, scaled):
    ballots = frame(panel(seed))
    mixed = ballots.sample(frac=1, random_state=random.randrange(10_000))
    one, other = (sample_map(each, scaled=scaled, draws=200) for each in (ballots, mixed))
    np.testing.assert_allclose(other.coordinates, one.coordinates, atol=1e-9)
    np.testing.assert_allclose(other.loadings, one.loadings, atol=1e-9)
    np.testing.assert_allclose(other.cloud, one.cloud, atol=1e-9)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.1, 50), st.floats(-20, 20))
def test_change_of_scale(seed, factor, shift):
    """A longer scale stretches the plain map and leaves the scaled one."""
    scores = panel(seed)
    for scaled in (False, True):
        plain, stretched = (
            sample_map(frame(each), scaled=scaled, draws=200).coordinates
            for each in (scores, shift + factor * scores)
        )
        expected = plain if scaled else factor * plain
        np.testing.assert_allclose(stretched, expected, atol=1e-6)


def test_new_names_of_the_samples_move_nothing():
    scores, names = panel(9), ["V", "W", "X", "Y", "Z"]
    one = sample_map(frame(scores))
    other = sample_map(frame(scores[:, ::-1], names))
    assert other.samples == tuple(names)
    np.testing.assert_allclose(other.coordinates[::-1], one.coordinates, atol=1e-9)


def test_seed_and_tables():
    ballots = frame(panel(10))
    one, again, other = (sample_map(ballots, seed=seed) for seed in (1, 1, 2))
    assert np.array_equal(one.cloud, again.cloud)
    assert not np.array_equal(one.cloud, other.cloud)
    rows = one.summary().records()
    assert [row["sample"] for row in rows] == list(SAMPLES)
    assert [row["axis 1"] for row in rows] == one.coordinates[:, 0].tolist()
    axes = one.axes().records()
    assert sum(row["share"] for row in axes) == pytest.approx(1)
    assert axes[0]["sweet"] == one.loadings[3, 0]
    assert one._repr_html_().count("<table>") == 2


def test_columns_of_categories():
    ballots = frame(panel(13))
    names = dict.fromkeys(["session", "assessor", "sample", "attribute"], "category")
    one, other = sample_map(ballots), sample_map(ballots.astype(names))
    assert np.array_equal(one.coordinates, other.coordinates)


# Bad ballots.


def good():
    return frame(panel(11, people=4))


def with_cell(*change):
    return shared.with_cell(good(), *change)


@pytest.mark.parametrize(
    ("ballots", "sentence"),
    [
        (with_cell(3, "score", "much"), "row 5, column score: assessor 00 gave apple in sweet"),
        (with_cell(3, "score", np.inf), "gave apple in sweet the score inf, which is no number"),
        (with_cell(3, "score", None), "assessor 00 did not score apple in sweet"),
        (good().drop(index=7), "assessor 00 did not score blackcurrant in sweet"),
        (with_cell(3, "sample", ""), "row 5, column sample: The sample is missing"),
        (with_cell(3, "attribute", None), "row 5, column attribute: The attribute is missing"),
        (pd.concat([good(), good().iloc[:1]]), "assessor 00 scored apple in bitter twice"),
    ],
)
def test_bad_cells(ballots, sentence):
    with pytest.raises(BallotError, match=sentence):
        sample_map(ballots)


@pytest.mark.parametrize(
    ("ballots", "options", "sentence"),
    [
        ("a file", {}, "ballots must be a pandas DataFrame with one score a row"),
        (good().drop(columns="score"), {}, "ballots lack the column score"),
        (good().iloc[:0], {}, "ballots are empty"),
        (frame(panel(1, people=3)), {}, "at least 4 assessors; got 3: assessor 00"),
        (good()[good()["sample"] < "c"], {}, "at least 3 samples; got 2: apple, blackcurrant"),
        (good()[good()["attribute"] == "sour"], {}, "at least 2 attributes; got 1: sour"),
        (good().assign(score=3.0), {}, "the same means in every attribute"),
        (good(), {"draws": 10}, "draws must be at least 200; got 10"),
        (good(), {"draws": 10**6}, "draws must be at most 100,000"),
        (good(), {"level": 95}, "level must lie strictly between 0 and 1"),
        (good(), {"scaled": 1}, "scaled must be True or False"),
        (good(), {"seed": 0.5}, "seed must be whole numbers"),
    ],
)
def test_bad_calls(ballots, options, sentence):
    with pytest.raises(ArgumentError, match=sentence):
        sample_map(ballots, **options)


def test_attribute_without_difference_cannot_be_scaled():
    scores = panel(12)
    scores[..., 1] = 4.0
    with pytest.raises(ArgumentError, match=r"the samples have the same mean in fruity\. Leave"):
        sample_map(frame(scores), scaled=True)
    found = sample_map(frame(scores))
    assert found.loadings[1].tolist() == pytest.approx([0.0] * found.variance.size, abs=1e-9)
    assert found.correlations[1].tolist() == [0.0] * found.variance.size


def test_names_of_any_kind_give_the_same_map():
    """Numbers, categories and names typed carelessly, rows in another order, empty scores."""
    scores = panel(5)
    plain = frame(scores)
    found = sample_map(plain, draws=200)
    careless = plain.copy()
    careless["sample"] = pd.Categorical(careless["sample"])
    careless["assessor"] = [
        f" {name.upper()}" if at % 3 else name for at, name in enumerate(careless["assessor"])
    ]
    careless.loc[0, "assessor"] = plain["assessor"][0]
    for name in set(plain["assessor"]):  # the spelling that came first is kept
        careless.loc[plain.index[plain["assessor"] == name][0], "assessor"] = name
    empty = plain.assign(session="s2", score=None).head(3)
    other = sample_map(pd.concat([careless, empty], ignore_index=True), draws=200)
    numbered = plain.assign(assessor=plain["assessor"].str[-2:].astype(int))
    assert other.assessors == found.assessors
    assert sample_map(numbered, draws=200).assessors == tuple(map(str, range(8)))
    for again in (other, sample_map(numbered, draws=200)):
        assert (again.samples, again.regions) == (found.samples, found.regions)
        np.testing.assert_array_equal(again.means, found.means)

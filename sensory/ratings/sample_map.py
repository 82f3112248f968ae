"""Map of the samples: what goes together over all attributes, and how sure each place is.

[1] Hotelling, H. (1933). J. Educ. Psychol. 24, 417-441: principal components.
[2] Hotelling, H. (1931). Ann. Math. Statist. 2, 360-378: region of a mean of several variables.
[3] Efron, B. (1979). Ann. Statist. 7, 1-26: resampling.

Why so
------
Regions of a sample map come from projecting resampled assessors on the axes of the map.
Projection is linear, so they equal Hotelling's ellipses of the assessors' own places (the test).
The axes lean towards chance differences: the map describes and tests nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, degrees, radians, sqrt

import numpy as np
from scipy.special import fdtri

from ..base.arrays import Floats, Ints
from ..base.checks import one_count, probability, truth
from ..base.errors import ArgumentError, BallotError
from ..base.results import Table, several
from ..base.shown import Shown
from .frames import scale_ends
from .map_ballots import NAMES, map_fault, map_rows
from .names import alike_notes

FEWEST_ASSESSORS = 4
_NOISE = 1e-8


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """Ellipse on the first two axes that holds the place of a sample at a level.

    Attributes
    ----------
    centre : (float, float)
        Place of the sample on the map.
    half_axes : (float, float)
        Long and short half axis, in units of the map.
    angle : float
        Of the long half axis to the first axis of the map, in degrees, above -90 to 90.
    """

    sample: str
    centre: tuple[float, float]
    half_axes: tuple[float, float]
    angle: float
    level: float

    def outline(self, points: int = 72) -> Floats:
        """Points of the ellipse, shape (points, 2), ready to be drawn."""
        count = one_count("points", points, at_least=3)
        turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
        along = self.half_axes[0] * np.cos(turn)
        across = self.half_axes[1] * np.sin(turn)
        lean = radians(self.angle)
        x = self.centre[0] + along * np.cos(lean) - across * np.sin(lean)
        y = self.centre[1] + along * np.sin(lean) + across * np.cos(lean)
        return np.column_stack([x, y])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SampleMap(Shown):
    """Result of `sample_map`.

    Attributes
    ----------
    samples, attributes, assessors : tuple of str
        Sorted.
    scaled, draws, seed, level
        As given.
    means : ndarray
        Samples by attributes: mean over assessors of each one's mean.
    coordinates : ndarray
        Samples by axes, centred; in units of the scale, or of standard deviations of the
        sample means when scaled.
    loadings : ndarray
        Attributes by axes, each column of length 1.
    variance : ndarray
        Of the coordinates on each axis, divisor samples - 1.
    cloud : ndarray
        Draws by samples by the first two axes: samples placed by resampled assessors.
    regions : tuple of Region
    """

    samples: tuple[str, ...]
    attributes: tuple[str, ...]
    assessors: tuple[str, ...]
    scaled: bool
    draws: int
    seed: int
    level: float
    means: Floats
    coordinates: Floats
    loadings: Floats
    variance: Floats
    cloud: Floats
    regions: tuple[Region, ...]

    @property
    def share(self) -> Floats:
        """Share of all variance between samples that each axis shows; they add up to 1."""
        shares: Floats = self.variance / self.variance.sum()
        return shares

    @property
    def notes(self) -> tuple[str, ...]:
        """Assessors who look like one person in several spellings."""
        return alike_notes(self.assessors)

    @property
    def correlations(self) -> Floats:
        """Attributes by axes: correlation of the sample means with the coordinates."""
        away = self.means - self.means.mean(0)
        spread = away.std(0, ddof=1)
        cross = away.T @ self.coordinates / (len(self.samples) - 1)
        with np.errstate(invalid="ignore", divide="ignore"):
            correlations: Floats = cross / spread[:, None] / np.sqrt(self.variance)
        return np.where(spread[:, None] > 0, correlations, 0.0)

    def summary(self) -> Table:
        """Place and region of each sample."""
        rows = tuple(
            (region.sample, *region.centre, *region.half_axes, region.angle, region.level)
            for region in self.regions
        )
        names = ("sample", "axis 1", "axis 2", "long half axis", "short half axis", "angle")
        return Table(columns=(*names, "level"), rows=rows)

    def axes(self) -> Table:
        """Variance and share of each axis, with the loadings of all attributes."""
        rows = tuple(
            (
                axis + 1,
                float(self.variance[axis]),
                float(self.share[axis]),
                *map(float, self.loadings[:, axis]),
            )
            for axis in range(self.variance.size)
        )
        return Table(columns=("axis", "variance", "share", *self.attributes), rows=rows)

    def _repr_html_(self) -> str:
        notes = "".join(f"<p>{note}</p>" for note in self.notes)
        return self.summary()._repr_html_() + self.axes()._repr_html_() + notes


def sample_map(
    ballots: object,
    *,
    scaled: bool = False,
    draws: int = 2000,
    seed: int = 1,
    level: float = 0.95,
    scale: tuple[float, float] | None = None,
) -> SampleMap:
    """Principal components of the sample means, with a region for each sample.

    Use it to see which samples go together and which attributes part them. It describes;
    whether a sample differs from the reference is for `profile` to say, since the axes are
    chosen to show the largest differences, chance ones included.

    Parameters
    ----------
    ballots : DataFrame
        One row a score: `assessor`, `sample`, `attribute`, `score`, and `session` and
        `replicate` where there are several; every assessor scored every sample in every
        attribute at least once.
    scaled : bool
        False: attributes count by their spread on the scale (covariance). True: all count
        alike (correlation), also those in which the samples hardly differ.
    draws : int
        Resampled panels, 200 to 100,000.
    seed : int
        For the resampling; the same seed gives the same map.
    level : float
        Of the region of each sample by itself.
    scale : (lowest, highest), optional
        Ends of the scale; a score beyond them is refused.

    Raises
    ------
    ArgumentError
        For missing columns, fewer than three samples, two attributes or four assessors,
        samples without any difference, or an attribute without spread when scaled.
    BallotError
        For every missing score, and every sample that an assessor did not score.

    Notes
    -----
    Means weigh assessors alike, however often each scored. Components [1] come from the
    singular values of the centred means; variances have the divisor samples - 1. In each
    axis the largest loading is positive (the first in the alphabet where several are
    largest), so that a picture does not flip.

    Regions: assessors are drawn with replacement [3], the samples' means computed again,
    centred, and placed on the axes of the map by projection; axes are not computed again,
    and nothing is rotated. Scaling stays as in the map. The covariance of the places,
    times n / (n - 1) for n assessors, gives Hotelling's ellipse [2] with
    2 (n-1) / (n-2) F(level; 2, n-2). It speaks of assessors drawn from the same people, not
    of other batches of a sample, and takes the axes as given. These lean towards chance
    differences: 95 % regions held the true place in 93 to 94 % of simulated panels where
    samples differ as much as single scores scatter or more, in 71 to 82 % where they are
    all alike (tests/calibration/test_map_regions.py).

    Examples
    --------
    >>> import pandas as pd
    >>> truth = {"plain": (2, 6), "sweet": (7, 5), "sour": (3, 9)}
    >>> rows = [
    ...     (f"assessor {n}", sample, attribute, score + (n * place) % 3)
    ...     for n in range(1, 7)
    ...     for place, (sample, scores) in enumerate(truth.items())
    ...     for attribute, score in zip(["sweet", "sour"], scores)
    ... ]
    >>> columns = ["assessor", "sample", "attribute", "score"]
    >>> result = sample_map(pd.DataFrame(rows, columns=columns))
    >>> result.share.round(3).tolist()
    [0.664, 0.336]
    """
    scaled, level = truth("scaled", scaled), probability("level", level)
    draws, seed = one_count("draws", draws, at_least=200), one_count("seed", seed)
    if draws > 100_000:
        raise ArgumentError(f"draws must be at most 100,000; got {draws:,}.")
    scores, names = _scores(ballots, scale_ends(scale))
    means = scores.mean(0)
    spread = _unit(means, names[2], scaled)
    coordinates, loadings, variance = _components((means - means.mean(0)) / spread)
    placed = (scores - scores.mean(1, keepdims=True)) / spread @ loadings[:, :2]
    cloud = _cloud(placed, draws, np.random.default_rng(seed))
    return SampleMap(
        assessors=names[0],
        samples=names[1],
        attributes=names[2],
        scaled=scaled,
        draws=draws,
        seed=seed,
        level=level,
        means=means,
        coordinates=coordinates,
        loadings=loadings,
        variance=variance,
        cloud=cloud,
        regions=_regions(names[1], coordinates, cloud, len(scores), level),
    )


def _components(centred: Floats) -> tuple[Floats, Floats, Floats]:
    """Coordinates, loadings and variances; at least two axes, the last ones may be empty."""
    left, singular, right = np.linalg.svd(centred, full_matrices=False)
    axes = min(max(int((singular > _NOISE * singular[0]).sum()), 2), singular.size)
    loadings = right[:axes].T
    size = np.abs(loadings)
    leading = (size >= size.max(0) - _NOISE).argmax(0)
    signs = np.sign(loadings[leading, np.arange(axes)])
    variance = singular[:axes] ** 2 / (len(centred) - 1)
    return left[:, :axes] * singular[:axes] * signs, loadings * signs, variance


def _cloud(placed: Floats, draws: int, rng: np.random.Generator) -> Floats:
    """Places of the samples by panels drawn with replacement: assessors' places, averaged."""
    people = len(placed)
    times = rng.multinomial(people, np.full(people, 1 / people), size=draws)
    cloud: Floats = np.tensordot(times / people, placed, axes=1)
    return cloud


def _regions(
    samples: tuple[str, ...], coordinates: Floats, cloud: Floats, people: int, level: float
) -> tuple[Region, ...]:
    reach = 2 * (people - 1) / (people - 2) * float(fdtri(2, people - 2, level))
    moved = (cloud - cloud.mean(0)).swapaxes(0, 1)  # (samples, draws, 2)
    covariance = moved.swapaxes(1, 2) @ moved / (len(cloud) - 1) * people / (people - 1)
    regions = []
    for place, (sample, sizes, turns) in enumerate(
        zip(samples, *np.linalg.eigh(covariance), strict=True)
    ):
        long = turns[:, 1]
        long = long if long[0] > _NOISE or (abs(long[0]) <= _NOISE and long[1] > 0) else -long
        regions.append(
            Region(
                sample=sample,
                centre=(float(coordinates[place, 0]), float(coordinates[place, 1])),
                half_axes=(sqrt(reach * max(sizes[1], 0.0)), sqrt(reach * max(sizes[0], 0.0))),
                angle=degrees(atan2(long[1], long[0])),
                level=level,
            )
        )
    return tuple(regions)


def _unit(means: Floats, attributes: tuple[str, ...], scaled: bool) -> Floats:
    spread: Floats = means.std(0, ddof=1)
    largest = np.abs(means).max() or 1.0
    if spread.max() <= _NOISE * largest:
        raise ArgumentError("all samples have the same means in every attribute: no map.")
    if not scaled:
        return np.ones_like(spread)
    flat = [name for name, size in zip(attributes, spread, strict=True) if size <= _NOISE * largest]
    if flat:
        raise ArgumentError(
            f"scaled=True needs a difference in every attribute; the samples have the same mean "
            f"in {', '.join(flat)}. Leave it out, or use scaled=False."
        )
    return spread


def _scores(
    ballots: object, ends: tuple[float, float] | None
) -> tuple[Floats, tuple[tuple[str, ...], ...]]:
    """Assessors by samples by attributes, replicates averaged, and the three lists of names."""
    rows = map_rows(ballots, ends)
    scored = np.isfinite(rows.score)
    names, places = list[tuple[str, ...]](), list[Ints]()
    for column in NAMES:
        used, which = np.unique(rows.which[column][scored], return_inverse=True)
        names.append(tuple(rows.texts[column][at] for at in used))
        places.append(which)
    _check_sizes(names)
    shape = tuple(len(level) for level in names)
    cell = np.ravel_multi_index(places, shape)
    counts = np.bincount(cell, minlength=int(np.prod(shape)))
    if not counts.all():
        advice = "Leave the assessor or the attribute out, or have the sample scored."
        gone = [
            [level[at] for level, at in zip(names, place, strict=True)]
            for place in np.argwhere(counts.reshape(shape) == 0)
        ]
        raise BallotError(
            map_fault(0, "score", "{} did not score {} in {}.".format(*missed), advice)
            for missed in gone
        )
    sums = np.bincount(cell, rows.score[scored], minlength=counts.size)
    return (sums / counts).reshape(shape), tuple(names)


def _check_sizes(names: Sequence[tuple[str, ...]]) -> None:
    for there, fewest, noun in zip(
        names, (FEWEST_ASSESSORS, 3, 2), ("assessor", "sample", "attribute"), strict=True
    ):
        if len(there) < fewest:
            raise ArgumentError(
                f"a map needs at least {several(fewest, noun)}; got {len(there)}: "
                f"{', '.join(there)}."
            )

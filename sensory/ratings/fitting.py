"""From a rating table to fitted panels: which terms, which road, and what cannot be fitted."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..base.arrays import Bools, Floats, Ints
from ..base.errors import ArgumentError
from ..models.mean_squares import ASSESSOR, BOTH, OCCASION, MeanSquares, mean_squares
from ..models.mixed import ERROR, MixedFit, likelihood_ratios, restricted_likelihood
from ..models.pair_scatter import pair_scatter
from ..models.unweighted import cell_means, unweighted_squares
from .tables import RatingGrid, RatingTable

OCCASIONS = ("session", "replicate")
SQUARES, REML = "mean squares", "reml"
METHODS = (SQUARES, REML)
_NOTHING, _ROUNDING = 1e-20, 1e-10  # of the total variance


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedGroup:
    """Attributes that share their road and their terms.

    Attributes
    ----------
    places : int array, (attributes,)
        Positions among the attributes of the table.
    squares : MeanSquares or None
        None where restricted likelihood was used.
    complete : bool
        Whether every assessor scored every sample equally often on each occasion; these share
        the correlations of their comparisons.
    interaction : bool
        Whether assessor x sample can be told from error.
    ratios : float array, (attributes, random terms), or None
        Likelihood-ratio statistics of the random terms, on the road of the likelihood.
    """

    places: NDArray[np.intp]
    fit: MixedFit
    squares: MeanSquares | None
    complete: bool
    interaction: bool
    ratios: Floats | None

    def differences(self, weights: Floats) -> tuple[Floats, Floats, Floats]:
        """Estimate, se and df of samples less others, by the scatter of the two.

        `weights` hold one 1 and one -1 a row. By restricted likelihood the scatter is that of
        the model, the same for all.
        """
        estimate, se, df = self.fit.contrasts(weights)
        if self.squares is None:
            return estimate, se, df
        ms, df = pair_scatter(self.squares, weights.argmax(1), weights.argmin(1))
        whole = self.squares.ms[:, self.squares.sources.index(BOTH if self.interaction else ERROR)]
        return estimate, se * np.sqrt(ms / whole[:, None]), df


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedPanel:
    """All attributes of a table, fitted.

    Attributes
    ----------
    occasion : str or None
        The column that serves as a further random term.
    method : {"mean squares", "reml"}
        As asked for.
    """

    table: RatingTable
    grid: RatingGrid
    occasion: str | None
    method: str
    groups: tuple[FittedGroup, ...]

    def gathered(self, of: Callable[[FittedGroup], Floats]) -> Floats:
        """A number or row for each attribute, in the order of the table."""
        parts = [(group.places, of(group)) for group in self.groups]
        whole = np.empty((len(self.table.attributes), *parts[0][1].shape[1:]))
        for places, part in parts:
            whole[places] = part
        return whole

    def contrasts(self, weights: Floats) -> tuple[Floats, Floats, Floats]:
        """Estimate, se and df of the weighted sample means, each (attributes, contrasts)."""
        return self._three(lambda group: group.fit.contrasts(weights))

    def differences(self, weights: Floats) -> tuple[Floats, Floats, Floats]:
        """The same of samples less others, by the scatter of the two."""
        return self._three(lambda group: group.differences(weights))

    def _three(
        self, of: Callable[[FittedGroup], tuple[Floats, Floats, Floats]]
    ) -> tuple[Floats, Floats, Floats]:
        parts = {id(group): of(group) for group in self.groups}

        def part(which: int) -> Floats:
            return self.gathered(lambda group: parts[id(group)][which])

        return part(0), part(1), part(2)

    @property
    def repeatability(self) -> Floats:
        """Standard deviation of error, (attributes,)."""
        return self.gathered(lambda group: np.sqrt(group.fit.variances[:, -1]))


def fit_panel(
    table: RatingTable, occasion: str | None = None, method: str = SQUARES
) -> FittedPanel:
    """Fit sample (fixed), assessor, assessor x sample and occasion (random) to each attribute.

    Parameters
    ----------
    occasion : {"session", "replicate"}, optional
        The further random term; session where there is more than one, if not given.
    method : {"mean squares", "reml"}
        Mean squares, unweighted where there are gaps, and restricted likelihood only for
        attributes whose filled cells do not join all samples and occasions; or restricted
        likelihood for all.

    Raises ArgumentError: One assessor or sample only, an attribute without scores for a sample,
    with one assessor, with the same score everywhere, or without any scatter to test against.
    """
    if method not in METHODS:
        raise ArgumentError(f"method must be {' or '.join(METHODS)}; got {method!r}.")
    grid = table.grid()
    chosen = _occasion(table, occasion)
    _enough(table, grid.scores, grid)
    when = getattr(grid, chosen) if chosen else np.zeros(len(grid.sample), np.int64)
    even = _balanced(table, grid, when)
    told = _interaction_told(table, grid, when)
    groups = []
    rest = np.ones(len(even), bool)
    if method == SQUARES:
        groups = [_by_squares(table, grid, when, places) for places in _alike(grid.scores, even)]
        groups += _with_gaps(grid, when, np.flatnonzero(~even))
        rest[[place for group in groups for place in group.places]] = False
    for interaction in (True, False):
        places = np.flatnonzero(rest & (told == interaction))
        if places.size:
            groups.append(_by_likelihood(grid, when, places, interaction))
    panel = FittedPanel(
        table=table, grid=grid, occasion=chosen, method=method, groups=tuple(groups)
    )
    _scatter(panel)
    return panel


def _occasion(table: RatingTable, occasion: str | None) -> str | None:
    if occasion is None:
        return "session" if len(table.sessions) > 1 else None
    if occasion not in OCCASIONS:
        raise ArgumentError(f"occasion must be session, replicate or None; got {occasion!r}.")
    if len(getattr(table, f"{occasion}s")) < 2:
        raise ArgumentError(
            f"occasion is {occasion}, and the ballots hold one {occasion} only; leave it out."
        )
    return occasion


def _enough(table: RatingTable, scores: Floats, grid: RatingGrid) -> None:
    for noun, names in (("assessor", table.assessors), ("sample", table.samples)):
        if len(names) < 2:
            raise ArgumentError(
                f"ballots hold one {noun} only, {names[0]}; a profile needs at least two."
            )
    samples = _counts(scores, grid.sample, len(table.samples)) > 0
    if not samples.all():
        attribute, sample = np.argwhere(~samples.T)[0]
        raise ArgumentError(
            f"ballots hold no score of sample {table.samples[sample]} for "
            f"{table.attributes[attribute]}; leave out the sample or the attribute."
        )
    assessors = _counts(scores, grid.assessor, len(table.assessors)) > 0
    _refuse(table, assessors.sum(0) < 2, "scored by one assessor only")
    few = np.isfinite(scores).sum(0) <= len(table.samples)
    _refuse(table, few, "there are no more scores than samples")
    _refuse(table, np.nanmin(scores, 0) == np.nanmax(scores, 0), "given the same score everywhere")


def _refuse(table: RatingTable, wrong: Bools, why: str) -> None:
    names = [str(table.attributes[place]) for place in np.flatnonzero(wrong)]
    if names:
        raise ArgumentError(
            f"ballots cannot be tested for {', '.join(names)}: {why}. "
            "Leave out with the argument attributes."
        )


def _balanced(table: RatingTable, grid: RatingGrid, when: Ints) -> Bools:
    """Attributes that every assessor scored equally often for every sample and occasion."""
    shape = (len(table.assessors), len(table.samples), int(when.max()) + 1)
    cell = np.ravel_multi_index((grid.assessor, grid.sample, when), shape)
    counts = _counts(grid.scores, cell, int(np.prod(shape)))
    return np.asarray((counts == counts[0]).all(0) & (counts[0] > 0))


def _alike(scores: Floats, among: Bools) -> list[NDArray[np.intp]]:
    """Places of the attributes `among` all, in sets that were scored in the same rows."""
    places = np.flatnonzero(among)
    there = np.isfinite(scores[:, places])
    if there.all():
        return [places] if places.size else []
    _, pattern = np.unique(there, axis=1, return_inverse=True)
    return [places[pattern == each] for each in range(int(pattern.max()) + 1)]


def _interaction_told(table: RatingTable, grid: RatingGrid, when: Ints) -> Bools:
    """Attributes with more scores than cells and occasions, so that error has freedom left."""
    cell = grid.assessor * len(table.samples) + grid.sample
    counts = _counts(grid.scores, cell, len(table.assessors) * len(table.samples))
    return np.asarray(counts.sum(0) - (counts > 0).sum(0) - int(when.max()) > 0)


def _counts(scores: Floats, code: Ints, levels: int) -> Ints:
    row, column = np.nonzero(np.isfinite(scores))
    width = scores.shape[1]
    flat = np.bincount(code[row] * width + column, minlength=levels * width)
    return flat.reshape(levels, width)


def _by_squares(
    table: RatingTable, grid: RatingGrid, when: Ints, places: NDArray[np.intp]
) -> FittedGroup:
    scores = grid.scores[:, places]
    there = np.isfinite(scores[:, 0])
    order = np.lexsort((when[there], grid.sample[there], grid.assessor[there]))
    shape = (len(table.assessors), len(table.samples), int(when.max()) + 1, -1, len(places))
    squares = mean_squares(scores[there][order].reshape(shape))
    return FittedGroup(
        places=places,
        fit=squares.fit,
        squares=squares,
        complete=True,
        interaction=BOTH in squares.sources,
        ratios=None,
    )


def _with_gaps(grid: RatingGrid, when: Ints, places: NDArray[np.intp]) -> Iterator[FittedGroup]:
    """Unweighted mean squares of those among the attributes that they can do."""
    if not places.size:
        return
    cells = cell_means(grid.scores[:, places], grid.assessor, grid.sample, when)
    told = cells.error_df > 0
    for interaction in (True, False):
        some = np.flatnonzero(cells.usable & (told == interaction))
        if some.size:
            squares = unweighted_squares(cells.only(some))
            yield FittedGroup(
                places=places[some],
                fit=squares.fit,
                squares=squares,
                complete=False,
                interaction=interaction,
                ratios=None,
            )


def _by_likelihood(
    grid: RatingGrid, when: Ints, places: NDArray[np.intp], interaction: bool
) -> FittedGroup:
    random = {ASSESSOR: grid.assessor}
    if interaction:
        random[BOTH] = grid.assessor * (int(grid.sample.max()) + 1) + grid.sample
    if when.any():
        random[OCCASION] = when
    scores = grid.scores[:, places]
    fit = restricted_likelihood(scores, grid.sample, random)
    return FittedGroup(
        places=places,
        fit=fit,
        squares=None,
        complete=False,
        interaction=interaction,
        ratios=likelihood_ratios(scores, grid.sample, random, fit),
    )


def _scatter(panel: FittedPanel) -> None:
    """Refuse attributes where assessors agree so fully that there is nothing to test against.

    Likelihood also needs replicates that differ; mean squares do not.
    """
    total = np.nanvar(panel.grid.scores, 0)
    contrast = np.zeros((1, len(panel.table.samples)))
    contrast[0, :2] = 1.0, -1.0
    variance = panel.gathered(lambda group: group.fit.covariance_of(contrast)[:, 0, 0])
    error = panel.gathered(
        lambda group: (
            group.fit.variances[:, -1]
            if group.squares is None
            else np.full(len(group.places), np.inf)
        )
    )
    none = (variance <= _NOTHING * total) | (error <= _ROUNDING * total)
    _refuse(panel.table, none, "scores leave no scatter to test against")

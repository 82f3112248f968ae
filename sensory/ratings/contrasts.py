"""Means of the samples and what lies between them: reference, pairs, margins.

[1] Schuirmann, D.J. (1987). Journal of Pharmacokinetics and Biopharmaceutics 15,
    657-680: two one-sided tests.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from ..base.arrays import Bools, Floats, Name
from ..base.errors import ArgumentError
from ..models.multiplicity import Dunnett, benjamini_hochberg, holm, tukey_limits
from .fitting import FittedPanel

_DIGITS = 12  # correlations alike in so many are the same


def mean_table(panel: FittedPanel, alpha: float) -> pd.DataFrame:
    """Estimated means: ``attribute sample estimate se df low high level scores``."""
    estimate, se, df = panel.contrasts(np.eye(len(panel.table.samples)))
    there = np.isfinite(panel.grid.scores)
    counts = np.stack(
        [there[panel.grid.sample == level].sum(0) for level in range(estimate.shape[1])], 1
    )
    half = se * -stdtrit(df, alpha / 2)
    columns = {"estimate": estimate, "se": se, "df": df, "low": estimate - half}
    columns |= {"high": estimate + half, "level": np.full_like(se, 1 - alpha), "scores": counts}
    return _frame(panel, {"sample": panel.table.samples}, columns)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Family:
    """All samples less the reference, and Dunnett's integral of each set of attributes.

    Attributes that share the correlations of their comparisons share it, and so do the tables.
    """

    reference: Name
    samples: tuple[Name, ...]
    weights: Floats
    sets: tuple[tuple[NDArray[np.intp], Dunnett], ...]


def family(panel: FittedPanel, reference: Hashable) -> Family:
    """The comparisons with a reference. Raises ArgumentError where it is none of the samples."""
    weights, names = against(panel, reference)
    sets = tuple((places, Dunnett(shared)) for places, shared in _correlations(panel, weights))
    return Family(reference=reference, samples=names, weights=weights, sets=sets)


def reference_table(panel: FittedPanel, compared: Family, alpha: float) -> pd.DataFrame:
    """Each sample less the reference, with Dunnett's p and simultaneous limits.

    Columns ``attribute sample reference estimate se df statistic p p_adjusted p_holm
    p_false_discovery low high level effect``. ``p_adjusted`` is over the samples of an
    attribute; ``p_holm`` and ``p_false_discovery`` carry it on over the attributes of a
    sample. ``effect`` is the difference in repeatability standard deviations (the root of the error
    variance; with one score a sample this holds the interaction), NaN where these are 0.
    """
    estimate, se, df = panel.differences(compared.weights)
    statistic = estimate / se
    adjusted, critical = np.empty_like(se), np.empty_like(se)
    for places, dunnett in compared.sets:
        t, free = statistic[places], df[places]
        p, limit = dunnett.limits(alpha, t.ravel(), free.ravel())
        adjusted[places], critical[places] = p.reshape(t.shape), limit.reshape(t.shape)
    columns = _compared(panel, estimate, se, df, adjusted, critical, alpha)
    return _frame(panel, _named(compared), columns)


def pair_table(panel: FittedPanel, alpha: float) -> pd.DataFrame:
    """All pairs, with Tukey-Kramer p and simultaneous limits.

    Columns as in `reference_table`, with ``other`` instead of ``reference``.
    """
    samples = panel.table.samples
    pairs, weights = pair_weights(len(samples))
    estimate, se, df = panel.differences(weights)
    statistic, count = estimate / se, len(samples)
    p, limit = tukey_limits(alpha, statistic.ravel(), df.ravel(), count)
    adjusted, critical = p.reshape(se.shape), limit.reshape(se.shape)
    names = [tuple(samples[pair[side]] for pair in pairs) for side in (0, 1)]
    columns = _compared(panel, estimate, se, df, adjusted, critical, alpha)
    return _frame(panel, {"sample": names[0], "other": names[1]}, columns)


def equivalence_table(
    panel: FittedPanel, compared: Family, margins: Mapping[Name, float], alpha: float
) -> pd.DataFrame:
    """Two one-sided tests [1] against the margin of each attribute that has one.

    Columns ``attribute sample reference margin estimate se df p low high level equivalent
    p_beyond beyond``. ``p`` is the larger of the two; `low` and `high` are the 1 - 2 alpha limits,
    which lie inside the margin exactly when p <= alpha. Not adjusted: that all attributes
    are equivalent may be said at alpha when each of them is. ``p_beyond`` is that of a
    difference larger than the margin on either side: Dunnett's, with the margin in place of 0,
    carried on over all attributes by Holm as ``p_holm`` of `reference_table`; an attribute
    without a margin counts among them.
    """
    estimate, se, df = panel.differences(compared.weights)
    margin = np.array([margins.get(name, np.nan) for name in panel.table.attributes])[:, None]
    p = np.maximum(stdtr(df, (estimate - margin) / se), stdtr(df, (-margin - estimate) / se))
    half = se * -stdtrit(df, alpha)
    columns = {"margin": np.broadcast_to(margin, se.shape), "estimate": estimate, "se": se}
    columns |= {"df": df, "p": p, "low": estimate - half, "high": estimate + half}
    columns |= {"level": np.full_like(se, 1 - 2 * alpha), "equivalent": p <= alpha}
    beyond = holm(_dunnett(compared, (np.abs(estimate) - margin) / se, df))
    columns |= {"p_beyond": beyond, "beyond": beyond <= alpha}
    table = _frame(panel, _named(compared), columns)
    return table[table["margin"].notna()].reset_index(drop=True)


def _named(compared: Family) -> dict[str, tuple[Name, ...]]:
    return {
        "sample": compared.samples,
        "reference": (compared.reference,) * len(compared.samples),
    }


def _dunnett(compared: Family, excess: Floats, df: Floats) -> Floats:
    """Dunnett's two-sided p of what lies above the margin; 1 where nothing does."""
    p = np.ones_like(excess)
    for places, dunnett in compared.sets:
        t, free = np.nan_to_num(excess[places], nan=-1.0), df[places]
        above = t > 0
        if above.any():
            tail = np.ones_like(t)
            tail[above] = dunnett.p(t[above], free[above])
            p[places] = tail
    return p


def against(panel: FittedPanel, reference: Hashable) -> tuple[Floats, tuple[Name, ...]]:
    """Weights of each sample less the reference, and the names of these samples."""
    samples = panel.table.samples
    if reference not in samples:
        raise ArgumentError(
            f"reference must be one of the samples {', '.join(map(str, samples))}; got {reference}."
        )
    at = samples.index(reference)
    others = [place for place in range(len(samples)) if place != at]
    weights = np.eye(len(samples))[others]
    weights[:, at] = -1.0
    return weights, tuple(samples[place] for place in others)


def pair_weights(samples: int) -> tuple[list[tuple[int, int]], Floats]:
    """All pairs of so many samples, and the weights of the first less the second."""
    pairs = list(combinations(range(samples), 2))
    each = np.eye(samples)
    return pairs, np.array([each[first] - each[other] for first, other in pairs])


def correlated(covariance: Floats) -> Floats:
    """Correlations of covariances, (attributes, contrasts, contrasts)."""
    sd = np.sqrt(np.einsum("acc->ac", covariance))
    return covariance / (sd[:, :, None] * sd[:, None, :])


def _correlations(panel: FittedPanel, weights: Floats) -> list[tuple[NDArray[np.intp], Floats]]:
    """Correlation of the differences, for each set of attributes that share it."""
    shared = []
    for group in panel.groups:
        correlation = correlated(group.fit.covariance_of(weights))
        _, alike = np.unique(correlation.round(_DIGITS), axis=0, return_inverse=True)
        for each in range(int(alike.max()) + 1):
            some = np.flatnonzero(alike.ravel() == each)
            shared.append((group.places[some], correlation[some[0]]))
    return shared


def _compared(
    panel: FittedPanel,
    estimate: Floats,
    se: Floats,
    df: Floats,
    adjusted: Floats,
    critical: Floats,
    alpha: float,
) -> dict[str, Floats]:
    statistic = estimate / se
    noise = np.where(panel.repeatability > 0, panel.repeatability, np.nan)[:, None]
    return {
        "estimate": estimate,
        "se": se,
        "df": df,
        "statistic": statistic,
        "p": 2 * stdtr(df, -np.abs(statistic)),
        "p_adjusted": adjusted,
        "p_holm": holm(adjusted),
        "p_false_discovery": benjamini_hochberg(adjusted),
        "low": estimate - critical * se,
        "high": estimate + critical * se,
        "level": np.full_like(se, 1 - alpha),
        "effect": estimate / noise,
    }


def _frame(
    panel: FittedPanel, fixed: Mapping[str, tuple[Name, ...]], columns: Mapping[str, Floats | Bools]
) -> pd.DataFrame:
    count = len(next(iter(fixed.values())))
    attributes = panel.table.attributes
    names: dict[str, list[Name]] = {
        "attribute": [name for name in attributes for _ in range(count)]
    }
    names |= {name: list(values) * len(attributes) for name, values in fixed.items()}
    return pd.DataFrame(names | {name: np.ravel(values) for name, values in columns.items()})

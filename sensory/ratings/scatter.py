"""How much a panel scatters, as an earlier session knows it: estimate and upper limit.

[1] Satterthwaite, F.E. (1946). Biometrics Bulletin 2, 110-114: degrees of freedom of sums of mean
    squares.
[2] Browne, R.H. (1995). Statistics in Medicine 14, 1933-1940: sizes planned by an upper limit of
    the standard deviation. (From memory.)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from ..base.arrays import Floats, Name
from ..base.checks import one_number
from ..base.errors import ArgumentError
from ..models.mean_squares import ASSESSOR, BOTH, SAMPLE
from ..models.mixed import ERROR
from .profile import Profile
from .variance import POOLED

Scatter = Mapping[Name, tuple[float, float]]


class Freedom(NamedTuple):
    """What an estimated scatter rests on: scores a cell, and degrees of freedom.

    `error` is None where the session knows those of the samples' test only.
    """

    replicates: float
    interaction: float
    error: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelScatter:
    """Scatter of a panel by attribute.

    Attributes
    ----------
    scatter : mapping of attribute to (float, float)
        Standard deviations of assessor x sample and of error, in units of the scale.
    freedom : mapping of attribute to Freedom
        Empty where the scatter is taken as known.
    notes : tuple of str
        What has to be said of it.
    """

    scatter: Scatter
    freedom: Mapping[Name, Freedom] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def difference_sd(scatter: tuple[float, float], assessors: int, replicates: int) -> float:
    """Standard deviation of the difference of two sample means."""
    interaction, error = scatter
    return float(np.sqrt(2 * (interaction**2 + error**2 / replicates) / assessors))


def upper_factor(
    interaction: ArrayLike, error: ArrayLike, freedom: Freedom, replicates: int, level: float
) -> Floats:
    """By how much the upper limit of a difference's standard deviation lies above the estimate.

    Its variance is a mean square over the scores of a cell and a part of the error's, with the
    degrees of freedom of [1], so the limit is exact for as many replicates as the session had.
    Measured chance that the limit lies above the truth, 6 to 20 assessors, 3 to 6 samples scored
    twice, planned with 1, 2 or 4 replicates: for 0.80 at least 0.787, for 0.95 at least 0.940; more
    where assessors agree, as an interaction below zero counts as zero. The estimate itself lies
    above the truth in 0.44 to 0.80 (`tests/calibration/test_plan_scatter.py`).

    >>> round(float(upper_factor(0.5, 0.9, Freedom(2, 21, 32), 2, 0.80)), 2)
    1.17
    """
    each, df, df_error = freedom
    noise = np.asarray(error, float) ** 2
    whole = np.asarray(interaction, float) ** 2 + noise / each
    beside = noise * (1 / replicates - 1 / each) if df_error else np.zeros_like(noise)
    doubt = whole**2 / df + beside**2 / (df_error or np.inf)
    free = np.maximum((whole + beside) ** 2 / doubt, 1.0) if df_error else df
    return np.asarray(np.sqrt(np.maximum(free / chdtri(free, level), 1.0)))


def known_scatter(earlier: Profile | PanelScatter | Scatter) -> PanelScatter:
    """Scatter of a profile, of records of one, or as two numbers an attribute, checked."""
    if isinstance(earlier, PanelScatter):
        return earlier
    if isinstance(earlier, Profile):
        tables = earlier.components, earlier.anova
        return scatter_from(*(table.to_dict("records") for table in tables))
    if not isinstance(earlier, Mapping) or not earlier:
        raise ArgumentError(
            "earlier must be a profile, or for each attribute its standard deviations of assessor "
            f"x sample and of error; got {earlier!r}."
        )
    known: dict[Name, tuple[float, float]] = {}
    for name, pair in earlier.items():
        if np.shape(pair) != (2,):
            raise ArgumentError(
                f"{name} must have two standard deviations, of assessor x sample and of error; "
                f"got {pair!r}."
            )
        interaction, error = (one_number(str(name), size, 0.0, 1e9) for size in pair)
        if not interaction + error:
            raise ArgumentError(f"{name} must have a scatter above 0; both numbers are 0.")
        known[name] = (interaction, error)
    return PanelScatter(scatter=known)


def scatter_from(
    components: Iterable[Mapping[Any, Any]], anova: Iterable[Mapping[Any, Any]] = ()
) -> PanelScatter:
    """Scatter by attribute from rows of `Profile.components` and `Profile.anova`.

    >>> row = {"attribute": "sweet", "source": "assessor x sample and error", "sd": 0.9}
    >>> scatter_from([row]).scatter
    {'sweet': (0.9, 0.0)}
    """
    parts: dict[Name, dict[str, float]] = {}
    for row in components:
        parts.setdefault(row["attribute"], {})[row["source"]] = float(row["sd"])
    known = {
        name: (sizes.get(POOLED, sizes.get(BOTH, 0.0)), sizes.get(ERROR, 0.0))
        for name, sizes in parts.items()
    }
    together = [str(name) for name, sizes in parts.items() if POOLED in sizes]
    note = (
        f"{', '.join(together)}: scored once a sample, so that error cannot be told from assessor "
        "x sample; more replicates promise nothing."
    )
    rows: dict[Name, dict[str, Mapping[Any, Any]]] = {}
    for row in anova:
        rows.setdefault(row["attribute"], {})[row["source"]] = row
    return PanelScatter(
        scatter=known,
        freedom={name: _freedom(rows[name]) for name in known if SAMPLE in rows.get(name, {})},
        notes=(note,) if together else (),
    )


def _freedom(rows: Mapping[str, Mapping[Any, Any]]) -> Freedom:
    """From the degrees of freedom of one attribute; cells and scores by adding them up."""
    whole = float(rows[SAMPLE]["df_error"])
    free = {source: row["df"] for source, row in rows.items()}
    told = [free.get(source) for source in (SAMPLE, ASSESSOR, BOTH, ERROR)]
    if any(df is None or np.isnan(float(df)) for df in told):
        return Freedom(1.0, whole, None)  # one score a sample, or restricted likelihood
    sample, assessor, both, error = (float(df or 0) for df in told)
    cells = sample + assessor + both + 1
    others = [float(df) for s, df in free.items() if s not in (SAMPLE, ASSESSOR, BOTH, ERROR)]
    return Freedom((cells + error + sum(others)) / cells, both, error)

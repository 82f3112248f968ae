"""Drift of assessors: bias and repeatability over the sessions.

[1] Holm, S. (1979). Scandinavian Journal of Statistics 6, 65-70.

Why so
------
Drift is against the median of the others, so that one who drifts does not make all others drift
the other way.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd
from scipy.special import stdtr

from ..base.arrays import Floats, Row
from ..base.checks import probability
from ..base.errors import ArgumentError
from ..base.results import p_digits, several
from ..base.shown import Shown
from ..models.multiplicity import holm
from .frames import KeptTable
from .performance import cells, regression, repeatability
from .tables import RatingTable, rating_table

FEWEST_SESSIONS = 4  # two degrees of freedom for a straight line
BIAS, REPEATABILITY = "bias", "repeatability"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AssessorDrift(Shown):
    """Result of `assessor_drift`: tidy tables, handed out as copies.

    Attributes
    ----------
    scores : RatingTable
        The checked scores.
    alpha : float
        As given.
    sessions : DataFrame
        ``assessor attribute session samples bias sd sd_df``: in each session the mean of
        own less the median of the others, and the standard deviation of replicates.
    trends : DataFrame
        ``assessor attribute measure sessions estimate se df statistic p p_adjusted``: slope
        against the number of the session. `measure` is bias, in units of the scale a
        session, or repeatability, in natural logarithm of the standard deviation a session.
    """

    scores: RatingTable
    alpha: float
    _tables: Mapping[str, pd.DataFrame]

    sessions = KeptTable()
    trends = KeptTable()

    @property
    def notes(self) -> tuple[str, ...]:
        """What the reader has to know: spellings that look like one person."""
        return self.scores.notes

    def says(self) -> tuple[str, ...]:
        """A sentence for each trend whose adjusted p is at most alpha, and the notes."""
        trends = self._tables["trends"]
        rows = trends[trends["p_adjusted"] <= self.alpha].to_dict("records")
        lines = tuple(_sentence(row) for row in rows) or (
            "No assessor drifts by more than chance would give in this many sessions.",
        )
        return (*lines, *self.notes)

    def __repr__(self) -> str:
        drifting = int((self._tables["trends"]["p_adjusted"] <= self.alpha).sum())
        return (
            f"<AssessorDrift: {several(len(self.scores.assessors), 'assessor')}, "
            f"{several(len(self.scores.sessions), 'session')}; {several(drifting, 'trend')}>"
        )

    def _repr_html_(self) -> str:
        return "".join(f"<p>{line}</p>" for line in self.says())


def assessor_drift(
    ballots: pd.DataFrame,
    *,
    attributes: Iterable[Hashable] | None = None,
    scale: tuple[float, float] | None = None,
    alpha: float = 0.05,
) -> AssessorDrift:
    """Does an assessor drift away from the others, or repeat worse, from session to session?

    Parameters
    ----------
    ballots : DataFrame
        One score a row, see `rating_table`, over at least four sessions. Sessions count
        1, 2, 3, ... in sorted order, or in that of their categories.
    attributes : names, optional
        Only these, in this order.
    scale : (lowest, highest), optional
        Ends of the scale; a score beyond them is refused.
    alpha : float
        Risk of saying that anybody drifts when nobody does.

    Raises
    ------
    ArgumentError, BallotError
        See `rating_table`; fewer than four sessions, one assessor.

    Notes
    -----
    Least squares of the bias, and of the logarithm of the standard deviation of
    replicates, on the number of the session; t with sessions - 2 degrees of freedom, p adjusted
    by Holm [1] over all assessors, attributes and measures. The bias is against the other
    assessors who scored the same samples in the same session, so samples may change between
    sessions; when the others drift the other way, everybody seems to. Sessions without a
    score, and for repeatability those without replicates or without any scatter, are left out
    of the line; p is missing with fewer than three.

    No limits are given; estimate +- t x se, 95 %, holds the slope of a bias in 93.6 and 94.8 %, and
    somebody is said to drift in 6.0 and 5.3 % where nobody does, of 150 simulated panels each: 6
    assessors x 5 sessions, 10 x 8, 3 samples twice (`tests/calibration/test_rated_limits.py`).

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(4)
    >>> rows = [(t, a, s, r, 5 + (a == "Bo") * 0.4 * t + rng.normal(0, 0.5))
    ...         for t in range(8) for a in ("Ada", "Bo", "Cy", "Di") for s in "xyz"
    ...         for r in (1, 2)]
    >>> names = ["session", "assessor", "sample", "replicate", "score"]
    >>> result = assessor_drift(pd.DataFrame(rows, columns=names).assign(attribute="sour"))
    >>> print(*result.says())
    Bo drifts upwards in sour, by 0.42 a session against the others (adjusted p < 0.001).
    """
    alpha = probability("alpha", alpha)
    table = rating_table(ballots, attributes=attributes, scale=scale)
    if len(table.sessions) < FEWEST_SESSIONS:
        raise ArgumentError(
            f"ballots must hold at least {FEWEST_SESSIONS} sessions for a trend; "
            f"got {len(table.sessions)}."
        )
    if len(table.assessors) < 2:
        raise ArgumentError(
            f"ballots hold one assessor only, {table.assessors[0]}; drift is against the others."
        )
    numbers = _by_session(table)
    tables = {"sessions": _sessions(table, numbers), "trends": _trends(table, numbers)}
    return AssessorDrift(scores=table, alpha=alpha, _tables=MappingProxyType(tables))


def _by_session(table: RatingTable) -> dict[str, Floats]:
    """Indicators of each session, (assessors, sessions, attributes)."""
    parts: dict[str, list[Floats]] = {name: [] for name in ("samples", "bias", "sd", "sd_df")}
    for place in range(len(table.sessions)):
        of = cells(table, place)
        apart = of.mean - _median_of_others(of.mean)
        compared = np.isfinite(apart).sum(1).astype(float)
        scatter = repeatability(of)
        with np.errstate(invalid="ignore"):
            bias = np.nansum(apart, 1) / compared
        numbers = {
            "samples": compared,
            "bias": bias,
            "sd": scatter["sd"],
            "sd_df": scatter["sd_df"],
        }
        for name, part in parts.items():
            part.append(numbers[name])
    return {name: np.stack(part, 1) for name, part in parts.items()}


def _median_of_others(mean: Floats) -> Floats:
    """Median of the other assessors' cell means; NaN where nobody else scored the sample."""
    median = np.empty_like(mean)
    for assessor in range(len(mean)):
        rest = np.sort(np.delete(mean, assessor, 0), 0)  # NaN stand last
        count = np.isfinite(rest).sum(0)[None]
        low = np.take_along_axis(rest, np.maximum(count - 1, 0) // 2, 0)
        high = np.take_along_axis(rest, np.minimum(count // 2, len(rest) - 1), 0)
        median[assessor] = ((low + high) / 2)[0]
    return median


def _sessions(table: RatingTable, numbers: Mapping[str, Floats]) -> pd.DataFrame:
    """Rows by assessor, attribute and session; sessions in which nothing was scored left out."""
    names = [
        (assessor, attribute, session)
        for assessor in table.assessors
        for attribute in table.attributes
        for session in table.sessions
    ]
    frame = pd.DataFrame(names, columns=["assessor", "attribute", "session"])
    columns = {name: values.swapaxes(1, 2).ravel() for name, values in numbers.items()}
    frame = frame.assign(**columns)
    return frame[frame["samples"] > 0].reset_index(drop=True)


def _trends(table: RatingTable, numbers: Mapping[str, Floats]) -> pd.DataFrame:
    with np.errstate(divide="ignore"):
        log_sd = np.log(numbers["sd"])
    blocks = [
        _lines(table, measure, np.where(np.isfinite(values), values, np.nan))
        for measure, values in ((BIAS, numbers["bias"]), (REPEATABILITY, log_sd))
    ]
    frame = pd.concat(blocks, ignore_index=True)
    tested = frame["p"].notna().to_numpy()
    adjusted = np.full(len(frame), np.nan)
    adjusted[tested] = holm(frame["p"].to_numpy()[tested])
    return frame.assign(p_adjusted=adjusted)


def _lines(table: RatingTable, measure: str, values: Floats) -> pd.DataFrame:
    number = np.arange(1.0, values.shape[1] + 1)[None, :, None]
    at = np.where(np.isfinite(values), number, np.nan)
    count = np.isfinite(values).sum(1).astype(float)
    _, slope, se = regression(values, at, count)
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = slope / se
        p = 2 * stdtr(count - 2, -np.abs(statistic))
    many, wide = len(table.assessors), len(table.attributes)
    return pd.DataFrame(
        {
            "assessor": [name for name in table.assessors for _ in range(wide)],
            "attribute": list(table.attributes) * many,
            "measure": measure,
            "sessions": count.astype(int).ravel(),
            "estimate": slope.ravel(),
            "se": se.ravel(),
            "df": np.maximum(count - 2, 0).ravel(),
            "statistic": statistic.ravel(),
            "p": p.ravel(),
        }
    )


def _sentence(row: Row) -> str:
    up, size = row["estimate"] > 0, abs(row["estimate"])
    p = f"(adjusted p {p_digits(row['p_adjusted'])})"
    if row["measure"] == BIAS:
        way = "upwards" if up else "downwards"
        return (
            f"{row['assessor']} drifts {way} in {row['attribute']}, by {size:.2g} a session "
            f"against the others {p}."
        )
    way = "worse" if up else "better"
    return (
        f"{row['assessor']} repeats {row['attribute']} {way} from session to session, the "
        f"standard deviation times {np.exp(row['estimate']):.2f} {p}."
    )

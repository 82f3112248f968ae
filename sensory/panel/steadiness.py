"""Each assessor in each attribute over many sessions: follows the panel, repeats, stays.

Why so
------
Slopes on the mean of the others are not weakened by an assessor's own scatter, as correlations
are; so a limit of the slope means the same on attributes with large and with small differences. It
is weakened by the scatter of the others' mean, little in panels of usual size. Attributes count in
the sessions in which the panel discriminated; repeatability counts everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from ..base.arrays import Bools, Floats, Ints
from ..base.checks import probability
from ..base.results import several
from ..base.shown import Shown
from ..models.pooling import pooled
from ..models.steadiness import (
    below,
    common_slope,
    drift,
    line_in_time,
    ratio_limits,
    summed,
    wider,
)
from .history import History

DAYS_A_MONTH = 30.4375
LATELY = 91
"""Days up to the last sitting that count as lately, in which somebody may be tired."""
_FEWEST = 4
"""Sittings that a line through a bias needs, as in `ratings.drift`."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steadiness(Shown):
    """Result of `steadiness`.

    Attributes
    ----------
    level : float
        Of the limits.
    lately_since : str
        Day from which on sittings count as lately.
    """

    level: float
    lately_since: str
    _assessors: pd.DataFrame
    _together: pd.DataFrame

    @property
    def together(self) -> pd.DataFrame:
        """A row an assessor, over all judged attributes, each in units of the panel's scatter of
        replicates: ``assessor sessions slope slope_se sd_lately sd_before p_follows p_tired change
        change_low change_high``, the last three the scatter lately over that before."""
        return self._together.copy()

    @property
    def assessors(self) -> pd.DataFrame:
        """A row an assessor and attribute, over judged sittings: ``assessor attribute sessions
        slope slope_se slope_df estimate low high level`` (use of the scale, then shrunken with
        its limits), ``sd others_sd ratio ratio_low ratio_high`` (own scatter, the ratio
        shrunken), ``drift drift_se`` (a month), and p of the slope being 0 or
        more and `least_slope` or more, of the scatter being no more than `most_ratio` times the
        others', of no drift: ``p_reversed p_follows p_repeats p_drift``."""
        return self._assessors.copy()

    def lately(self, name: str) -> str:
        """How the replicates of an assessor scatter lately beside before; empty where unknown."""
        row = self._together[self._together["assessor"] == name]
        if row.empty or not np.isfinite(row["change_high"].iloc[0]):
            return ""
        value, low, high = (float(row[f"change{end}"].iloc[0]) for end in ("", "_low", "_high"))
        return (
            f"Own replicates scatter {value:.2g} times as much since {self.lately_since} as before "
            f"({100 * self.level:g} % limits {low:.2g} to {high:.2g})."
        )

    def summary(self) -> pd.DataFrame:
        """The assessors, rounded for reading."""
        columns = "assessor attribute sessions estimate low high ratio ratio_low ratio_high drift"
        return self.assessors[columns.split()].round(2)

    def __repr__(self) -> str:
        return f"<Steadiness: {several(len(self._assessors), 'assessor and attribute')}>"


def steadiness(
    past: History, *, least_slope: float = 0.5, most_ratio: float = 1.5, level: float = 0.95
) -> Steadiness:
    """How does each assessor score beside the others, session after session?

    Parameters
    ----------
    past : History
        See `history`.
    least_slope : float
        Slope on the others' means below which somebody hardly follows them.
    most_ratio : float
        Own scatter of replicates in units of the others'; both are conventions, no source.
    level : float
        Of the limits.

    Raises
    ------
    ArgumentError
        For a level that is none.

    Notes
    -----
    One slope through all judged sittings, each with a level of its own; t with the degrees of
    freedom of samples less 1 over sittings, less 1. Scatter by F; a line through the bias of each
    sitting by t. Estimates are shrunken within an attribute (`models.pooling`), scatter as its
    logarithm.

    Coverage of 95 % limits, 100 simulated panels each, 8 assessors x 2 or 6 sittings and 12 x 12, 5
    samples twice, spread 0.1 to 0.3: shrunken slopes 90.7 to 92.3 %, ratios of scatter 90.2 to 94.5
    %, as standard errors count as known (`tests/calibration/test_panel_limits.py`).
    """
    level = probability("level", level)
    scores = past.scores
    which, days = pd.factorize(scores["held_on"])
    day = np.array([date.fromisoformat(text).toordinal() for text in days], float)[which]
    last = day.max() if len(day) else 0.0
    pairs = scores.groupby(["assessor", "attribute"], sort=False)
    group, many = np.asarray(pairs.ngroup(), np.int64), pairs.ngroups
    names = scores[["assessor", "attribute"]].drop_duplicates().reset_index(drop=True)
    columns = {name: scores[name].to_numpy(float) for name in scores.columns[4:]}
    judged = columns["judged"] > 0
    numbers = _slopes(group, many, columns, judged, least_slope)
    numbers |= _scatter(group, many, columns, most_ratio)
    numbers |= _drifts(group, many, columns, judged, day)
    frame = names.assign(**numbers, level=level)
    lately = day > last - LATELY
    together = _over_attributes(scores, columns, judged, lately, least_slope, level)
    since = date.fromordinal(int(last) - LATELY + 1).isoformat() if last else ""
    return Steadiness(
        level=level,
        lately_since=since,
        _assessors=_shrunken(frame, level),
        _together=together,
    )


def _slopes(
    group: Ints, many: int, columns: dict[str, Floats], judged: Bools, least: float
) -> dict[str, Floats]:
    sxx, sxy, syy = (
        summed(group, np.where(judged, columns[name], 0.0), many) for name in ("sxx", "sxy", "syy")
    )
    free = summed(group, np.where(judged, columns["samples"] - 1, 0.0), many)
    slope, se, df = common_slope(sxx, sxy, syy, free)
    return {
        "sessions": summed(group, judged, many),
        "slope": slope,
        "slope_se": se,
        "slope_df": df,
        "p_reversed": below(slope, se, df, 0.0),
        "p_follows": below(slope, se, df, least),
    }


def _pooled_sd(group: Ints, many: int, sd: Floats, df: Floats) -> tuple[Floats, Floats]:
    """Standard deviation and degrees of freedom of each group together."""
    free = summed(group, df, many)
    squares = summed(group, np.where(df > 0, np.nan_to_num(sd) ** 2 * df, 0.0), many)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.sqrt(squares / free), free


def _scatter(group: Ints, many: int, columns: dict[str, Floats], ratio: float) -> dict[str, Floats]:
    own, free = _pooled_sd(group, many, columns["sd"], columns["sd_df"])
    others, others_free = _pooled_sd(group, many, columns["others_sd"], columns["others_df"])
    return {
        "sd": own,
        "sd_df": free,
        "others_sd": others,
        "p_repeats": wider(own, free, others, others_free, ratio),
    }


def _over_attributes(
    scores: pd.DataFrame,
    columns: dict[str, Floats],
    judged: Bools,
    lately: Bools,
    least: float,
    level: float,
) -> pd.DataFrame:
    """Each assessor over all attributes, each in units of the panel's scatter in it."""
    attribute, kinds = pd.factorize(scores["attribute"])
    unit, _ = _pooled_sd(attribute, len(kinds), columns["sd"], columns["sd_df"])
    unit = np.where(np.isfinite(unit) & (unit > 0), unit, 1.0)[attribute]
    scaled = {name: columns[name] / unit**2 for name in ("sxx", "sxy", "syy")}
    scaled["sd"] = columns["sd"] / unit
    scaled |= {name: columns[name] for name in ("samples", "sd_df")}
    group, names = pd.factorize(scores["assessor"])
    many, sd, df = len(names), scaled["sd"], columns["sd_df"]
    now, now_free = _pooled_sd(group, many, sd, np.where(lately, df, 0.0))
    before, before_free = _pooled_sd(group, many, sd, np.where(lately, 0.0, df))
    numbers = _slopes(group, many, scaled, judged, least)
    change, low, high = ratio_limits(now, now_free, before, before_free, level)
    kept = ("sessions", "slope", "slope_se", "p_follows")
    return pd.DataFrame(
        {
            "assessor": names,
            **{name: numbers[name] for name in kept},
            "sd_lately": now,
            "sd_before": before,
            "p_tired": wider(now, now_free, before, before_free, 1.0),
            "change": change,
            "change_low": low,
            "change_high": high,
        }
    )


def _drifts(
    group: Ints, many: int, columns: dict[str, Floats], judged: Bools, day: Floats
) -> dict[str, Floats]:
    months = day / DAYS_A_MONTH
    slope, se, df, count = line_in_time(
        group[judged], many, months[judged], columns["bias"][judged]
    )
    enough = count >= _FEWEST
    return {
        "drift": np.where(enough, slope, np.nan),
        "drift_se": np.where(enough, se, np.nan),
        "p_drift": np.where(enough, drift(slope, se, df), np.nan),
    }


def _shrunken(frame: pd.DataFrame, level: float) -> pd.DataFrame:
    """Slopes and scatter drawn towards the panel's, attribute by attribute."""
    columns = ["estimate", "low", "high", "ratio", "ratio_low", "ratio_high"]
    values = np.full((len(frame), len(columns)), np.nan)
    for rows in frame.groupby("attribute", sort=False).indices.values():
        part = frame.iloc[rows]
        slopes = pooled(part["slope"].to_numpy(), part["slope_se"].to_numpy(), level=level)
        with np.errstate(divide="ignore", invalid="ignore"):
            log_ratio = np.log(part["sd"].to_numpy() / part["others_sd"].to_numpy())
            se = 1 / np.sqrt(2 * part["sd_df"].to_numpy())
        scatter = pooled(log_ratio, se, level=level)
        logs = np.exp([scatter.estimate, scatter.low, scatter.high])
        values[rows] = np.column_stack([slopes.estimate, slopes.low, slopes.high, *logs])
    return frame.assign(**dict(zip(columns, values.T, strict=True)))

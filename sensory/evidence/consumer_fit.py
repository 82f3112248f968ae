"""The distance that consumers set, found in checked answers; or why there is none."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from ..base.arrays import Floats
from ..base.results import digits, p_digits
from ..models.binomial import clopper_pearson
from ..models.random_consumers import Rejections
from ..models.random_lines import Fall, fall_of, line_fit
from .consumer_rows import ANSWER, ConsumerData

_CURVE_POINTS = 61


def _no_curve() -> pd.DataFrame:
    return pd.DataFrame({"distance": pd.Series(dtype=float), "estimate": pd.Series(dtype=float)})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ConsumerFit:
    """What the model found; NaN where nothing was fitted.

    Attributes
    ----------
    estimate, low, high : float
        The distance and its limits.
    p, p_fit : float
    curve : DataFrame
        ``distance estimate``.
    why_none : str
        Why there is no limit to agree.
    """

    estimate: float = float("nan")
    low: float = float("nan")
    high: float = float("nan")
    p: float = float("nan")
    p_fit: float = float("nan")
    curve: pd.DataFrame = field(default_factory=_no_curve)
    why_none: str = ""


def consumer_fit(data: ConsumerData, tolerated: float, level: float) -> ConsumerFit:
    """The distance at which the share rejects, or liking has fallen by the margin."""
    if why := data.why_none():
        return ConsumerFit(why_none=why)
    if data.asked == ANSWER:
        return _of_answers(data, tolerated, level)
    return _of_liking(data, tolerated, level)


def _of_answers(data: ConsumerData, share: float, level: float) -> ConsumerFit:
    model = Rejections(rejects=data.values, distances=data.distances, se=data.se, share=share)
    fit = model.fit()
    if not fit.p_slope <= 1 - level:
        rises = "Rejection is not seen to rise with the distance"
        return ConsumerFit(
            p=fit.p_slope, p_fit=fit.p_fit, why_none=_not_followed(rises, fit.p_slope)
        )
    at = np.linspace(0.0, data.farthest, _CURVE_POINTS)
    curve = pd.DataFrame({"distance": at, "estimate": model.shares(fit, at)})
    if fit.limit <= 0:
        return ConsumerFit(
            p=fit.p_slope,
            p_fit=fit.p_fit,
            curve=curve,
            why_none=f"Already without any difference {100 * share:g} % or more reject: what they "
            "reject is the product, not a distance from the reference.",
        )
    low, high = model.limits(fit, level)
    return ConsumerFit(
        estimate=fit.limit,
        low=low,
        high=high,
        p=fit.p_slope,
        p_fit=fit.p_fit,
        curve=curve,
        why_none="" if low > 0 else _reaches_zero(level),
    )


def _of_liking(data: ConsumerData, margin: float, level: float) -> ConsumerFit:
    fall = fall_of(line_fit(data.values, data.distances), data.distances, data.se, level)
    if not fall.p <= 1 - level:
        falls = "Liking is not seen to fall with the distance"
        return ConsumerFit(p=fall.p, p_fit=fall.p_fit, why_none=_not_followed(falls, fall.p))
    at = np.linspace(0.0, data.farthest, _CURVE_POINTS)
    curve = pd.DataFrame({"distance": at, "estimate": fall.intercept - fall.estimate * at})
    low, high = _of_margin(fall, margin)
    return ConsumerFit(
        estimate=margin / fall.estimate,
        low=low,
        high=high,
        p=fall.p,
        p_fit=fall.p_fit,
        curve=curve,
        why_none="" if low > 0 else _reaches_zero(level),
    )


def _of_margin(fall: Fall, margin: float) -> tuple[float, float]:
    low = 0.0 if np.isinf(fall.high) else margin / fall.high
    return low, margin / fall.low if fall.low > 0 else float("inf")


def _not_followed(what: str, p: float) -> str:
    return (
        f"{what} (p {p_digits(p)}): these answers set no limit. More consumers, or samples farther "
        "away, may."
    )


def _reaches_zero(level: float) -> str:
    return (
        f"No limit to agree: with {100 * level:g} % limits even a distance of 0 is not ruled out. "
        "More consumers, or distances that are better known, narrow them."
    )


def agreed_limit(fit: ConsumerFit, data: ConsumerData) -> float | None:
    """The lower limit, at most the farthest distance that was tasted."""
    return None if fit.why_none else min(fit.low, data.farthest)


def samples_table(data: ConsumerData, level: float) -> pd.DataFrame:
    """What was answered on each sample, with limits for that sample alone."""
    had = (~np.isnan(data.values)).sum(0)
    mean = np.nanmean(data.values, axis=0)
    low, high = _alone(data, had, mean, level)
    return pd.DataFrame(
        {
            "sample": data.samples,
            "distance": data.distances,
            "se": data.se,
            "consumers": had,
            "estimate": mean,
            "low": low,
            "high": high,
        }
    )


def _alone(data: ConsumerData, had: Floats, mean: Floats, level: float) -> tuple[Floats, Floats]:
    if data.asked == ANSWER:
        return clopper_pearson(np.nansum(data.values, axis=0), had, level)
    few = np.maximum(had - 1, 1)
    squares = np.nansum((data.values - mean) ** 2, axis=0)
    half = stdtrit(few, (1 + level) / 2) * np.sqrt(squares / few / had)
    half = np.where(had > 1, half, np.nan)
    return mean - half, mean + half


def end_of(distance: float) -> str:
    """An upper limit in words.

    >>> end_of(float("inf")), end_of(1.24)
    ('without end', '1.24')
    """
    return "without end" if np.isinf(distance) else digits(distance, 3)

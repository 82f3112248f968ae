"""The chart of one line of batches: centre, scatter, limits, weighted mean, change."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from ..base.arrays import Bools, Floats, Name, Row
from ..base.checks import one_number
from ..base.errors import ArgumentError
from ..models.change_points import step_in_mean
from ..models.charts import RUN_RULES, RunRule, batch_scatter, ewma, weighted_mean
from ..models.run_lengths import COUNTABLE, rules_run_length
from .trend_words import EWMA_WORDS, change_row

FEWEST = 3
"""Batches of a line from which centre and scatter can be taken at all."""
FEWEST_FOR_CHANGE = 6
SHUFFLES = 1999
WITHIN, BEYOND, UNTOLD = "within", "beyond", "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSetting:
    """Checked arguments of one call of `trend`, the same for every line."""

    limit: float | None
    chosen: tuple[RunRule, ...]
    weight: float
    centre: float | None
    scatter: float | None
    base: int | None
    level: float
    seed: int
    width: float
    ewma_width: float
    run_length: float


def chosen_rules(rules: Iterable[str]) -> tuple[RunRule, ...]:
    """The rules of these keys, each once.

    Raises ArgumentError for a key that is none.
    """
    keys = [rules] if isinstance(rules, str) else list(dict.fromkeys(rules))
    unknown = [key for key in keys if key not in RUN_RULES]
    if unknown:
        raise ArgumentError(f"rules must be among {', '.join(RUN_RULES)}; got {unknown[0]!r}.")
    return tuple(RUN_RULES[key] for key in keys)


def above_zero(name: str, value: ArrayLike) -> float:
    """One number above 0."""
    number = one_number(name, value, 0.0, 1e300)
    if number == 0:
        raise ArgumentError(f"{name} must be above 0; got 0.")
    return number


def chart_of_line(
    line: Name, part: pd.DataFrame, setting: LineSetting
) -> tuple[pd.DataFrame, Row, Row]:
    """Points, the row of the line and the row of its change (empty with few batches).

    Raises ArgumentError: Too few batches for a centre and a scatter, or no scatter at all.
    """
    estimate, se = part["estimate"].to_numpy(), part["se"].to_numpy()
    centre, scatter = _centre_and_scatter(line, estimate, se, setting)
    sigma = np.hypot(scatter, se)
    if not (sigma > 0).all():
        raise ArgumentError(
            f"batches of line {line} show no scatter and have a standard error of 0; give "
            "scatter, or their standard errors."
        )
    points = _points(part, centre, sigma, setting)
    mean, mean_se = weighted_mean(estimate, sigma)
    half = _reach(len(part), setting) * mean_se
    row: dict[Hashable, object] = {
        "line": line,
        "batches": len(part),
        "estimate": mean,
        "se": mean_se,
    }
    row |= {"low": mean - half, "high": mean + half, "scatter": scatter}
    row |= {"noise": float(np.sqrt((se**2).mean())), "run_length": setting.run_length}
    if len(part) < FEWEST_FOR_CHANGE:
        return points, row, {}
    if setting.scatter is None:  # a step enters one moving range only, so all batches may be used
        whole = np.hypot(batch_scatter(estimate, se), se)
        sigma = whole if (whole > 0).all() else sigma
    step = step_in_mean(estimate, sigma, level=setting.level, shuffles=SHUFFLES, seed=setting.seed)
    return points, row, change_row(line, part, step)


def quiet_run(chosen: Iterable[RunRule], width: float) -> float:
    """Average run length of limits and those run rules that a chain can follow."""
    followed = [rule for rule in chosen if rule.kind in COUNTABLE]
    return rules_run_length(followed, width=width) if followed else np.inf


def _reach(batches: int, setting: LineSetting) -> float:
    """Quantile for the mean: t with the degrees of freedom that moving ranges are worth.

    The variance of the mean moving range of m normal values, over its square, comes near
    0.826 / (m - 1); a standard deviation with f degrees of freedom has 1 / (2 f).
    """
    if setting.scatter is not None:
        return float(ndtri((1 + setting.level) / 2))
    used = min(batches, setting.base or batches)
    return float(stdtrit((used - 1) / (2 * 0.826), (1 + setting.level) / 2))


def _centre_and_scatter(
    line: Name, estimate: Floats, se: Floats, setting: LineSetting
) -> tuple[float, float]:
    known = setting.centre is not None and setting.scatter is not None
    if not known and len(estimate) < FEWEST:
        raise ArgumentError(
            f"batches hold {len(estimate)} of line {line}; at least {FEWEST} are needed to find "
            "its centre and scatter, or give both."
        )
    first = slice(None, setting.base)
    scatter = setting.scatter
    if scatter is None:
        scatter = batch_scatter(estimate[first], se[first])
    if setting.centre is not None:
        return setting.centre, scatter
    sigma = np.hypot(scatter, se[first])
    sigma = sigma if (sigma > 0).all() else np.ones_like(sigma)
    return weighted_mean(estimate[first], sigma)[0], scatter


def _points(part: pd.DataFrame, centre: float, sigma: Floats, setting: LineSetting) -> pd.DataFrame:
    estimate, se = part["estimate"].to_numpy(), part["se"].to_numpy()
    half = float(ndtri((1 + setting.level) / 2)) * se
    z = (estimate - centre) / sigma
    mean, sd = ewma(estimate, sigma, centre=centre, weight=setting.weight)
    reach = setting.ewma_width * sd
    seen = {rule.words: rule.hits(z, setting.width) for rule in setting.chosen}
    seen[EWMA_WORDS] = np.abs(mean - centre) > reach
    return part.assign(
        low=estimate - half,
        high=estimate + half,
        centre=centre,
        sigma=sigma,
        lower=centre - setting.width * sigma,
        upper=centre + setting.width * sigma,
        z=z,
        ewma=mean,
        ewma_lower=centre - reach,
        ewma_upper=centre + reach,
        against_limit=_against(estimate - half, estimate + half, setting.limit),
        signals=in_words(seen, len(part)),
    )


def in_words(seen: Mapping[str, Bools], points: int) -> list[str]:
    """The words of what was seen at each point, parted by semicolons."""
    return ["; ".join(word for word, hit in seen.items() if hit[at]) for at in range(points)]


def _against(low: Floats, high: Floats, limit: float | None) -> list[str]:
    if limit is None:
        return [""] * len(low)
    within, beyond = (low > -limit) & (high < limit), (low >= limit) | (high <= -limit)
    return list(np.where(within, WITHIN, np.where(beyond, BEYOND, UNTOLD)))

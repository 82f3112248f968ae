"""Where a straight line meets a level: the calibration interval of a mean.

[1] Fieller, E. C. (1954). Some problems in interval estimation. J. R. Stat. Soc. B 16: 175-185.
    (From memory.)

Why so
------
The limits are the places at which the confidence band of the mean line meets the level. Where the
slope is not clear the band's lower side never gets there: the upper end is then open, while a
standard error by the delta method still looks usable. The lower limit is the first place from 0
on, so that it exists for every slope.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from ..base.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFit:
    """A least-squares line.

    Attributes
    ----------
    centre, height : float
        Means of x and of y; the line passes there.
    slope, intercept : float
    variance : float
        Of the scatter round the line.
    squares : float
        Sum of squares of x about its mean.
    points, df : int
    """

    centre: float
    height: float
    slope: float
    variance: float
    squares: float
    points: int

    @property
    def df(self) -> int:
        return self.points - 2

    @property
    def intercept(self) -> float:
        return self.height - self.slope * self.centre

    @property
    def slope_se(self) -> float:
        return float(np.sqrt(self.variance / self.squares))

    @property
    def p_rising(self) -> float:
        """One-sided p of a line that does not rise."""
        return float(stdtr(self.df, -self.slope / self.slope_se))

    def mean(self, x: Floats) -> Floats:
        return np.asarray(self.height + self.slope * (x - self.centre))

    def half_width(self, x: Floats, level: float) -> Floats:
        """Of the two-sided limits of the mean."""
        se = np.sqrt(self.variance * (1 / self.points + (x - self.centre) ** 2 / self.squares))
        return np.asarray(student(self.df, level) * se)


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Where a line meets a level, with limits.

    `estimate` is NaN where the line does not rise, `low` infinite where the band never gets
    there, `high` infinite where the slope is not clear.
    """

    estimate: float
    low: float
    high: float


def student(df: int, level: float) -> float:
    """Two-sided quantile of t."""
    return float(stdtrit(df, (1 + level) / 2))


def fit_line(x: Floats, y: Floats) -> LineFit:
    """Least squares; three points or more at two places or more."""
    centre, height = float(x.mean()), float(y.mean())
    squares = float(((x - centre) ** 2).sum())
    slope = float(((x - centre) * (y - height)).sum()) / squares
    left = y - height - slope * (x - centre)
    return LineFit(
        centre=centre,
        height=height,
        slope=slope,
        variance=float((left**2).sum()) / (len(x) - 2),
        squares=squares,
        points=len(x),
    )


def crossing(line: LineFit, level_of_y: float, level: float) -> Crossing:
    """Where a rising line meets a level, at or after 0, with two-sided limits.

    The band meets the level where (m + b u)^2 = c^2 s^2 (1/n + u^2/S), u from the centre of x and m
    the mean of y above the level [1]; on its upper side m + b u < 0, on its lower > 0.
    """
    below, slope = line.height - level_of_y, line.slope
    reach = student(line.df, level) ** 2 * line.variance
    roots = _roots(
        slope**2 - reach / line.squares, 2 * below * slope, below**2 - reach / line.points
    )
    upper = [root + line.centre for root in roots if below + slope * root < 0]
    lower = [root + line.centre for root in roots if below + slope * root > 0]
    at_zero = line.mean(np.zeros(1)) + line.half_width(np.zeros(1), level)
    later = [root for root in upper if root > 0]
    clear = slope > 0 and slope**2 > reach / line.squares
    estimate = line.centre - below / slope if slope > 0 else np.nan
    return Crossing(
        estimate=max(0.0, estimate) if slope > 0 else np.nan,
        low=0.0 if at_zero[0] >= level_of_y else min(later, default=np.inf),
        high=max(0.0, *lower) if clear and lower else np.inf,
    )


def _roots(square: float, linear: float, constant: float) -> list[float]:
    """Real roots of a quadratic, by the form that loses no digits."""
    inside = linear**2 - 4 * square * constant
    if inside < 0:
        return []
    half = -(linear + np.copysign(np.sqrt(inside), linear)) / 2
    roots = [half / square] if square else []
    return [*roots, constant / half] if half else roots


def p_bent(x: Floats, y: Floats) -> float:
    """Two-sided p of the square of x beside the line; NaN with fewer than five points."""
    if len(x) < 5 or len(np.unique(x)) < 3:
        return np.nan
    scaled = (x - x.mean()) / np.ptp(x)
    design = np.column_stack([np.ones(len(x)), scaled, scaled**2])
    inverse = np.linalg.inv(design.T @ design)
    fitted = inverse @ design.T @ y
    df = len(x) - 3
    variance = float(((y - design @ fitted) ** 2).sum()) / df
    if variance <= 0:
        return np.nan
    return 2 * float(stdtr(df, -abs(fitted[2]) / np.sqrt(variance * inverse[2, 2])))

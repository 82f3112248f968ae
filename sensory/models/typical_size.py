"""How large a typical deviation may be at most: limits of a root mean square.

[1] With normal deviations of mean zero and one variance, their sum of squares over the variance is
    chi-square with as many degrees of freedom as deviations (any textbook).

Why so
------
Deviations from a target have a mean of their own as well: an assessor may mark too high. Then the
sum is noncentral chi-square about the same expectation, and it scatters less: with variance s^2 and
mean b its relative variance is 2/n (1 - b^4 / (s^2 + b^2)^2), which is at most the 2/n of [1]. So
the limit of [1] is kept, and is on the safe side there; the tests simulate both.
"""

from __future__ import annotations

import numpy as np
from scipy.special import chdtri

from ..base.arrays import Floats


def upper_rms(estimate: Floats, df: Floats, level: float) -> Floats:
    """One-sided upper limit of a root mean square; NaN without a degree of freedom.

    Parameters
    ----------
    estimate, df : float array, any one shape
        Root mean squares, and how many deviations or degrees of freedom each rests on.
    level : float
        Of confidence.

    Examples
    --------
    >>> upper_rms(np.array([1.0, 1.0]), np.array([9.0, 0.0]), 0.9).round(3).tolist()
    [1.469, nan]
    """
    freedom = np.where(np.asarray(df, float) > 0, df, np.nan)
    return np.asarray(estimate * np.sqrt(freedom / chdtri(freedom, level)))

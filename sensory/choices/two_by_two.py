"""What the tests of A - not A, same-different and sureness share."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, xlogy
from scipy.stats import hypergeom

from ..base.checks import counts
from ..base.errors import ArgumentError

Floats = NDArray[np.float64]


def one_of(name: str, value: int, of: str, total: int) -> tuple[int, int]:
    """A count and the count it is part of, checked."""
    part, whole = counts(name, value), counts(of, total, at_least=1)
    if part.ndim or whole.ndim:
        raise ArgumentError(f"{name} and {of} must be single numbers.")
    if part > whole:
        raise ArgumentError(f"{name} must not exceed {of}; got {part} of {whole}.")
    return int(part), int(whole)


def fisher_one_sided(h: int, n: int, f: int, m: int) -> float:
    """P(as many hits or more | margins), from the hypergeometric distribution."""
    return float(hypergeom.sf(h - 1, n + m, h + f, n))


def likelihood_ratio(table: Floats) -> float:
    """p of the likelihood-ratio test of independence, chi-square with one degree of freedom."""
    rows, columns, total = table.sum(1), table.sum(0), table.sum()
    g = 2 * (
        xlogy(table, table).sum()
        - xlogy(rows, rows).sum()
        - xlogy(columns, columns).sum()
        + xlogy(total, total)
    )
    return float(chdtrc(1, max(float(g), 0.0)))


def ratio_p(top: float, null: float) -> float:
    """p of two log-likelihoods, chi-square with one degree of freedom."""
    return float(chdtrc(1, max(2 * (top - null), 0.0)))

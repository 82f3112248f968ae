"""Critical values for results of several panels on one sample: Grubbs, Cochran, Mandel.

[1] After ISO 5725-2:2019 (from memory): tests of Cochran and Grubbs, Mandel's h and k, at 5 % and
    1 %.
[2] Grubbs, F.E. and Beck, G. (1972). Technometrics 14, 847-854: the exact distribution by t.

All are exact for normal results, from t and F; tables print them rounded.
"""

from __future__ import annotations

from math import sqrt

from scipy.special import fdtri, stdtrit


def grubbs_critical(panels: int, level: float) -> float:
    """Largest distance of one mean from all, in standard deviations, two-sided.

    >>> round(grubbs_critical(8, 0.05), 4)
    2.1266
    """
    t = float(stdtrit(panels - 2, 1 - level / (2 * panels)))
    return (panels - 1) / sqrt(panels) * sqrt(t**2 / (panels - 2 + t**2))


def cochran_critical(panels: int, each: int, level: float) -> float:
    """Share of the largest variance in the sum of all, `each` results a panel.

    >>> round(cochran_critical(8, 2, 0.05), 4)
    0.6798
    """
    f = float(fdtri(each - 1, (panels - 1) * (each - 1), 1 - level / panels))
    return f / (f + panels - 1)


def mandel_h_critical(panels: int, level: float) -> float:
    """Largest h of one panel, two-sided, without regard to the others.

    >>> round(mandel_h_critical(8, 0.01), 4)
    2.0649
    """
    t = float(stdtrit(panels - 2, 1 - level / 2))
    return (panels - 1) * t / sqrt(panels * (t**2 + panels - 2))


def mandel_k_critical(panels: int, each: int, level: float) -> float:
    """Largest k of one panel, `each` results a panel, without regard to the others.

    >>> round(mandel_k_critical(8, 3, 0.005), 4)
    2.0608
    """
    f = float(fdtri(each - 1, (panels - 1) * (each - 1), 1 - level))
    return sqrt(panels * f / (f + panels - 1))

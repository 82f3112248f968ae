"""What a scorecard leaves out, and what a table of its size cannot show."""

from __future__ import annotations

import numpy as np
from scipy.special import fdtri, stdtrit

from .performance import Cells, not_empty
from .tables import RatingTable


def gaps(table: RatingTable, of: Cells) -> list[str]:
    """Attributes of which some numbers are left out."""
    names = [str(table.attributes[place]) for place in np.flatnonzero(~not_empty(of))]
    if not names:
        return []
    return [
        f"{', '.join(names)}: some assessors did not score every sample; ICC and W are left out, "
        "and the mean of the others is of those who scored the sample."
    ]


def cannot_say(of: Cells, alpha: float) -> list[str]:
    """What a table of this size cannot show about one assessor, in numbers."""
    samples = int((of.number > 0).sum(1).max())
    free, others = of.free.max(), (of.free.sum(0) - of.free).max()
    lines = []
    if samples > 2:
        t = stdtrit(samples - 2, 1 - alpha)
        least = t / np.sqrt(samples - 2 + t**2)
        lines.append(
            f"With {samples} samples a correlation up to {least:.2f} can be chance (one-sided, "
            f"alpha {alpha:g})."
        )
    else:
        lines.append("With two samples no correlation can be computed.")
    if free:
        p = 1 - alpha
        lines.append(
            f"One assessor's F of sample has {samples - 1} and {free:g} degrees of freedom and "
            f"must exceed {fdtri(samples - 1, free, p):.2f}; repeats of one assessor must scatter "
            f"{np.sqrt(fdtri(free, max(others, 1), p)):.1f} times as much as those of the others "
            "before it shows, before adjustment for the many comparisons."
        )
    else:
        lines.append("Without replicates nothing can be said about how an assessor repeats.")
    return lines

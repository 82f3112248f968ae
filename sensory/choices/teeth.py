"""The saw of power: sizes of panels tooth by tooth.

Along a tooth, the sizes of one critical count, power rises; it falls where the next count
begins. So the ends of the teeth hold the first size that keeps a risk, and their beginnings
the last that does not: few sizes have to be looked at, and none is missed.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from scipy.special import ndtri

from ..base.arrays import Floats, Ints
from ..base.errors import ArgumentError
from ..models.binomial import least_count, lower_tail, most_trials
from .protocols import Protocol

MOST_ASSESSORS = 200_000


def teeth(protocol: Protocol, alpha: Fraction, pc: float, beta: float) -> Ints:
    """The last size with the critical count 0, 1, 2 ... up to a size that keeps both risks."""
    last = reach(float(protocol.guess), pc, float(alpha), beta)
    counts_to = int(least_count(np.array([last]), protocol.guess, alpha)[0])
    ends = most_trials(np.arange(1, counts_to + 1), protocol.guess, alpha)
    return np.concatenate([[0], ends])


def first_sizes(teeth: Ints, pc: float, betas: Floats) -> tuple[Ints, Ints]:
    """First size that keeps each of the risks, and its critical count."""
    needed, served = np.arange(1, teeth.size), np.diff(teeth) > 0
    kept = served & (lower_tail(needed - 1, teeth[1:], pc) <= betas[:, None])
    refuse_unless(bool(kept[:, -1].all()))
    tooth = kept.argmax(axis=1)
    return _along(teeth, tooth, pc, betas)


def stable_sizes(teeth: Ints, pc: float, betas: Floats) -> tuple[Ints, Ints]:
    """The size from which every one keeps each of the risks, and its critical count."""
    needed, served = np.arange(1, teeth.size), np.diff(teeth) > 0
    lost = served & (lower_tail(needed - 1, teeth[:-1] + 1, pc) > betas[:, None])
    tooth = np.where(lost.any(axis=1), lost.shape[1] - 1 - lost[:, ::-1].argmax(axis=1), 0)
    return _along(teeth, tooth, pc, betas)


def _along(teeth: Ints, tooth: Ints, pc: float, betas: Floats) -> tuple[Ints, Ints]:
    """First size on each tooth that keeps the risk, or the next tooth's first."""
    sizes = teeth[tooth][:, None] + np.arange(1, np.diff(teeth).max() + 1)
    sizes = np.minimum(sizes, teeth[tooth + 1][:, None])
    kept = lower_tail(tooth[:, None], sizes, pc) <= betas[:, None]
    inside = kept.any(axis=1)
    refuse_unless(bool((inside | (tooth + 2 < teeth.size)).all()))
    first = sizes[np.arange(tooth.size), kept.argmax(axis=1)]
    return np.where(inside, first, teeth[tooth + 1] + 1), np.where(inside, tooth + 1, tooth + 2)


def reach(guess: float, pc: float, alpha: float, beta: float) -> int:
    """A size by which both risks are kept whatever the teeth of the saw do."""
    if pc <= guess:
        raise ArgumentError(
            "no panel finds a difference that is not there: choose a larger pd or dprime than 0."
        )
    spread = -ndtri(min(alpha, 0.5)) * np.sqrt(guess * (1 - guess))
    spread -= ndtri(min(beta, 0.5)) * np.sqrt(pc * (1 - pc))
    last = int(1.4 * (spread / (pc - guess)) ** 2 + 25 / (pc - guess) + 40)
    if last > MOST_ASSESSORS:
        raise ArgumentError(
            f"so small a difference would need more than {MOST_ASSESSORS:,} assessors; "
            "choose a larger pd or dprime."
        )
    return last


def refuse_unless(kept: bool) -> None:
    if not kept:
        raise ArgumentError("no size was found that keeps these risks.")

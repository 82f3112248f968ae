"""Who still spreads in one training session, sample by sample."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np

from ..base.arrays import Floats
from ..sessions.trained import TrainedSample, TrainingSitting
from .training_rule import TrainingRule

_FEWEST_OTHERS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Where the marks of one sample on one attribute lie.

    `away`: those outside the accepted range, or without a target further from the mean of the
        others than the range agreed for agreement; each with the own mean.
    """

    sample: str
    attribute: str
    marks: int
    mean: float
    lowest: float
    highest: float
    target: float | None
    away: tuple[tuple[str, float], ...]


def spreads(trained: TrainingSitting, rule: TrainingRule) -> list[Spread]:
    """Who still spreads on which sample of one training session."""
    width = trained.scale[1] - trained.scale[0]
    listed = []
    for each in trained.samples:
        means, others = own_means(each), others_means(each)
        if each.low is not None and each.high is not None:
            out = (means < each.low) | (means > each.high)
        else:
            out = np.abs(means - others) > rule.agreement * width
        marks = [mark for scores in each.scores for mark in scores]
        named = zip(trained.assessors, means, out, strict=True)
        listed.append(
            Spread(
                sample=each.sample,
                attribute=each.attribute,
                marks=len(marks),
                mean=float(np.mean(marks)),
                lowest=min(marks),
                highest=max(marks),
                target=each.target,
                away=tuple((name, float(mean)) for name, mean, is_out in named if is_out),
            )
        )
    return listed


def own_means(sample: TrainedSample) -> Floats:
    return np.array([np.mean(scores) if scores else nan for scores in sample.scores])


def others_means(sample: TrainedSample) -> Floats:
    """Mean of the means of all others; NaN where fewer than two others marked the sample."""
    means = own_means(sample)
    there = np.isfinite(means)
    others = there.sum() - there
    total = np.nansum(means) - np.where(there, means, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(others >= _FEWEST_OTHERS, total / others, nan)

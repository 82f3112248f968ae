"""A month of training: what was trained, who is trained for what, and the learning curve in a line.

Why so
------
The curve tells how far marks lay from the targets, so that it needs targets; where a month has none
it says so. Who is trained is judged by the rule of the plant on all sessions up to the end of the
month, as the page Training judges it; a product that was not trained in the month is not told anew.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError
from ..base.results import several
from ..base.spelling import key_of
from ..sessions.trained import TrainingSitting
from .register import MOST, PanelDesk
from .training import TrainingProgress, training_progress
from .training_desk import the_training_rule

_POINTS = 4
"""Sessions of a curve that are told: the first and the latest."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrainedProduct:
    """Training on one product in a month.

    `sessions`: closed in the month.
    `attributes`: those that were trained in the month.
    `progress`: over all sessions up to its end, on these attributes.
    """

    product: str
    sessions: int
    attributes: tuple[str, ...]
    progress: TrainingProgress

    def says(self, *, names: bool) -> tuple[str, ...]:
        """What was trained, who is trained, and the learning curve, a line each."""
        done, many = self.progress.trained, several(len(self.progress.assessors), "assessor")
        told = f": {', '.join(done)}" if names and done else ""
        return (
            f"Trained on {self.product} in {several(self.sessions, 'session')}: "
            f"{', '.join(self.attributes)}.",
            f"Trained for these by the end of the month, by the rule of today: {len(done)} of "
            f"{many}{told}.",
            self._curve(),
        )

    def _curve(self) -> str:
        """How far marks lay from the targets, session by session, all assessors together."""
        curve = self.progress.curve.dropna(subset="error")
        if curve.empty:
            return "Learning curve: none, since no sample had a target."
        held = [_together(part) for _, part in curve.groupby("session", sort=False)]
        points = [f"{size:.1f}" for size in held]
        left = len(points) - _POINTS
        if left > 0:
            points = [points[0], "...", *points[1 - _POINTS :]]
        over = several(len(held), "session")
        return (
            f"Learning curve, typical distance from the targets in points, over {over}: "
            f"{', '.join(points)}."
        )


def _together(rows: pd.DataFrame) -> float:
    """Root mean square of the errors of all assessors on all targets of a session."""
    return float(np.sqrt((rows["error"] ** 2 * rows["targets"]).sum() / rows["targets"].sum()))


def trained_products(desk: PanelDesk, month: str) -> tuple[TrainedProduct, ...]:
    """What was trained in a month, as ``2026-05``, a product each."""
    of_product: dict[str, list[TrainingSitting]] = defaultdict(list)
    for each in desk.nouns(TrainingSitting, most=MOST):
        if each.assessors and each.held_on[:7] <= month:
            of_product[key_of(each.product)].append(each)
    some = (_trained(desk, trainings, month) for trainings in of_product.values())
    return tuple(sorted(filter(None, some), key=lambda each: each.product))


def _trained(
    desk: PanelDesk, trainings: list[TrainingSitting], month: str
) -> TrainedProduct | None:
    within = [each for each in trainings if each.held_on[:7] == month]
    spelled: dict[str, str] = {}
    for each in within:
        for sample in each.samples:
            spelled.setdefault(key_of(sample.attribute), sample.attribute)
    if not spelled:
        return None
    named, rule = tuple(spelled.values()), the_training_rule(desk)
    try:
        progress = training_progress(trainings, attributes=named, rule=rule)
    except ArgumentError:  # the latest is on another scale, and holds none of these words
        return None
    return TrainedProduct(
        product=within[-1].product, sessions=len(within), attributes=named, progress=progress
    )

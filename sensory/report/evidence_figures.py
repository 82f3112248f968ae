"""Charts of results that join several sessions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ..base.errors import ArgumentError
from ..base.results import Interval
from ..catalogue.outcome import Figure, Span
from ..evidence.causes import BatchCauses
from .figure_parts import Spec
from .outcome_figures import outcome_figure
from .plan_figures import WIDE

_NEAREST = 3
"""Candidates that were not named and are drawn beside those that were."""


def causes_figure(result: BatchCauses, width: int | str = WIDE) -> Spec:
    """How far each cause moves batches, with its limits; those not named say so.

    Raises ArgumentError where there is no candidate.
    """
    rows = result.causes.to_dict("records")
    if not rows:
        raise ArgumentError("there is no cause to draw: no two batches share one that others lack.")
    named = [row for row in rows if row["named"]]
    others = [row for row in rows if not row["named"]][:_NEAREST]
    spans = tuple(
        Span(
            label=f"{row['cause']}{'' if row['named'] else ' (not named)'}",
            estimate=float(row["estimate"]),
            limits=Interval(low=float(row["low"]), high=float(row["high"]), level=result.level),
        )
        for row in (*named, *others)
    )
    axis = f"how far batches are moved, with {100 * result.level:g} % limits"
    return outcome_figure(Figure(axis=axis, spans=spans), width)


PICTURES: Mapping[type, Mapping[str, Callable[[Any], Spec]]] = {
    BatchCauses: {"causes": causes_figure},
}

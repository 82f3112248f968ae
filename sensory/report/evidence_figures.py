"""Charts of results that join several sessions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ..base.arrays import Row
from ..base.errors import ArgumentError
from ..base.results import Interval, digits
from ..catalogue.outcome import Figure, Level, Span
from ..evidence.causes import BatchCauses
from ..evidence.combined import CombinedEvidence
from ..evidence.lots_by_choice import LotsCompared
from ..evidence.lots_plan import LotsPlan
from ..evidence.planned_looks import PlannedLooks
from .figure_parts import (
    LONG,
    PALETTE,
    SHORT,
    SOLID,
    Spec,
    along,
    dressed,
    legend,
    marks,
    told_apart,
)
from .outcome_figures import outcome_figure
from .plan_figures import WIDE, counts_of_looks

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
        _span(f"{row['cause']}{'' if row['named'] else ' (not named)'}", row, result.level)
        for row in (*named, *others)
    )
    axis = f"how far batches are moved, with {100 * result.level:g} % limits"
    return outcome_figure(Figure(axis=axis, spans=spans), width)


def evidence_figure(result: CombinedEvidence, width: int | str = WIDE) -> Spec:
    """d-prime of each session, and of those that may be joined."""
    spans = [
        _span(f"{row['session']}, {row['protocol']}", row, result.level)
        for row in result.sessions.to_dict("records")
    ]
    groups = result.groups.to_dict("records")
    for row in groups:
        names = [str(row[name]) for name in ("attribute", "reference") if row[name]]
        apart = f", {', '.join(names)}" if len(groups) > 1 and names else ""
        spans.append(_span(f"together{apart}", row, result.level))
    levels: tuple[Level, ...] = ()
    if result.dprime_limit is not None:
        says = f"agreed limit {digits(result.dprime_limit, 3)}"
        levels = (Level(at=(result.dprime_limit,), says=says, agreed=True),)
    axis = f"d-prime, with {100 * result.level:g} % limits"
    return outcome_figure(Figure(axis=axis, spans=tuple(spans), levels=levels), width)


def lots_figure(result: LotsCompared, width: int | str = WIDE) -> Spec:
    """d-prime of each pair of lots, and of the recipes over all of them."""
    spans = [
        _span(f"{row['new']} against {row['present']}", row, result.level)
        for row in result.pairs.to_dict("records")
    ]
    whole = result.recipes.to_dict("records")[0]
    if whole["low"] == whole["low"]:  # none with one pair, which says nothing of recipes
        spans.append(_span("recipes", whole, result.level))
    levels: tuple[Level, ...] = ()
    if result.dprime_limit is not None:
        says = f"agreed limit {digits(result.dprime_limit, 3)}"
        levels = (Level(at=(result.dprime_limit,), says=says, agreed=True),)
    axis = f"d-prime, with {100 * result.level:g} % limits"
    return outcome_figure(Figure(axis=axis, spans=tuple(spans), levels=levels), width)


def lots_plan_figure(result: LotsPlan, width: int | str = WIDE) -> Spec:
    """Chance of a fair pass against lots of each recipe, a line a number of assessors."""
    people = list(dict.fromkeys(int(each) for each in result.rows["assessors"]))
    looks = {
        f"{each} assessors a pair": (PALETTE[at % len(PALETTE)], (SOLID, LONG, SHORT)[at % 3])
        for at, each in enumerate(people)
    }
    rows = [
        {"lots": int(row["lots"]), "chance": float(row["chance"]),
         "what": f"{int(row['assessors'])} assessors a pair"}
        for row in result.rows.to_dict("records")
    ]  # fmt: skip
    where = {
        "x": along("lots:Q", "lots of each recipe", grid=False, tickMinStep=1),
        "y": along("chance:Q", "chance of a fair pass", {"domain": [0, 1]}, format="%"),
        **told_apart("what", looks, legend(symbolSize=300, columns=1)),
    }
    line = marks("line", rows, where, strokeWidth=2.5)
    return dressed(line, width=width, height=260)


def _span(label: str, row: Row, level: float) -> Span:
    limits = Interval(low=float(row["low"]), high=float(row["high"]), level=level)
    return Span(label=label, estimate=float(row["estimate"]), limits=limits)


PICTURES: Mapping[type, Mapping[str, Callable[[Any], Spec]]] = {
    BatchCauses: {"causes": causes_figure},
    CombinedEvidence: {"d-prime": evidence_figure},
    LotsCompared: {"lots": lots_figure},
    LotsPlan: {"lots": lots_plan_figure},
    PlannedLooks: {"counts": counts_of_looks},
}

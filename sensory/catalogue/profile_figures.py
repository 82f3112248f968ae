"""The figures of a profile as numbers: differences, means, and the map of the samples."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from ..base.errors import ArgumentError, BallotError
from ..base.results import Interval
from ..ratings.profile import Profile
from ..ratings.sample_map import SampleMap, sample_map
from ..ratings.scatter import PanelScatter, scatter_from
from .outcome import Comparison, MeanPoint, NamedTable, Outcome, Place, Places, Span

COMPONENTS = "Components of variance"
VARIANCE = "Analysis of variance"
"""Headings of the tables that later plans learn from; records hold them, so they stay."""


def limits_of(row: dict[Any, Any]) -> Interval:
    """The limits in a row of a table."""
    return Interval(low=float(row["low"]), high=float(row["high"]), level=float(row["level"]))


def profile_spans(compared: Sequence[Comparison], samples: int) -> tuple[Span, ...]:
    """Differences from the reference with their limits, a row each."""
    return tuple(
        Span(
            label=f"{each.attribute}, {each.sample}" if samples > 1 else each.attribute,
            estimate=each.estimate,
            limits=each.limits,
            margin=each.margin,
            two_sided=True,
        )
        for each in compared
        if each.limits is not None
    )


def profile_means(result: Profile) -> tuple[MeanPoint, ...]:
    """The mean of each sample in each attribute."""
    return tuple(
        MeanPoint(
            attribute=str(row["attribute"]),
            sample=str(row["sample"]),
            estimate=float(row["estimate"]),
            limits=limits_of(row),
        )
        for row in result.means.to_dict("records")
    )


def sample_places(frame: pd.DataFrame) -> Places | None:
    """The map of the samples, where there are enough and no cell is empty."""
    if frame["sample"].nunique() < 3 or frame["attribute"].nunique() < 2:
        return None
    try:
        drawn = sample_map(frame)
    except (ArgumentError, BallotError):
        return None
    return places_of(drawn)


def places_of(drawn: SampleMap) -> Places:
    """The map as numbers to be drawn."""
    return Places(
        samples=tuple(
            Place(
                name=region.sample,
                x=float(region.centre[0]),
                y=float(region.centre[1]),
                outline=tuple((float(x), float(y)) for x, y in region.outline()),
            )
            for region in drawn.regions
        ),
        attributes=tuple(
            Place(name=name, x=float(x), y=float(y))
            for name, x, y in zip(drawn.attributes, *drawn.loadings[:, :2].T, strict=True)
        ),
        shares=tuple(map(float, drawn.share[:2])),
        level=drawn.level,
        tables=(
            NamedTable("Places", drawn.summary()),
            NamedTable("Axes and loadings", drawn.axes()),
        ),
    )


def learned_scatter(outcome: Outcome) -> PanelScatter:
    """What a closed profile says of its panel's scatter, by attribute; for a plan.

    Empty where the outcome holds no components of variance.
    """
    held = {heading: list(table.records()) for heading, table in outcome.tables}
    return scatter_from(held.get(COMPONENTS, []), held.get(VARIANCE, []))

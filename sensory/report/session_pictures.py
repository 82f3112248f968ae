"""The pictures of one session, to be taken along."""

from __future__ import annotations

from ..base.shown import Picture
from ..catalogue.outcome import Outcome
from .outcome_figures import (
    agreement_figure,
    assessors_figure,
    map_figure,
    means_figure,
    outcome_figure,
)
from .plots import picture_of
from .rating_figures import profile_lines, spider


def session_pictures(outcome: Outcome) -> tuple[Picture, ...]:
    """Every picture that an outcome has, the finding first."""
    charts = {}
    if outcome.figure is not None:
        charts["finding"] = outcome_figure(outcome.figure)
    if outcome.means:
        charts["means"] = means_figure(outcome.means)
        charts["profile lines"] = profile_lines(outcome.means)
        if len({mean.attribute for mean in outcome.means}) > 2:
            charts["spider"] = spider(outcome.means)
    if outcome.places is not None:
        charts["sample map"] = map_figure(outcome.places)
    if outcome.panel_lines:
        charts["assessors"] = assessors_figure(outcome.panel_lines)
    if outcome.panel:
        charts["agreement"] = agreement_figure(outcome.panel)
    return tuple(picture_of(title, chart) for title, chart in charts.items())

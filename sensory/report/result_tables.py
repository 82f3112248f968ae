"""The table of each result as a data frame, with one spelling of its columns."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError
from ..base.results import Interval, Table
from ..catalogue.ranked_read import rank_figure
from ..choices.a_not_a import ClusteredANotATest
from ..choices.dprime import DprimeEstimate
from ..choices.forced_choice import ChoiceTest
from ..choices.plans import PanelPlan
from ..choices.replicate_gain import ReplicateGain
from ..choices.replicates import ReplicatedTest
from ..choices.retests import RetestRisk
from ..choices.session_finding import SessionFinding
from ..choices.size import PanelSize
from ..evidence.causes import BatchCauses
from ..evidence.combined import CombinedEvidence
from ..evidence.consumer_limit import ConsumerLimit
from ..evidence.graders import GraderCheck
from ..evidence.grading_rule import GradingRule
from ..evidence.history_limit import HistoryLimit
from ..evidence.lots_by_choice import LotsCompared
from ..evidence.lots_plan import LotsPlan
from ..evidence.planned_looks import PlannedLooks
from ..evidence.shelf_life import ShelfLife
from ..evidence.thresholds import DetectionThreshold
from ..ratings.control import DifferenceFromControl
from ..ratings.drift import AssessorDrift
from ..ratings.profile import Profile
from ..ratings.ranking import RankingTest
from ..ratings.recipes import RecipeComparison
from ..ratings.scorecard import PanelScorecard
from ..ratings.spikes import SpikedSamples
from ..ratings.ticked import TickedWords
from ..release.charted import Charted
from ..release.reference_state import ReferenceState
from .panel_figures import PANEL_TABLES

_SPELLED = {
    "d-prime": "estimate",
    "d-prime, within an assessor": "estimate",
    "d-prime, over assessors": "estimate_marginal",
    "se, over assessors": "se_marginal",
    "sd of percepts": "sd",
    "p, likelihood ratio": "p",
    "upper limit for similarity": "upper",
    "if in truth": "truth",
    "this session says": "says",
    "what": "item",
    "is": "value",
}


def frame_of(table: Table) -> pd.DataFrame:
    """A small table as a data frame.

    >>> frame_of(Table(columns=("d-prime", "R low", "p R-index"), rows=((1, 2, 3),)))
       estimate  r_low  p_r_index
    0         1      2          3
    """
    frame = pd.DataFrame([list(row) for row in table.rows], columns=list(table.columns))
    return frame.rename(columns=_spelled)


def _spelled(column: str) -> str:
    return _SPELLED.get(column) or re.sub(r"[^0-9a-z]+", "_", column.casefold()).strip("_")


def _choices(test: ChoiceTest) -> pd.DataFrame:
    """One row a session and quantity."""
    sessions = np.broadcast_arrays(test.correct, test.trials)[0].shape
    quantities = {
        "proportion correct": ("pc", None if test.two_sided else test.pc_upper),
        "proportion of distinguishers": ("pd", test.pd_upper),
        "d-prime": ("dprime", test.dprime_upper),
    }
    parts = []
    for name, (short, upper) in quantities.items():
        limits: Interval = getattr(test, f"{short}_limits")
        numbers = {
            "correct": test.correct,
            "trials": test.trials,
            "quantity": name,
            "estimate": getattr(test, short),
            "low": limits.low,
            "high": limits.high,
            "level": limits.level,
            "upper": np.nan if upper is None else upper,
            "p": test.p_difference,
            "finding": test.finding,
        }
        flat = {key: np.broadcast_to(value, sessions).ravel() for key, value in numbers.items()}
        parts.append(pd.DataFrame(flat))
    whole = pd.concat(parts).sort_index(kind="stable").reset_index(drop=True)
    whole["finding"] = [getattr(finding, "value", finding) for finding in whole["finding"]]
    return whole


def _replicated(test: ReplicatedTest) -> pd.DataFrame:
    """One row a quantity; of several sessions one a session and quantity, sessions from 0."""
    if not np.ndim(test.p_difference):
        return frame_of(test.summary())
    several, columns = np.size(test.p_difference), ("estimate", "low", "high", "level")
    parts = []
    for name, *cells in test.quantities:
        flat = {
            column: np.broadcast_to(np.nan if cell is None else np.ravel(cell), several)
            for column, cell in zip(columns, cells, strict=True)
        }
        parts.append(pd.DataFrame({"session": np.arange(several), "quantity": name, **flat}))
    return pd.concat(parts).sort_index(kind="stable").reset_index(drop=True)


def _finding(result: SessionFinding) -> pd.DataFrame:
    return table_of(result.test if result.replicated is None else result.replicated)


def _dprime(result: DprimeEstimate) -> pd.DataFrame:
    return _rows(
        correct=result.correct,
        trials=result.trials,
        estimate=result.estimate,
        se=result.se,
        low=result.limits.low,
        high=result.limits.high,
        level=result.limits.level,
    )


def _clustered(result: ClusteredANotATest) -> pd.DataFrame:
    limits = result.limits
    return _rows(
        assessors=result.assessors,
        estimate=result.dprime,
        se=result.se,
        low=limits.low,
        high=limits.high,
        level=limits.level,
        estimate_marginal=result.dprime_marginal,
        se_marginal=result.se_marginal,
        p=result.p_exact,
    )


def _size(result: PanelSize) -> pd.DataFrame:
    names = ("assessors", "critical_count", "alpha", "beta")
    return _rows(**{name: getattr(result, name) for name in names})


def _retests(result: RetestRisk) -> pd.DataFrame:
    names = ("trials", "tries", "pd", "passes_once", "passes_any")
    return _rows(**{name: getattr(result, name) for name in names})


def _gain(result: ReplicateGain) -> pd.DataFrame:
    names = ("power", "power_once", "power_people", "equivalent_assessors")
    return _rows(**{name: getattr(result, name) for name in names})


def _rows(**columns: Any) -> pd.DataFrame:
    arrays = np.broadcast_arrays(*columns.values())
    return pd.DataFrame({name: array.ravel() for name, array in zip(columns, arrays, strict=True)})


def _profile(result: Profile) -> pd.DataFrame:
    compared = result.against_reference
    return result.means if compared is None else compared


def _ranks(result: RankingTest) -> pd.DataFrame:
    frame = frame_of(result.rank_sums).rename(columns={"mean_rank": "estimate"})
    limits = {span.label: span.limits for span in rank_figure(result).spans}
    for end in ("low", "high", "level"):
        frame[end] = [getattr(limits[str(name)], end) for name in frame["sample"]]
    return frame


def _state(result: ReferenceState) -> pd.DataFrame:
    rows = [
        {
            "reference": result.reference.name,
            "age_days": result.age_days,
            "days_left": result.days_left,
            "tastings_left": result.tastings_left,
            "usable": result.usable,
            "estimate": None if result.drift is None else result.drift.estimate,
            "se": None if result.drift is None else result.drift.se,
        }
    ]
    return pd.DataFrame(rows)


_FRAMES: Mapping[type, Callable[[Any], pd.DataFrame]] = {
    ChoiceTest: _choices,
    SessionFinding: _finding,
    ReplicatedTest: _replicated,
    DprimeEstimate: _dprime,
    ClusteredANotATest: _clustered,
    PanelSize: _size,
    PanelPlan: lambda result: frame_of(result.sizes()),
    RetestRisk: _retests,
    ReplicateGain: _gain,
    Profile: _profile,
    DifferenceFromControl: lambda result: result.against_control.copy(),
    RankingTest: _ranks,
    PanelScorecard: lambda result: result.assessors,
    AssessorDrift: lambda result: result.trends,
    SpikedSamples: lambda result: result.assessors,
    Charted: lambda result: result.points,
    ReferenceState: _state,
    **PANEL_TABLES,
    TickedWords: lambda result: result.tests,
    BatchCauses: lambda result: result.causes,
    CombinedEvidence: lambda result: result.groups,
    LotsCompared: lambda result: result.recipes,
    LotsPlan: lambda result: result.rows.copy(),
    PlannedLooks: lambda result: result.table_of_looks(),
    DetectionThreshold: lambda result: result.groups,
    GraderCheck: lambda result: result.graders,
    GradingRule: lambda result: result.rules,
    RecipeComparison: lambda result: result.differences,
    ShelfLife: lambda result: result.fits,
    ConsumerLimit: lambda result: result.samples.assign(level=result.level),
    HistoryLimit: lambda result: result.limits.assign(level=result.level),
}


def table_of(result: object) -> pd.DataFrame:
    """The table of a result, see `Shown.table`.

    Raises ArgumentError for what has no table.
    """
    for kind in type(result).__mro__:
        if kind in _FRAMES:
            return _FRAMES[kind](result)
    summary = getattr(result, "summary", None)
    if summary is None:
        raise ArgumentError(f"a {type(result).__name__} has no table.")
    return frame_of(summary())

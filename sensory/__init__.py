"""Discrimination tests with people as the instrument: from ballots to a finding.

The names below are the public face. They load when first used, so that
``import sensory`` stays light.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from .base.version import __version__ as __version__

if TYPE_CHECKING:
    from .ballots.reading import read_answers as read_answers
    from .ballots.reading import read_ballots as read_ballots
    from .base.batches import AttributeLimit as AttributeLimit
    from .base.batches import Batch as Batch
    from .base.batches import Clearance as Clearance
    from .base.batches import Disposition as Disposition
    from .base.batches import Product as Product
    from .base.batches import RawLot as RawLot
    from .base.errors import BallotError as BallotError
    from .base.errors import BallotWarning as BallotWarning
    from .base.errors import SensoryError as SensoryError
    from .base.records import Finding as Finding
    from .base.references import Bridge as Bridge
    from .base.references import Reference as Reference
    from .base.references import ReferenceKind as ReferenceKind
    from .base.results import Interval as Interval
    from .choices.a_not_a import a_not_a as a_not_a
    from .choices.a_not_a import a_not_a_by_assessor as a_not_a_by_assessor
    from .choices.a_not_a import a_not_a_counts as a_not_a_counts
    from .choices.counts import critical_counts as critical_counts
    from .choices.counts import similar_counts as similar_counts
    from .choices.dprime import carried_pd as carried_pd
    from .choices.dprime import estimate_dprime as estimate_dprime
    from .choices.forced_choice import ChoiceTest as ChoiceTest
    from .choices.forced_choice import choice_test as choice_test
    from .choices.replicates import replicate_gain as replicate_gain
    from .choices.replicates import replicated_choice_test as replicated_choice_test
    from .choices.risks import SessionRisks as SessionRisks
    from .choices.risks import session_risks as session_risks
    from .choices.same_different import same_different as same_different
    from .choices.sequential import sequential_plan as sequential_plan
    from .choices.size import deciding_size as deciding_size
    from .choices.size import fair_pass_size as fair_pass_size
    from .choices.size import operating_characteristic as operating_characteristic
    from .choices.size import panel_size as panel_size
    from .choices.size import power as power
    from .choices.sureness import sureness_test as sureness_test
    from .choices.two_stage import retest_risk as retest_risk
    from .choices.two_stage import two_stage_plan as two_stage_plan
    from .decisions.advice import Situation as Situation
    from .decisions.advice import advise as advise
    from .decisions.choice_trend import ChoiceTrend as ChoiceTrend
    from .decisions.choice_trend import trend_of_choices as trend_of_choices
    from .decisions.disposition import BatchFinding as BatchFinding
    from .decisions.disposition import batch_finding as batch_finding
    from .decisions.disposition_table import disposition_table as disposition_table
    from .decisions.findings import SessionFinding as SessionFinding
    from .decisions.findings import session_finding as session_finding
    from .decisions.plans import panel_plan as panel_plan
    from .decisions.references import ReferenceState as ReferenceState
    from .decisions.references import reference_state as reference_state
    from .decisions.release import ReleaseRule as ReleaseRule
    from .decisions.screening import Screening as Screening
    from .decisions.screening import screening as screening
    from .decisions.screening_rules import choice_rule as choice_rule
    from .decisions.screening_rules import matching_rule as matching_rule
    from .decisions.screening_rules import order_rule as order_rule
    from .decisions.trend import Trend as Trend
    from .decisions.trend import trend as trend
    from .methods import METHODS as METHODS
    from .methods import Method as Method
    from .models.charts import RUN_RULES as RUN_RULES
    from .protocols import DUO_TRIO as DUO_TRIO
    from .protocols import PAIRED as PAIRED
    from .protocols import PROTOCOLS as PROTOCOLS
    from .protocols import TETRAD as TETRAD
    from .protocols import THREE_AFC as THREE_AFC
    from .protocols import TRIANGLE as TRIANGLE
    from .protocols import TWO_OUT_OF_FIVE as TWO_OUT_OF_FIVE
    from .protocols import Protocol as Protocol
    from .ratings.control import DifferenceFromControl as DifferenceFromControl
    from .ratings.control import difference_from_control as difference_from_control
    from .ratings.drift import AssessorDrift as AssessorDrift
    from .ratings.drift import assessor_drift as assessor_drift
    from .ratings.flags import ScorecardLimits as ScorecardLimits
    from .ratings.profile import Profile as Profile
    from .ratings.profile import profile as profile
    from .ratings.ranking import RankingTest as RankingTest
    from .ratings.ranking import ranking_test as ranking_test
    from .ratings.sample_map import SampleMap as SampleMap
    from .ratings.sample_map import sample_map as sample_map
    from .ratings.scorecard import PanelScorecard as PanelScorecard
    from .ratings.scorecard import panel_scorecard as panel_scorecard
    from .ratings.spikes import SpikedSamples as SpikedSamples
    from .ratings.spikes import spiked_samples as spiked_samples
    from .serving.plan import ServingPlan as ServingPlan
    from .serving.planning import serving_plan as serving_plan

_HOME = {
    "carried_pd": ".choices.dprime",
    "estimate_dprime": ".choices.dprime",
    "deciding_size": ".choices.size",
    "fair_pass_size": ".choices.size",
    "operating_characteristic": ".choices.size",
    "panel_size": ".choices.size",
    "power": ".choices.size",
    "retest_risk": ".choices.two_stage",
    "two_stage_plan": ".choices.two_stage",
    "sequential_plan": ".choices.sequential",
    "replicate_gain": ".choices.replicates",
    "replicated_choice_test": ".choices.replicates",
    "a_not_a": ".choices.a_not_a",
    "a_not_a_by_assessor": ".choices.a_not_a",
    "a_not_a_counts": ".choices.a_not_a",
    "same_different": ".choices.same_different",
    "sureness_test": ".choices.sureness",
    "advise": ".decisions.advice",
    "Situation": ".decisions.advice",
    "panel_plan": ".decisions.plans",
    "BallotError": ".base.errors",
    "BallotWarning": ".base.errors",
    "SensoryError": ".base.errors",
    "Finding": ".base.records",
    "Interval": ".base.results",
    "DUO_TRIO": ".protocols",
    "PAIRED": ".protocols",
    "PROTOCOLS": ".protocols",
    "Protocol": ".protocols",
    "TETRAD": ".protocols",
    "THREE_AFC": ".protocols",
    "TRIANGLE": ".protocols",
    "TWO_OUT_OF_FIVE": ".protocols",
    "critical_counts": ".choices.counts",
    "similar_counts": ".choices.counts",
    "SessionRisks": ".choices.risks",
    "session_risks": ".choices.risks",
    "ChoiceTest": ".choices.forced_choice",
    "choice_test": ".choices.forced_choice",
    "RankingTest": ".ratings.ranking",
    "ranking_test": ".ratings.ranking",
    "SampleMap": ".ratings.sample_map",
    "sample_map": ".ratings.sample_map",
    "Profile": ".ratings.profile",
    "profile": ".ratings.profile",
    "DifferenceFromControl": ".ratings.control",
    "difference_from_control": ".ratings.control",
    "PanelScorecard": ".ratings.scorecard",
    "ScorecardLimits": ".ratings.flags",
    "panel_scorecard": ".ratings.scorecard",
    "AssessorDrift": ".ratings.drift",
    "assessor_drift": ".ratings.drift",
    "SpikedSamples": ".ratings.spikes",
    "spiked_samples": ".ratings.spikes",
    "read_answers": ".ballots.reading",
    "ServingPlan": ".serving.plan",
    "serving_plan": ".serving.planning",
    "read_ballots": ".ballots.reading",
    "METHODS": ".methods",
    "Method": ".methods",
    "SessionFinding": ".decisions.findings",
    "session_finding": ".decisions.findings",
    "Screening": ".decisions.screening",
    "screening": ".decisions.screening",
    "choice_rule": ".decisions.screening_rules",
    "matching_rule": ".decisions.screening_rules",
    "order_rule": ".decisions.screening_rules",
    "RUN_RULES": ".models.charts",
    "Trend": ".decisions.trend",
    "trend": ".decisions.trend",
    "ChoiceTrend": ".decisions.choice_trend",
    "trend_of_choices": ".decisions.choice_trend",
    "AttributeLimit": ".base.batches",
    "Batch": ".base.batches",
    "Clearance": ".base.batches",
    "Disposition": ".base.batches",
    "Product": ".base.batches",
    "RawLot": ".base.batches",
    "Bridge": ".base.references",
    "Reference": ".base.references",
    "ReferenceKind": ".base.references",
    "BatchFinding": ".decisions.disposition",
    "batch_finding": ".decisions.disposition",
    "disposition_table": ".decisions.disposition_table",
    "ReferenceState": ".decisions.references",
    "reference_state": ".decisions.references",
    "ReleaseRule": ".decisions.release",
}

__all__ = [*_HOME, "__version__"]  # noqa: PLE0604


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'sensory' has no attribute {name!r}")
    value = getattr(import_module(_HOME[name], __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})

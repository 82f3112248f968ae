"""Discrimination tests with people as the instrument: from ballots to a finding.

The names below are the public face. They load when first used, so that
``import sensory`` stays light.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from .base.version import __version__ as __version__

if TYPE_CHECKING:
    from .base.errors import BallotError as BallotError
    from .base.errors import BallotWarning as BallotWarning
    from .base.errors import SensoryError as SensoryError
    from .base.findings import Finding as Finding
    from .base.results import Interval as Interval
    from .catalogue.kind import TestKind as TestKind
    from .catalogue.tests import TESTS as TESTS
    from .choices.a_not_a import a_not_a as a_not_a
    from .choices.a_not_a import a_not_a_by_assessor as a_not_a_by_assessor
    from .choices.a_not_a import a_not_a_counts as a_not_a_counts
    from .choices.advice import Situation as Situation
    from .choices.advice import advise as advise
    from .choices.counts import critical_counts as critical_counts
    from .choices.counts import similar_counts as similar_counts
    from .choices.dprime import carried_pd as carried_pd
    from .choices.dprime import estimate_dprime as estimate_dprime
    from .choices.forced_choice import ChoiceTest as ChoiceTest
    from .choices.forced_choice import choice_test as choice_test
    from .choices.plans import panel_plan as panel_plan
    from .choices.protocols import DUO_TRIO as DUO_TRIO
    from .choices.protocols import PAIRED as PAIRED
    from .choices.protocols import PROTOCOLS as PROTOCOLS
    from .choices.protocols import TETRAD as TETRAD
    from .choices.protocols import THREE_AFC as THREE_AFC
    from .choices.protocols import TRIANGLE as TRIANGLE
    from .choices.protocols import TWO_OUT_OF_FIVE as TWO_OUT_OF_FIVE
    from .choices.protocols import Protocol as Protocol
    from .choices.replicates import replicate_gain as replicate_gain
    from .choices.replicates import replicated_choice_test as replicated_choice_test
    from .choices.risks import SessionRisks as SessionRisks
    from .choices.risks import session_risks as session_risks
    from .choices.same_different import same_different as same_different
    from .choices.sequential import sequential_plan as sequential_plan
    from .choices.session_finding import SessionFinding as SessionFinding
    from .choices.session_finding import session_finding as session_finding
    from .choices.size import deciding_size as deciding_size
    from .choices.size import fair_pass_size as fair_pass_size
    from .choices.size import operating_characteristic as operating_characteristic
    from .choices.size import panel_size as panel_size
    from .choices.size import power as power
    from .choices.sureness import sureness_test as sureness_test
    from .choices.two_stage import retest_risk as retest_risk
    from .choices.two_stage import two_stage_plan as two_stage_plan
    from .models.charts import RUN_RULES as RUN_RULES
    from .panel.screening import Screening as Screening
    from .panel.screening import screening as screening
    from .panel.screening_rules import choice_rule as choice_rule
    from .panel.screening_rules import matching_rule as matching_rule
    from .panel.screening_rules import order_rule as order_rule
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
    from .release.batches import AttributeLimit as AttributeLimit
    from .release.batches import Batch as Batch
    from .release.batches import Clearance as Clearance
    from .release.batches import Disposition as Disposition
    from .release.batches import Product as Product
    from .release.batches import RawLot as RawLot
    from .release.choice_trend import ChoiceTrend as ChoiceTrend
    from .release.choice_trend import trend_of_choices as trend_of_choices
    from .release.disposition import BatchFinding as BatchFinding
    from .release.disposition import batch_finding as batch_finding
    from .release.disposition_table import disposition_table as disposition_table
    from .release.reference_state import ReferenceState as ReferenceState
    from .release.reference_state import reference_state as reference_state
    from .release.references import Bridge as Bridge
    from .release.references import Reference as Reference
    from .release.references import ReferenceKind as ReferenceKind
    from .release.rule import ReleaseRule as ReleaseRule
    from .release.trend import Trend as Trend
    from .release.trend import trend as trend
    from .serving.plan import ServingPlan as ServingPlan
    from .serving.planning import serving_plan as serving_plan
    from .sessions.reading import read_answers as read_answers
    from .sessions.reading import read_ballots as read_ballots

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
    "advise": ".choices.advice",
    "Situation": ".choices.advice",
    "panel_plan": ".choices.plans",
    "BallotError": ".base.errors",
    "BallotWarning": ".base.errors",
    "SensoryError": ".base.errors",
    "Finding": ".base.findings",
    "Interval": ".base.results",
    "DUO_TRIO": ".choices.protocols",
    "PAIRED": ".choices.protocols",
    "PROTOCOLS": ".choices.protocols",
    "Protocol": ".choices.protocols",
    "TETRAD": ".choices.protocols",
    "THREE_AFC": ".choices.protocols",
    "TRIANGLE": ".choices.protocols",
    "TWO_OUT_OF_FIVE": ".choices.protocols",
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
    "read_answers": ".sessions.reading",
    "ServingPlan": ".serving.plan",
    "serving_plan": ".serving.planning",
    "read_ballots": ".sessions.reading",
    "TESTS": ".catalogue.tests",
    "TestKind": ".catalogue.kind",
    "SessionFinding": ".choices.session_finding",
    "session_finding": ".choices.session_finding",
    "Screening": ".panel.screening",
    "screening": ".panel.screening",
    "choice_rule": ".panel.screening_rules",
    "matching_rule": ".panel.screening_rules",
    "order_rule": ".panel.screening_rules",
    "RUN_RULES": ".models.charts",
    "Trend": ".release.trend",
    "trend": ".release.trend",
    "ChoiceTrend": ".release.choice_trend",
    "trend_of_choices": ".release.choice_trend",
    "AttributeLimit": ".release.batches",
    "Batch": ".release.batches",
    "Clearance": ".release.batches",
    "Disposition": ".release.batches",
    "Product": ".release.batches",
    "RawLot": ".release.batches",
    "Bridge": ".release.references",
    "Reference": ".release.references",
    "ReferenceKind": ".release.references",
    "BatchFinding": ".release.disposition",
    "batch_finding": ".release.disposition",
    "disposition_table": ".release.disposition_table",
    "ReferenceState": ".release.reference_state",
    "reference_state": ".release.reference_state",
    "ReleaseRule": ".release.rule",
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

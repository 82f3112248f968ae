"""Discrimination tests with people as the instrument: from ballots to a finding.

The names below are the public face. They load when first used, so that
``import sensory`` stays light.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from .base.version import __version__ as __version__

# isort: off
if TYPE_CHECKING:  # one statement a module, each name handed on
    from .base.errors import (
        BallotError as BallotError,
        BallotWarning as BallotWarning,
        SensoryError as SensoryError,
    )
    from .base.findings import Finding as Finding
    from .base.results import Interval as Interval
    from .catalogue.kind import TestKind as TestKind
    from .catalogue.tests import TESTS as TESTS
    from .choices.a_not_a import (
        a_not_a as a_not_a,
        a_not_a_by_assessor as a_not_a_by_assessor,
        a_not_a_counts as a_not_a_counts,
    )
    from .choices.advice import Situation as Situation, advise as advise
    from .choices.counts import (
        beyond_counts as beyond_counts,
        critical_counts as critical_counts,
        similar_counts as similar_counts,
    )
    from .choices.dprime import carried_pd as carried_pd, estimate_dprime as estimate_dprime
    from .choices.forced_choice import ChoiceTest as ChoiceTest, choice_test as choice_test
    from .choices.plans import panel_plan as panel_plan
    from .choices.protocols import (
        DUO_TRIO as DUO_TRIO,
        PAIRED as PAIRED,
        PROTOCOLS as PROTOCOLS,
        TETRAD as TETRAD,
        THREE_AFC as THREE_AFC,
        TRIANGLE as TRIANGLE,
        TWO_OUT_OF_FIVE as TWO_OUT_OF_FIVE,
        Protocol as Protocol,
    )
    from .choices.replicate_gain import replicate_gain as replicate_gain
    from .choices.replicates import replicated_choice_test as replicated_choice_test
    from .choices.retests import retest_risk as retest_risk
    from .choices.risks import SessionRisks as SessionRisks, session_risks as session_risks
    from .choices.same_different import same_different as same_different
    from .choices.sequential import sequential_plan as sequential_plan
    from .choices.session_finding import (
        SessionFinding as SessionFinding,
        session_finding as session_finding,
    )
    from .choices.size import (
        deciding_size as deciding_size,
        fair_pass_size as fair_pass_size,
        operating_characteristic as operating_characteristic,
        panel_size as panel_size,
        power as power,
    )
    from .choices.sureness import sureness_test as sureness_test
    from .choices.sureness_by_assessor import sureness_by_assessor as sureness_by_assessor
    from .choices.two_stage import two_stage_plan as two_stage_plan
    from .evidence.causes import BatchCauses as BatchCauses, explain_batches as explain_batches
    from .evidence.combined import (
        CombinedEvidence as CombinedEvidence,
        combine_evidence as combine_evidence,
    )
    from .evidence.consumer_limit import (
        ConsumerLimit as ConsumerLimit,
        limit_from_consumers as limit_from_consumers,
    )
    from .evidence.history_limit import (
        HistoryLimit as HistoryLimit,
        limit_from_history as limit_from_history,
    )
    from .evidence.lots_by_choice import (
        LotsCompared as LotsCompared,
        compare_lots as compare_lots,
    )
    from .evidence.lots_plan import LotsPlan as LotsPlan, plan_lots as plan_lots
    from .evidence.planned_looks import (
        PlannedLooks as PlannedLooks,
        planned_looks as planned_looks,
    )
    from .evidence.graders import GraderCheck as GraderCheck, check_graders as check_graders
    from .evidence.grading_rule import GradingRule as GradingRule, grading_rule as grading_rule
    from .evidence.shelf_choices import shelf_life_from_choices as shelf_life_from_choices
    from .evidence.shelf_consumers import shelf_life_from_consumers as shelf_life_from_consumers
    from .evidence.shelf_life import ShelfLife as ShelfLife
    from .evidence.shelf_plan import StoragePlan as StoragePlan, storage_plan as storage_plan
    from .evidence.shelf_scores import shelf_life_from_scores as shelf_life_from_scores
    from .evidence.thresholds import (
        DetectionThreshold as DetectionThreshold,
        detection_threshold as detection_threshold,
    )
    from .models.charts import RUN_RULES as RUN_RULES
    from .panel.attention import Attention as Attention, attention as attention
    from .panel.history import History as History, history as history
    from .panel.line_graders import GraderMonths as GraderMonths, grader_months as grader_months
    from .panel.months import Reproducibility as Reproducibility, reproducibility as reproducibility
    from .evidence.ring_test import RingTest as RingTest, ring_test as ring_test
    from .panel.sensitivity import Sensitivity as Sensitivity, sensitivity as sensitivity
    from .panel.steadiness import Steadiness as Steadiness, steadiness as steadiness
    from .panel.screening import Screening as Screening, screening as screening
    from .panel.training import (
        TrainingProgress as TrainingProgress,
        training_progress as training_progress,
    )
    from .panel.training_rule import TrainingRule as TrainingRule
    from .panel.screening_rules import (
        choice_rule as choice_rule,
        matching_rule as matching_rule,
        order_rule as order_rule,
    )
    from .ratings.control import (
        DifferenceFromControl as DifferenceFromControl,
        difference_from_control as difference_from_control,
    )
    from .ratings.drift import AssessorDrift as AssessorDrift, assessor_drift as assessor_drift
    from .ratings.flags import ScorecardLimits as ScorecardLimits
    from .ratings.profile import Profile as Profile, profile as profile
    from .ratings.profile_plan import ProfilePlan as ProfilePlan, profile_plan as profile_plan
    from .ratings.ranking import RankingTest as RankingTest, ranking_test as ranking_test
    from .ratings.recipes import (
        RecipeComparison as RecipeComparison,
        chance_of_similar as chance_of_similar,
        compare_recipes as compare_recipes,
    )
    from .ratings.sample_map import SampleMap as SampleMap, sample_map as sample_map
    from .ratings.scorecard import (
        PanelScorecard as PanelScorecard,
        panel_scorecard as panel_scorecard,
    )
    from .ratings.spikes import SpikedSamples as SpikedSamples, spiked_samples as spiked_samples
    from .ratings.ticked import TickedWords as TickedWords, ticked_words as ticked_words
    from .release.batches import (
        AttributeLimit as AttributeLimit,
        Batch as Batch,
        Clearance as Clearance,
        Disposition as Disposition,
        Product as Product,
        RawLot as RawLot,
    )
    from .release.choice_trend import (
        ChoiceTrend as ChoiceTrend,
        trend_of_choices as trend_of_choices,
    )
    from .release.disposition import BatchFinding as BatchFinding, batch_finding as batch_finding
    from .release.disposition_table import disposition_table as disposition_table
    from .release.reference_state import (
        ReferenceState as ReferenceState,
        reference_state as reference_state,
    )
    from .release.references import (
        Bridge as Bridge,
        Reference as Reference,
        ReferenceKind as ReferenceKind,
    )
    from .release.rule import ReleaseRule as ReleaseRule
    from .release.trend import Trend as Trend, trend as trend
    from .serving.plan import ServingPlan as ServingPlan
    from .serving.planning import serving_plan as serving_plan
    from .sessions.trained import (
        TrainedSample as TrainedSample,
        TrainingSitting as TrainingSitting,
    )
    from .sessions.reading import read_answers as read_answers, read_ballots as read_ballots

# isort: on
_NAMES = {
    "base.errors": "BallotError BallotWarning SensoryError",
    "base.findings": "Finding",
    "base.results": "Interval",
    "catalogue.kind": "TestKind",
    "catalogue.tests": "TESTS",
    "choices.a_not_a": "a_not_a a_not_a_by_assessor a_not_a_counts",
    "choices.advice": "Situation advise",
    "choices.counts": "beyond_counts critical_counts similar_counts",
    "choices.dprime": "carried_pd estimate_dprime",
    "choices.forced_choice": "ChoiceTest choice_test",
    "choices.plans": "panel_plan",
    "choices.protocols": "DUO_TRIO PAIRED PROTOCOLS TETRAD THREE_AFC TRIANGLE TWO_OUT_OF_FIVE "
    "Protocol",
    "choices.replicate_gain": "replicate_gain",
    "choices.replicates": "replicated_choice_test",
    "choices.retests": "retest_risk",
    "choices.risks": "SessionRisks session_risks",
    "choices.same_different": "same_different",
    "choices.sequential": "sequential_plan",
    "choices.session_finding": "SessionFinding session_finding",
    "choices.size": "deciding_size fair_pass_size operating_characteristic panel_size power",
    "choices.sureness": "sureness_test",
    "choices.sureness_by_assessor": "sureness_by_assessor",
    "choices.two_stage": "two_stage_plan",
    "evidence.causes": "BatchCauses explain_batches",
    "evidence.combined": "CombinedEvidence combine_evidence",
    "evidence.consumer_limit": "ConsumerLimit limit_from_consumers",
    "evidence.history_limit": "HistoryLimit limit_from_history",
    "evidence.lots_by_choice": "LotsCompared compare_lots",
    "evidence.lots_plan": "LotsPlan plan_lots",
    "evidence.planned_looks": "PlannedLooks planned_looks",
    "evidence.graders": "GraderCheck check_graders",
    "evidence.grading_rule": "GradingRule grading_rule",
    "evidence.shelf_choices": "shelf_life_from_choices",
    "evidence.shelf_consumers": "shelf_life_from_consumers",
    "evidence.shelf_life": "ShelfLife",
    "evidence.shelf_plan": "StoragePlan storage_plan",
    "evidence.shelf_scores": "shelf_life_from_scores",
    "evidence.thresholds": "DetectionThreshold detection_threshold",
    "models.charts": "RUN_RULES",
    "panel.attention": "Attention attention",
    "panel.history": "History history",
    "panel.line_graders": "GraderMonths grader_months",
    "panel.months": "Reproducibility reproducibility",
    "evidence.ring_test": "RingTest ring_test",
    "panel.screening": "Screening screening",
    "panel.sensitivity": "Sensitivity sensitivity",
    "panel.steadiness": "Steadiness steadiness",
    "panel.training": "TrainingProgress training_progress",
    "panel.training_rule": "TrainingRule",
    "panel.screening_rules": "choice_rule matching_rule order_rule",
    "ratings.control": "DifferenceFromControl difference_from_control",
    "ratings.drift": "AssessorDrift assessor_drift",
    "ratings.flags": "ScorecardLimits",
    "ratings.profile": "Profile profile",
    "ratings.profile_plan": "ProfilePlan profile_plan",
    "ratings.ranking": "RankingTest ranking_test",
    "ratings.recipes": "RecipeComparison chance_of_similar compare_recipes",
    "ratings.sample_map": "SampleMap sample_map",
    "ratings.scorecard": "PanelScorecard panel_scorecard",
    "ratings.spikes": "SpikedSamples spiked_samples",
    "ratings.ticked": "TickedWords ticked_words",
    "release.batches": "AttributeLimit Batch Clearance Disposition Product RawLot",
    "release.choice_trend": "ChoiceTrend trend_of_choices",
    "release.disposition": "BatchFinding batch_finding",
    "release.disposition_table": "disposition_table",
    "release.reference_state": "ReferenceState reference_state",
    "release.references": "Bridge Reference ReferenceKind",
    "release.rule": "ReleaseRule",
    "release.trend": "Trend trend",
    "serving.plan": "ServingPlan",
    "serving.planning": "serving_plan",
    "sessions.trained": "TrainedSample TrainingSitting",
    "sessions.reading": "read_answers read_ballots",
}
_HOME = {name: module for module, names in _NAMES.items() for name in names.split()}

__all__ = [*_HOME, "__version__"]  # noqa: PLE0604


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'sensory' has no attribute {name!r}")
    value = getattr(import_module(f".{_HOME[name]}", __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})

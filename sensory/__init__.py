"""Discrimination tests with people as the instrument: from ballots to a finding.

The names below are the public face. They load when first used, so that
``import sensory`` stays light.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from .base.version import __version__ as __version__

if TYPE_CHECKING:
    from .ballots.reading import read_ballots as read_ballots
    from .base.errors import BallotError as BallotError
    from .base.errors import BallotWarning as BallotWarning
    from .base.errors import SensoryError as SensoryError
    from .base.records import Finding as Finding
    from .base.results import Interval as Interval
    from .choices.counts import critical_counts as critical_counts
    from .choices.counts import similar_counts as similar_counts
    from .choices.forced_choice import ChoiceTest as ChoiceTest
    from .choices.forced_choice import choice_test as choice_test
    from .choices.risks import SessionRisks as SessionRisks
    from .choices.risks import session_risks as session_risks
    from .decisions.findings import SessionFinding as SessionFinding
    from .decisions.findings import session_finding as session_finding
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
    from .ratings.scorecard import PanelScorecard as PanelScorecard
    from .ratings.scorecard import panel_scorecard as panel_scorecard
    from .ratings.spikes import SpikedSamples as SpikedSamples
    from .ratings.spikes import spiked_samples as spiked_samples

_HOME = {
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
    "read_ballots": ".ballots.reading",
    "SessionFinding": ".decisions.findings",
    "session_finding": ".decisions.findings",
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

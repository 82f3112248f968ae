"""When somebody counts as trained: the plant's rule.

[1] The usual numbers: common practice, no source. A repeatability of up to a tenth of the scale is
    often called good; accuracy and agreement are taken alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ..base.checks import one_count, probability
from ..base.plain import Plain
from ..base.results import several

RULE = "training rule"
"""Name of the only one on record."""


class Criterion(StrEnum):
    """What has to be shown of each attribute."""

    REPEATABILITY = "repeatability"
    ACCURACY = "accuracy"
    AGREEMENT = "agreement"


class State(StrEnum):
    """Of a criterion: shown, not there yet, or too few marks to say."""

    WITHIN = "within"
    OUTSIDE = "outside"
    OPEN = "open"


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainingRule(Plain):
    """When somebody counts as trained: conventions of the plant [1], no facts.

    Attributes
    ----------
    repeatability, accuracy, agreement : float
        Agreed ranges as shares of the scale: of own replicates about their mean, of own means from
        the target, and of own means from those of the others.
    level : float
        Of confidence, one-sided, at which each is shown.
    sessions : int
        The latest sessions of an assessor that count together.
    """

    repeatability: float = 0.10
    accuracy: float = 0.10
    agreement: float = 0.10
    level: float = 0.90
    sessions: int = 3

    def __post_init__(self) -> None:
        for name in (*Criterion, "level"):
            probability(name, getattr(self, name))
        one_count("sessions", self.sessions, at_least=1)

    @property
    def name(self) -> str:
        """Under which it stands in the register."""
        return RULE

    @property
    def words(self) -> str:
        """The rule in a sentence."""
        shares = ", ".join(f"{each} {100 * getattr(self, each):g} %" for each in Criterion)
        return (
            f"Trained: {shares} of the scale or less, each shown with {100 * self.level:g} % "
            f"confidence on the latest {several(self.sessions, 'session')} together."
        )

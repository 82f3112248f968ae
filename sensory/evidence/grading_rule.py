"""Which vote of a few graders stops a batch, and with which risks.

Why so
------
Graders differ, so their votes are no binomial count: each votes at a rate of its own. What was
agreed are the two risks; where no number of votes keeps both, that is the answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from ..base.arrays import Floats
from ..base.checks import probability, within
from ..base.errors import ArgumentError
from ..base.results import Table, digits
from ..base.shown import Told
from ..models.agreement import vote_masses
from ..ratings.frames import KeptTable

MOST_GRADERS = 99
ALONE = "Votes are taken as independent given the sample: graders who talk or copy err together."
STANDARD = (
    "Hits are those of the spiked samples: a weaker defect is missed more often, another one is "
    "another question."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class GradingRule(Told):
    """Result of `grading_rule`.

    Attributes
    ----------
    hit_rates, false_rates : float array, (graders,)
    good_stopped, bad_passed : float
        Risks that were agreed.
    votes : int or None
        Votes 'out' that stop a batch; None where no number keeps both risks.
    enough : tuple of int, or None
        Graders and votes that would keep both, if all were as these are on average; None where
        not even 99 do.
    rules : DataFrame
        ``votes good_stopped bad_passed``: exact chances for each number of votes.
    """

    hit_rates: Floats
    false_rates: Floats
    good_stopped: float
    bad_passed: float
    votes: int | None
    enough: tuple[int, int] | None
    _tables: Mapping[str, pd.DataFrame]

    rules = KeptTable()

    def says(self) -> tuple[str, ...]:
        """The rule and its risks, or that there is none."""
        rules, graders = self._tables["rules"], len(self.hit_rates)
        if self.votes is not None:
            row = rules.iloc[self.votes - 1]
            word = "vote" if self.votes == 1 else "votes"
            return (
                f"{self.votes} {word} 'out' of {graders} stop a batch: "
                f"{share_words(row['good_stopped'])} of good batches are stopped, "
                f"{share_words(row['bad_passed'])} of those at the limit pass.",
            )
        whom = "This grader" if graders == 1 else f"These {graders} graders"
        no = (
            f"{whom} cannot see the limit well enough: no number of votes keeps good batches "
            f"stopped at {share_words(self.good_stopped)} and bad ones passed at "
            f"{share_words(self.bad_passed)}."
        )
        if self.enough is None:
            return (no, f"Nor would {MOST_GRADERS} like them: train them, or change the limit.")
        people, votes = self.enough
        return (no, f"{people} like them would, with {votes} votes.")

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What the rule does not answer, a sentence each."""
        return ALONE, STANDARD

    def summary(self) -> Table:
        """One row a number of votes."""
        rules = self._tables["rules"]
        return Table(columns=tuple(rules.columns), rows=tuple(map(tuple, rules.values.tolist())))

    def __repr__(self) -> str:
        return f"<GradingRule: {self.says()[0]}>"


def grading_rule(
    hit_rates: ArrayLike,
    false_rates: ArrayLike,
    *,
    good_stopped: float = 0.05,
    bad_passed: float = 0.1,
) -> GradingRule:
    """How many votes 'out' stop a batch, and with which risks?

    Parameters
    ----------
    hit_rates, false_rates : float array, (graders,)
        Chance that each calls a batch at the limit 'out', and a good one.
    good_stopped, bad_passed : float
        Largest agreed chances that a good batch is stopped, and that one at the limit passes.

    Raises
    ------
    ArgumentError
        Rates outside 0 to 1, or not one of each a grader.

    Notes
    -----
    Exact: the distribution of a sum of votes with different chances, votes independent given the
    batch. Of the rules that keep both risks, that which stops fewest good batches is taken.

    Examples
    --------
    >>> print(*grading_rule([0.9, 0.9, 0.8], [0.1, 0.05, 0.1]).says())
    2 votes 'out' of 3 stop a batch: 1.9 % of good batches are stopped, 4.6 % of those at the \
limit pass.
    >>> print(*grading_rule([0.6, 0.6, 0.6], [0.2, 0.2, 0.2]).says(), sep="\\n")
    These 3 graders cannot see the limit well enough: no number of votes keeps good batches \
stopped at 5 % and bad ones passed at 10 %.
    13 like them would, with 6 votes.
    """
    stopped = probability("good_stopped", good_stopped)
    passed = probability("bad_passed", bad_passed)
    hit = np.atleast_1d(within("hit_rates", hit_rates, 0.0, 1.0))
    false = np.atleast_1d(within("false_rates", false_rates, 0.0, 1.0))
    if hit.shape != false.shape or hit.ndim != 1:
        raise ArgumentError(
            f"hit_rates and false_rates must hold one rate a grader; got {hit.size} and "
            f"{false.size}."
        )
    good, bad = _chances(hit, false)
    fit = np.flatnonzero((good <= stopped) & (bad <= passed))
    votes = int(fit[-1]) + 1 if fit.size else None
    rules = {"votes": np.arange(len(hit)) + 1, "good_stopped": good, "bad_passed": bad}
    return GradingRule(
        hit_rates=hit,
        false_rates=false,
        good_stopped=stopped,
        bad_passed=passed,
        votes=votes,
        enough=None if votes else _enough(float(hit.mean()), float(false.mean()), stopped, passed),
        _tables=MappingProxyType({"rules": pd.DataFrame(rules)}),
    )


def _chances(hit: Floats, false: Floats) -> tuple[Floats, Floats]:
    """Chances that good batches are stopped and bad ones pass, for 1 vote, 2 votes and so on."""
    stopped = vote_masses(false)[::-1].cumsum()[::-1][1:]
    return stopped, vote_masses(hit).cumsum()[:-1]


def _enough(hit: float, false: float, stopped: float, passed: float) -> tuple[int, int] | None:
    for people in range(1, MOST_GRADERS + 1):
        good, bad = _chances(np.full(people, hit), np.full(people, false))
        fit = np.flatnonzero((good <= stopped) & (bad <= passed))
        if fit.size:
            return people, int(fit[-1]) + 1
    return None


def share_words(share: float) -> str:
    """A share in percent with two digits that count; a tiny one is no zero.

    >>> share_words(0.0712), share_words(1e-9), share_words(0)
    ('7.1 %', 'less than 0.01 %', '0 %')
    """
    if 0 < share < 5e-5:
        return "less than 0.01 %"
    return f"{digits(100 * float(share), 2)} %"

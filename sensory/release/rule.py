"""The release rule of a product: in words, as data, and what it does to batches.

It is agreed before any batch is tasted; `disposition` applies it.

Why so
------
A release rule cannot release without similarity. At DIFFERENT and UNDECIDED it refuses RELEASE,
and RETEST is no disposition that a rule may name: a second tasting comes from a two-stage plan
with its risks, for forced choices only, and there is no third. Results judged at other risks than
the rule's are refused, so that nothing agreed can be moved afterwards.

'Hold if p < 0.05' is as good as the release rule at a deciding size, and only there
(`tests/calibration/test_release_years.py`): with 12 triangles it releases 40 of 100 single
batches at 1.25 times a limit of 40 %, the rule less than 1, at the price of holding 61 of 100
unchanged ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ..base.checks import one_count, one_number, probability, within
from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.plain import LEFT_OUT_EMPTY, Plain, written_as_key
from ..base.results import several
from ..catalogue.tests import find_kind, kinds, protocol_of
from ..choices.protocols import Protocol
from ..choices.size import operating_characteristic
from ..choices.two_stage import TwoStagePlan
from ..sessions.signing import ANYBODY
from .batches import Disposition
from .characteristic import (
    EXACT,
    NORMAL,
    Characteristic,
    MonthlyTastings,
    Scale,
    as_distinguishers,
    paired_findings,
    staged,
    summed,
)

USUAL = {
    Finding.SIMILAR: Disposition.RELEASE,
    Finding.DIFFERENT_WITHIN_LIMIT: Disposition.RELEASE,
    Finding.DIFFERENT: Disposition.HOLD,
    Finding.BEYOND_LIMIT: Disposition.REJECT,
    Finding.UNDECIDED: Disposition.HOLD,
}
"""What is done at each finding where a rule says nothing else."""

_SEVERITY = (Disposition.RELEASE, Disposition.HOLD, Disposition.REWORK, Disposition.REJECT)

written_as_key(Protocol, lambda protocol: protocol.key, protocol_of)  # in a retest

_FINDING_IN_WORDS = {
    Finding.SIMILAR: "similar",
    Finding.DIFFERENT_WITHIN_LIMIT: "different, and within the limit",
    Finding.DIFFERENT: "different, and open whether within the limit",
    Finding.BEYOND_LIMIT: "beyond the limit",
    Finding.UNDECIDED: "undecided",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseRule(Plain):
    """Which test decides on a batch, with which risks, and what is done at each finding.

    Attributes
    ----------
    test : str
        Key of a forced-choice protocol, ``DIFFERENCE_FROM_CONTROL``, ``PROFILE`` or ``GRADING``.
    limit : float or None
        The tolerated difference: proportion of distinguishers in this protocol, or points
        of the scale beyond the blind control. None for a profile, which has margins, and for
        grading, whose spiked samples stand at the limit.
    margins : mapping of str to float
        For a profile: the margin of each attribute.
    assessors : int
        Answers in a tasting, one an assessor; with a retest those of the first tasting.
    alpha, beta : float
        Risk of finding an unchanged batch different, and one at the limit similar; below
        one half. With a retest they hold for both tastings together.
    dispositions : mapping of Finding to Disposition
        All five findings; `USUAL` if not given. At BEYOND_LIMIT nothing milder than at DIFFERENT;
        where it is left out, as in rules of old, the same.
    retest : TwoStagePlan or None
        None: no retest. Else the second tasting is part of the test: forced choice only.
        There is no third tasting.
    scatter : float or None
        For difference from control: standard deviation of the differences of assessors,
        batch less blind control, as it was in sessions before; `characteristic` needs it.
    decides : str
        The role that decides on the batch.
    second_person : bool
        Whether another person of that role has to confirm each decision.

    Raises
    ------
    ArgumentError
        For a test that cannot show similarity or an unknown one, a limit, risk, margin or
        number of assessors out of its bounds, a finding without a disposition, release
        where similarity was not shown, or a retest that does not fit test, limit or risks.

    Examples
    --------
    >>> rule = ReleaseRule(test="TRIANGLE", limit=0.30, assessors=66)
    >>> rule.characteristic([0.0, 0.15, 0.30, 0.45]).passes.round(3).tolist()
    [0.952, 0.492, 0.049, 0.0]
    >>> rule.tastings(20, truth=0.0).answers
    1320.0
    """

    test: str
    assessors: int
    limit: float | None = None
    margins: Mapping[str, float] = field(default_factory=dict)
    alpha: float = 0.05
    beta: float = 0.05
    dispositions: Mapping[Finding, Disposition] = field(default_factory=lambda: dict(USUAL))
    retest: TwoStagePlan | None = None
    scatter: float | None = None
    decides: str = ANYBODY
    second_person: bool = field(default=False, metadata=LEFT_OUT_EMPTY)

    def __post_init__(self) -> None:
        by = self.by
        people = one_count("assessors", self.assessors, at_least=2)
        object.__setattr__(self, "assessors", people)
        for name in ("alpha", "beta"):
            if probability(name, getattr(self, name)) >= 0.5:
                raise ArgumentError(f"{name} must be below 0.5; got {getattr(self, name):g}.")
        self._check_limit(by)
        if not str(self.decides).strip():
            raise ArgumentError("decides must name the role that decides on the batch.")
        if not isinstance(self.second_person, bool):
            raise ArgumentError(f"second_person must be True or False; got {self.second_person!r}.")
        object.__setattr__(self, "margins", MappingProxyType(dict(self.margins)))
        object.__setattr__(self, "dispositions", _checked(self.dispositions))
        if self.retest is not None:
            self._check_retest(self.retest)

    @property
    def protocol(self) -> Protocol | None:
        """The protocol of a forced choice, else None."""
        return find_kind(self.test).protocol

    @property
    def by(self) -> Literal["share", "points", "margins", "votes"]:
        """How the test takes a limit: share of distinguishers, points, margins, or votes."""
        kind = find_kind(self.test)
        if kind.release is None:
            others = [other.key for other in kinds() if other.release and not other.protocol]
            raise ArgumentError(
                f"test must be a forced choice, {' or '.join(others)}; {kind.name} is no test "
                "of similarity with a limit, so no batch could be released by it."
            )
        return kind.release.by

    def at(self, finding: Finding) -> Disposition:
        """What is recommended at a finding."""
        return self.dispositions[finding]

    def characteristic(self, truths: ArrayLike, *, scale: Scale | None = None) -> Characteristic:
        """Chance that a batch passes, is held or is rejected, against its true difference.

        Parameters
        ----------
        truths : float or array of float
        scale : {'pd', 'dprime', 'points'}, optional
            Unit of the truths: pd or dprime for a forced choice, pd if not given; points of
            the scale beyond the blind control for difference from control.

        Raises
        ------
        ArgumentError
            For a profile, whose attributes hang together in a way no formula knows; for
            grading, whose risks follow from the graders of the day; another
            scale, a truth out of its bounds, or no scatter for difference from control.

        Notes
        -----
        Forced choice: exact, binomial, with a retest over every path of both tastings.
        Difference from control: exact for one batch beside the blind control, differences
        of assessors normal with the agreed scatter at every truth (an approximation:
        small differences scatter less, and Dunnett asks more where several batches are
        served). There, and with a retest, answers so far the wrong way round that codes must be
        mixed up are left out: `batch_finding` holds them, a chance of 0.001 at most.
        """
        if self.by in ("margins", "votes"):
            raise ArgumentError(
                "characteristic is for a forced choice or difference from control; for a profile "
                "it depends on how the attributes go together, for grading on the graders."
            )
        used = scale or ("pd" if self.protocol else "points")
        allowed = ("pd", "dprime") if self.protocol else ("points",)
        if used not in allowed:
            raise ArgumentError(
                f"scale must be {' or '.join(allowed)} for {self.test}; got {used!r}."
            )
        truth = np.atleast_1d(within("truths", truths, 0.0 if self.protocol else -1e9, 1e9))
        size = self.assessors
        if self.protocol is None:
            chances = paired_findings(
                truth,
                assessors=size,
                scatter=self.scatter,
                limit=self._limit,
                alpha=self.alpha,
                beta=self.beta,
            )
            return summed(truth, used, chances, self.dispositions, size, NORMAL)
        pd = as_distinguishers(self.protocol, truth, used)
        if self.retest is not None:
            return staged(truth, used, pd, self.retest, self.dispositions)
        exact = operating_characteristic(
            self.protocol, size, alpha=self.alpha, beta=self.beta, pd_limit=self._limit, pd=pd
        )
        return summed(truth, used, exact, self.dispositions, size, EXACT)

    def tastings(
        self, batches_a_month: float, truth: float, *, scale: Scale | None = None
    ) -> MonthlyTastings:
        """Expected tastings, answers and dispositions when every batch has this difference.

        Raises
        ------
        ArgumentError
            As in `characteristic`; a negative number of batches.
        """
        batches = one_number("batches_a_month", batches_a_month, 0.0, 1e6)
        does = self.characteristic(one_number("truth", truth, -1e9, 1e9), scale=scale)
        return MonthlyTastings(
            batches=batches,
            truth=float(does.truths[0]),
            tastings=batches * float(1 + does.second[0]),
            answers=batches * float(does.answers[0]),
            passes=batches * float(does.passes[0]),
            holds=batches * float(does.holds[0]),
            rejects=batches * float(does.rejects[0]),
        )

    def words(self) -> tuple[str, ...]:
        """The rule in sentences, to be agreed and pinned to the wall."""
        return (
            f"Each batch is compared with the reference {self._test_words()}, with "
            f"{several(self.assessors, 'assessor')}.",
            f"Tolerated is {self._limit_words()}.",
            f"A batch at this limit is found similar with a chance of {100 * self.beta:g} % at "
            f"most, and an unchanged one different with a chance of {100 * self.alpha:g} % at "
            "most.",
            *(
                f"If the finding is {words}: {self.at(finding).value.lower()}."
                for finding, words in _FINDING_IN_WORDS.items()
            ),
            *self._retest_words(),
            "No batch is released without clearance by food safety and a declaration of its "
            "allergens, nor by a panel that could not have seen the limit on that day.",
            f"This is a recommendation; {self.decides} decides."
            + " A second person confirms each decision." * self.second_person,
        )

    @property
    def _limit(self) -> float:
        return float(self.limit) if self.limit is not None else float("nan")

    def _test_words(self) -> str:
        name = find_kind(self.test).name
        return f"in a {name} test" if self.protocol else f"by {name}"

    def _limit_words(self) -> str:
        if self.by == "votes":
            return "what lies short of the spiked samples, which stand at the limit"
        if self.by == "margins":
            each = ", ".join(f"{name} {margin:g}" for name, margin in self.margins.items())
            return f"a difference from the reference, in points of the scale, up to: {each}"
        if self.protocol is None:
            return f"a difference of {self._limit:g} points of the scale beyond the blind control"
        dprime = float(self.protocol.dprime(float(self.protocol.pc_at(self._limit))))
        return (
            f"a difference that {100 * self._limit:g} % of people notice in this test (d-prime "
            f"{dprime:.2f})"
        )

    def _retest_words(self) -> tuple[str, ...]:
        plan = self.retest
        if plan is None:
            return (
                "There is no retest: a further tasting of a batch is no part of this rule, and its "
                "true risk is shown where one was made.",
            )
        return (
            f"{plan.first} answers first: {plan.similar_first} correct or fewer is similar, "
            f"{plan.different_first} or more is different; in between {plan.second} more are "
            f"tasted, and {plan.different_total} correct or more of all {plan.first + plan.second} "
            "is different, fewer is similar.",
            f"With both tastings an unchanged batch is found different with a chance of "
            f"{plan.false_alarm:.4f}, one at the limit similar with a chance of "
            f"{plan.wrong_pass:.4f}; there is no third tasting.",
        )

    def _check_limit(self, by: str) -> None:
        stated = self.limit is not None
        if by == "votes" and (stated or self.margins):
            raise ArgumentError("a rule by grading has no limit: its spiked samples stand at it.")
        if by == "margins" and (stated or not self.margins):
            raise ArgumentError("a rule for a profile needs margins, and no limit.")
        if by in ("share", "points"):
            self._check_size()
        for name, margin in self.margins.items():
            _above_zero(f"margin of {name}", margin)
        if self.scatter is not None:
            if by != "points":
                raise ArgumentError("scatter is for difference from control only.")
            _above_zero("scatter", self.scatter)

    def _check_size(self) -> None:
        """The one limit of a test that has no margins."""
        if self.margins:
            raise ArgumentError("margins are for a profile; other tests have one limit.")
        if self.limit is None:
            raise ArgumentError(f"limit is needed for {self.test}.")
        if self.protocol:
            probability("limit", self.limit)
        else:
            _above_zero("limit", self.limit)

    def _check_retest(self, plan: object) -> None:
        if not isinstance(plan, TwoStagePlan):
            raise ArgumentError(
                f"retest must be None or a two-stage plan; got {type(plan).__name__}."
            )
        if plan.protocol is not self.protocol:
            raise ArgumentError(f"retest is a plan for {plan.protocol.key}, the test {self.test}.")
        if plan.first != self.assessors:
            raise ArgumentError(
                f"assessors must be the {plan.first} of the first tasting; got {self.assessors}."
            )
        if plan.pd_limit != self.limit:
            raise ArgumentError(
                f"retest is planned for a limit of {plan.pd_limit:g}, the rule has {self.limit:g}."
            )
        for name, there in (("alpha", plan.false_alarm), ("beta", plan.wrong_pass)):
            if there > getattr(self, name) + 1e-12:
                raise ArgumentError(
                    f"retest has a true {name} of {there:.4f}, above the {getattr(self, name):g} "
                    "of the rule."
                )


def _checked(given: Mapping[Finding, Disposition]) -> Mapping[Finding, Disposition]:
    """All five findings with what is done; release only where similarity was shown."""
    try:
        done = {Finding(finding): Disposition(what) for finding, what in dict(given).items()}
    except (TypeError, ValueError):
        raise ArgumentError(
            f"dispositions must give one of {', '.join(Disposition)} for each of "
            f"{', '.join(Finding)}; got {given!r}."
        ) from None
    if Finding.DIFFERENT in done:  # rules of old knew no finding beyond the limit
        done.setdefault(Finding.BEYOND_LIMIT, done[Finding.DIFFERENT])
    if absent := [finding for finding in Finding if finding not in done]:
        raise ArgumentError(f"dispositions must say what is done at {', '.join(absent)}.")
    for finding in (Finding.DIFFERENT, Finding.BEYOND_LIMIT, Finding.UNDECIDED):
        if done[finding] is Disposition.RELEASE:
            raise ArgumentError(
                f"dispositions must not release at {finding}: that the difference is below the "
                "limit was not shown."
            )
    if Disposition.RETEST in done.values():
        raise ArgumentError(
            "dispositions must not name RETEST: a second tasting has to be planned with its "
            "risks, as retest."
        )
    stricter = done[Finding.SIMILAR] is not Disposition.RELEASE
    if stricter and done[Finding.DIFFERENT_WITHIN_LIMIT] is Disposition.RELEASE:
        raise ArgumentError(
            "dispositions must not release at DIFFERENT_WITHIN_LIMIT and withhold at SIMILAR."
        )
    different, beyond = done[Finding.DIFFERENT], done[Finding.BEYOND_LIMIT]
    if _SEVERITY.index(beyond) < _SEVERITY.index(different):
        raise ArgumentError(
            f"dispositions must not do less at BEYOND_LIMIT ({beyond.value}) than at DIFFERENT "
            f"({different.value})."
        )
    return MappingProxyType({finding: done[finding] for finding in Finding})


def _above_zero(name: str, value: ArrayLike) -> None:
    if one_number(name, value, 0.0, 1e9) == 0:
        raise ArgumentError(f"{name} must be above 0; got 0.")

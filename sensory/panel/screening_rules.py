"""Rules by which candidates for a panel are screened, with the risk of each.

[1] The share to be matched and the inversion allowed are common in the selection of assessors, from
    memory; no text was checked.
[2] After ISO 16820:2019: sequential analysis, whose scope names the selection of assessors.
[3] Meilgaard, Civille and Carr, Sensory Evaluation Techniques: the two abilities between
    which the repeated choices decide, recalled and not read.

All of them are conventions: arguments with a default, not facts.

Why so
------
Screening fails whoever is undecided at the cap of the sequential plan, so that its risk of a
wrong pass is that of the upper line alone. Shares and inversions are recalled: arguments with a
default.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import ceil, comb, factorial

from ..base.checks import as_fraction, one_count, probability
from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import several
from ..base.standards import STANDARDS
from ..choices.counts import check_protocol
from ..choices.protocols import TRIANGLE, Protocol
from ..choices.sequential import SequentialPlan, sequential_plan
from ..models.arrangements import MOST_ORDERED, difference_counts, inversion_counts, match_masses
from ..models.binomial import exact_upper_tail

MOST_MATCHED = 30


class Verdict(StrEnum):
    """What a rule says of a candidate."""

    PASS = "pass"
    FAIL = "fail"
    GO_ON = "go on"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """One candidate in one part of the screening.

    Attributes
    ----------
    result, needed : int or None
        Right answers and how many are needed; for an order, pairs the wrong way round and
        how many are allowed. None where no single number decides.
    p_luck : float
        Chance of doing as well or better by guessing alone.
    reason : str
        One sentence for the candidate's sheet.
    """

    verdict: Verdict
    result: int | None
    needed: int | None
    p_luck: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChoiceRule:
    """Repeated forced choices, judged after each; see `choice_rule`.

    Attributes
    ----------
    plan : SequentialPlan
        Its DIFFERENT passes a candidate, its SIMILAR fails one; a candidate who comes to
        the end of the plan undecided has not shown the ability and fails.
    unfit, fit : float
        Proportions correct of candidates who should fail and who should pass.
    """

    plan: SequentialPlan
    unfit: float
    fit: float
    source: str = f"{STANDARDS['ISO 16820']}; .40 and .65 from memory"

    @property
    def wrong_pass(self) -> float:
        """True chance that a candidate of ability `unfit` passes, over all paths."""
        return self.plan.false_alarm

    @property
    def wrong_fail(self) -> float:
        """True chance that a candidate of ability `fit` fails, at the cap included."""
        return 1 - self.plan.outcomes(self.plan.pd_limit).different

    @property
    def lucky_pass(self) -> float:
        """True chance that a candidate who only guesses passes."""
        return self.plan.outcomes(0.0).different

    def decide(self, answer: Sequence[bool]) -> Judgement:
        """Right or wrong in the order of tasting; answers after the stop are not looked at."""
        finding, seen = self.plan.decide(answer)
        right = sum(answer[:seen])
        name = self.plan.protocol.name
        score = f"{right} of {several(seen, f'{name} test')} right"
        if finding is Finding.DIFFERENT:
            verdict, reason = Verdict.PASS, f"{score}: the upper line is reached."
        elif finding is Finding.SIMILAR:
            verdict, reason = Verdict.FAIL, f"{score}: the lower line is reached."
        elif finding is None:
            verdict, reason = Verdict.GO_ON, f"{score}: between the lines, serve another."
        else:
            verdict, reason = Verdict.FAIL, f"{score}: not shown by the last test of the plan."
        needed = None if seen == 0 else self.plan.different_from[seen - 1]
        return Judgement(
            verdict=verdict,
            result=right,
            needed=needed if needed is not None and needed <= seen else None,
            p_luck=float(exact_upper_tail(right, seen, self.plan.protocol.guess)),
            reason=reason,
        )


def choice_rule(
    protocol: Protocol | str = TRIANGLE,
    *,
    unfit: float = 0.40,
    fit: float = 0.65,
    alpha: float = 0.05,
    beta: float = 0.05,
    most: int = 60,
) -> ChoiceRule:
    """Repeated forced choices by a sequential plan [2].

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    unfit, fit : float
        Proportions correct of a candidate who should fail and of one who should pass [3];
        from guessing to below 1, `unfit` below `fit`.
    alpha, beta : float
        Nominal risks of passing the one and failing the other; the true ones are
        `wrong_pass` and `wrong_fail`.
    most : int
        Tests after which the candidate fails.

    Raises
    ------
    ArgumentError
        For impossible arguments.

    Examples
    --------
    >>> rule = choice_rule()
    >>> round(rule.wrong_pass, 3), round(rule.wrong_fail, 3), round(rule.lucky_pass, 3)
    (0.038, 0.071, 0.006)
    >>> rule.decide([True] * 7).verdict
    <Verdict.PASS: 'pass'>
    """
    protocol = check_protocol(protocol)
    unfit, fit = probability("unfit", unfit), probability("fit", fit)
    guess = protocol.guess
    if not guess <= as_fraction(unfit) < as_fraction(fit):
        raise ArgumentError(
            f"unfit must lie from guessing ({float(guess):.3g}) to below fit; "
            f"got unfit {unfit:g} and fit {fit:g}."
        )
    low, high = ((as_fraction(pc) - guess) / (1 - guess) for pc in (unfit, fit))
    plan = sequential_plan(
        protocol,
        most=most,
        alpha=alpha,
        beta=beta,
        pd_null=float(low),
        pd_limit=float(high),
    )
    return ChoiceRule(plan=plan, unfit=unfit, fit=fit)


@dataclass(frozen=True, slots=True, kw_only=True)
class MatchingRule:
    """Samples to be matched with those known from a first set; see `matching_rule`.

    Attributes
    ----------
    labels, offered : int
        Samples of the first set, and of the second among which they are looked for.
    needed : int
        Right matches needed.
    """

    labels: int
    offered: int
    share: float
    needed: int
    source: str = "from memory, no text checked: 80 % of the matches"

    @property
    def wrong_pass(self) -> float:
        """Chance of passing when every match is a guess."""
        return float(sum(match_masses(self.labels, self.offered)[self.needed :]))

    def decide(self, answer: int) -> Judgement:
        """By the number of right matches."""
        right = one_count("matches", answer)
        masses = match_masses(self.labels, self.offered)
        if right > self.labels or masses[right] == 0:
            why = (
                f"there are {self.labels}"
                if right > self.labels
                else "when all others are right the last one is as well"
            )
            raise ArgumentError(f"matches cannot be {right} of {self.labels}: {why}.")
        return Judgement(
            verdict=Verdict.PASS if right >= self.needed else Verdict.FAIL,
            result=right,
            needed=self.needed,
            p_luck=float(sum(masses[right:])),
            reason=f"{right} of {self.labels} matches right, {self.needed} are needed.",
        )


def matching_rule(labels: int, *, offered: int | None = None, share: float = 0.80) -> MatchingRule:
    """Matching of known samples, each at most once.

    Parameters
    ----------
    labels : int
        Samples of the first set, 2 to 30.
    offered : int, optional
        Samples of the second set, `labels` or more; with more, some match nothing.
    share : float
        Share of right matches needed, 0.80 by [1].

    Raises
    ------
    ArgumentError
        For impossible arguments.

    Notes
    -----
    By guessing each label falls on another sample, all ways alike; with as many samples as
    labels all but one right cannot happen.

    Examples
    --------
    >>> rule = matching_rule(5)
    >>> rule.needed, round(rule.wrong_pass, 4)
    (4, 0.0083)
    >>> rule = matching_rule(5, offered=8)
    >>> rule.needed, round(rule.wrong_pass, 4)
    (4, 0.0024)
    """
    known = one_count("labels", labels, at_least=2)
    there = known if offered is None else one_count("offered", offered, at_least=2)
    if known > MOST_MATCHED:
        raise ArgumentError(f"labels must be at most {MOST_MATCHED}; got {known}.")
    if not known <= there <= 10 * MOST_MATCHED:
        raise ArgumentError(
            f"offered must lie between labels ({known}) and {10 * MOST_MATCHED}; got {there}."
        )
    wanted = as_fraction(share if share == 1 else probability("share", share))
    return MatchingRule(
        labels=known, offered=there, share=float(wanted), needed=ceil(wanted * known)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderAgreement:
    """How near an order is to the true one; p is exact and one-sided, by luck alone.

    Attributes
    ----------
    inversions : int
        Pairs the wrong way round; 1 is one exchange of neighbours.
    p_kendall, p_spearman : float
        Chance of so few inversions, and of so small squared differences of ranks.
    """

    inversions: int
    kendall_tau: float
    p_kendall: float
    spearman_rho: float
    p_spearman: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRule:
    """Dilutions to be put into order; see `order_rule`."""

    order: tuple[str, ...]
    most_inversions: int
    source: str = "from memory, no text checked: at most one exchange of neighbours"

    @property
    def wrong_pass(self) -> float:
        """Chance of passing with a random order."""
        counts = inversion_counts(len(self.order))
        return sum(counts[: self.most_inversions + 1]) / factorial(len(self.order))

    def agreement(self, answer: Sequence[str]) -> OrderAgreement:
        """Inversions and both rank correlations of a candidate's order."""
        given = [str(name) for name in answer]
        if sorted(given) != sorted(self.order):
            raise ArgumentError(
                f"an order must hold each of {', '.join(self.order)} once, without ties; "
                f"got {', '.join(given) or 'nothing'}."
            )
        places = [self.order.index(name) for name in given]
        size, ways = len(places), factorial(len(places))
        wrong = sum(places[i] > places[j] for j in range(size) for i in range(j))
        far = sum((place - there) ** 2 for there, place in enumerate(places))
        return OrderAgreement(
            inversions=wrong,
            kendall_tau=1 - 2 * wrong / comb(size, 2),
            p_kendall=sum(inversion_counts(size)[: wrong + 1]) / ways,
            spearman_rho=1 - 6 * far / (size * (size**2 - 1)),
            p_spearman=sum(difference_counts(size)[: far + 1]) / ways,
        )

    def decide(self, answer: Sequence[str]) -> Judgement:
        """By the inversions of the order given, from the lowest to the highest."""
        agreement = self.agreement(answer)
        passed = agreement.inversions <= self.most_inversions
        return Judgement(
            verdict=Verdict.PASS if passed else Verdict.FAIL,
            result=agreement.inversions,
            needed=self.most_inversions,
            p_luck=agreement.p_kendall,
            reason=(
                f"{several(agreement.inversions, 'pair')} the wrong way round, "
                f"{self.most_inversions} allowed."
            ),
        )


def order_rule(order: Sequence[str], *, most_inversions: int = 1) -> OrderRule:
    """Dilutions (of a taste, an odour, a colour ...) to be put into their true order.

    Parameters
    ----------
    order : sequence of str
        3 to 12 names from the weakest to the strongest.
    most_inversions : int
        Pairs that may stand the wrong way round, 1 by [1].

    Raises
    ------
    ArgumentError
        For impossible arguments, or a rule that every order would pass.

    Examples
    --------
    >>> rule = order_rule(["1 %", "2 %", "4 %", "8 %"])
    >>> round(rule.wrong_pass, 3)  # four dilutions are few: one in six passes by luck
    0.167
    >>> rule.decide(["1 %", "4 %", "2 %", "8 %"]).reason
    '1 pair the wrong way round, 1 allowed.'
    """
    names = (order,) if isinstance(order, str) else tuple(map(str, order))
    if not 3 <= len(names) <= MOST_ORDERED or len(set(names)) < len(names):
        raise ArgumentError(
            f"order must hold 3 to {MOST_ORDERED} different names; got {', '.join(names)}."
        )
    allowed = one_count("most_inversions", most_inversions)
    if allowed >= comb(len(names), 2):
        raise ArgumentError(
            f"most_inversions must lie below {comb(len(names), 2)}, the number of pairs; "
            f"got {allowed}."
        )
    return OrderRule(order=names, most_inversions=allowed)


Answer = Sequence[bool] | int | Sequence[str] | None
Rule = ChoiceRule | MatchingRule | OrderRule
"""A part of the screening: decides on an answer, and knows its risk and its source."""

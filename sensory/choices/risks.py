"""What a session of a given size can find, before anybody tastes.

Why so
------
UNDECIDED names a new session, not an addition. The smallest panel with both planned risks is the
one where the critical count is at most one above the similar count; adding assessors until a
session decides is another test with other risks.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from scipy.special import ndtri

from ..base.arrays import Bools, Ints
from ..base.checks import as_fraction, one_count
from ..base.findings import WORST_FIRST, Finding
from ..base.results import Table
from ..base.shown import Shown
from ..models.binomial import least_count, lower_tail, most_count
from .counts import agreed_risks, check_protocol
from .protocols import Protocol
from .verdicts import Agreed, chances_at, edges_of, runs_of

MOST_ASSESSORS = 250_000


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class SessionRisks(Shown):
    """The chances that hang on a session of `trials` answers; see `session_risks`.

    Attributes
    ----------
    protocol, trials, alpha, beta, pd_limit, two_sided
        As given.
    critical_count, similar_count, beyond_count : int or None
        From how many correct a difference is significant, up to how many similarity is shown,
        and from how many the difference is larger than the limit; None where no count does.
    unchanged, at_limit : mapping of Finding to float
        Chance of each finding when nothing changed, and when a share `pd_limit` distinguishes.
    false_alarm : float
        Chance of a significant difference when everybody guesses; at most alpha.
    wrong_pass : float
        Chance that similarity is shown when a share `pd_limit` distinguishes; at most beta.
    fair_pass : float
        Chance that similarity is shown when nothing changed. As in printed tables, counts so
        far below guessing that similarity is withheld are among them: 0.001 at most, which
        `unchanged` tells apart.
    power : float
        Chance of a significant difference when a share `pd_limit` distinguishes.
    wrong_rejection : float
        Chance of 'beyond the limit' when a share `pd_limit` distinguishes; at most alpha.
    deciding_size : int or None
        Smallest panel of this size or larger that keeps both risks, so that it cannot end
        undecided but for answers far below guessing; None above 250,000.
    """

    protocol: Protocol
    trials: int
    alpha: float
    beta: float
    pd_limit: float
    two_sided: bool
    critical_count: int | None
    similar_count: int | None
    beyond_count: int | None
    unchanged: Mapping[Finding, float]
    at_limit: Mapping[Finding, float]
    false_alarm: float
    wrong_pass: float
    fair_pass: float
    power: float
    wrong_rejection: float
    deciding_size: int | None

    def consequence(self) -> str:
        """What the number of assessors means for good batches, in words.

        >>> from .protocols import TRIANGLE
        >>> session_risks(TRIANGLE, 24).consequence()
        'Too few: 4 of 10 good batches will not pass (chance of a fair pass 59 %). Take 66.'
        """
        failing = round(10 * (1 - self.fair_pass))
        told = f"{failing} of 10 good batches will not pass"
        chance = f"chance of a fair pass {100 * self.fair_pass:.0f} %"
        if failing == 0:
            told = "Nearly every good batch will pass"
        if self.deciding_size == self.trials:
            return f"Enough: {told[:1].lower()}{told[1:]} ({chance}), and every outcome decides."
        take = "" if self.deciding_size is None else f" Take {self.deciding_size}."
        few = "Too few: " if failing else "Some outcomes will not decide: "
        return f"{few}{told[:1].lower()}{told[1:]} ({chance}).{take}"

    def summary(self) -> Table:
        """The chances as rows of words, situation and number."""
        limit = f"{100 * self.pd_limit:g} % of assessors notice"
        return Table(
            columns=("if in truth", "this session says", "chance"),
            rows=(
                ("nothing changed", "similar (a fair pass)", self.fair_pass),
                ("nothing changed", "different (a false alarm)", self.false_alarm),
                (limit, "similar (a wrong pass)", self.wrong_pass),
                (limit, "different", self.power),
                (limit, "beyond the limit (a wrong rejection)", self.wrong_rejection),
            ),
        )

    def by_finding(self) -> Table:
        """The decision table: each finding with its counts and its chances, most favourable first.

        Counts are correct answers; of one sample of the pair where the question is two-sided.
        """
        agreed = Agreed(
            protocol=self.protocol,
            alpha=self.alpha,
            beta=self.beta,
            pd_limit=self.pd_limit,
            two_sided=self.two_sided,
        )
        counts: dict[Finding, list[str]] = {finding: [] for finding in reversed(WORST_FIRST)}
        for finding, first, last in runs_of(agreed, self.trials):
            counts[finding].append(f"{first} to {last}" if first < last else f"{first}")
        return Table(
            columns=("finding", "correct answers", "nothing changed", "at the limit"),
            rows=tuple(
                (
                    finding.heading.lower(),
                    "; ".join(each) or "none",
                    self.unchanged[finding],
                    self.at_limit[finding],
                )
                for finding, each in counts.items()
            ),
        )


def session_risks(
    protocol: Protocol | str,
    trials: int,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
    two_sided: bool = False,
) -> SessionRisks:
    """Exact chances of each outcome for a session of `trials` answers.

    A printed table shows the risk of a wrong pass only. The chance of a fair pass, that
    an unchanged product is found similar, is what the requester meets in practice.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    trials : int
        Answers, one an assessor.
    alpha, beta, pd_limit, two_sided
        As in `choice_test`.

    Raises
    ------
    ArgumentError
        As in `choice_test`.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> risks = session_risks(TRIANGLE, 58)
    >>> risks.similar_count, round(risks.fair_pass, 3)
    (24, 0.923)
    >>> round(session_risks(TRIANGLE, 8).fair_pass, 2)
    0.2
    """
    protocol = check_protocol(protocol, two_sided)
    n = one_count("trials", trials, at_least=1)
    alpha, beta, pd_limit = agreed_risks(alpha, beta, pd_limit)
    agreed = Agreed(
        protocol=protocol, alpha=alpha, beta=beta, pd_limit=pd_limit, two_sided=two_sided
    )
    critical, similar, beyond = edges_of(agreed, np.array([n])).of_first()
    before = np.array([n - 1])
    following = next_deciding_size(protocol, before, alpha, beta, pd_limit, two_sided)[0]
    truths = np.array([float(protocol.guess), float(protocol.pc_at(pd_limit))])
    chances = chances_at(agreed, n, truths)
    unchanged, at_limit = (
        {finding: float(chance[at]) for finding, chance in chances.items()} for at in (0, 1)
    )

    def passes(pc: float) -> float:
        if similar is None:
            return 0.0
        both = lower_tail(similar, n, pc)
        return float(both - (lower_tail(n - similar - 1, n, pc) if two_sided else 0.0))

    return SessionRisks(
        protocol=protocol,
        trials=n,
        alpha=alpha,
        beta=beta,
        pd_limit=pd_limit,
        two_sided=two_sided,
        critical_count=critical,
        similar_count=similar,
        beyond_count=beyond,
        unchanged=MappingProxyType(unchanged),
        at_limit=MappingProxyType(at_limit),
        false_alarm=_significant(unchanged),
        wrong_pass=passes(float(truths[1])),
        fair_pass=passes(float(truths[0])),
        power=_significant(at_limit),
        wrong_rejection=at_limit[Finding.BEYOND_LIMIT],
        deciding_size=int(following) if following >= 0 else None,
    )


def _significant(chances: Mapping[Finding, float]) -> float:
    return min(sum(chance for finding, chance in chances.items() if finding.significant), 1.0)


def next_deciding_size(
    protocol: Protocol | str,
    trials: Ints,
    alpha: float,
    beta: float,
    pd_limit: float,
    two_sided: bool = False,
) -> Ints:
    """Smallest panel above each of `trials` with the planned risks; -1 where none is found.

    Such a panel has a critical count at most one above its similar count, so that no
    outcome is UNDECIDED but counts so far below guessing that similarity is withheld; the same
    thing as power at least 1 - beta at the limit. Panels above 250,000 are not searched; above
    the last size that was looked at each decides.

    Raises ArgumentError as in `choice_test`.
    """
    protocol = check_protocol(protocol, two_sided)
    following = _deciding(protocol, *agreed_risks(alpha, beta, pd_limit), two_sided)
    inside = trials < following.size
    decides = following[np.where(inside, trials, 0)]
    beyond = -1 if not following.size > 1 else trials + 1
    return np.where(inside, decides, beyond)


@lru_cache(maxsize=256)
def _deciding(
    protocol: Protocol, alpha: float, beta: float, pd_limit: float, two_sided: bool
) -> Ints:
    """For n = 0, 1, 2 ... the smallest deciding size above n; [-1] when the limit is too fine.

    It ends where the gap between the counts has closed by far: there the normal
    approximation falls with n, and the true gap keeps within 2 of it.
    """
    tail = as_fraction(alpha) / (2 if two_sided else 1)
    at_limit = protocol.pc_at(pd_limit)
    p, q = float(protocol.guess), float(at_limit)
    reach = -ndtri(float(tail)) * np.sqrt(p * (1 - p)) - ndtri(beta) * np.sqrt(q * (1 - q))
    last = int(1.3 * (max(reach, 0.0) / (q - p)) ** 2 + 2 * _CLOSED / (q - p)) + 150
    if last > 1.5 * MOST_ASSESSORS:
        return np.array([-1])

    def gap(sizes: Ints) -> Ints:
        return least_count(sizes, protocol.guess, tail) - most_count(sizes, at_limit, beta) - 1

    while gap(np.array([last]))[0] > -_CLOSED:  # risks far out or above one half
        last *= 2
    sizes = np.arange(1, last + 1)
    following = np.where(_closed(gap, last), sizes, last + 1)
    return np.minimum.accumulate(following[::-1])[::-1]


_CLOSED = 10  # counts between which nothing is undecided


def _closed(gap: Callable[[Ints], Ints], last: int) -> Bools:
    """Whether the gap is 0 or less at 1 .. last, looking at few of them.

    With one answer more both counts stay or rise by one, so that the gap changes by one at
    most: a gap of k settles all sizes nearer than k.
    """
    settled, answer = np.zeros(last + 2, bool), np.zeros(last + 2, bool)
    for stride in (256, 64, 16, 4, 1):
        sizes = np.arange(stride, last + 1, stride)
        sizes = sizes[~settled[sizes]]
        if not sizes.size:
            continue
        gaps = gap(sizes)
        near = np.where(gaps > 0, gaps - 1, -gaps)
        for value in (True, False):
            ours = (gaps <= 0) == value
            ends = np.zeros(last + 2, np.int64)
            np.add.at(ends, np.maximum(sizes[ours] - near[ours], 0), 1)
            np.add.at(ends, np.minimum(sizes[ours] + near[ours] + 1, last + 1), -1)
            covered = np.cumsum(ends) > 0
            settled |= covered
            answer[covered] = value
    return answer[1 : last + 1]

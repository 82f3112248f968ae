"""How many assessors: size, power and operating characteristic, exact.

[1] After ISO 4120:2021, ISO 10399:2026, ISO 5495:2005: their tables of the number of assessors
    give the first size that keeps both risks.
[2] Ennis, J.M. and Jesionka, V. (2011). The power of sensory discrimination methods
    revisited. J. Sensory Studies 26, 371-382: power is saw-toothed, one assessor more can
    lower it. (From memory.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ..base.arrays import Floats, Ints, Numbers
from ..base.checks import as_fraction, counts, fitting, levels, one_count, probability, within
from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.shown import Shown
from ..models.binomial import least_count, lower_tail, most_count, upper_tail
from .counts import agreed_risks, check_protocol
from .protocols import Protocol
from .teeth import first_sizes, reach, refuse_unless, stable_sizes, teeth
from .verdicts import Agreed, chances_at

Rule = Literal["first", "stable"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class PanelSize(Shown):
    """Result of `panel_size`; numbers, or arrays shaped like the broadcast input.

    Attributes
    ----------
    protocol, rule, two_sided
        As given.
    assessors, critical_count : int
        Size, and correct answers needed at that size; of the commoner choice where the question
        is two-sided.
    alpha, beta : float
        Risks actually reached, at most those asked for.
    """

    protocol: Protocol
    rule: str
    two_sided: bool
    assessors: Numbers
    critical_count: Numbers
    alpha: Numbers
    beta: Numbers


def panel_size(
    protocol: Protocol | str,
    *,
    alpha: ArrayLike = 0.05,
    beta: ArrayLike = 0.05,
    pd: ArrayLike | None = None,
    dprime: ArrayLike | None = None,
    rule: Rule = "first",
    two_sided: bool = False,
) -> PanelSize:
    """The number of assessors that keeps both risks.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    alpha, beta : float or array of float
        Risk of finding a difference when everybody guesses, and of missing it at `pd`;
        for similarity, of finding similarity at the limit `pd`.
    pd, dprime : float or array of float
        The difference that matters; give one of the two. All arrays broadcast.
    rule : {'first', 'stable'}
        The first size that keeps the risks, as the standards print it, or the size from
        which every larger one keeps them too.

    Raises
    ------
    ArgumentError
        When not exactly one of pd and dprime is given, a risk is outside (0, 1), pd outside
        (0, 1] or dprime not above 0, shapes do not fit, or the size would exceed 200,000.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> size = panel_size(TRIANGLE, pd=0.30)
    >>> size.assessors, size.critical_count, round(size.beta, 4)
    (66, 29, 0.0493)
    >>> panel_size(TRIANGLE, pd=0.30, rule="stable").assessors
    73
    >>> from sensory.choices.protocols import PAIRED
    >>> panel_size(PAIRED, pd=0.30).assessors, panel_size(PAIRED, pd=0.30, two_sided=True).assessors
    (119, 145)
    """
    protocol = check_protocol(protocol, two_sided)
    stable, sides = _is_stable(rule), 2 if two_sided else 1
    a, b, p = fitting(
        alpha=levels("alpha", alpha),
        beta=levels("beta", beta),
        **{"dprime" if pd is None else "pd": _truth_as_pc(protocol, pd, dprime)},
    )
    assessors, critical = np.empty(a.shape, np.int64), np.empty(a.shape, np.int64)
    for level in np.unique(a):
        truths, tail = np.unique(p[a == level]), as_fraction(float(level)) / sides
        ends = teeth(protocol, tail, float(truths[0]), float(b[a == level].min()))
        for truth in truths:
            cells = (a == level) & (p == truth)
            betas, back = np.unique(b[cells], return_inverse=True)
            last = reach(float(protocol.guess), float(truth), float(tail), float(betas[0]))
            pick = stable_sizes if stable else first_sizes
            sizes, needed = pick(ends[: np.searchsorted(ends, last) + 1], float(truth), betas)
            assessors[cells], critical[cells] = sizes[back], needed[back]
    reached = sides * upper_tail(critical, assessors, float(protocol.guess))
    return PanelSize(
        protocol=protocol,
        rule=rule,
        two_sided=two_sided,
        assessors=_plain(assessors),
        critical_count=_plain(critical),
        alpha=_plain(reached),
        beta=_plain(lower_tail(critical - 1, assessors, p)),
    )


def power(
    protocol: Protocol | str,
    trials: ArrayLike,
    *,
    alpha: float = 0.05,
    pd: ArrayLike | None = None,
    dprime: ArrayLike | None = None,
    two_sided: bool = False,
) -> Numbers:
    """Chance of a significant difference, exact.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    trials : int or array of int
        Answers, one an assessor; broadcast with pd or dprime.
    alpha : float
    pd, dprime : float or array of float
        The true difference; give one of the two.
    two_sided : bool
        As in `panel_size`; here a significant result in either direction counts, so that this
        is the sum of what `operating_characteristic` gives for significant findings.

    Returns
    -------
    float or array of float

    Raises
    ------
    ArgumentError
        For trials below 1 or not whole, alpha outside (0, 1), pd outside [0, 1] or a
        negative dprime, both or none of the two, shapes that do not fit, or a two-sided
        question that the protocol does not have.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> power(TRIANGLE, [12, 24, 36], pd=0.5).round(2).tolist()
    [0.63, 0.93, 0.99]
    """
    protocol = check_protocol(protocol, two_sided)
    n, pc = fitting(
        trials=counts("trials", trials, at_least=1),
        **{"dprime" if pd is None else "pd": _truth_as_pc(protocol, pd, dprime)},
    )
    level = as_fraction(probability("alpha", alpha))
    needed = least_count(n, protocol.guess, level / (2 if two_sided else 1))
    other_way = lower_tail(n - needed, n, pc) if two_sided else 0.0
    return _plain(upper_tail(needed, n, pc) + other_way)


def operating_characteristic(
    protocol: Protocol | str,
    trials: int,
    *,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
    pd: ArrayLike | None = None,
    dprime: ArrayLike | None = None,
    two_sided: bool = False,
) -> dict[Finding, Numbers]:
    """Chance of each of the five findings against the truth, exact.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    trials : int
    alpha, beta, pd_limit, two_sided
        As in `choice_test`.
    pd, dprime : float or array of float
        The true difference; give one of the two.

    Returns
    -------
    dict
        From each `Finding` to its chance, shaped like pd or dprime; they add up to 1.

    Raises
    ------
    ArgumentError
        As in `choice_test` and `panel_size`.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> chances = operating_characteristic(TRIANGLE, 24, pd=[0.0, 0.3, 0.6])
    >>> chances[Finding.UNDECIDED].round(2).tolist()
    [0.38, 0.41, 0.01]
    """
    protocol = check_protocol(protocol, two_sided)
    pc = _truth_as_pc(protocol, pd, dprime)
    n = one_count("trials", trials, at_least=1)
    risks = agreed_risks(alpha, beta, pd_limit)
    names = ("alpha", "beta", "pd_limit")
    agreed = Agreed(protocol=protocol, two_sided=two_sided, **dict(zip(names, risks, strict=True)))
    chances = chances_at(agreed, n, pc)
    return {finding: _plain(chance) for finding, chance in chances.items()}


def deciding_size(
    protocol: Protocol | str,
    *,
    chance: float = 0.90,
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
    pd: float | None = None,
    dprime: float | None = None,
    rule: Rule = "first",
    two_sided: bool = False,
) -> int:
    """Assessors needed so that the session decides with probability `chance`.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    chance : float
        Wanted probability of any finding but UNDECIDED.
    alpha, beta, pd_limit
        As in `choice_test`.
    pd, dprime : float
        The truth supposed; give one of the two.
    rule : {'first', 'stable'}
    two_sided : bool
        As in `choice_test`.

    Raises
    ------
    ArgumentError
        As in `panel_size`.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> deciding_size(TRIANGLE, pd=0.0)
    48
    """
    test = check_protocol(protocol, two_sided)
    pc = _one_truth(test, pd, dprime)
    alpha, beta, pd_limit = agreed_risks(alpha, beta, pd_limit)
    tail = as_fraction(alpha) / (2 if two_sided else 1)

    def decides(n: Ints) -> Floats:
        critical = least_count(n, test.guess, tail)
        similar = most_count(n, test.pc_at(pd_limit), beta)
        misses = _up_to(critical - 1, n, pc, two_sided)
        gap = misses - _up_to(similar, n, pc, two_sided)
        return 1 - np.where(similar < critical, gap, 0.0)

    return _search(test, decides, chance, float(tail), beta, pd_limit, rule)


def fair_pass_size(
    protocol: Protocol | str,
    *,
    chance: float = 0.90,
    beta: float = 0.05,
    pd_limit: float = 0.30,
    rule: Rule = "first",
    two_sided: bool = False,
) -> int:
    """Assessors needed so that an unchanged product is found similar with that chance.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    chance : float
    beta, pd_limit, two_sided
        As in `choice_test`.
    rule : {'first', 'stable'}

    Raises
    ------
    ArgumentError
        As in `panel_size`.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> fair_pass_size(TRIANGLE), fair_pass_size(TRIANGLE, rule="stable")
    (54, 58)
    """
    protocol = check_protocol(protocol, two_sided)
    guess = float(protocol.guess)
    at_limit = protocol.pc_at(probability("pd_limit", pd_limit))
    beta = probability("beta", beta)
    tail = (1 - probability("chance", chance)) / (2 if two_sided else 1)

    def passes(n: Ints) -> Floats:
        return _up_to(most_count(n, at_limit, beta), n, guess, two_sided)

    return _search(protocol, passes, chance, tail, beta, pd_limit, rule)


def _up_to(count: Ints, trials: Ints, pc: float, two_sided: bool) -> Floats:
    """Chance of so many correct at most; two-sided, of the commoner choice."""
    within = lower_tail(count, trials, pc)
    if not two_sided:
        return within
    return np.maximum(within - lower_tail(trials - count - 1, trials, pc), 0.0)


def _search(
    protocol: Protocol,
    chance_of: Callable[[Ints], Floats],
    chance: float,
    alpha: float,
    beta: float,
    pd_limit: float,
    rule: Rule,
) -> int:
    wanted, stable = probability("chance", chance), _is_stable(rule)
    last = reach(float(protocol.guess), float(protocol.pc_at(pd_limit)), alpha, beta)
    kept = chance_of(np.arange(1, last + 1)) >= wanted
    refuse_unless(bool(kept[-1]))
    if not stable:
        return int(np.argmax(kept)) + 1
    return int(kept.size - np.argmin(kept[::-1])) + 1 if not kept.all() else 1


def _truth_as_pc(protocol: Protocol, pd: ArrayLike | None, dprime: ArrayLike | None) -> Floats:
    if (pd is None) == (dprime is None):
        raise ArgumentError("give the difference as pd or as dprime, exactly one of the two.")
    if pd is None:
        return protocol.proportion_correct(dprime)  # type: ignore[arg-type]
    guess = float(protocol.guess)
    return np.minimum(guess + (1 - guess) * within("pd", pd, 0.0, 1.0), 1.0)


def _one_truth(protocol: Protocol, pd: float | None, dprime: float | None) -> float:
    pc = _truth_as_pc(protocol, pd, dprime)
    if pc.ndim:
        name = "dprime" if pd is None else "pd"
        raise ArgumentError(f"{name} must be one number, got {pc.size} of them.")
    return float(pc)


def _is_stable(rule: str) -> bool:
    if rule not in ("first", "stable"):
        raise ArgumentError(f"rule must be 'first' or 'stable'; got {rule!r}.")
    return rule == "stable"


def _plain(values: ArrayLike) -> Numbers:
    array = np.asarray(values)
    return array.item() if array.ndim == 0 else array

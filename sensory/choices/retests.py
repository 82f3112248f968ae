"""The plain rule 'taste again if it fails', with its true risk."""

from __future__ import annotations

from dataclasses import dataclass

from ..base.checks import one_count, one_number, probability
from ..base.errors import ArgumentError
from ..base.shown import Shown
from ..models.binomial import lower_tail
from .counts import check_protocol, critical_counts, similar_counts
from .protocols import Protocol


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RetestRisk(Shown):
    """True chances of 'taste again if it fails'; see `retest_risk`.

    Attributes
    ----------
    protocol, trials, tries, pd
        As given.
    passes_once, passes_any : float
        Chance of passing one tasting, and at least one of `tries`.
    """

    protocol: Protocol
    trials: int
    tries: int
    pd: float
    passes_once: float
    passes_any: float


def retest_risk(
    protocol: Protocol | str,
    trials: int,
    *,
    tries: int,
    pd: float,
    passes: str = "not significant",
    alpha: float = 0.05,
    beta: float = 0.05,
    pd_limit: float = 0.30,
) -> RetestRisk:
    """How often a product passes when it may be tasted again after each failure.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    trials : int
        Answers in each tasting.
    tries : int
        Tastings allowed.
    pd : float
        True proportion of distinguishers.
    passes : {'not significant', 'similar'}
        What counts as passing: a difference that is not significant at alpha, which is
        no test of similarity, or similarity shown at beta for pd_limit.
    alpha, beta, pd_limit
        As in `choice_test`.

    Raises
    ------
    ArgumentError
        As in `choice_test`; tries below 1, or another word for `passes`.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> risk = retest_risk(TRIANGLE, 12, tries=3, pd=0.30)
    >>> round(risk.passes_once, 3), round(risk.passes_any, 2)
    (0.735, 0.98)
    """
    protocol = check_protocol(protocol)
    n, times = one_count("trials", trials, at_least=1), one_count("tries", tries, at_least=1)
    pd = one_number("pd", pd, 0.0, 1.0)
    alpha, beta = probability("alpha", alpha), probability("beta", beta)
    pc = float(protocol.pc_at(pd))
    if passes == "not significant":
        critical = critical_counts(protocol, n, alpha)
        once = 1.0 if critical is None else float(lower_tail(critical - 1, n, pc))
    elif passes == "similar":
        similar = similar_counts(protocol, n, beta, pd_limit)
        once = 0.0 if similar is None else float(lower_tail(similar, n, pc))
    else:
        raise ArgumentError(f"passes must be 'not significant' or 'similar'; got {passes!r}.")
    return RetestRisk(
        protocol=protocol,
        trials=n,
        tries=times,
        pd=pd,
        passes_once=once,
        passes_any=1 - (1 - once) ** times,
    )

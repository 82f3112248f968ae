"""The counts that a printed table holds, for any protocol, size and risk.

Exact binomial, one-sided unless said otherwise. Where no count exists, a scalar call
returns None and an array call a masked cell: never 0, never trials + 1.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from ..base.arrays import Bools, Ints, Numbers
from ..base.checks import as_fraction, counts, fitting, levels, probability, truth
from ..base.errors import ArgumentError
from ..models.binomial import least_count, most_count
from .protocols import Protocol, find_protocol


def critical_counts(
    protocol: Protocol | str, trials: ArrayLike, alpha: ArrayLike = 0.05, *, two_sided: bool = False
) -> Numbers:
    """Fewest correct answers at which a difference is significant.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    trials : int or array of int
        Answers counted; broadcast with `alpha`.
    alpha : float or array of float
        Risk of calling a difference where everybody guesses.
    two_sided : bool
        For a paired comparison without an expected direction: the count of the
        commoner choice.

    Returns
    -------
    int, None, or masked integer array
        None or masked where even all correct would not be significant.

    Raises
    ------
    ArgumentError
        For trials below 1 or not whole, alpha outside (0, 1), or a two-sided question
        that the protocol does not have.

    Notes
    -----
    Smallest x with P(X >= x | trials, guess) <= alpha (ISO 4120:2021, ISO 10399:2026
    and ISO 5495:2005 tabulate it; two-sided: twice the tail). Ties are settled in
    rational arithmetic, alpha taken as the decimal that was written.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> critical_counts(TRIANGLE, 24, 0.05)
    13
    >>> critical_counts(TRIANGLE, [2, 3, 30], 0.05)
    masked_array(data=[--, 3, 15],
                 mask=[ True, False, False],
           fill_value=999999)
    """
    test = check_protocol(protocol, two_sided)
    sides = 2 if two_sided else 1
    critical, sizes = _by_level(
        "alpha",
        trials,
        alpha,
        lambda n, level: least_count(n, test.guess, as_fraction(level) / sides),
    )
    return _handed_out(critical, critical > sizes)


def similar_counts(
    protocol: Protocol | str, trials: ArrayLike, beta: ArrayLike = 0.05, pd_limit: float = 0.30
) -> Numbers:
    """Most correct answers at which similarity is shown.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    trials : int or array of int
        Answers counted; broadcast with `beta`.
    beta : float or array of float
        Risk of calling the products similar when a share `pd_limit` distinguishes them.
    pd_limit : float
        The agreed limit: the proportion of distinguishers that would be too many. It
        belongs to this protocol and to no other.

    Returns
    -------
    int, None, or masked integer array
        None or masked where not even 0 correct would show it. A count may lie below
        the number expected from guessing; printed tables often leave those out.

    Raises
    ------
    ArgumentError
        For trials below 1 or not whole, beta or pd_limit outside (0, 1).

    Notes
    -----
    Largest x with P(X <= x | trials, guess + (1 - guess) pd_limit) <= beta
    (after ISO 4120:2021; ISO 5495:2005, Table A.3). The same thing as a one-sided 1 - beta
    upper limit of pd at or below the agreed limit.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> similar_counts(TRIANGLE, 60, 0.05, 0.30)
    25
    """
    test = check_protocol(protocol)
    limit = probability("pd_limit", pd_limit)
    similar, _ = _by_level(
        "beta", trials, beta, lambda n, level: most_count(n, test.pc_at(limit), level)
    )
    return _handed_out(similar, similar < 0)


def beyond_counts(
    protocol: Protocol | str,
    trials: ArrayLike,
    alpha: ArrayLike = 0.05,
    pd_limit: float = 0.30,
    *,
    two_sided: bool = False,
) -> Numbers:
    """Fewest correct answers at which the difference is shown to be larger than the limit.

    Parameters
    ----------
    protocol : Protocol or str
        A name will do, as "triangle".
    trials : int or array of int
        Answers counted; broadcast with `alpha`.
    alpha : float or array of float
        Risk of calling a difference larger than the limit where it lies at the limit.
    pd_limit : float
        The agreed limit, as a proportion of distinguishers in this protocol.
    two_sided : bool
        As in `critical_counts`; each side then has half of alpha.

    Returns
    -------
    int, None, or masked integer array
        None or masked where even all correct would not show it.

    Raises
    ------
    ArgumentError
        As in `critical_counts` and `similar_counts`.

    Notes
    -----
    Smallest x with P(X >= x | trials, guess + (1 - guess) pd_limit) <= alpha: the test of a
    difference with the limit in place of guessing. The same thing as a one-sided 1 - alpha lower
    limit of pd at or above the agreed limit.

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> critical_counts(TRIANGLE, 66), beyond_counts(TRIANGLE, 66)
    (29, 43)
    """
    test = check_protocol(protocol, two_sided)
    limit, sides = probability("pd_limit", pd_limit), 2 if two_sided else 1
    beyond, sizes = _by_level(
        "alpha",
        trials,
        alpha,
        lambda n, level: least_count(n, test.pc_at(limit), as_fraction(level) / sides),
    )
    return _handed_out(beyond, beyond > sizes)


def check_protocol(protocol: Protocol | str, two_sided: bool = False) -> Protocol:
    """The protocol, which may be given by its name.

    Raises ArgumentError for what is no protocol, and for a two-sided question where there is one
    side only.
    """
    if isinstance(protocol, str):
        protocol = find_protocol(protocol)
    if not isinstance(protocol, Protocol):
        raise ArgumentError(
            f"protocol must be one of the protocols, such as TRIANGLE; got {protocol!r}."
        )
    if truth("two_sided", two_sided) and not protocol.reversible:
        raise ArgumentError(
            f"two_sided is not possible for a {protocol.name} test: a correct answer has "
            "one direction only; leave two_sided at False."
        )
    return protocol


def agreed_risks(alpha: float, beta: float, pd_limit: float) -> tuple[float, float, float]:
    """Both risks and the agreed limit, each a number strictly between 0 and 1."""
    alpha, beta = probability("alpha", alpha), probability("beta", beta)
    return alpha, beta, probability("pd_limit", pd_limit)


def _by_level(
    name: str, trials: ArrayLike, level: ArrayLike, count_of: Callable[[Ints, float], Ints]
) -> tuple[Ints, Ints]:
    sizes = counts("trials", trials, at_least=1)
    sizes, risks = fitting(**{"trials": sizes, name: levels(name, level)})
    numbers = np.empty(sizes.shape, np.int64)
    for risk in np.unique(risks):
        cells = risks == risk
        numbers[cells] = count_of(sizes[cells], float(risk))
    return numbers, sizes


def _handed_out(numbers: Ints, missing: Bools) -> Numbers:
    if numbers.ndim == 0:
        return None if bool(missing) else int(numbers)
    return np.ma.masked_array(numbers, mask=missing)

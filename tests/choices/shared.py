"""What several tests of this folder enumerate with."""

from fractions import Fraction
from math import comb

import pytest

from sensory.base.findings import Finding
from sensory.choices.protocols import PROTOCOLS

every_protocol = pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
ALARMS = (Finding.DIFFERENT, Finding.DIFFERENT_WITHIN_LIMIT, Finding.BEYOND_LIMIT)
PASSES = (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT)


def withheld(protocol, n):
    """How many counts from 0 on guessing gives, or fewer, with a chance of 0.001 at most."""
    tails = (chance(n, protocol.guess, range(x + 1)) for x in range(n + 1))
    return sum(tail <= Fraction(1, 1000) for tail in tails)


def chance(n, p, counted):
    """P(X in counted) of a binomial count, in the arithmetic of p."""
    return sum(comb(n, k) * p**k * (1 - p) ** (n - k) for k in counted)

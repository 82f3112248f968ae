"""What several tests of this folder enumerate with."""

from math import comb

import pytest

from sensory.base.findings import Finding
from sensory.choices.protocols import PROTOCOLS

every_protocol = pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
ALARMS = (Finding.DIFFERENT, Finding.DIFFERENT_WITHIN_LIMIT)
PASSES = (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT)


def chance(n, p, counted):
    """P(X in counted) of a binomial count, in the arithmetic of p."""
    return sum(comb(n, k) * p**k * (1 - p) ** (n - k) for k in counted)

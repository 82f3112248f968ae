"""Prints the true levels and the chances of a fair pass."""

import numpy as np
import pytest

from sensory.base.findings import Finding
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import PROTOCOLS
from sensory.choices.risks import session_risks

SIZES = (12, 24, 36, 48, 66, 100)
SESSIONS = 200_000
ALPHA = BETA = 0.05
LIMIT = 0.3


def simulated(protocol, n, pd, wanted):
    """Share of simulated sessions with one of the findings, a share pd distinguishing."""
    rng = np.random.default_rng(77)
    noticing = rng.binomial(n, pd, SESSIONS)
    correct = noticing + rng.binomial(n - noticing, float(protocol.guess))
    found = choice_test(protocol, correct, n, alpha=ALPHA, beta=BETA, pd_limit=LIMIT).finding
    return np.isin(found, wanted).mean()


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_levels(protocol, show):
    different = [Finding.DIFFERENT, Finding.DIFFERENT_WITHIN_LIMIT, Finding.BEYOND_LIMIT]
    similar = [Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT]
    lines = [
        f"{protocol.name}, alpha {ALPHA}, beta {BETA}, limit {LIMIT}; exact (simulated)",
        "   n   false alarm       wrong pass        fair pass         power   "
        "         wrong rejection",
    ]
    for n in SIZES:
        risks = session_risks(protocol, n, alpha=ALPHA, beta=BETA, pd_limit=LIMIT)
        pairs = [
            (risks.false_alarm, simulated(protocol, n, 0, different)),
            (risks.wrong_pass, simulated(protocol, n, LIMIT, similar)),
            (sum(risks.unchanged[each] for each in similar), simulated(protocol, n, 0, similar)),
            (risks.power, simulated(protocol, n, LIMIT, different)),
            (risks.wrong_rejection, simulated(protocol, n, LIMIT, [Finding.BEYOND_LIMIT])),
        ]
        lines.append(f"{n:4}   " + "   ".join(f"{exact:.4f} ({sim:.4f})" for exact, sim in pairs))
        for exact, sim in pairs:
            assert abs(exact - sim) <= 4.5 * np.sqrt(exact * (1 - exact) / SESSIONS) + 1e-12
        assert risks.false_alarm <= ALPHA
        assert risks.wrong_pass <= BETA
        assert risks.wrong_rejection <= ALPHA
    show(*lines)

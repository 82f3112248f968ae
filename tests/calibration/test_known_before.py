"""What the known samples of earlier days do to the risks of a grading.

Three graders who find 0.9 of the samples at the limit and call 0.05 of the good ones out, with 3
spiked samples and 3 controls a day; alpha 0.05, beta 0.1. ``PYTHONPATH=. python
tests/calibration/test_known_before.py`` prints, in % of 20,000 days, by how many days before count:
good batches stopped, batches at the limit passed, good batches left open; and the last two where
one grader finds only 0.5 from this day on, which the days before do not know yet.

===========  =======  ======  ====  ======================  ====================
days before  stopped  passed  open  passed, one has fallen  open, one has fallen
===========  =======  ======  ====  ======================  ====================
0                0.5     2.2   3.4                     3.5                  10.7
2                0.6     2.5   1.7                     7.1                   4.3
5                0.7     2.8   0.5                     9.2                   1.2
10               0.7     2.8   0.1                     9.9                   0.1
30               0.7     2.8   0.0                    10.0                   0.0
===========  =======  ======  ====  ======================  ====================
"""

from __future__ import annotations

from itertools import product

import numpy as np

from sensory.catalogue.grading import GRADING
from sensory.catalogue.kind import KnownTruth
from sensory.catalogue.question import Question

HIT, FALSE, EACH, ALPHA, BETA = 0.9, 0.05, 3, 0.05, 0.1
PATTERNS = np.array(list(product((0, 1), repeat=3)))


def masses(rates):
    """Chance of 0 to 3 votes, (days, 4): every pattern of votes, rates (days, graders)."""
    chances = np.where(PATTERNS, rates[:, None], 1 - rates[:, None]).prod(-1)
    return np.stack([chances[:, PATTERNS.sum(1) == votes].sum(1) for votes in range(4)], 1)


def decisions(hit, false):
    """For 0 to 3 votes whether a batch is stopped, and whether it passes, (days, 4) each."""
    good = masses(false)[:, ::-1].cumsum(1)[:, ::-1]
    bad = masses(hit).cumsum(1)
    fits = (good[:, 1:] <= ALPHA) & (bad[:, :-1] <= BETA)  # 1, 2 or 3 votes stop
    votes = np.where(fits.any(1), 3 - fits[:, ::-1].argmax(1), 0)[:, None]
    alone = good <= ALPHA
    stopped = np.where(votes, np.arange(4) >= votes, alone)
    passed = np.where(votes, np.arange(4) < votes, ~alone & (bad <= BETA))
    return stopped, passed


def counted(days, before, rng, now=HIT):
    """Jeffreys' means of a day's graders, the first of whom finds `now` today."""
    today = np.array([now, HIT, HIT])
    hits = rng.binomial(EACH, today, (days, 3)) + rng.binomial(EACH * before, HIT, (days, 3))
    alarms = rng.binomial(EACH * (before + 1), FALSE, (days, 3))
    total = EACH * (before + 1)
    return (hits + 0.5) / (total + 1), (alarms + 0.5) / (total + 1), hits, alarms


def risks(days, before, rng, now=HIT):
    """Good batches stopped, batches at the limit passed, good batches left open."""
    hit, false, *_ = counted(days, before, rng, now)
    stopped, passed = decisions(hit, false)
    good = masses(np.array([[FALSE] * 3]))
    bad = masses(np.array([[now, HIT, HIT]]))
    shares = (stopped * good, passed * bad, ~(stopped | passed) * good)
    return [float(share.sum(1).mean()) for share in shares]


def test_the_package_decides_as_the_simulation():
    """Some days with 4 before: finding by finding, for 0 to 3 votes."""
    rng = np.random.default_rng(11)
    hit, false, hits, alarms = counted(2, 4, rng)
    stopped, passed = decisions(hit, false)
    question = Question(protocol="GRADING", beta=BETA, settings={"known_days": 91})
    total = EACH * 5
    for day in range(2):
        before = {
            name: KnownTruth(int(hits[day, at]), total - 1, int(alarms[day, at]), total - 1)
            for at, name in enumerate("ABC")
        }
        for votes in range(4):
            rows = [
                {"assessor": name, "sample": sample, "answer": 2 if out else 1}
                for at, name in enumerate("ABC")
                for sample, out in (("blind control 1", 0), ("spiked 1", 0), ("SC-1", at < votes))
            ]
            outcome = GRADING.reads_known(rows, question, before)
            called = outcome.comparisons[0].finding.name
            assert (called == "DIFFERENT", called == "SIMILAR") == (
                stopped[day, votes],
                passed[day, votes],
            )


def test_risks_are_kept_and_fewer_batches_stay_open_with_the_days_before():
    rng = np.random.default_rng(12)
    alone, known = risks(2000, 0, rng), risks(2000, 10, rng)
    assert known[0] <= ALPHA
    assert known[1] <= BETA
    assert known[2] < alone[2] / 2


if __name__ == "__main__":
    for before in (0, 2, 5, 10, 30):
        steady = risks(20_000, before, np.random.default_rng([13, before]))
        fallen = risks(20_000, before, np.random.default_rng([14, before]), now=0.5)
        print(before, *(f"{100 * share:.1f}" for share in (*steady, *fallen[1:])))

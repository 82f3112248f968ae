"""How often limits of the shift between recipes hold it, by pairs of lots.

600 trials each of pairs with 36 answers, level 95 % (`python tests/calibration/test_lots.py`):

    test      pairs   shift, scatter  0, 0   0, 0.7   1, 0   1, 0.4   1, 0.8   2, 0.8
    triangle  2                         100.0   100.0   100.0   100.0   100.0   100.0
    triangle  3                         100.0   100.0   100.0   100.0    99.2    99.2
    triangle  5                         100.0    99.5    98.3    97.3    98.0    96.2
    paired    2                         100.0   100.0   100.0   100.0   100.0   100.0
    paired    3                         100.0    97.0   100.0    99.7    96.8    98.7
    paired    5                          98.7    95.2    98.8    96.8    95.8    97.0
    tetrad    2                         100.0   100.0   100.0   100.0   100.0   100.0
    tetrad    3                         100.0    99.8   100.0    99.7    97.3    97.2
    tetrad    5                         100.0    98.3    98.7    96.0    95.5    96.0
"""

from __future__ import annotations

import numpy as np

from sensory.choices.protocols import PAIRED, TETRAD, TRIANGLE, Protocol
from sensory.models.lot_pairs import Asked, drop_of, lot_limits, table

LEVEL, ANSWERS = 0.95, 36
TRUTHS = ((0.0, 0.0), (0.0, 0.7), (1.0, 0.0), (1.0, 0.4), (1.0, 0.8), (2.0, 0.8))


def share_held(
    protocol: Protocol, pairs: int, shift: float, scatter: float, trials: int, seed: int
) -> float:
    rng, signed = np.random.default_rng(seed), protocol is PAIRED
    asked = Asked(link=protocol.proportion_correct, signed=signed, trials=ANSWERS)
    true = shift + scatter * rng.normal(size=(trials, pairs))
    pc = protocol.proportion_correct(np.abs(true))
    right = rng.binomial(ANSWERS, np.where((true < 0) & signed, 1 - pc, pc))
    surface = table(asked)
    curves = np.array([surface[row].sum(0).max(1) for row in right])
    _, low, high = lot_limits(curves, signed, drop_of(pairs, LEVEL))
    return float(((low <= shift + 1e-9) & (shift <= high)).mean())


def test_limits_of_five_pairs_hold_the_shift():
    assert share_held(PAIRED, 5, 0.0, 0.7, 300, 1) > 0.95 - 3 * (0.95 * 0.05 / 300) ** 0.5


if __name__ == "__main__":
    for protocol in (TRIANGLE, PAIRED, TETRAD):
        for pairs in (2, 3, 5):
            row = [100 * share_held(protocol, pairs, *truth, 600, 1) for truth in TRUTHS]
            print(protocol.name, pairs, [f"{share:.1f}" for share in row], flush=True)

"""How often limits of the mean d-prime over sessions hold it.

Sessions of 30 by triangle, tetrad and duo-trio in turn; their d-primes have a gamma distribution.
With 60 rows each: three sessions 1.000, 0.950, 0.967 at a spread of 0.3, 0.7, 1.0; five 0.967,
0.933, 0.967.
"""

import numpy as np
from scipy.optimize import minimize
from scipy.special import chdtri, logsumexp

from sensory.choices.protocols import DUO_TRIO, TETRAD, TRIANGLE
from sensory.models import joint_dprime as joint

PROTOCOLS = (TRIANGLE, TETRAD, DUO_TRIO)


def drawn(rng, sessions, mean, spread, trials=30):
    protocols = [PROTOCOLS[at % 3] for at in range(sessions)]
    true = rng.gamma((mean / spread) ** 2, spread**2 / mean, sessions)
    pc = [
        protocol.proportion_correct([at])[0] for protocol, at in zip(protocols, true, strict=True)
    ]
    return joint.Counts(
        links=tuple(protocol.proportion_correct for protocol in protocols),
        guesses=np.array([float(protocol.guess) for protocol in protocols]),
        correct=rng.binomial(trials, pc).astype(float),
        trials=np.full(sessions, float(trials)),
    )


def drop_at(counts, mean):
    """How far the log-likelihood falls from its top to the true mean, spread taken out."""

    def height(at, spread):
        points = joint.scattered(at, spread)
        return float(logsumexp(counts.by_session(points) + joint._LOG_WEIGHTS, axis=1).sum())

    best = max(
        -minimize(
            lambda at: -height(at[0], at[1]), [1, s], bounds=[(0, 10), (0, 6)], method="L-BFGS-B"
        ).fun
        for s in (0.05, 0.5)
    )
    return best - joint._inner(lambda spread: height(mean, spread), 6.0)


def row_of(sessions, mean, spread, rows, seed=3):
    rng = np.random.default_rng([seed, sessions])
    drops = np.array([drop_at(drawn(rng, sessions, mean, spread), mean) for _ in range(rows)])
    return float((drops <= chdtri(1, 0.05) / 2).mean())


def table(rows=60):
    yield "sessions mean spread | limits hold"
    for sessions in (3, 5):
        for spread in (0.3, 0.7, 1.0):
            share = row_of(sessions, 1.2, spread, rows)
            yield f"{sessions:5} {1.2:5} {spread:5} | {share:.3f}"


def test_limits_of_the_mean_hold_it(show):
    show(*table())
    assert row_of(3, 1.2, 0.7, 200) > 0.95 - 3 * (0.95 * 0.05 / 200) ** 0.5


if __name__ == "__main__":
    for line in table():
        print(line, flush=True)

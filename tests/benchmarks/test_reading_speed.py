"""Time to read a file of ballots, as a ratio to pandas reading its text; prints, asserts no time.

Measured on two busy cores (process time), each ballot with codes of its own: 49,000 took 9.0 s
row by row, 574 times pandas, and 1.2 s by column, 53 times; a million took 23 s, 78 times.
"""

import io
import random

import pandas as pd
import pytest

from sensory.choices.protocols import TRIANGLE
from sensory.sessions.reading import read_ballots

from .shared import cpu_of


def triangles(rows: int) -> bytes:
    rng = random.Random(1)
    lines = ["assessor,replicate,order,codes,answer"]
    for at in range(rows):
        codes = rng.sample(range(100, 1000), 3)
        order = TRIANGLE.orders[at % len(TRIANGLE.orders)]
        who, times = at % 1000, at // 1000 + 1
        answer = codes[rng.randrange(3)]
        lines.append(f"P{who:03d},{times},{order},{' '.join(map(str, codes))},{answer}")
    return "\n".join([*lines, ""]).encode()


@pytest.mark.parametrize("rows", [49_000, 1_000_000])
@pytest.mark.filterwarnings("ignore::sensory.base.errors.BallotWarning")
def test_reading_beside_pandas(rows):
    content = triangles(rows)
    plain = cpu_of(1, lambda: pd.read_csv(io.BytesIO(content)))
    ours = cpu_of(1, lambda: read_ballots(content, protocol=TRIANGLE))
    assert len(read_ballots(content, protocol=TRIANGLE)) == rows
    print(f"{rows:,} ballots: {ours:.2f} s, {ours / plain:.0f} times pandas")

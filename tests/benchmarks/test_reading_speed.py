"""Time to read a file of ballots, as a ratio to pandas reading its text; prints, asserts no time.

Measured on two busy cores (process time), each ballot with codes of its own: 49,000 took 9.0 s
row by row, 574 times pandas, 0.47 s with lists of cells, 41 times, and 0.09 to 0.11 s cut out of
the bytes, 7 to 8 times; a million took 23 s, now 2.5 to 3.9 s, 13 to 21 times: half of it is the
making of a million texts of codes. With quotes around some cells 15 to 21 and 28 times.
"""

import io
import random

import pandas as pd
import pytest

from sensory.choices.protocols import TRIANGLE
from sensory.sessions.reading import read_ballots

from .shared import cpu_of, told


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
@pytest.mark.parametrize("quoted", [False, True], ids=["plain", "quoted"])
@pytest.mark.filterwarnings("ignore::sensory.base.errors.BallotWarning")
def test_reading_beside_pandas(rows, quoted, capsys):
    content = triangles(rows)
    if quoted:
        content = content.replace(b"P001", b'"P001"')
    plain = cpu_of(3, lambda: pd.read_csv(io.BytesIO(content)))
    ours = cpu_of(2, lambda: read_ballots(content, protocol=TRIANGLE))
    assert len(read_ballots(content, protocol=TRIANGLE)) == rows
    with capsys.disabled():
        told(f"{rows:,} ballots{', quotes' if quoted else ''}", ours, plain, 10)

"""Ballots judged by column are those that the row road gives, with the same faults."""

from __future__ import annotations

import random
import warnings

import pandas as pd
import pytest

from sensory.base.errors import BallotError
from sensory.catalogue.checking import check_rows
from sensory.catalogue.question import Question
from sensory.catalogue.tests import find_kind
from sensory.choices.protocols import PAIRED, TETRAD, THREE_AFC, TRIANGLE, TWO_OUT_OF_FIVE
from sensory.sessions import reading
from sensory.sessions.files import read_cells
from sensory.sessions.reading import ballot_frame, read_ballots

STRANGE = ("", "4l2", " P01 ", "p01", "412 412 9", "412,0", "no", "x", "0", "1001", "2", "AAB")


def table(rng: random.Random, protocol, rows: int, *, spoilt: int, apart: bool) -> bytes:
    """Ballots of one test, some cells of which hold anything."""
    names = [f"code_{at}" for at in range(1, protocol.coded + 1)] if apart else ["codes"]
    lines = [["assessor", "replicate", "order", *names, "answer", "guess", "correct", "comment"]]
    for at in range(rows):
        codes = list(map(str, rng.sample(range(100, 1000), protocol.coded)))
        answer = " ".join(rng.sample(codes, protocol.picks))
        order = rng.choice([o for o in protocol.orders if protocol.right_answers(o, "B")])
        shown = codes if apart else [" ".join(codes)]
        lines.append([f"P{at:02d}", "1", order, *shown, answer, rng.choice(["", "x"]), "", "dry"])
    for _ in range(spoilt):
        line = rng.choice(lines[1:])
        line[rng.randrange(len(line) - 1)] = rng.choice(STRANGE)
    return "\n".join(map(";".join, lines)).encode()


def by_row(content: bytes, protocol) -> tuple[pd.DataFrame, list[str]]:
    raw = read_cells(content)
    checked = check_rows(raw.rows, find_kind(protocol), Question())
    return ballot_frame(checked), [str(fault) for fault in checked.faults]


def by_column(content: bytes, protocol) -> tuple[pd.DataFrame | None, list[str]]:
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            frame = read_ballots(content, protocol=protocol)
        except BallotError as error:
            return None, [str(fault) for fault in error.faults]
    told = str(caught[0].message).splitlines()[1:] if caught else []
    return frame, [line.strip() for line in told]


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(
    "protocol", [TRIANGLE, TETRAD, THREE_AFC, PAIRED, TWO_OUT_OF_FIVE], ids=repr
)
def test_both_roads_give_the_same(protocol, seed):
    rng = random.Random(seed)
    content = table(rng, protocol, 12, spoilt=seed // 2, apart=bool(seed % 2))
    expected, told = by_row(content, protocol)
    frame, noticed = by_column(content, protocol)
    if frame is None:
        assert set(noticed) <= set(told)
        assert noticed
    else:
        assert noticed == told
        pd.testing.assert_frame_equal(frame, expected)


def test_sound_rows_are_not_judged_one_by_one(monkeypatch):
    judged = []
    rows_road = reading.check_rows
    monkeypatch.setattr(
        reading, "check_rows", lambda rows, *more: (judged.extend(rows), rows_road(rows, *more))[1]
    )
    content = table(random.Random(3), TRIANGLE, 40, spoilt=0, apart=False)
    lines = content.split(b"\n")
    lines[7] = lines[7].replace(b";1;", b";one;")
    with pytest.raises(BallotError, match="row 8, column replicate"):
        read_ballots(b"\n".join(lines), protocol=TRIANGLE)
    assert [row.row for row in judged] == [8]

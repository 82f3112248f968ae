"""Ballots of a sample map: names as text, scores as numbers, every fault named."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Floats, Ints, Name
from ..base.errors import BallotError, Fault
from .frames import fault, is_empty, out_of_range, whole_frame
from .names import spellings

NAMES = ("assessor", "sample", "attribute")
OPTIONAL = ("session", "replicate")


@dataclass(frozen=True, slots=True, kw_only=True)
class MapRows:
    """The rows of a map's ballots, scores that are missing included.

    `texts`: by column each different name once, an empty one for a cell without a name.
    `which`: by column the name of each row.
    `score`: a number a row, nan where none was given.
    """

    texts: Mapping[str, list[str]]
    which: Mapping[str, Ints]
    score: Floats

    def named(self, at: int) -> tuple[str, ...]:
        """Assessor, sample and attribute of a row."""
        return tuple(self.texts[name][self.which[name][at]] for name in NAMES)


def map_rows(ballots: object, ends: tuple[float, float] | None) -> MapRows:
    """The scores of a map's ballots with their names as text; BallotError names every fault."""
    ballots = whole_frame("ballots", ballots, "score", (*NAMES, "score"), OPTIONAL)
    names = [name for name in (*OPTIONAL, *NAMES) if name in ballots.columns]
    columns = {name: _texts(ballots[name]) for name in names}
    score = pd.to_numeric(ballots["score"], errors="coerce").to_numpy(dtype=np.float64)
    rows = MapRows(
        texts={name: texts for name, (texts, _) in columns.items()},
        which={name: which for name, (_, which) in columns.items()},
        score=score,
    )
    faults = [*_empty_names(rows), *_no_numbers(rows, ballots["score"]), *_twice(rows)]
    faults += [map_fault(at + 2, "score", *words) for at, *words in out_of_range(score, ends)]
    if faults:
        raise BallotError(sorted(faults, key=lambda fault: fault.row))
    return rows


def _empty_names(rows: MapRows) -> Iterator[Fault]:
    for name in NAMES:
        empty = np.array([not text for text in rows.texts[name]])
        for at in np.flatnonzero(empty[rows.which[name]]):
            yield map_fault(int(at) + 2, name, f"The {name} is missing.", "Fill it in.")


def _no_numbers(rows: MapRows, came: pd.Series) -> Iterator[Fault]:
    """Scores that are there and are no finite number; an empty cell is a gap, not a fault."""
    for at in np.flatnonzero(~np.isfinite(rows.score)):
        if is_empty(came.iloc[at]):
            continue
        who, what, of = rows.named(int(at))
        problem = f"{who} gave {what} in {of} the score {came.iloc[at]!r}, which is no number."
        yield map_fault(int(at) + 2, "score", problem, "Correct it, or empty the cell.")


def _twice(rows: MapRows) -> Iterator[Fault]:
    for at in np.flatnonzero(pd.DataFrame(rows.which).duplicated().to_numpy()):
        who, what, of = rows.named(int(at))
        problem = f"{who} scored {what} in {of} twice in one replicate."
        yield map_fault(int(at) + 2, "score", problem, "Number the replicates, or delete one.")


def _texts(column: pd.Series) -> tuple[list[str], Ints]:
    """The names of a column as text, each looked at once, and which of them each row has."""
    codes, names = pd.factorize(column)
    spelled = spellings(names)
    of_name = [_text(spelled.get(name, "")) for name in names]
    texts = sorted({*of_name, ""})
    place = np.array([texts.index(text) for text in [*of_name, ""]])
    return texts, place[codes]  # a missing name has the code -1


def _text(value: Name) -> str:
    return str(value).strip()


def map_fault(row: int, column: str, problem: str, advice: str) -> Fault:
    """A fault of a map's ballots, by the row of the table."""
    return fault(row, column, "", "missing", problem, advice)

"""Ballots of a sample map: names as text, scores as numbers, every fault named."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from ..base.errors import BallotError, Fault
from .frames import fault, is_empty, out_of_range, whole_frame
from .names import one_spelling

COLUMNS = ("assessor", "sample", "attribute", "score")
OPTIONAL = ("session", "replicate")


def map_rows(ballots: object, ends: tuple[float, float] | None) -> pd.DataFrame:
    """The scores of a map's ballots with their names as text; BallotError names every fault."""
    ballots = whole_frame("ballots", ballots, "score", COLUMNS, OPTIONAL)
    names = [name for name in (*OPTIONAL, *COLUMNS[:3]) if name in ballots.columns]
    rows = pd.DataFrame(
        {name: _texts(one_spelling(ballots[name])) for name in names}
        | {"score": pd.to_numeric(ballots["score"], errors="coerce")}
    ).reset_index(drop=True)
    number = rows["score"].to_numpy(dtype=np.float64)
    faults = [*_empty_names(rows), *_no_numbers(rows, ballots["score"]), *_twice(rows, names)]
    faults += [map_fault(at + 2, "score", *words) for at, *words in out_of_range(number, ends)]
    if faults:
        raise BallotError(sorted(faults, key=lambda fault: fault.row))
    return rows.dropna(subset="score")


def _empty_names(rows: pd.DataFrame) -> Iterator[Fault]:
    for name in COLUMNS[:3]:
        for at in np.flatnonzero(rows[name] == ""):
            yield map_fault(int(at) + 2, name, f"The {name} is missing.", "Fill it in.")


def _no_numbers(rows: pd.DataFrame, came: pd.Series) -> Iterator[Fault]:
    """Scores that are there and are no finite number; an empty cell is a gap, not a fault."""
    for at in np.flatnonzero(~np.isfinite(rows["score"].to_numpy(dtype=np.float64))):
        if is_empty(came.iloc[at]):
            continue
        who, what, of = rows.loc[at, list(COLUMNS[:3])]
        problem = f"{who} gave {what} in {of} the score {came.iloc[at]!r}, which is no number."
        yield map_fault(int(at) + 2, "score", problem, "Correct it, or empty the cell.")


def _twice(rows: pd.DataFrame, names: list[str]) -> Iterator[Fault]:
    for at in np.flatnonzero(rows.duplicated(names).to_numpy()):
        who, what, of = rows.loc[at, list(COLUMNS[:3])]
        problem = f"{who} scored {what} in {of} twice in one replicate."
        yield map_fault(int(at) + 2, "score", problem, "Number the replicates, or delete one.")


def _texts(column: pd.Series) -> pd.Categorical[str]:
    """The names of a column as text, each looked at once."""
    codes, names = pd.factorize(column.astype(object))
    texts = [*map(_text, names), ""]  # a missing name has the code -1
    levels = sorted(set(texts))
    place = np.array([levels.index(text) for text in texts])
    return pd.Categorical.from_codes(place[codes], pd.Index(levels))


def _text(value: object) -> str:
    return "" if is_empty(value) else str(value).strip()


def map_fault(row: int, column: str, problem: str, advice: str) -> Fault:
    """A fault of a map's ballots, by the row of the table."""
    return fault(row, column, "", "missing", problem, advice)

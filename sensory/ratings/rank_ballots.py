"""Ranking ballots: every cell judged, every fault collected, and the design recognised."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from ..base.errors import ArgumentError, BallotError, Fault
from ..base.results import several
from ..models.ranks import midranks
from .frames import fault, is_empty, whole_frame
from .names import alike_notes, one_spelling

COLUMNS = ("assessor", "sample", "rank")
"""Columns that must be there; `session` may be."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RankBallots:
    """Checked ballots of a ranking.

    Attributes
    ----------
    ballots : tuple of (str, str)
        Session and assessor of each row; the session is empty where none was given.
    samples : tuple of str
        Sorted names of the columns.
    ranks : ndarray
        Ballots by samples, NaN where a sample was not served.
    """

    ballots: tuple[tuple[str, str], ...]
    samples: tuple[str, ...]
    ranks: Floats

    @property
    def complete(self) -> bool:
        """Whether every ballot ranks every sample."""
        return not bool(np.isnan(self.ranks).any())

    @property
    def tied(self) -> bool:
        """Whether a ballot gives one rank to several samples."""
        return bool((np.nan_to_num(self.ranks) % 1 != 0).any()) or any(
            np.unique(row[~np.isnan(row)]).size < (~np.isnan(row)).sum() for row in self.ranks
        )

    @property
    def assessors(self) -> int:
        """Number of people."""
        return len({assessor for _, assessor in self.ballots})

    @property
    def notes(self) -> tuple[str, ...]:
        """Assessors who look like one person in several spellings."""
        return alike_notes(dict.fromkeys(assessor for _, assessor in self.ballots))


def read_ranks(ballots: object) -> RankBallots:
    """The ballots as an array of ranks, or one error that lists every fault.

    Parameters
    ----------
    ballots : DataFrame
        Columns `assessor`, `sample`, `rank`, and `session` where there are several.

    Raises ArgumentError for something else than a frame, missing columns, one assessor, one sample,
    or an incomplete design that is not balanced. BallotError for missing or impossible cells, a
    sample ranked twice, or ranks that are neither 1 to k nor midranks of ties.
    """
    rows = _rows(ballots)
    faults, cells = _cells(rows)
    for (session, assessor), given in cells.items():
        faults += _not_ranks(session, assessor, given)
    if faults:
        raise BallotError(faults)
    names = tuple(sorted({sample for given in cells.values() for sample in given}))
    if len(names) < 2:
        raise ArgumentError(f"a ranking needs two samples or more; got only {names[0]}.")
    if len({assessor for _, assessor in cells}) < 2:
        raise ArgumentError(
            "a ranking needs two assessors or more; got only "
            f"{next(iter(cells))[1]}. One person's ranking says nothing about a panel."
        )
    keys = tuple(sorted(cells))
    ranks = np.array([[cells[key].get(name, np.nan) for name in names] for key in keys])
    checked = RankBallots(ballots=keys, samples=names, ranks=ranks)
    _check_design(checked)
    return checked


def _rows(ballots: object) -> pd.DataFrame:
    frame = whole_frame("ballots", ballots, "rank", COLUMNS, ("session",))
    if "session" not in frame:
        frame = frame.assign(session="")
    names = ("session", *COLUMNS[:2])
    spelled = {name: one_spelling(frame[name]) for name in names}
    return frame[["session", *COLUMNS]].assign(**spelled)


def _cells(rows: pd.DataFrame) -> tuple[list[Fault], dict[tuple[str, str], dict[str, float]]]:
    """Faults of single cells, and the ranks by ballot and sample."""
    faults: list[Fault] = []
    cells: dict[tuple[str, str], dict[str, float]] = {}
    plain = rows.itertuples(index=False, name=None)
    for number, (session, assessor, sample, rank) in enumerate(plain, start=2):
        empty = [
            name for name, value in (("assessor", assessor), ("sample", sample)) if is_empty(value)
        ]
        if empty:
            faults.append(fault(number, empty[0], "", "empty", f"The {empty[0]} is missing."))
            continue
        who, what = str(assessor).strip(), str(sample).strip()
        given = cells.setdefault(("" if is_empty(session) else str(session).strip(), who), {})
        value = _number(rank)
        if value is None:
            shown = "no rank" if is_empty(rank) else f"{rank!r} as a rank"
            problem = f"{who} gave sample {what} {shown}."
            faults.append(fault(number, "rank", str(rank), "rank", problem, "Ranks are numbers."))
        elif what in given:
            problem = f"{who} ranked sample {what} twice."
            advice = "Delete the one that does not count, or name the sessions."
            faults.append(fault(number, "sample", what, "twice", problem, advice))
        given.setdefault(what, float("nan") if value is None else value)
    return faults, cells


def _not_ranks(session: str, assessor: str, given: dict[str, float]) -> list[Fault]:
    """A fault where the numbers of a ballot are not its own midranks."""
    values = np.array(list(given.values()))
    if np.isnan(values).any():
        return []  # named already
    where = f" in session {session}" if session else ""
    if values.size < 2:
        problem = f"{assessor} ranked only one sample{where}."
        return [fault(0, "rank", "", "too few", problem, "Leave this ballot out.")]
    wanted = midranks(values)
    if np.array_equal(values, wanted):
        return []
    came, right = (", ".join(f"{x:g}" for x in row) for row in (values, wanted))
    problem = f"The ranks of {assessor}{where} are {came}: not 1 to {values.size}."
    advice = f"In this order of samples they should be {right}; tied samples share the mean rank."
    return [fault(0, "rank", came, "not ranks", problem, advice)]


def _check_design(ballots: RankBallots) -> None:
    """Every sample in every ballot, or every pair of samples together equally often."""
    if ballots.complete:
        return
    served = ~np.isnan(ballots.ranks)
    together = served.T.astype(int) @ served.astype(int)
    size, times = served.sum(1), np.diag(together)
    pairs = [together[i, j] for i, j in combinations(range(len(ballots.samples)), 2)]
    if np.ptp(size) == 0 and np.ptp(times) == 0 and np.ptp(pairs) == 0:
        return
    advice = (
        "Leave out the ballots that do not rank all samples, or serve a balanced incomplete "
        "block design (ISO 29842)."
    )
    if np.ptp(size):
        short = int(np.argmin(size))
        gone = [ballots.samples[j] for j in np.flatnonzero(~served[short])]
        raise ArgumentError(
            f"{ballots.ballots[short][1]} ranked {several(int(size[short]), 'sample')}, without "
            f"{', '.join(gone)}, and others ranked {size.max()}: ballots of different length "
            f"cannot be added. {advice}"
        )
    raise ArgumentError(
        f"the incomplete design is not balanced: samples were served {times.min()} to "
        f"{times.max()} times, pairs of samples together {min(pairs)} to {max(pairs)} times; "
        f"both must be constant. {advice}"
    )


def _number(value: object) -> float | None:
    """The rank, rounded to 10 decimals so that noise breaks no tie; None where there is none."""
    if is_empty(value) or isinstance(value, (bool, np.bool_)):
        return None
    try:
        number = round(float(value), 10)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    return number if np.isfinite(number) else None

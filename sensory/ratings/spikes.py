"""Spiked samples: does an assessor find a fault that was put in, and only then?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from ..base.checks import probability
from ..base.errors import ArgumentError, BallotError
from ..base.results import several
from ..base.shown import Shown
from ..models.binomial import clopper_pearson
from .frames import KeptTable, fault, is_empty, rows_of_file, whole_frame
from .names import alike_notes, one_spelling

_TRUTHS = ("spiked", "found")
_NEEDED = ("assessor", *_TRUTHS)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpikedSamples(Shown):
    """Result of `spiked_samples`: tidy tables, handed out as copies.

    Attributes
    ----------
    level : float
        Of the limits.
    dropped : int
        Rows without an answer, left out.
    assessors : DataFrame
        One row an assessor: ``assessor hits spiked hit_rate hit_low hit_high false_alarms
        blind false_rate false_low false_high p``.
    faults : DataFrame
        One row an assessor and fault: ``assessor fault hits spiked hit_rate hit_low
        hit_high``; empty without the column ``fault``.
    """

    level: float
    dropped: int
    _tables: Mapping[str, pd.DataFrame]

    assessors = KeptTable()
    faults = KeptTable()

    @property
    def notes(self) -> tuple[str, ...]:
        """Assessors who look like one person in several spellings."""
        return alike_notes(self._tables["assessors"]["assessor"])

    def __repr__(self) -> str:
        table = self._tables["assessors"]
        return (
            f"<SpikedSamples: {several(len(table), 'assessor')}, {table['hits'].sum()} of "
            f"{table['spiked'].sum()} spiked found, {table['false_alarms'].sum()} of "
            f"{table['blind'].sum()} blind duplicates called faulty>"
        )

    def _repr_html_(self) -> str:
        return self._tables["assessors"].to_html(index=False)


def spiked_samples(answers: pd.DataFrame, *, level: float = 0.95) -> SpikedSamples:
    """How often does each assessor find a spiked sample, and call a blind duplicate faulty?

    Parameters
    ----------
    answers : DataFrame
        One answer a row: ``assessor``, ``spiked`` (True where a fault was put in, False for
        a blind duplicate of the reference), ``found`` (True where the assessor reported a
        fault or a difference), optional ``fault``, the name of what was put in. Truth values
        or 0 and 1. Rows without an answer are dropped and counted.
    level : float
        Of the two-sided exact limits (Clopper and Pearson), each rate by itself.

    Raises
    ------
    ArgumentError
        No table, a missing column, nothing answered.
    BallotError
        Every cell that is neither true nor false, or names no assessor.

    Notes
    -----
    `p` is one-sided: the chance of so many hits, given how often the assessor said 'found',
    were spiked samples and blind duplicates alike to him or her (Fisher's exact test).
    A hit rate alone says nothing: who always says 'found' has hit rate 1. Ten trials are
    few: 6 of 10 has 95 % limits of 0.26 to 0.88.

    Exact coverage of 95 % limits with 4, 10, 20 and 40 trials, rates from 0 to 1: 97.6, 96.2, 95.8
    and 95.2 % at the least, 99.2, 98.4, 97.7 and 97.1 % on average
    (`tests/calibration/test_spike_limits.py`).

    Examples
    --------
    >>> answers = pd.DataFrame({
    ...     "assessor": ["Ada"] * 8 + ["Bo"] * 8, "spiked": [1, 1, 1, 1, 0, 0, 0, 0] * 2,
    ...     "found": [1, 1, 1, 1, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 0]})
    >>> result = spiked_samples(answers)
    >>> result.assessors[["assessor", "hits", "false_alarms", "hit_low", "p"]].round(3)
      assessor  hits  false_alarms  hit_low      p
    0      Ada     4             0    0.398  0.014
    1       Bo     4             3    0.398  0.500
    """
    level = probability("level", level)
    frame, dropped = _checked(answers)
    tables = {"assessors": _rates(frame, level), "faults": _by_fault(frame, level)}
    return SpikedSamples(level=level, dropped=dropped, _tables=MappingProxyType(tables))


def _checked(answers: object) -> tuple[pd.DataFrame, int]:
    answers = whole_frame("answers", answers, "answer", _NEEDED, ("fault",))
    kept = [*_NEEDED, *(["fault"] if "fault" in answers else [])]
    frame, rows = answers[kept].reset_index(drop=True), rows_of_file(answers)
    frame = frame.assign(
        **{name: one_spelling(frame[name]) for name in kept if name not in _TRUTHS}
    )
    wrong = [
        fault(
            rows[place],
            column,
            cell,
            "truth",
            f"{cell!r} is neither true nor false.",
            "Give True or False, or 1 or 0.",
        )
        for column in _TRUTHS
        for place, cell in enumerate(frame[column])
        if not (pd.isna(cell) and column == "found") and not _is_truth(cell)
    ]
    wrong += [
        fault(
            rows[place],
            "assessor",
            name,
            "name",
            "The assessor is left empty.",
            "Name the assessor.",
        )
        for place, name in enumerate(frame["assessor"])
        if is_empty(name)
    ]
    if wrong:
        raise BallotError(sorted(wrong, key=lambda fault: (fault.row, fault.column)))
    answered = frame["found"].notna().to_numpy()
    if not answered.any():
        raise ArgumentError("answers hold no answer at all; every cell of found is empty.")
    there = frame[answered].astype({"spiked": bool, "found": bool})
    return there.reset_index(drop=True), int((~answered).sum())


def _is_truth(cell: object) -> bool:
    if isinstance(cell, (bool, np.bool_)):
        return True
    return isinstance(cell, (int, float, np.integer, np.floating)) and float(cell) in (0.0, 1.0)


def _rates(frame: pd.DataFrame, level: float) -> pd.DataFrame:
    each = pd.DataFrame(
        {
            "assessor": frame["assessor"],
            "hits": frame["spiked"] & frame["found"],
            "spiked": frame["spiked"],
            "false_alarms": ~frame["spiked"] & frame["found"],
            "blind": ~frame["spiked"],
        }
    )
    counts = each.groupby("assessor", observed=True).sum().astype(np.int64)
    table = _with_limits(counts.reset_index(), "hit", "hits", "spiked", level)
    table = _with_limits(table, "false", "false_alarms", "blind", level)
    yes = table["hits"] + table["false_alarms"]
    total = table["spiked"] + table["blind"]
    from scipy.stats import hypergeom  # loads for seconds

    p = hypergeom.sf(table["hits"] - 1, total, table["spiked"], yes)
    p = np.where((table["spiked"] > 0) & (table["blind"] > 0), p, np.nan)
    order = ["assessor", "hits", "spiked", "hit_rate", "hit_low", "hit_high"]
    order += ["false_alarms", "blind", "false_rate", "false_low", "false_high"]
    return table[order].assign(p=p)


def _by_fault(frame: pd.DataFrame, level: float) -> pd.DataFrame:
    names = ["assessor", "fault", "hits", "spiked", "hit_rate", "hit_low", "hit_high"]
    if "fault" not in frame:
        return pd.DataFrame(columns=names)
    spiked = frame[frame["spiked"]]
    by = spiked.groupby(["assessor", "fault"], observed=True)["found"]
    table = by.agg(hits="sum", spiked="size").astype(np.int64).reset_index()
    return _with_limits(table, "hit", "hits", "spiked", level)[names]


def _with_limits(
    table: pd.DataFrame, name: str, correct: str, trials: str, level: float
) -> pd.DataFrame:
    """Rate and exact limits; NaN where there was no trial."""
    count, of = table[correct].to_numpy(), table[trials].to_numpy()
    low, high = clopper_pearson(count, np.maximum(of, 1), level)
    tried = of > 0
    return table.assign(
        **{
            f"{name}_rate": np.where(tried, count / np.maximum(of, 1), np.nan),
            f"{name}_low": np.where(tried, low, np.nan),
            f"{name}_high": np.where(tried, high, np.nan),
        }
    )

"""Graders at the line over days: what each finds and calls out in vain, month by month, and drift.

Why so
------
One grading holds a few samples of a known truth, which say little of anybody; the months add up,
since closing keeps the counts of each grader. Drift is a change against the grader's own earlier
days, in Fisher's exact test, so that somebody who always missed much is not called drifting, and
the chance that anybody at all is named without cause in a year of looks is under control: `alpha`
is divided by the looks and by the two kinds of drift, and Holm divides it among graders.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from ..base.checks import one_count, probability
from ..base.results import Table, p_digits, several
from ..base.shown import Told
from ..base.spelling import same_person
from ..choices.two_by_two import by_assessor_one_sided
from ..models.binomial import clopper_pearson
from ..models.multiplicity import holm
from ..ratings.frames import KeptTable
from ..sessions.sitting import Sitting

_COUNTS = ("hits", "spiked", "false_alarms", "controls")
_KINDS = (("hits", "spiked", "finds fewer"), ("false_alarms", "controls", "more false alarms"))
ALIKE = (
    "A change that all graders share may lie in the samples: spiked ones of another strength, or "
    "controls that were not good."
)
STEADY = "Who is not named is not shown to be steady: few known samples show large changes only."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class GraderMonths(Told):
    """Result of `grader_months`: tidy tables, handed out as copies.

    Attributes
    ----------
    alpha, level, looks
        As given.
    since : str
        First day of those that are compared with the ones before; empty without a grading.
    sessions : int
        Gradings with samples of a known truth.
    months : DataFrame
        ``grader month hits spiked hit_rate hit_low hit_high false_alarms controls false_rate
        false_low false_high``; rates are missing without such samples.
    graders : DataFrame
        The same of all months together, without ``month``.
    signals : DataFrame
        ``grader change before lately p p_adjusted named``: every comparison, named where
        `p_adjusted` is at most the share of `alpha` of one look and one kind.
    """

    alpha: float
    level: float
    looks: int
    since: str
    sessions: int
    _tables: Mapping[str, pd.DataFrame]

    months = KeptTable()
    graders = KeptTable()
    signals = KeptTable()

    def says(self) -> tuple[str, ...]:
        """A sentence for each drift that is named; else that there is none."""
        named = [row for row in self._tables["signals"].to_dict("records") if row["named"]]
        return tuple(
            f"{row['grader']} {_WORDS[row['change']]} since {self.since}: {row['lately']}, "
            f"{row['before']} before (p {p_digits(row['p'])})."
            for row in named
        )

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What these gradings do not answer, a sentence each."""
        return ALIKE, STEADY

    def summary(self) -> Table:
        """One row a grader."""
        columns = ("grader", *_COUNTS)
        rows = self._tables["graders"][list(columns)]
        return Table(columns=columns, rows=tuple(map(tuple, rows.to_numpy().tolist())))

    def __repr__(self) -> str:
        many, named = len(self._tables["graders"]), int(self._tables["signals"]["named"].sum())
        return f"<GraderMonths: {several(many, 'grader')}, {several(named, 'signal')}>"


_WORDS = {
    "finds fewer": "finds fewer spiked samples",
    "more false alarms": "calls more controls out",
}


def grader_months(
    sittings: Iterable[Sitting],
    *,
    lately: int = 91,
    alpha: float = 0.05,
    looks: int = 12,
    level: float = 0.95,
) -> GraderMonths:
    """What do graders find and call out in vain, month by month, and who drifts?

    Parameters
    ----------
    sittings : iterable of Sitting
        Those of other tests are left out.
    lately : int
        Days up to the last grading that are compared with all days before.
    alpha : float
        Chance that in `looks` looks anybody is named without cause.
    looks : int
        How often a year the graders are looked at.
    level : float
        Of the limits of rates, exact (Clopper and Pearson).

    Raises
    ------
    ArgumentError
        For impossible numbers.

    Notes
    -----
    Limits of 12, 24 and 48 samples held a rate of 0.02 to 0.98 in 95.2 to 99.6 % (every count
    enumerated). Of 20,000 years of three sound graders, looked at monthly, anybody was named in
    0.4, 0.8 and 1.3 % with 8, 16 and 32 known samples of each kind a month, where the rule allows
    5 %. Who found 0.9 and finds 0.7 from month 7 on was named by month 12 in 15, 47 and 90 % of
    4,000 years, who finds 0.5 in 75, 99 and 100 % (`tests/calibration/test_line_graders.py`).

    Examples
    --------
    >>> past = [Sitting(session=str(n), held_on=f"2026-0{n}-10", test="GRADING",
    ...                 assessors=("Ada",), came=("came",), hits=(20 if n < 6 else 5,),
    ...                 spiked=(20,), false_alarms=(1,), controls=(20,)) for n in (1, 2, 3, 6)]
    >>> grader_months(past).says()
    ('Ada finds fewer spiked samples since 2026-03-12: 5 of 20, 60 of 60 before (p < 0.001).',)
    """
    alpha, level = probability("alpha", alpha), probability("level", level)
    days = one_count("lately", lately, at_least=1)
    share = alpha / one_count("looks", looks, at_least=1) / len(_KINDS)
    chosen = sorted((each for each in sittings if each.spiked), key=lambda each: each.held_on)
    frame = _counted(chosen)
    since = ""
    if chosen:
        last = date.fromisoformat(chosen[-1].held_on)
        since = (last - timedelta(days=days - 1)).isoformat()
    together = frame.groupby("grader", sort=False)[list(_COUNTS)].sum().reset_index()
    by_month = frame.assign(month=frame["held_on"].str[:7])
    by_month = by_month.groupby(["grader", "month"], sort=False)[list(_COUNTS)].sum().reset_index()
    tables = {
        "months": _with_rates(by_month, level),
        "graders": _with_rates(together, level),
        "signals": _signals(frame, since, share),
    }
    return GraderMonths(
        alpha=alpha,
        level=level,
        looks=looks,
        since=since,
        sessions=len(chosen),
        _tables=MappingProxyType(tables),
    )


def _counted(sittings: Sequence[Sitting]) -> pd.DataFrame:
    """A row a grader and grading, people in the spelling of their latest one."""
    latest = {same_person(name): name for each in sittings for name in each.assessors}
    rows = [
        (latest[same_person(name)], each.held_on, *counts)
        for each in sittings
        for name, *counts in zip(
            each.assessors, each.hits, each.spiked, each.false_alarms, each.controls, strict=True
        )
        if counts[1] or counts[3]
    ]
    return pd.DataFrame(rows, columns=["grader", "held_on", *_COUNTS])


def _with_rates(frame: pd.DataFrame, level: float) -> pd.DataFrame:
    """The counts, each pair of them followed by its rate with exact limits."""
    columns: dict[str, Any] = {str(name): frame[name] for name in frame if name not in _COUNTS}
    for key, part, whole in (("hit", "hits", "spiked"), ("false", "false_alarms", "controls")):
        counts, totals = frame[part].to_numpy(int), frame[whole].to_numpy(int)
        low, high = clopper_pearson(counts, np.maximum(totals, 1), level)
        rate = counts / np.maximum(totals, 1)
        columns |= {part: frame[part], whole: frame[whole]}
        for name, values in (("rate", rate), ("low", low), ("high", high)):
            columns[f"{key}_{name}"] = np.where(totals > 0, values, np.nan)
    return pd.DataFrame(columns)


def _signals(frame: pd.DataFrame, since: str, share: float) -> pd.DataFrame:
    columns = ["grader", "change", "before", "lately", "p", "p_adjusted", "named"]
    parts = []
    for part, whole, change in _KINDS:
        rows = list(_compared(frame, since, part, whole, change))
        adjusted = np.minimum(holm([row[-1] for row in rows]), 1.0) if rows else ()
        parts += [(*row, float(p), bool(p <= share)) for row, p in zip(rows, adjusted, strict=True)]
    return pd.DataFrame(parts, columns=columns)


def _compared(
    frame: pd.DataFrame, since: str, part: str, whole: str, change: str
) -> Iterator[tuple[str, str, str, str, float]]:
    """Each grader of before and of late: Fisher's exact test, one-sided for the worse."""
    for grader, own in frame.groupby("grader", sort=False):
        is_late = own["held_on"] >= since
        late, old = own[is_late], own[~is_late]
        now, of_now = int(late[part].sum()), int(late[whole].sum())
        then, of_then = int(old[part].sum()), int(old[whole].sum())
        if of_now and of_then:
            worse = [then, of_then, now, of_now] if part == "hits" else [now, of_now, then, of_then]
            p = by_assessor_one_sided(np.array([worse]))
            yield str(grader), change, f"{then} of {of_then}", f"{now} of {of_now}", p

"""Has a defect's rate risen? The batches of late against those before, after every day of grading.

[1] Fisher, R.A. (1935). The logic of inductive inference. J. R. Stat. Soc. 98, 39-82: the exact
    test of two shares, given how often the defect was named in all. (From memory.)

Why so
------
A rate's own history is short, and a limit from an estimated rate would raise false alarms at a
rate that nobody knows. Given how many batches have the defect in all, every order of them is
equally likely as long as the rate is one and the same: so the tail of the hypergeometric
distribution is exact, whatever the rate is. Who opens the page looks after every grading, so each
day of grading is a look, and `alpha` is divided by the looks of a year and by the defects that were
named by then (Bonferroni: it holds although the looks share batches).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from ..base.arrays import Ints
from ..base.checks import one_count, probability
from ..base.results import p_digits
from ..models.binomial import hypergeometric_tail
from .batch_records import BatchRecord, Tasting
from .defect_months import latest_gradings

ALPHA, LOOKS, LATELY = 0.05, 250, 28
"""Chance of a false alarm in a year of so many days of grading; days that count as late."""
Graded = tuple[BatchRecord, Tasting]
Pair = tuple[Ints, Ints]
LIMITS_OF_RATES = (
    "More batches named is no more than that: graders who grow keener, or a word that comes into "
    "use, raise a rate as well. Their false alarms stand on the page Panel.",
    "Batches count as independent: those of one lot or one hour share a fault, and a rise then is "
    "named without cause more often than stated.",
    "A rise over many months hides in its own history; a defect that is not named is not shown to "
    "be rare.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DefectRise:
    """A defect that is named in more batches of late than before.

    Attributes
    ----------
    defect : str
    batch, newest : str
        First and latest batch with it among those of late; the first is that of the day on which
        the rise was first seen, so that it stays while the rise goes on.
    line, held_on : str
        Line of production and day of grading of `batch`.
    since : str
        First day that counts as late now, ISO 8601.
    lately, graded, before, graded_before : int
        Batches in which it was named, and graded ones, of late and before.
    p : float
        Exact, one-sided, of this defect and this look alone.
    """

    defect: str
    batch: str
    newest: str
    line: str
    held_on: str
    since: str
    lately: int
    graded: int
    before: int
    graded_before: int
    p: float

    @property
    def words(self) -> str:
        """The rise without its numbers, which move with every batch that is graded."""
        return f"'{self.defect}' is named in more batches than before"

    @property
    def numbers(self) -> str:
        """How many batches, of late and before."""
        since = date.fromisoformat(self.since)
        return (
            f"{self.lately} of {self.graded} graded since {since.day} {since:%B %Y}, "
            f"{self.before} of {self.graded_before} before (p {p_digits(self.p)})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class DefectRises:
    """Result of `defect_rises`.

    `rises`: defects whose rate has risen, the least likely by chance first.
    `since`: first day that counts as late; empty without a grading.
    `compared`: whether anything was graded before it.
    `alpha`, `looks`: as given.
    """

    rises: tuple[DefectRise, ...]
    since: str
    compared: bool
    alpha: float
    looks: int


def defect_rises(
    records: Sequence[BatchRecord],
    *,
    lately: int = LATELY,
    alpha: float = ALPHA,
    looks: int = LOOKS,
) -> DefectRises:
    """Which defects are named in more batches of late than in those before?

    Parameters
    ----------
    records : sequence of BatchRecord
        Of one product. A batch counts once, on the day of its latest grading, with the defects
        that one grader at the least named.
    lately : int
        Days up to the last grading that are compared with all before.
    alpha : float
        Chance, at most, that in `looks` days of grading any defect is named although no rate
        changed.
    looks : int
        Days of grading a year.

    Raises
    ------
    ArgumentError
        For impossible numbers.

    Notes
    -----
    Looks share batches, so that false alarms are rarer than the bound: with three defects and 5, 10
    and 20 batches a day anything was named in 0.4, 0.9 and 1.0 % of 2,000 years without a change.
    A rate that rose from 0.03 to 0.09 was named within 20 days of grading in 13, 39 and 87 % of
    1,000 years, to 0.15 in 68, 98 and 100 % (`tests/calibration/test_defect_rates.py`).

    Examples
    --------
    >>> defect_rises([]).rises
    ()
    """
    share = probability("alpha", alpha) / one_count("looks", looks, at_least=1)
    span = one_count("lately", lately, at_least=1)
    graded = sorted(latest_gradings(records), key=lambda each: each[1].held_on)
    ends = np.unique(_days(graded))
    everything = _counted(_days(graded), ends, span)
    named = {name: None for _, tasting in graded for name in tasting.defects}
    parts = {name: [each for each in graded if name in each[1].defects] for name in named}
    counts = {name: _counted(_days(part), ends, span) for name, part in parts.items()}
    seen = np.maximum(sum(late + before > 0 for late, before in counts.values()), 1)
    rises = []
    for name, part in parts.items():
        late, before = counts[name]
        p = hypergeometric_tail(late, everything[0], late + before, sum(everything))
        risen = p * seen <= share
        if risen[-1]:
            first = len(risen) - int(np.argmin(risen[::-1])) if not risen.all() else 0
            begins = int(ends[first]) - span + 1
            rises.append(
                _rise(name, part, begins, int(ends[-1]) - span + 1, everything, float(p[-1]))
            )
    return DefectRises(
        rises=tuple(sorted(rises, key=lambda rise: rise.p)),
        since=date.fromordinal(int(ends[-1]) - span + 1).isoformat() if graded else "",
        compared=bool(graded) and bool(everything[1][-1]),
        alpha=alpha,
        looks=looks,
    )


def _days(graded: Sequence[Graded]) -> Ints:
    return np.array([date.fromisoformat(each.held_on).toordinal() for _, each in graded], int)


def _counted(days: Ints, ends: Ints, span: int) -> tuple[Ints, Ints]:
    """At each of these ends: how many of the days are among the last `span`, and before them."""
    before = np.searchsorted(days, ends - span, side="right")
    return np.searchsorted(days, ends, side="right") - before, before


def _rise(
    name: str, part: Sequence[Graded], first: int, since: int, everything: Pair, p: float
) -> DefectRise:
    """`first`: where the late days of the look began at which the rise was first seen."""
    days = _days(part)
    record, tasting = part[int(np.searchsorted(days, first))]
    before = int(np.searchsorted(days, since))
    return DefectRise(
        defect=name,
        batch=record.name,
        newest=part[-1][0].name,
        line=record.batch.line,
        held_on=tasting.held_on,
        since=date.fromordinal(since).isoformat(),
        lately=len(part) - before,
        graded=int(everything[0][-1]),
        before=before,
        graded_before=int(everything[1][-1]),
        p=p,
    )

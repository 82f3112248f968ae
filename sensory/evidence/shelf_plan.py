"""Storage trials: when samples are put away, taken out and tasted, and how many there are.

Basic and reversed design after ISO 16779 (from memory, not from its text).

Why so
------
Steps between storage times get shorter towards the expected end, where the answer lies, and the
last time lies a quarter beyond it, since an end that nobody has tasted is none. No sample is
planned to be tasted after food safety's date, so that it is asked first here too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from ..base.checks import one_count, one_number
from ..base.errors import ArgumentError
from ..base.results import Table, several
from ..base.shown import Shown
from .shelf_life import MOST_DAYS, day_of, in_words

BASIC, REVERSED = "basic", "reversed"
BEYOND, CLOSER = 1.25, 0.75
FEWEST_TIMES, MOST_TIMES = 3, 20


@dataclass(frozen=True, slots=True, kw_only=True)
class StorageTime:
    """One storage time: days, when it is put away, and when it is taken out and tasted."""

    days: int
    put_away: date
    pulled: date


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class StoragePlan(Shown):
    """Result of `storage_plan`.

    Attributes
    ----------
    design, start, safety_date, expected_days
        As given.
    times : tuple of StorageTime
        By days of storage.
    stored, references : int
        Portions of the stored product (time 0 included) and of the reference, spares included.
    remarks : tuple of str
    """

    design: str
    start: date
    safety_date: date
    expected_days: int
    assessors: int
    portions: int
    times: tuple[StorageTime, ...]
    stored: int
    references: int
    remarks: tuple[str, ...]

    @property
    def sessions(self) -> tuple[date, ...]:
        """The days on which people taste."""
        return tuple(sorted({time.pulled for time in self.times}))

    def says(self) -> tuple[str, ...]:
        """The plan in words."""
        times = several(len(self.times), "storage time")
        first, last = self.sessions[0], self.sessions[-1]
        if self.design == BASIC:
            how = (
                f"Basic design: one batch is stored from {in_words(self.start)} and tasted at "
                f"{times} against a reference that is fresh, or kept as when fresh, from "
                f"{in_words(first)} to {in_words(last)}."
            )
        else:
            how = (
                f"Reversed design: samples of one batch, kept unchanged until then, are put into "
                f"storage on {several(len({t.put_away for t in self.times}), 'day')} and all "
                f"tasted on {in_words(last)}."
            )
        much = f"{self.stored} portions of the product and {self.references} of the reference"
        return (how, f"It takes {much}, with 10 % to spare.", *self.remarks)

    def summary(self) -> Table:
        """One row a storage time."""
        rows = tuple(
            (time.days, time.put_away.isoformat(), time.pulled.isoformat(), self._of_a_time())
            for time in self.times
        )
        return Table(columns=("days", "put away", "taken out and tasted", "portions"), rows=rows)

    def _of_a_time(self) -> int:
        return _with_spare(self.assessors * self.portions)

    def __repr__(self) -> str:
        return (
            f"<StoragePlan: {self.design}, {several(len(self.times), 'storage time')}, last tasted "
            f"{self.sessions[-1].isoformat()}>"
        )


def storage_plan(
    design: str = BASIC,
    *,
    safety_date: object,
    start: object,
    expected_days: int,
    assessors: int,
    times: int = 7,
    portions: int = 1,
) -> StoragePlan:
    """On which days are samples put away, taken out and tasted, and how many samples are there?

    Parameters
    ----------
    design : {"basic", "reversed"}
        One batch tasted again and again as it ages; or samples put away at different times and
        all tasted in one session.
    safety_date : date or text
        Until when food safety allows a product made at `start` to be eaten; nothing older is
        planned.
    start : date or text
        The first day on which samples are put away.
    expected_days : int
        Expected sensory shelf life; a quarter more is stored.
    assessors : int
        Or consumers, at each tasting.
    times : int
        Storage times, time 0 among them; fewer where days would coincide.
    portions : int
        Of the stored product for each person and storage time.

    Raises
    ------
    ArgumentError
        Dates that cannot be; numbers out of range; less than three days before food safety's date.

    Examples
    --------
    >>> plan = storage_plan("reversed", safety_date="2027-06-30", start="2026-11-30",
    ...                     expected_days=90, assessors=10)
    >>> [time.days for time in plan.times]
    [0, 29, 49, 67, 83, 98, 112]
    >>> print(plan.says()[0])
    Reversed design: samples of one batch, kept unchanged until then, are put into storage on \
7 days and all tasted on 22 March 2027.
    """
    if design not in (BASIC, REVERSED):
        raise ArgumentError(f"design must be 'basic' or 'reversed'; got {design!r}.")
    safe, began = day_of("safety_date", safety_date), day_of("start", start)
    expected = int(one_number("expected_days", expected_days, 3, MOST_DAYS))
    people, each = one_count("assessors", assessors, at_least=1), one_count(
        "portions", portions, at_least=1
    )  # fmt: skip
    many = int(one_number("times", times, FEWEST_TIMES, MOST_TIMES))
    room = (safe - began).days
    if room < FEWEST_TIMES:
        raise ArgumentError(
            f"Between the start ({in_words(began)}) and food safety's date ({in_words(safe)}) lie "
            f"{max(room, 0)} days: too few for {FEWEST_TIMES} storage times."
        )
    last = min(math.floor(BEYOND * expected), room)
    spaced = last * np.linspace(0, 1, many) ** CLOSER
    all_days = sorted({int(value) for value in np.rint(spaced)})
    storage = tuple(
        StorageTime(
            days=days,
            put_away=began if design == BASIC else began + timedelta(days=last - days),
            pulled=began + timedelta(days=days if design == BASIC else last),
        )
        for days in all_days
    )
    sittings = len(storage) if design == BASIC else 1
    return StoragePlan(
        design=design,
        start=began,
        safety_date=safe,
        expected_days=expected,
        assessors=people,
        portions=each,
        times=storage,
        stored=len(storage) * _with_spare(people * each),
        references=sittings * _with_spare(people * each),
        remarks=tuple(_remarks(design, expected, room, last)),
    )


def _with_spare(portions: int) -> int:
    return math.ceil(1.1 * portions - 1e-9)


def _remarks(design: str, expected: int, room: int, last: int) -> list[str]:
    remarks = []
    if room < expected:
        remarks.append(
            f"Food safety's date comes after {room} days, before the expected {expected}: the end "
            "of the sensory shelf life will not be seen, only whether it lasts until then."
        )
    elif last < math.floor(BEYOND * expected):
        remarks.append(
            f"Food safety's date allows {last} days only, less than a quarter beyond the expected "
            "shelf life: an end that comes late will not be seen."
        )
    if design == BASIC:
        remarks.append(
            "What a day does to the panel cannot be told from storage: serve the reference blind "
            "each time. If it is freshly made, its own batches differ too."
        )
    else:
        remarks.append(
            "All depends on samples that do not change before they are put away: keep them frozen "
            "or as cold as the product stands, and check that this changes nothing."
        )
    remarks.append("Have stored samples cleared by food safety before each tasting.")
    return remarks

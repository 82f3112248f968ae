"""Sensory shelf life: the finding of a series over storage time, a date with its lower limit.

Terms after ISO 16779 and ASTM E2454 (from memory of both, not from their text).

Why so
------
Three kinds of data give one kind of finding, so that page, picture and report know one noun. The
date of food safety is an argument without a default and caps every date: people who like a food
do not make it safe. What is shown ends with the last tasting: beyond it a line or a distribution
only speaks for itself. The lower limit is the finding; the best estimate stands behind it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import pandas as pd

from ..base.errors import ArgumentError
from ..base.results import Table, digits
from ..base.shown import Told
from ..ratings.frames import KeptTable

MOST_DAYS = 36_525
"""A century."""
BATCH = (
    "It speaks of the batch and the storage that were tasted. Another batch, another package or a "
    "warmer store may last shorter."
)
ADVICE = (
    "It says how long the product is accepted or unchanged to the senses, nothing of its safety. "
    "The date on the package stays with food law and the plant's authorised person."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Storage:
    """The calendar of a series: when storage began, until when food safety allows tasting.

    Attributes
    ----------
    start, safety_date : date
    last : float
        Days at the last tasting.
    """

    start: date
    safety_date: date
    last: float

    @property
    def safe_days(self) -> int:
        """Days from the start to food safety's date."""
        return (self.safety_date - self.start).days

    def day(self, days: float) -> date:
        """The date after so many whole days, never later than food safety's."""
        return self.start + timedelta(days=min(math.floor(days + 1e-9), self.safe_days))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ShelfLife(Told):
    """Result of `shelf_life_from_scores`, `..._from_consumers` and `..._from_choices`.

    Attributes
    ----------
    start, safety_date : date
    last : float
        Days at the last tasting.
    event : str
        What ends the shelf life, as in 'the mean score reaches 3'.
    estimate, low, high : float
        Days after which it does, with limits; `estimate` is NaN where these data give none,
        `high` infinite where the upper end is open, `low` infinite where no end is in sight.
    level : float
        Two-sided, of `low` and `high`; the lower limit alone holds at (1 + level) / 2.
    points : DataFrame
        ``time estimate low high answers label``: what was seen at each storage time.
    curve : DataFrame
        ``time estimate low high``: what was fitted.
    fits : DataFrame
        ``quantity estimate low high p``: everything behind the finding, one row each.
    at : float
        Where on the axis of `points` the shelf life ends.
    axis, seen : str
        What lies along the axis of `points`, and what the points are.
    basis, remarks, cannot_tell : tuple of str
        What the finding rests on, what to look out for, and what it does not say.
    """

    start: date
    safety_date: date
    last: float
    event: str
    estimate: float
    low: float
    high: float
    level: float
    at: float
    axis: str
    seen: str
    basis: tuple[str, ...]
    remarks: tuple[str, ...]
    cannot_tell: tuple[str, ...]
    _tables: Mapping[str, pd.DataFrame]

    points = KeptTable()
    curve = KeptTable()
    fits = KeptTable()

    @property
    def storage(self) -> Storage:
        return Storage(start=self.start, safety_date=self.safety_date, last=self.last)

    @property
    def shown_days(self) -> float:
        """Days until which the shelf life is shown: the lower limit, at most what was tasted."""
        return min(self.low, self.last)

    @property
    def date_low(self) -> date:
        """Until when the shelf life is shown: never later than food safety's date."""
        return self.storage.day(self.shown_days)

    @property
    def date(self) -> date | None:
        """The best estimate as a date, never later than food safety's; None without one."""
        return self.storage.day(self.estimate) if math.isfinite(self.estimate) else None

    @property
    def one_sided(self) -> str:
        return f"lower limit, one-sided {100 * (1 + self.level) / 2:g} %"

    def headline(self) -> str:
        """The finding in a sentence."""
        if self.low < 1:
            return (
                "No sensory shelf life is shown: by these data the end may lie on the first day of "
                f"storage ({self.one_sided})."
            )
        held = ""
        if self.shown_days > self.storage.safe_days:
            held = "food safety's date, which comes before the lower limit"
        elif self.low > self.last:
            held = f"the last tasting; no end is reached at the {self.one_sided}"
        return (
            f"Sensory shelf life shown until {in_words(self.date_low)} ({held or self.one_sided})."
        )

    def picture_words(self) -> str:
        """What the parts of the picture are."""
        return (
            f"Points: {self.seen}. Line: what was fitted. Thick bar: limits of the end, "
            f"{100 * self.level:g} %."
        )

    def says(self) -> tuple[str, ...]:
        """The finding, and what it rests on, a sentence each."""
        return (self.headline(), *self._best(), *self.basis, *self.remarks, *self._late())

    def _best(self) -> tuple[str, ...]:
        if math.isnan(self.estimate):
            return ("There is no best estimate of the end: these data do not move towards it.",)
        if not math.isfinite(self.estimate):
            return ("There is no best estimate of the end: no change was seen.",)
        end = f"{digits(self.high, 3)} days" if math.isfinite(self.high) else "an open end"
        low = min(self.low, self.estimate)
        limits = f"{digits(low, 3)} days to {end}, {100 * self.level:g} %"
        days = f"after {digits(self.estimate, 3)} days of storage"
        sentence = f"By the best estimate {self.event} {days} ({limits})"
        if self.estimate > self.storage.safe_days:
            return (f"{sentence}, later than food safety allows.",)
        day = in_words(self.storage.day(self.estimate))
        if self.estimate > self.last:
            return (f"{sentence}, on {day}: later than anybody has tasted.",)
        return (f"{sentence}, on {day}.",)

    def _late(self) -> tuple[str, ...]:
        if self.last <= self.storage.safe_days:
            return ()
        return (
            f"Samples older than food safety's date ({in_words(self.safety_date)}) were tasted. No "
            "date later than it is given.",
        )

    def summary(self) -> Table:
        """Until when, then everything behind it."""
        rows = [
            ("shown until", in_words(self.date_low)),
            ("best estimate", in_words(self.date) if self.date else "none"),
            ("food safety's date", in_words(self.safety_date)),
            ("stored from", in_words(self.start)),
            ("last tasting, days", digits(self.last)),
        ]
        for row in self._tables["fits"].to_dict("records"):
            estimate, low, high = (digits(float(row[name])) for name in ("estimate", "low", "high"))
            limits = f" ({low} to {high})" if low and high else ""
            rows.append((str(row["quantity"]), f"{estimate or 'none'}{limits}"))
        return Table(columns=("item", "value"), rows=tuple(rows))

    def __repr__(self) -> str:
        best = self.date.isoformat() if self.date else "none"
        return f"<ShelfLife: shown until {self.date_low.isoformat()}, best estimate {best}>"


def storage_of(start: object, safety_date: object, times: pd.Series) -> Storage:
    """The calendar of a series.

    Raises ArgumentError: No date, food safety's date before the storage, one storage time only.
    """
    safe, began = day_of("safety_date", safety_date), day_of("start", start)
    if safe <= began:
        raise ArgumentError(
            f"Food safety's date must lie after the start of storage; got {in_words(safe)}, and "
            f"{in_words(began)} as the start."
        )
    if times.nunique() < 2:
        raise ArgumentError(
            f"All answers are of one storage time ({digits(float(times.iloc[0]))} days): how the "
            "product changes cannot be told; taste it at three times or more."
        )
    return Storage(start=began, safety_date=safe, last=float(times.max()))


def day_of(name: str, value: object) -> date:
    """A calendar day, from a date or as text.

    >>> day_of("start", "2026-11-28")
    datetime.date(2026, 11, 28)
    """
    if isinstance(value, date):
        return date(value.year, value.month, value.day)
    try:
        return date.fromisoformat(str(value).strip())
    except ValueError:
        raise ArgumentError(
            f"{name} must be a date as in 2026-11-28; got {str(value)[:40]!r}."
        ) from None


def in_words(day: date) -> str:
    """A date as people write it.

    >>> in_words(date(2026, 11, 8))
    '8 November 2026'
    """
    return f"{day.day} {day:%B %Y}"


def row_of(
    quantity: str,
    estimate: float,
    low: float = math.nan,
    high: float = math.nan,
    p: float = math.nan,
) -> dict[str, float | str]:
    """A row of `fits`."""
    return {"quantity": quantity, "estimate": estimate, "low": low, "high": high, "p": p}

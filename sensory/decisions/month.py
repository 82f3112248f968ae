"""A month of batches for people who decide and do not compute."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from ..base.batch_records import BatchRecord
from ..base.batches import Disposition
from ..base.errors import ArgumentError
from ..base.records import Finding
from ..base.results import Table, several
from .batch_trend import ProductTrend
from .references import ReferenceState
from .release import ReleaseRule
from .trend_words import batch_count

_ENDED = {
    Disposition.RELEASE: "released",
    Disposition.REJECT: "rejected",
    Disposition.REWORK: "sent to rework",
}
WAITING = "waiting"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MonthReport:
    """What happened to the batches of one product in one month.

    Attributes
    ----------
    product, month : str
        The month as 2026-05.
    rule : ReleaseRule
    batches : tuple of BatchRecord
        Made in that month.
    before : tuple of BatchRecord
        Made in the eleven months before it.
    trend : ProductTrend
        Of all of them.
    references : tuple of ReferenceState
        In use at the end of the month.
    printed_at, version : str
    """

    product: str
    month: str
    rule: ReleaseRule
    batches: tuple[BatchRecord, ...]
    before: tuple[BatchRecord, ...]
    trend: ProductTrend
    references: tuple[ReferenceState, ...]
    printed_at: str
    version: str

    def outcomes(self) -> Table:
        """How many batches ended how, this month and on average in the months before."""
        now, then = _ends(self.batches), _ends(self.before)
        months = len({one.batch.made_on[:7] for one in self.before})
        rows = tuple(
            (name, now[name], then[name] / months if months else None)
            for name in (*_ENDED.values(), WAITING)
        )
        return Table(columns=("outcome", "this month", "a month before"), rows=rows)

    def lines(self) -> Table:
        """How many batches each line made, and how many were found how."""
        names = sorted({one.batch.line for one in self.batches})
        rows = []
        for name in names:
            mine = [one for one in self.batches if one.batch.line == name]
            found = Counter(one.latest.finding for one in mine if one.latest)
            good = found[Finding.SIMILAR] + found[Finding.DIFFERENT_WITHIN_LIMIT]
            rows.append(
                (
                    name or "no line named",
                    len(mine),
                    good,
                    found[Finding.DIFFERENT],
                    found[Finding.UNDECIDED],
                    len(mine) - sum(found.values()),
                )
            )
        columns = ("line", "batches", "within limit", "different", "undecided", "not tasted")
        return Table(columns=columns, rows=tuple(rows))

    def noteworthy(self) -> tuple[tuple[BatchRecord, str], ...]:
        """Batches that were not simply released, each with why."""
        found = []
        for one in self.batches:
            if why := _why_noteworthy(one):
                found.append((one, why))
        return tuple(found)

    @property
    def tastings(self) -> int:
        """Tastings of the batches of this month, aborted ones included."""
        return sum(len(one.tastings) for one in self.batches)

    def headline(self) -> str:
        """The month in one sentence."""
        ends = _ends(self.batches)
        said = [f"{ends[name]} {name}" for name in (*_ENDED.values(), WAITING) if ends[name]]
        return f"{batch_count(len(self.batches))} made: {', '.join(said) or 'none'}."

    def says(self) -> tuple[str, ...]:
        """What a reader without statistics has to know, a sentence each."""
        lines = [self.headline()]
        departing = [one for one in self.batches if one.decision and one.decision.departs]
        if departing:
            lines.append(
                f"In {several(len(departing), 'case')} the decision was another one than "
                "recommended; the reasons stand below."
            )
        again = [one for one in self.batches if len(one.tastings) > 1]
        if again:
            lines.append(f"{batch_count(len(again))} tasted more than once.")
        for state in self.references:
            lines += state.says()
        return tuple(lines)

    def risks(self) -> tuple[str, ...]:
        """What the release rule can and cannot see, in plain numbers."""
        rule = self.rule
        return (
            f"A batch at the agreed limit passes its tasting with a chance of "
            f"{100 * rule.beta:g} in 100 at most; an unchanged one is called different with a "
            f"chance of {100 * rule.alpha:g} in 100 at most.",
            "A batch that passed was shown to lie below the limit; it was not shown to be the "
            "same.",
            "A point outside the limits of the chart is unusual for this line; whether it is too "
            "far is said by the agreed limit.",
        )


def month_bounds(month: str) -> tuple[str, str, str]:
    """First day eleven months earlier, first and last day of a month.

    Raises
    ------
    ArgumentError
        For anything but a month written as 2026-05.

    >>> month_bounds("2026-05")
    ('2025-06-01', '2026-05-01', '2026-05-31')
    """
    try:
        first = date.fromisoformat(f"{month}-01")
    except (ValueError, TypeError):
        raise ArgumentError(f"month must be written as 2026-05; got {month!r}.") from None
    following = (first + timedelta(days=32)).replace(day=1)
    months = first.year * 12 + first.month - 1 - 11
    earlier = date(months // 12, months % 12 + 1, 1)
    return earlier.isoformat(), first.isoformat(), (following - timedelta(days=1)).isoformat()


def _ends(batches: Sequence[BatchRecord]) -> Counter[str]:
    return Counter(
        _ENDED.get(one.decision.disposition, WAITING) if one.decision else WAITING
        for one in batches
    )


def _why_noteworthy(one: BatchRecord) -> str:
    decision = one.decision
    words = []
    if one.latest and one.latest.finding in (Finding.DIFFERENT, Finding.UNDECIDED):
        words.append(one.latest.finding.heading.lower())
    if decision is None:
        words.append(f"waits for {one.waits_for}")
    elif decision.disposition is not Disposition.RELEASE or decision.departs or words:
        words.append(f"{decision.disposition.value.lower()}: {decision.reason}")
    return "; ".join(words)

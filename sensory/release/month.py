"""A month of batches for people who decide and do not compute."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import Cell, Table, several
from .batch_records import DONE, BatchRecord, Decision
from .batch_trend import ProductTrend
from .batches import Disposition
from .reference_state import ReferenceState
from .rule import ReleaseRule
from .trend_words import batch_count

_ENDED = {
    Disposition.RELEASE: "released",
    Disposition.REJECT: "rejected",
    Disposition.REWORK: "sent to rework",
}
WAITING = "waiting"
_NAMED = 6
"""Batches named in a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MonthReport:
    """What happened to the batches of one product in one month."""

    product: str
    month: str  # as 2026-05
    rule: ReleaseRule
    batches: tuple[BatchRecord, ...]  # made in that month
    before: tuple[BatchRecord, ...]  # made in the eleven months before it
    # batches, of whatever age, of which somebody complained in that month
    complained: tuple[BatchRecord, ...] = ()
    trend: ProductTrend  # of all of them
    references: tuple[ReferenceState, ...]  # in use at the end of the month
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

    def by_month(self) -> Table:
        """How many batches ended how, month by month, this one last; months without any too."""
        rows: list[tuple[Cell, ...]] = []
        for month in months_to(self.month):
            mine = [one for one in (*self.before, *self.batches) if one.batch.made_on[:7] == month]
            ends = _ends(mine)
            rows.append((month, *(ends[name] for name in (*_ENDED.values(), WAITING))))
        return Table(columns=("month", *_ENDED.values(), WAITING), rows=tuple(rows))

    def lines(self) -> Table:
        """How many batches each line made, and how many were found how."""
        names = sorted({one.batch.line for one in self.batches})
        rows = []
        for name in names:
            mine = [one for one in self.batches if one.batch.line == name]
            found = Counter(one.found for one in mine if one.found)
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
        """Batches that were not simply released, and older ones that wait, each with why; the
        weightiest first."""
        waiting = [one for one in self.before if one.state != DONE]
        found = [(one, why) for one in (*self.batches, *waiting) if (why := _why_noteworthy(one))]
        return tuple(sorted(found, key=lambda pair: (_weight(pair[0]), pair[0].batch.made_on)))

    @property
    def tastings(self) -> int:
        """Tastings of the batches of this month, aborted ones included."""
        return sum(len(one.tastings) for one in self.batches)

    @property
    def tastings_before(self) -> float | None:
        """Tastings a month in the months before that made batches; None without any."""
        months = len({one.batch.made_on[:7] for one in self.before})
        return sum(len(one.tastings) for one in self.before) / months if months else None

    def headline(self) -> str:
        """The month in one sentence."""
        ends = _ends(self.batches)
        said = [f"{ends[name]} {name}" for name in (*_ENDED.values(), WAITING) if ends[name]]
        return f"{batch_count(len(self.batches))} made: {', '.join(said) or 'none'}."

    def says(self) -> tuple[str, ...]:
        """What a reader without statistics has to know, a sentence each."""
        lines = [self.headline(), *self.remarks()]
        for state in self.references:
            lines += state.says()
        return tuple(lines)

    def remarks(self) -> tuple[str, ...]:
        """What was out of the ordinary, a sentence each."""
        lines = []
        departing = [one for one in self.batches if one.decision and one.decision.departs]
        if departing:
            lines.append(
                f"In {several(len(departing), 'case')} the decision was another one than "
                "recommended; the reasons stand below."
            )
        again = [one for one in self.batches if len(one.tastings) > 1]
        if again:
            verb = "was" if len(again) == 1 else "were"
            lines.append(f"{batch_count(len(again))} {verb} tasted more than once.")
        named = [
            batch.name
            for batch in self.complained
            for one in batch.complaints
            if one.received_on[:7] == self.month
        ]
        if named:
            more = f" and {len(named) - _NAMED} more" if len(named) > _NAMED else ""
            lines.append(
                f"{several(len(named), 'complaint')} came in: on {', '.join(named[:_NAMED])}{more}."
            )
        return tuple(lines)

    def risks(self) -> tuple[str, ...]:
        """What the release rule can and cannot see, in plain numbers."""
        rule = self.rule
        return (
            f"A batch at the agreed limit passes its tasting with a chance of "
            f"{100 * rule.beta:g} in 100 at most; an unchanged one is called different with a "
            f"chance of {100 * rule.alpha:g} in 100 at most.",
            *_passes(rule),
            "A batch that passed was shown to lie below the limit; it was not shown to be the "
            "same.",
            "A point outside the limits of the chart is unusual for this line; whether it is too "
            "far is said by the agreed limit.",
        )


def month_bounds(month: str) -> tuple[str, str, str]:
    """First day eleven months earlier, first and last day of a month.

    Raises ArgumentError for anything but a month written as 2026-05.

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


def months_to(month: str) -> list[str]:
    """The month and the eleven before it, in their order.

    >>> months_to("2026-02")[0], months_to("2026-02")[-1]
    ('2025-03', '2026-02')
    """
    earlier, _, _ = month_bounds(month)
    first = int(earlier[:4]) * 12 + int(earlier[5:7]) - 1
    return [f"{at // 12}-{at % 12 + 1:02}" for at in range(first, first + 12)]


def _ends(batches: Sequence[BatchRecord]) -> Counter[str]:
    return Counter(
        _ENDED.get(one.decision.disposition, WAITING)
        if one.decision and one.state == DONE
        else WAITING
        for one in batches
    )


def _decided(decision: Decision) -> str:
    """The decision with its reason, and what was recommended where that was another one."""
    what = f"decided: {decision.disposition.value.lower()}"
    if decision.departs and decision.recommended is not None:
        what += f" (recommended: {decision.recommended.value.lower()})"
    return f"{what}; {decision.reason}"


def _passes(rule: ReleaseRule) -> Iterator[str]:
    """How often batches pass, where a formula knows it."""
    limit = rule.limit or 0.0
    try:
        chances = rule.characteristic([0.0, limit / 2, limit]).passes
    except ArgumentError:
        return
    none, half, full = (_in_hundred(float(chance)) for chance in chances)
    yield (
        f"With {several(rule.assessors, 'assessor')} release is recommended for {none} of 100 "
        f"unchanged batches, for {half} of 100 half way to the limit, and for {full} of 100 at the "
        "limit."
    )


def _in_hundred(chance: float) -> str:
    count = round(100 * chance)
    if chance < 1 and count == 100:
        return "more than 99"
    return "less than 1" if chance > 0 and count == 0 else f"{count}"


def _weight(one: BatchRecord) -> int:
    """What a reader has to see first: 0 is the weightiest."""
    decision = one.decision
    if one.complained or (one.clearance is not None and one.clearance.food_safe is False):
        return 0
    if decision is not None and decision.departs:
        return 1
    if decision is not None and decision.disposition in (Disposition.REJECT, Disposition.REWORK):
        return 2
    if one.found is Finding.DIFFERENT:
        return 3
    return 4 if one.latest is not None or decision is not None else 5


def _why_noteworthy(one: BatchRecord) -> str:
    decision = one.decision
    words = [f"complaint of {each.received_on}: {each.text}" for each in one.complaints]
    if one.found in (Finding.DIFFERENT, Finding.UNDECIDED):
        words.append(one.found.heading.lower())
    if decision is None or (one.state != DONE and decision.disposition in _ENDED):
        words.append(f"waits for {one.waits_for}")
    elif decision.disposition is not Disposition.RELEASE or decision.departs or words:
        words.append(_decided(decision))
    return "; ".join(words)

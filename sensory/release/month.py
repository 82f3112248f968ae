"""A month of batches for people who decide and do not compute."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import Cell, Table, several
from ..sessions.session import Anchor
from .batch_records import DONE, BatchRecord, Decision
from .batch_trend import NO_LINE, ProductTrend
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
_ENDS = (*_ENDED.values(), WAITING)
_APART = "beyond limit", "different, limit open"
_NAMED = 6
"""Batches named in a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MonthReport:
    """What happened to the batches of one product in one month."""

    product: str
    month: str  # as 2026-05
    rule: ReleaseRule  # the one that held at the end of the month
    batches: tuple[BatchRecord, ...]  # made in that month
    before: tuple[BatchRecord, ...]  # made in the eleven months before it
    # batches, of whatever age, of which somebody complained in that month
    complained: tuple[BatchRecord, ...] = ()
    trend: ProductTrend  # of all of them
    references: tuple[ReferenceState, ...]  # in use at the end of the month
    printed_at: str
    version: str
    newest: Anchor | None = None  # entry of the record, to be compared with it later
    # what explains the batches of the twelve months, with batches, size and limits
    causes: tuple[str, ...] = ()

    def outcomes(self) -> Table:
        """How many batches ended how, this month and on average in the months before."""
        now, then, months = _ends(self.batches), _ends(self.before), self._months_before
        rows = tuple((end, now[end], then[end] / months if months else None) for end in _ENDS)
        return Table(columns=("outcome", "this month", "a month before"), rows=rows)

    def by_month(self) -> Table:
        """How many batches ended how, month by month, this one last; months without any too."""
        made: dict[str, list[BatchRecord]] = {month: [] for month in months_to(self.month)}
        for record in (*self.before, *self.batches):
            if record.batch.made_on[:7] in made:
                made[record.batch.made_on[:7]].append(record)
        rows: tuple[tuple[Cell, ...], ...] = tuple(
            (month, *(_ends(records)[end] for end in _ENDS)) for month, records in made.items()
        )
        return Table(columns=("month", *_ENDS), rows=rows)

    def lines(self) -> Table:
        """How many batches each line made, and how many were found how."""
        rows = []
        for name in sorted({record.batch.line for record in self.batches}):
            shown = Counter(record.found for record in self.batches if record.batch.line == name)
            within = shown[Finding.SIMILAR] + shown[Finding.DIFFERENT_WITHIN_LIMIT]
            apart = shown[Finding.BEYOND_LIMIT], shown[Finding.DIFFERENT]
            counts = (*apart, shown[Finding.UNDECIDED], shown[None])
            rows.append((name or NO_LINE, shown.total(), within, *counts))
        columns = ("line", "batches", "within limit", *_APART, "undecided", "not tasted")
        return Table(columns=columns, rows=tuple(rows))

    def noteworthy(self) -> tuple[tuple[BatchRecord, str], ...]:
        """Batches that were not simply released, and older ones that wait, each with why; the
        weightiest first."""
        waiting = [record for record in self.before if record.state != DONE]
        records = sorted(
            (*self.batches, *waiting), key=lambda record: (_weight(record), record.batch.made_on)
        )
        return tuple((record, why) for record in records if (why := _why_noteworthy(record)))

    @property
    def tastings(self) -> int:
        """Tastings of the batches of this month, aborted ones included."""
        return sum(len(record.tastings) for record in self.batches)

    @property
    def tastings_before(self) -> float | None:
        """Tastings a month in the months before that made batches; None without any."""
        months = self._months_before
        return sum(len(record.tastings) for record in self.before) / months if months else None

    @property
    def _months_before(self) -> int:
        return len({record.batch.made_on[:7] for record in self.before})

    def headline(self) -> str:
        """The month in one sentence."""
        ends = _ends(self.batches)
        counts = ", ".join(f"{ends[end]} {end}" for end in _ENDS if ends[end])
        return f"{batch_count(len(self.batches))} made: {counts or 'none'}."

    def says(self) -> tuple[str, ...]:
        """What a reader without statistics has to know, a sentence each."""
        states = (sentence for state in self.references for sentence in state.says())
        return (self.headline(), *self.remarks(), *states, *self.explained())

    def explained(self) -> tuple[str, ...]:
        """The likeliest causes of the twelve months, in a sentence; empty where there is none."""
        if not self.causes:
            return ()
        return (f"Most likely causes in these twelve months: {'; '.join(self.causes)}.",)

    def remarks(self) -> tuple[str, ...]:
        """What was out of the ordinary, a sentence each."""
        lines = []
        decisions = [record.decision for record in self.batches if record.decision]
        if departing := sum(decision.departs for decision in decisions):
            lines.append(
                f"In {several(departing, 'case')} the decision was another one than "
                "recommended; the reasons stand below."
            )
        if again := sum(len(record.tastings) > 1 for record in self.batches):
            verb = "was" if again == 1 else "were"
            lines.append(f"{batch_count(again)} {verb} tasted more than once.")
        own = self.rule.to_dict()
        if earlier := sum(bool(record.rule) and record.rule != own for record in self.batches):
            lines.append(
                f"The rule changed in this month: {batch_count(earlier)} tasted by the one before."
            )
        named = [
            batch.name
            for batch in self.complained
            for complaint in batch.complaints
            if complaint.received_on[:7] == self.month
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
        _ENDED.get(record.decision.disposition, WAITING)
        if record.decision and record.state == DONE
        else WAITING
        for record in batches
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


def _weight(record: BatchRecord) -> int:
    """What a reader has to see first: 0 is the weightiest."""
    decision = record.decision
    if record.complained or (record.clearance is not None and record.clearance.food_safe is False):
        return 0
    if decision is not None and decision.departs:
        return 1
    if decision is not None and decision.disposition in (Disposition.REJECT, Disposition.REWORK):
        return 2
    if record.found in (Finding.BEYOND_LIMIT, Finding.DIFFERENT):
        return 3 if record.found is Finding.BEYOND_LIMIT else 4
    return 5 if record.latest is not None or decision is not None else 6


def _why_noteworthy(record: BatchRecord) -> str:
    decision = record.decision
    words = [f"complaint of {each.received_on}: {each.text}" for each in record.complaints]
    told = record.found_in_words
    if record.found is not None and (not record.found.similar or told != record.found.heading):
        words.append(told.lower())
    if decision is None or (record.state != DONE and decision.disposition in _ENDED):
        words.append(f"waits for {record.waits_for}")
    elif decision.disposition is not Disposition.RELEASE or decision.departs or words:
        words.append(_decided(decision))
    return "; ".join(words)

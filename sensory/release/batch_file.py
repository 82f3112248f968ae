"""Everything about one batch, as its page and its document show it."""

from __future__ import annotations

from dataclasses import dataclass

from ..base.results import Cell, Table
from ..catalogue.tests import find_kind
from ..sessions.session import JournalEntry, StoredSession
from .batch_records import BatchRecord, ProductRecord
from .disposition import BatchFinding
from .reference_state import ReferenceState
from .rule import ReleaseRule


@dataclass(frozen=True, slots=True, kw_only=True)
class Kin:
    """Batches that share a lot, rework or reference with the batch."""

    kind: str  # ``lot``, ``rework`` or ``reference``
    name: str  # such as "sweetener, lot SW-221"
    value: str  # the lot or name alone, as it is sought
    batches: tuple[BatchRecord, ...]  # the others, by date of making


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BatchFile:
    """One batch with all that hangs together with it."""

    record: BatchRecord
    product: ProductRecord | None
    rule: ReleaseRule | None
    reference: ReferenceState | None  # on the day of the latest tasting, else today
    finding: BatchFinding | None
    why_none: str  # why there is no finding, where there is none
    sessions: tuple[StoredSession, ...]  # of its tastings, in their order
    kin: tuple[Kin, ...]
    # of the batch and of its tastings, in the order of their numbers
    journal: tuple[JournalEntry, ...]
    printed_at: str
    version: str

    def facts(self) -> Table:
        """Where it came from: product, date, line, amount, lots, rework, reference."""
        batch = self.record.batch
        amount = "" if batch.amount is None else f"{batch.amount:g} {batch.unit}"
        rows: list[tuple[Cell, ...]] = [
            ("product", batch.product),
            ("made on", batch.made_on),
            ("line", batch.line or "not stated"),
            ("amount", amount or "not stated"),
        ]
        rows += [
            (one.material, f"lot {one.lot}" + (f", {one.supplier}" if one.supplier else ""))
            for one in batch.raw_lots
        ]
        rows += [("rework of", other) for other in batch.rework_of]
        rows.append(("reference", self.record.reference or "none yet"))
        return Table(columns=("what", "is"), rows=tuple(rows))

    def clearance(self) -> Table:
        """What food safety decided and which allergens are declared."""
        there = self.record.clearance
        food = None if there is None else there.food_safe
        words = {None: "not decided", True: "cleared", False: "NOT cleared"}[food]
        allergens = "not declared"
        if there is not None and there.allergens is not None:
            allergens = ", ".join(there.allergens) or "none"
        rows = (
            ("food safety", words, _of(there, "food_safe_by"), _of(there, "food_safe_on")),
            ("allergens", allergens, _of(there, "allergens_by"), _of(there, "allergens_on")),
        )
        return Table(columns=("what", "is", "by", "on"), rows=rows)

    def tastings(self) -> Table:
        """Every attempt: session, test, date, numbers, finding."""
        rows = []
        for one in self.record.tastings:
            numbers = ""
            if one.trials:
                numbers = f"{one.correct} of {one.trials} correct"
            elif one.differences:
                numbers = "; ".join(
                    f"{name} {estimate:+.2f} (standard error {se:.2f})"
                    for name, (estimate, se) in one.differences.items()
                )
            found = one.finding.heading if one.finding else "ballots open"
            rows.append(
                (
                    find_kind(one.test).name,
                    one.held_on,
                    numbers,
                    f"aborted: {one.aborted}" if one.aborted else found,
                    one.session[:8],
                )
            )
        return Table(columns=("test", "held on", "numbers", "finding", "session"), rows=tuple(rows))

    def decisions(self) -> Table:
        """What was decided, by whom and why; the last row stands."""
        rows = tuple(
            (
                one.decided_at[:16].replace("T", " "),
                one.disposition.value.lower(),
                "" if one.recommended is None else one.recommended.value.lower(),
                f"{one.decided_by}, {one.role}",
                one.reason,
            )
            for one in self.record.decisions
        )
        return Table(columns=("at (UTC)", "decided", "recommended", "by", "reason"), rows=rows)

    def complaints(self) -> Table:
        """What was complained of, and when."""
        rows = tuple((one.received_on, one.text) for one in self.record.complaints)
        return Table(columns=("received on", "complaint"), rows=rows)

    def events(self) -> Table:
        """The journal, one entry a row."""
        rows = tuple(
            (one.number, one.at[:19].replace("T", " "), one.who, one.what, one.why)
            for one in self.journal
        )
        return Table(columns=("entry", "at (UTC)", "who", "what", "why"), rows=rows)


def _of(clearance: object, name: str) -> str:
    return "" if clearance is None else str(getattr(clearance, name))

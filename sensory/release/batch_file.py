"""Everything about one batch, as its page and its document show it."""

from __future__ import annotations

from dataclasses import dataclass

from ..base.results import Cell, Table
from ..catalogue.tests import find_kind
from ..sessions.session import JournalEntry, StoredSession
from ..sessions.signing import name_and_role, signed_words
from .batch_records import BatchRecord, ProductRecord, Tasting
from .batches import Clearance
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
            (raw.material, f"lot {raw.lot}" + (f", {raw.supplier}" if raw.supplier else ""))
            for raw in batch.raw_lots
        ]
        rows += [("rework of", other) for other in batch.rework_of]
        rows.append(("reference", self.record.reference or "none yet"))
        return Table(columns=("what", "is"), rows=tuple(rows))

    def clearance(self) -> Table:
        """What food safety decided and which allergens are declared."""
        there = self.record.clearance or Clearance(batch=self.record.name)
        words = {None: "not decided", True: "cleared", False: "NOT cleared"}[there.food_safe]
        allergens = "not declared"
        if there.allergens is not None:
            allergens = ", ".join(there.allergens) or "none"
        rows = (
            (
                "food safety",
                words,
                name_and_role(there.food_safe_by, there.food_safe_role),
                there.food_safe_on,
            ),
            (
                "allergens",
                allergens,
                name_and_role(there.allergens_by, there.allergens_role),
                there.allergens_on,
            ),
        )
        return Table(columns=("what", "is", "by", "on"), rows=rows)

    def tastings(self) -> Table:
        """Every attempt: session, test, date, numbers, finding."""
        columns = ("test", "held on", "numbers", "finding", "session")
        return Table(columns=columns, rows=tuple(map(_row, self.record.tastings)))

    def decisions(self) -> Table:
        """What was decided, by whom and why; the last row stands."""
        rows = tuple(
            (
                decision.decided_at[:16].replace("T", " "),
                decision.disposition.value.lower(),
                "" if decision.recommended is None else decision.recommended.value.lower(),
                decision.signers,
                decision.reason,
            )
            for decision in self.record.decisions
        )
        return Table(columns=("at (UTC)", "decided", "recommended", "by", "reason"), rows=rows)

    def complaints(self) -> Table:
        """What was complained of, and when."""
        rows = tuple(
            (each.received_on, each.text, name_and_role(each.recorded_by, each.recorded_role))
            for each in self.record.complaints
        )
        return Table(columns=("received on", "complaint", "recorded by"), rows=rows)

    def events(self) -> Table:
        """The journal, one entry a row."""
        rows = tuple(
            (
                entry.number,
                entry.at[:19].replace("T", " "),
                signed_words(entry),
                entry.what,
                entry.why,
            )
            for entry in self.journal
        )
        return Table(columns=("entry", "at (UTC)", "who", "what", "why"), rows=rows)


def _row(tasting: Tasting) -> tuple[str, ...]:
    numbers = "; ".join(
        f"{name} {estimate:+.2f} (standard error {se:.2f})"
        for name, (estimate, se) in tasting.differences.items()
    )
    if tasting.trials:
        numbers = f"{tasting.correct} of {tasting.trials} correct"
    shown = tasting.finding.heading if tasting.finding else "ballots open"
    end = f"aborted: {tasting.aborted}" if tasting.aborted else shown
    return find_kind(tasting.test).name, tasting.held_on, numbers, end, tasting.session[:8]

"""Everything about one batch, as its page and its document show it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date

from ..base.results import Cell, Table
from ..base.spelling import key_of, name_and_role
from ..catalogue.tests import find_kind
from ..evidence.combined import CombinedEvidence
from ..sessions.session import Anchor, JournalEntry, StoredSession
from ..sessions.signing import signed_words
from .batch_records import BatchRecord, ProductRecord, Tasting
from .batches import Clearance
from .disposition import BatchFinding
from .reference_state import ReferenceState
from .rule import ReleaseRule


@dataclass(frozen=True, slots=True, kw_only=True)
class Kin:
    """Batches that share a lot or rework with the batch."""

    kind: str  # ``material lot`` or ``rework``
    name: str  # such as "sweetener, lot SW-221"
    value: str  # the lot or name alone, as it is sought
    batches: tuple[BatchRecord, ...]  # the others, by date of making
    left: int = 0  # how many earlier ones are not among them


@dataclass(frozen=True, slots=True, kw_only=True)
class Sister:
    """Another batch with all that it shares with the batch, the rarest first."""

    record: BatchRecord
    shares: tuple[str, ...]
    rarest: int  # how many other batches have the rarest thing that they share


@dataclass(frozen=True, slots=True, kw_only=True)
class Comment:
    """What an assessor wrote, without a name."""

    tasting: int  # counted from 1
    sample: str  # or the order served, where samples have no names
    text: str


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
    kin: tuple[Kin, ...]  # what few share first
    comments: tuple[Comment, ...]  # of closed tastings, in their order
    # of the batch and of its tastings, in the order of their numbers
    journal: tuple[JournalEntry, ...]
    printed_at: str
    version: str
    newest: Anchor | None = None  # entry of the record, to be compared with it later
    causes: tuple[str, ...] = ()  # named in its year, with batches, size and limits
    evidence: CombinedEvidence | None = None  # its choice tests together, from two on

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
        if there.food_safe is not None and there.evidence:
            words += f": {there.evidence}"
        safe_by = name_and_role(there.food_safe_by, there.food_safe_role)
        declared_by = name_and_role(there.allergens_by, there.allergens_role)
        rows = [
            ("food safety", words, safe_by, there.food_safe_on),
            ("allergens", allergens, declared_by, there.allergens_on),
        ]
        if there.suspected:
            rows.append(("suspected", f"{there.suspected}: not tasted", "", ""))
            smell = "allowed" if there.smelling_by else "not allowed"
            smell_by = name_and_role(there.smelling_by, there.smelling_role)
            rows.append(("smelling only", smell, smell_by, there.smelling_on))
        return Table(columns=("what", "is", "by", "on"), rows=tuple(rows))

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
                decision.cause,
            )
            for decision in self.record.decisions
        )
        columns = ("at (UTC)", "decided", "recommended", "by", "reason", "cause")
        return Table(columns=columns, rows=rows)

    def sisters(self) -> tuple[Sister, ...]:
        """Every other batch once, the most telling first.

        A lot that few batches share tells more than one that all share; then how much is shared;
        then how near in time they were made.
        """
        shared: dict[str, list[Kin]] = {}
        others = {other.name: other for lot in self.kin for other in lot.batches}
        for lot in sorted(self.kin, key=lambda lot: len(lot.batches)):
            for other in lot.batches:
                shared.setdefault(other.name, []).append(lot)
        made = date.fromisoformat(self.record.batch.made_on)
        sisters = [
            Sister(
                record=others[name],
                shares=tuple(lot.name for lot in lots),
                rarest=len(lots[0].batches),
            )
            for name, lots in shared.items()
        ]

        def relevance(sister: Sister) -> tuple[int, int, int, str]:
            apart = abs((date.fromisoformat(sister.record.batch.made_on) - made).days)
            return sister.rarest, -len(sister.shares), apart, sister.record.name

        return tuple(sorted(sisters, key=relevance))

    def remarks(self) -> Table:
        """Comments of assessors by tasting and sample, the commonest first, with how many."""
        counts = Counter((each.tasting, each.sample, key_of(each.text)) for each in self.comments)
        texts = {key_of(each.text): each.text for each in reversed(self.comments)}
        ordered = sorted(counts.items(), key=lambda item: (item[0][0], -item[1]))
        rows = tuple(
            (tasting, sample, texts[key], count) for (tasting, sample, key), count in ordered
        )
        return Table(columns=("tasting", "sample", "comment", "times"), rows=rows)

    def complaints(self) -> Table:
        """What was complained of, when and to whom, and what became of it."""
        rows = tuple(
            (
                each.received_on,
                each.text,
                name_and_role(each.recorded_by, each.recorded_role) or "not on record",
                each.owner or "nobody yet",
                each.cause or "not named",
                each.action or "none yet",
                f"{each.closed_on}, {name_and_role(each.closed_by, each.closed_role)}"
                if each.closed
                else "open",
            )
            for each in self.record.complaints
        )
        columns = ("received on", "complaint", "recorded by", "owner", "cause", "action", "closed")
        return Table(columns=columns, rows=rows)

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

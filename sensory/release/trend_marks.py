"""Where in a trend the reference or the lot of a raw material changed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..base.spelling import key_of
from .batch_records import BatchRecord

REFERENCE, LOT = "reference", "lot"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A change with the first batch that has it.

    `what`: ``reference`` or ``lot``.
    `words`: what took over, in a few words.
    """

    batch: str
    what: str
    words: str


def marks_of(records: Iterable[BatchRecord]) -> tuple[Mark, ...]:
    """The changes from batch to batch, in the order of making.

    A reference changes for the product, a lot on each line of production by itself; the first
    lot of a line is no change.
    """
    changes: list[Mark] = []
    reference = ""
    lots: dict[tuple[str, str], str] = {}
    for record in sorted(records, key=lambda record: record.batch.made_on):
        now = record.reference
        if now and reference and key_of(now) != key_of(reference):
            changes.append(Mark(batch=record.name, what=REFERENCE, words=f"reference {now}"))
        reference = now or reference
        for raw in record.batch.raw_lots:
            place = (key_of(record.batch.line), key_of(raw.material))
            if place in lots and lots[place] != key_of(raw.lot):
                words = f"{raw.material}, lot {raw.lot}"
                changes.append(Mark(batch=record.name, what=LOT, words=words))
            lots[place] = key_of(raw.lot)
    return tuple(changes)

"""Use cases of causes: what explains the batches of a product in a year, and one of them.

Why so
------
Trend, batch and month look at the same twelve months, so that they name the same causes with the
same numbers; a batch that is older has the twelve months that end with it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from .batch_causes import ProductCauses, causes_of_batches
from .batch_records import BatchRecord
from .plant_desk import the_plant
from .product_desk import Desk, rule_of, the_product
from .references import Reference
from .trend_words import earlier_left_out

_MOST = 400
"""Batches that are looked at together; the latest of the year."""
_YEAR = timedelta(days=365)


def product_causes(
    desk: Desk, product: str, *, until: str = "", attribute: str = ""
) -> ProductCauses | None:
    """What explains the batches of the twelve months that end with `until`, or with the latest.

    None without a rule or a batch.
    """
    rule = rule_of(the_product(desk, product))
    end = until or _latest(desk, product)
    if rule is None or not end:
        return None
    since = (date.fromisoformat(end) - _YEAR).isoformat()
    causes = causes_of_batches(
        desk.batches(product=product, since=since, until=end, most=_MOST),
        rule,
        attribute=attribute,
        plant=the_plant(desk),
        references=desk.nouns(Reference, product),
    )
    left = desk.how_many(product=product, since=since, until=end) - _MOST
    if left <= 0:
        return causes
    return replace(causes, remarks=(*causes.remarks, earlier_left_out(left, "these months")))


def causes_of_batch(desk: Desk, record: BatchRecord) -> tuple[str, ...]:
    """Causes named in its year that the batch has, a line each; empty where there are none."""
    product, made = record.batch.product, record.batch.made_on
    if record.latest is None:
        return ()
    end = _latest(desk, product)
    recent = end and (date.fromisoformat(end) - _YEAR).isoformat() <= made
    causes = product_causes(desk, product, until="" if recent else made)
    return () if causes is None else causes.of_batch(record.name)


def _latest(desk: Desk, product: str) -> str:
    """Date of making of the latest batch."""
    latest = desk.batches(product=product, most=1)
    return latest[-1].batch.made_on if latest else ""

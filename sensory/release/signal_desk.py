"""Use cases of the trend: its open signals, to acknowledge them, and the baseline of the plant.

Why so
------
A signal belongs to a batch and what the chart said of it, not to a place in a list: when the
chart says something else of that batch later, the signal is open again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from ..base.errors import RecordError
from ..base.records import utc_now
from ..base.spelling import key_of
from .batch_desk import IN_A_CHART, product_trend, usual_base
from .batch_records import BatchRecord, ProductRecord
from .batch_trend import ProductTrend
from .defect_months import latest_gradings
from .defect_rates import DefectRises, defect_rises
from .product_desk import Desk, the_product
from .signals import Acknowledged
from .trend_lines import FEWEST
from .trend_words import by_itself

_MOST_BASE, _MOST_GRADED, _YEAR = 200, 4000, 365


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """What stands out in a trend, of one batch.

    `attribute`: empty where the test scores none.
    `known`: how it was acknowledged; None while it is open.
    `numbers`: of a shift or a rise, how large it is; they move without making it a new signal.
    `latest`: the latest batch that has it.
    `defect`: whose rate has risen; empty for anything else.
    """

    batch: str
    line: str
    attribute: str
    date: str
    words: str
    known: Acknowledged | None = None
    numbers: str = ""
    latest: str = ""
    defect: str = ""

    @property
    def place(self) -> str:
        """What it concerns beside its batch: a line, a defect, or else a shift of all."""
        return self.line or self.defect or "shift"

    @property
    def says(self) -> str:
        """The words, with the numbers where there are any."""
        return f"{self.words}: {self.numbers}" if self.numbers else self.words


def signals_of(trend: ProductTrend, product: ProductRecord) -> list[Signal]:
    """The shifts of lots and references, then the batches that stand out by themselves, with what
    is known of each. A shift is one signal, of the first batch that has it."""
    if trend.result is None or trend.shown is None:
        return []
    points = trend.result.points
    days = dict(zip(points["batch"].astype(str), map(str, points["date"]), strict=True))
    told: dict[tuple[str, str], list[str]] = {}
    for shift in trend.shifts:
        told.setdefault((shift.batches[0], shift.words), []).append(shift.words)
    for row in trend.shown.signals.to_dict("records"):
        if by_itself(str(row["signal"])):
            batch = str(row["batch"])
            told.setdefault((batch, str(row["line"])), []).append(str(row["signal"]))
    known = _known(product)
    of_shift = {(shift.batches[0], shift.words): shift for shift in trend.shifts}
    return [
        Signal(
            batch=batch,
            line="" if (batch, line) in of_shift else line,
            attribute=trend.attribute,
            date=days[batch],
            words="; ".join(words),
            known=known.get((key_of(batch), trend.attribute, "; ".join(words))),
            numbers=of_shift[batch, line].numbers if (batch, line) in of_shift else "",
            latest=of_shift[batch, line].batches[-1] if (batch, line) in of_shift else batch,
        )
        for (batch, line), words in told.items()
    ]


def _known(product: ProductRecord) -> dict[tuple[str, str, str], Acknowledged]:
    return {(key_of(each.batch), each.attribute, each.words): each for each in product.signals}


def graded_of_a_year(
    desk: Desk, product: str, latest: Sequence[BatchRecord]
) -> Sequence[BatchRecord]:
    """The batches of the year up to the latest one, 4,000 at most, where `latest` are not all.

    Of a product that is not graded `latest` will do.
    """
    if len(latest) < IN_A_CHART or not latest_gradings(latest):
        return latest
    since = date.fromisoformat(latest[-1].batch.made_on) - timedelta(days=_YEAR)
    return desk.batches(product=product, since=since.isoformat(), most=_MOST_GRADED)


def signals_of_rises(rises: DefectRises, product: ProductRecord) -> list[Signal]:
    """Defects whose rate has risen, each a signal of the first batch that has it."""
    known = _known(product)
    return [
        Signal(
            batch=rise.batch,
            line="",
            attribute="",
            date=rise.held_on,
            words=rise.words,
            known=known.get((key_of(rise.batch), "", rise.words)),
            numbers=rise.numbers,
            latest=rise.newest,
            defect=rise.defect,
        )
        for rise in rises.rises
    ]


def acknowledge(desk: Desk, product: str, signal: Signal, *, cause: str, who: str) -> ProductRecord:
    """Keep what explains a signal; it leaves the lists of Trend and Today.

    Raises RecordError without a cause or a name, or where it was acknowledged already.
    """
    if not cause.strip():
        raise RecordError(f"Say what explains the signal of {signal.batch}; the record keeps it.")
    if not who.strip():
        raise RecordError(f"Say who acknowledges the signal of {signal.batch}.")
    new = Acknowledged(
        batch=signal.batch,
        attribute=signal.attribute,
        words=signal.words,
        cause=" ".join(cause.split()),
        by=" ".join(who.split()),
        on=utc_now()[:10],
    )
    with desk.action(who=who, why=new.cause) as act:
        record = the_product(act, product)
        there = {(key_of(each.batch), each.attribute, each.words) for each in record.signals}
        if (key_of(new.batch), new.attribute, new.words) in there:
            raise RecordError(f"This signal of {signal.batch} was acknowledged already.")
        kept = replace(record, signals=(*record.signals, new))
        act.put_noun(kept, expect=record, what="signal acknowledged")
        return kept


def baseline(product: ProductRecord, latest: Sequence[BatchRecord]) -> int | None:
    """How many first batches of each line set what is usual: the plant's number, else ours.

    None for all of them, which the plant states as 0.
    """
    return usual_base(latest) if product.base is None else product.base or None


def keep_baseline(desk: Desk, product: str, base: int, *, who: str) -> ProductRecord:
    """Keep how many first batches of each line set what is usual, 0 for all of them.

    Raises RecordError for a number from which nothing can be taken.
    """
    if base and not FEWEST <= base <= _MOST_BASE:
        raise RecordError(
            f"Baseline batches must be 0 for all, or {FEWEST} to {_MOST_BASE}; got {base}."
        )
    with desk.action(who=who, why=f"{base or 'all'} baseline batches") as act:
        record = the_product(act, product)
        if record.base == base:
            return record
        kept = replace(record, base=base)
        act.put_noun(kept, expect=record, what="baseline")
        return kept


def open_of_late(desk: Desk, product: ProductRecord, newest: int) -> list[Signal]:
    """The open signals of the newest batches of a product and the defects that have risen, newest
    first; none without a rule."""
    if not product.product.release_rule:
        return []
    records = desk.batches(product=product.name, most=IN_A_CHART)
    trend = product_trend(desk, product.name, base=baseline(product, records))
    names = {record.name for record in records[-newest:]}
    late = [each for each in signals_of(trend, product) if each.latest in names]
    rises = defect_rises(graded_of_a_year(desk, product.name, records))
    late = [each for each in (*signals_of_rises(rises, product), *late) if not each.known]
    return sorted(late, key=lambda each: each.date, reverse=True)

"""In which interval does each consumer begin to reject a stored product?

Why so
------
Nobody sees the day on which a consumer would begin to reject: it lies between two samples. Who
answers inconsistently gets the widest interval that the answers allow, from the last acceptance
before the first rejection to the first rejection after the last acceptance. Who rejects the fresh
sample says nothing about storage and is left out, counted and named in words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError
from ..base.results import digits, several
from ..models.censored_times import Intervals


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AskedConsumers:
    """Intervals of the consumers, and who they were."""

    seen: Intervals
    consumers: int
    fresh_rejected: int
    inconsistent: int
    always: int
    times: tuple[float, ...]


def asked_consumers(rows: pd.DataFrame) -> AskedConsumers:
    """The interval of each consumer; those who reject the fresh sample are left out."""
    doubled = rows[rows.duplicated(["consumer", "time"])]
    if len(doubled):
        row = doubled.iloc[0]
        raise ArgumentError(
            f"answers: row {row['row']}: {row['consumer']} answered twice at {digits(row['time'])} "
            "days; keep one of the answers."
        )
    low, high, fresh, inconsistent = [], [], 0, 0
    for _, own in rows.sort_values("time").groupby("consumer", sort=False):
        times, taken = own["time"].tolist(), own["accepts"].tolist()
        if times[0] == 0 and not taken[0]:
            fresh += 1
            continue
        begin, end, mixed = _interval(times, taken)
        low.append(begin)
        high.append(end)
        inconsistent += mixed
    if len(low) < 2:
        raise ArgumentError(
            f"Only {several(len(low), 'consumer')} accepted the fresh sample or tasted stored "
            "ones: how consumers differ cannot be told; ask at least two, better 50 or more."
        )
    return AskedConsumers(
        seen=Intervals.of(np.array(low, float), np.array(high, float)),
        consumers=len(low),
        fresh_rejected=fresh,
        inconsistent=inconsistent,
        always=sum(math.isinf(end) for end in high),
        times=tuple(sorted(rows["time"].unique())),
    )


def _interval(times: Sequence[float], taken: Sequence[bool]) -> tuple[float, float, bool]:
    """Between which times rejection begins, and whether the answers go to and fro."""
    first = taken.index(False) if False in taken else len(taken)
    last = len(taken) - 1 - taken[::-1].index(True) if True in taken else -1
    begin = times[first - 1] if first else 0.0
    end = times[last + 1] if last + 1 < len(times) else math.inf
    return begin, end, last > first


def refuse_what_tells_nothing(asked: AskedConsumers) -> None:
    """What these answers cannot be asked, in a sentence."""
    seen = asked.seen
    people, last = several(asked.consumers, "consumer"), digits(asked.times[-1])
    if asked.always == asked.consumers:
        raise ArgumentError(
            f"None of {people} rejected the product for good, up to {last} days: no time can be "
            "estimated. Store longer and ask again."
        )
    first = min((time for time in asked.times if time > 0), default=0.0)
    if (seen.high <= first).all():
        raise ArgumentError(
            f"All of {people} rejected the product at the first stored sample ({digits(first)} "
            "days): no time can be estimated. Ask about younger samples."
        )
    if seen.without_spread:
        raise ArgumentError(
            f"By their answers all of {people} may have begun to reject at one time: how they "
            "differ cannot be told. Ask at closer storage times, or store longer."
        )

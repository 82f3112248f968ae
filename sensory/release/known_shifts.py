"""Shifts of a trend that a change of reference or of a lot explains, and what stands out beside.

A batch is judged against its like: what all batches of one lot, or against one reference, have in
common is one shift, stated once, and taken out before single batches are looked at.

Why so
------
In the invented year 22 of 113 batches stood out, half of them since one lot lay high: so many
signals are not looked at. A shift is taken out only where its batches lie together (else a single
bad batch would be explained by its lot) and where it is clear among all that were sought (Holm's
first step, Bonferroni over the candidates, level 0.05), and where it begins and ends with them:
a drift of the reference lifts the batches of every lot of its weeks, and is none of them; a steep
one may still pass for the lot that is in use. In the
year it takes out the lot of sweetener, and leaves the drift and the gasket. It is taken out of the
signals alone; the points, the level of each line and its change stay as they are. Lots and
references that changed together cannot be told apart, and are named together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import chdtrc, ndtr, ndtri

from ..base.arrays import Bools, Floats, Ints
from ..base.spelling import key_of
from ..models.charts import RUN_RULES
from .batch_records import BatchRecord
from .plant import Plant
from .trend_words import batch_count

FEWEST = 3
"""Batches from which a shift can be told."""
_RISK = 0.05
_OF_BASE = 1 / 3  # share of its batches that may be among those that set what is usual
_APART = 0.01  # p at which batches of a lot do not lie together, and at which a step is one
_ALIKE = 0.7  # share of batches in common from which two changes count as one
_MOST = 5
_BESIDE = 3  # batches next to the beginning and the end of a lot, inside it and outside


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownShift:
    """What the batches of a lot, or against a reference, have in common.

    `names`: the lot or reference, and those that cannot be told apart from it.
    `batches`: numbers of its batches, in the order of making.
    `size`, `low`, `high`: how far they lie from the usual level, with 95 % limits.
    """

    names: tuple[str, ...]
    batches: tuple[str, ...]
    size: float
    low: float
    high: float

    @property
    def words(self) -> str:
        """The shift without numbers, which move with every batch that is added."""
        side = "above" if self.size > 0 else "below"
        also = f" (changed together: {', '.join(self.names[1:])})" if self.names[1:] else ""
        return f"all batches with {self.names[0]}{also} lie {side} the usual level"

    @property
    def numbers(self) -> str:
        """How many batches, how far they lie, and with which limits."""
        low, high = sorted((abs(self.low), abs(self.high)))
        limits = f"{low:.2f} to {high:.2f}, 95 %"
        return f"{batch_count(len(self.batches))}, {abs(self.size):.2f} ({limits})"


def changes_of(records: Iterable[BatchRecord], plant: Plant) -> dict[str, set[str]]:
    """Batches by what they were made with or tasted against, by its name."""
    sets: dict[str, set[str]] = {}
    called: dict[tuple[str, str], str] = {}
    for record in records:
        parts = [(plant.names_of(raw.material)[0], raw.lot) for raw in record.batch.raw_lots]
        for what, name in [*parts, ("reference", record.reference)]:
            if name:
                title = called.setdefault((key_of(what), key_of(name)), f"{what} {name}")
                sets.setdefault(title, set()).add(record.name)
    return sets


def known_shifts(
    points: pd.DataFrame, changes: Mapping[str, set[str]], base: int | None
) -> tuple[tuple[KnownShift, ...], Floats]:
    """The shifts that changes explain, the clearest first, and what they add to each point.

    `points` are those of `trend`; `changes` the batches of each lot and reference. Those that set
    what is usual, the first `base` of each line, explain nothing.
    """
    away = (points["estimate"] - points["centre"]).to_numpy()
    weight = 1 / points["sigma"].to_numpy() ** 2
    within = (points.groupby("line", sort=False).cumcount() < (base or 0)).to_numpy()
    sets = _candidates(points["batch"], changes, within)
    order = np.argsort(points["date"].to_numpy(), kind="stable").astype(np.int64)
    taken, shifts = np.zeros(len(points)), list[KnownShift]()
    while sets and len(shifts) < _MOST:
        left = away - taken
        judged = {name: _judged(left, weight, here, within, order) for name, here in sets.items()}
        name, (size, se, p) = min(judged.items(), key=lambda item: item[1][2])
        if p > _RISK / len(sets):
            break
        here = sets[name]
        taken = taken + np.where(here, size, 0.0)
        reach = float(ndtri(0.975)) * se
        together = [other for other, each in sets.items() if _alike(here, each) and other != name]
        shifts.append(
            KnownShift(
                names=(name, *together),
                batches=tuple(map(str, points["batch"][here])),
                size=size,
                low=size - reach,
                high=size + reach,
            )
        )
        sets = {other: each for other, each in sets.items() if other not in (name, *together)}
    return tuple(shifts), taken


def _candidates(
    batches: pd.Series[str], changes: Mapping[str, set[str]], within: Bools
) -> dict[str, Bools]:
    """Which points each change has; only those with enough batches that are not the usual ones."""
    sets = {name: batches.astype(str).isin(members).to_numpy() for name, members in changes.items()}
    return {
        name: here
        for name, here in sets.items()
        if (here & ~within).sum() >= FEWEST
        and (here & within).sum() <= _OF_BASE * here.sum()
        and not here.all()
    }


def _judged(
    away: Floats, weight: Floats, here: Bools, within: Bools, order: Ints
) -> tuple[float, float, float]:
    """Size of a shift, its standard error, and its p; 1 where its batches do not lie together, or
    where it neither begins nor ends with them."""
    mine, weights = away[here], weight[here]
    size = float((mine * weights).sum() / weights.sum())
    usual = weight[within & ~here].sum()
    se = float(np.sqrt(1 / weights.sum() + (1 / usual if usual else 0.0)))
    spread = float((weights * (mine - size) ** 2).sum())
    if chdtrc(len(mine) - 1, spread) < _APART or not _steps(
        np.sign(size) * away[order], weight[order], here[order]
    ):
        return size, se, 1.0
    return size, se, float(2 * ndtr(-abs(size) / se))


def _steps(away: Floats, weight: Floats, here: Bools) -> bool:
    """Whether the level rises with the first batch of a shift and falls after the last, in the
    order of making; at an end of the record there is nothing to compare."""
    inside, outside = np.flatnonzero(here), np.flatnonzero(~here)
    before, after = outside[outside < inside[0]], outside[outside > inside[-1]]
    edges = ((inside[:_BESIDE], before[-_BESIDE:]), (inside[-_BESIDE:], after[:_BESIDE]))
    return all(_higher(away, weight, own, others) for own, others in edges if len(others))


def _higher(away: Floats, weight: Floats, own: Ints, others: Ints) -> bool:
    means = [float(np.average(away[part], weights=weight[part])) for part in (own, others)]
    se = float(np.sqrt(1 / weight[own].sum() + 1 / weight[others].sum()))
    return means[0] - means[1] >= float(ndtri(1 - _APART)) * se


def _alike(one: Bools, other: Bools) -> bool:
    return bool((one & other).sum() >= _ALIKE * (one | other).sum())


def within_references(points: pd.DataFrame, against: Mapping[str, str]) -> pd.DataFrame:
    """The points without runs that reach across a change of reference.

    `against` is the reference of each batch: what came before another one took over is no part of
    a run. Points beyond the limits and the weighted mean stay.
    """
    windows = {rule.words: rule.window for rule in RUN_RULES.values() if rule.window > 1}
    signals = points["signals"].tolist()
    for _, rows in points.groupby("line", sort=False):
        used = [key_of(against.get(str(batch), "")) for batch in rows["batch"]]
        for place, at in enumerate(map(int, rows.index)):
            kept = [
                words
                for words in signals[at].split("; ")
                if len(set(used[max(0, place - windows.get(words, 1) + 1) : place + 1])) == 1
            ]
            signals[at] = "; ".join(kept)
    return points.assign(signals=signals)

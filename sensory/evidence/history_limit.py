"""A limit from history: how batches that were sold without complaint differed in truth.

[1] `models.true_spread`: the panel's noise taken off.

Why so
------
Where no consumer was asked, batches that people bought and did not complain of show what passed.
That is no proof that they noticed nothing, nor that more would have been noticed: it is a floor.
A limit below the plant's own scatter stops what was good; what each limit costs in such batches and
in assessors is shown for a row of limits, and people choose.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd
from scipy.special import nctdtr, stdtrit

from ..base.arrays import Floats
from ..base.checks import one_number, probability
from ..base.errors import ArgumentError
from ..base.findings import Finding
from ..base.results import Table, digits, several
from ..base.shown import Told
from ..choices.protocols import Protocol, find_protocol
from ..choices.size import operating_characteristic, panel_size
from ..models.paired import paired_chances
from ..models.true_spread import TrueSpread, of_counts, of_estimates
from ..ratings.frames import MOST, KeptTable, rows_of_file, whole_frame
from .carried_limit import share_that_notices
from .consumer_limit import UNITS, Unit
from .session_rows import counts_of, session_rows

FEWEST_BATCHES = 8
_NEARLY_ALL = 0.95
_SHARES = (0.5, 0.9, _NEARLY_ALL, 0.99)
_ROW = 6
"""Limits in a row that nobody gave."""
_MOST_ASSESSORS = 2000
_PASSES = (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT)
SOLD = (
    "It speaks of batches that were sold. Those that were held back are not among them, and a "
    "complaint that never came is no proof that nobody noticed."
)
A_FLOOR = (
    "It cannot say how much farther a batch might lie before people mind: that needs consumers."
)
FORM = (
    "Shares beyond a limit take true distances to scatter as a {form} distribution; the column "
    "without a form does not, and few batches make it jump."
)
PANEL_SAME = "Assessors and batches held are counted for a panel that scatters as this one did."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class HistoryLimit(Told):
    """Result of `limit_from_history`: tidy tables, handed out as copies.

    Attributes
    ----------
    unit : str
        ``dprime`` or ``points``.
    test : str
        Of which `limits` counts assessors; empty where there is none.
    level, alpha, beta
        As given.
    batches : int
    mean, spread : float
        Of the true distances, noise of the panel taken off; NaN where there is none.
    why_none : str
        Why no limit is looked at; empty where there are some.
    quantiles : DataFrame
        ``share estimate low high``: distance that so large a share of batches does not exceed.
    limits : DataFrame
        ``limit beyond low high beyond_free assessors held``: share of good batches that lie
        beyond each limit in truth, with its limits and without a form; the first number of
        assessors that keeps both risks, and the share of good batches that would not pass with it.
    """

    unit: Unit
    test: str
    level: float
    alpha: float
    beta: float
    batches: int
    mean: float
    spread: float
    form: str
    why_none: str
    _tables: Mapping[str, pd.DataFrame]

    quantiles = KeptTable()
    limits = KeptTable()

    def says(self) -> tuple[str, ...]:
        """What the history shows, a sentence each."""
        return tuple(self._sentences())

    def _sentences(self) -> Iterator[str]:
        unit = UNITS[self.unit]
        if self.why_none:
            yield self.why_none
            return
        count = several(self.batches, "batch").replace("batchs", "batches")
        yield (
            f"{count} lie {digits(self.mean, 2)} from the reference on average in truth, with a "
            f"standard deviation of {digits(self.spread, 2)} between them ({unit}; the panel's "
            "noise is taken off)."
        )
        if self.spread == 0:
            yield "They scatter no more than the panel's noise explains."
        rows = self._tables["quantiles"].to_dict("records")
        row = next(row for row in rows if row["share"] == _NEARLY_ALL)
        estimate, low, high = (digits(row[name], 2) for name in ("estimate", "low", "high"))
        yield (
            f"95 % of such batches lie below {estimate} ({low} to {high}, {100 * self.level:g} %)."
        )

    def cost_of(self, limit: float) -> str:
        """What one limit of the row would cost, in a sentence."""
        rows = self._tables["limits"]
        row = rows.loc[rows["limit"] == limit].iloc[0]
        words = (
            f"At a limit of {digits(limit, 3)}, {100 * row['beyond']:.1f} % of good batches lie "
            f"beyond it in truth ({100 * row['low']:.1f} to {100 * row['high']:.1f} %)"
        )
        if np.isnan(row["assessors"]):
            return f"{words}."
        held = 100 * row["held"]
        return f"{words}; with {row['assessors']:.0f} assessors {held:.0f} % would not pass."

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What these batches do not say, a sentence each."""
        return (SOLD, A_FLOOR, FORM.format(form=self.form), PANEL_SAME)

    def summary(self) -> Table:
        """One row a limit."""
        names = ("limit", "beyond", "low", "high", "beyond_free", "assessors", "held")
        rows = [tuple(row[name] for name in names) for row in self.limits.to_dict("records")]
        shown = ("limit", "good batches beyond", "low", "high", "without a form", "assessors")
        return Table(columns=(*shown, "good batches that would not pass"), rows=tuple(rows))

    def __repr__(self) -> str:
        return (
            f"<HistoryLimit: {self.batches} batches; mean {digits(self.mean, 3)}, standard "
            f"deviation {digits(self.spread, 3)} ({UNITS[self.unit]})>"
        )


def limit_from_history(
    batches: pd.DataFrame,
    *,
    limits: Iterable[float] | None = None,
    protocol: Protocol | str | None = None,
    scatter: float | None = None,
    alpha: float = 0.05,
    beta: float = 0.05,
    level: float = 0.95,
) -> HistoryLimit:
    """What would each limit have done to batches that were sold without complaint?

    Parameters
    ----------
    batches : DataFrame
        One batch a row, those that were sold without complaint only. Either ``batch estimate se``:
        points beyond the blind control with their standard error; or ``batch protocol correct
        trials``: counts of a choice test.
    limits : distances, optional
        To look at, above 0, in the unit of the batches; a row over their distribution if not given.
    protocol : Protocol or str, optional
        Test in which batches will be tasted, for counts; that of the last batch if not given.
    scatter : float, optional
        For points: standard deviation of the differences of assessors, batch less blind control;
        without it no assessors are counted.
    alpha, beta : float
        Risks that the number of assessors keeps.
    level : float
        Of all limits, two-sided.

    Raises
    ------
    ArgumentError
        No table, cells that cannot be used, limits of 0 or less. Fewer than eight batches give
        a result without a number that says so.

    Notes
    -----
    Points: true distances are normal, by restricted likelihood with each batch's known error.
    Counts: d-primes have a gamma distribution, by maximum likelihood. Limits come from all pairs
    of mean and standard deviation as far as they fit, with equal weights: of 200 simulated rows
    each they held the 95 % quantile in 193 with 10 batches, in 189 to 192 with 30
    (`tests/calibration/test_history_limits.py`). A batch passes when it is found similar or
    different within the limit; how many do not is a mean over the true distances.

    Examples
    --------
    >>> result = limit_from_history(_example(), limits=[1.0, 1.5], scatter=1.2)
    >>> print(*result.says(), sep="\\n")
    40 batches lie 0.45 from the reference on average in truth, with a standard deviation of 0.36 \
between them (points; the panel's noise is taken off).
    95 % of such batches lie below 1 (0.83 to 1.3, 95 %).
    >>> result.cost_of(1.5)
    'At a limit of 1.5, 0.2 % of good batches lie beyond it in truth (0.0 to 2.3 %); with 9 \
assessors 28 % would not pass.'
    """
    level, alpha = probability("level", level), probability("alpha", alpha)
    beta = probability("beta", beta)
    read = _read(batches, protocol, scatter)
    asked = {"alpha": alpha, "beta": beta, "level": level}
    if read.spread is None:
        return _result(read, asked, {"quantiles": _quantiles(None, level), "limits": _limits()})
    row = _given(limits) if limits is not None else _row_of(read.spread)
    costs = [_cost(read, limit, alpha, beta, level) for limit in row]
    return _result(
        read, asked, {"quantiles": _quantiles(read.spread, level), "limits": _limits(costs)}
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Read:
    """Batches with the distribution of their distances; None where they are too few."""

    count: int
    unit: Unit
    spread: TrueSpread | None
    protocol: Protocol | None = None
    scatter: float | None = None
    why_none: str = ""


def _read(batches: pd.DataFrame, protocol: Protocol | str | None, scatter: float | None) -> _Read:
    counted = isinstance(batches, pd.DataFrame) and "correct" in batches
    unit: Unit = "dprime" if counted else "points"
    if isinstance(batches, pd.DataFrame) and len(batches) < FEWEST_BATCHES:
        why = (
            f"{len(batches)} batches sold without complaint: their scatter is looked at from "
            f"{FEWEST_BATCHES} on."
        )
        return _Read(count=len(batches), unit=unit, spread=None, why_none=why)
    if counted:
        return _of_counts(batches, protocol)
    if protocol is not None:
        raise ArgumentError("protocol is for counts; batches with estimates are in points.")
    if scatter is not None and one_number("scatter", scatter, 0.0, MOST) == 0:
        raise ArgumentError("scatter must be above 0; got 0.")
    values, se = _estimates(batches)
    return _Read(count=len(values), unit="points", spread=of_estimates(values, se), scatter=scatter)


def _of_counts(batches: pd.DataFrame, protocol: Protocol | str | None) -> _Read:
    frame = whole_frame("batches", batches, "batch", ("batch", "protocol", "correct", "trials"))
    named = frame.rename(columns={"batch": "session"})
    own = [name for name in ("session", "protocol", "correct", "trials") if name in named]
    rows = session_rows(named[own], scores=False)
    future = rows[-1].protocol if protocol is None else find_protocol(str(protocol))
    counts = counts_of(rows)
    if (counts.correct == counts.trials).all():
        why = "Every answer on every batch was right: their distances have no end to be seen."
        return _Read(count=len(rows), unit="dprime", spread=None, why_none=why)
    return _Read(count=len(rows), unit="dprime", spread=of_counts(counts), protocol=future)


def _estimates(batches: pd.DataFrame) -> tuple[Floats, Floats]:
    frame = whole_frame("batches", batches, "batch", ("batch", "estimate", "se"))
    columns = [pd.to_numeric(frame[name], errors="coerce") for name in ("estimate", "se")]
    values, se = (column.to_numpy(float) for column in columns)
    wrong = ~(np.isfinite(values) & (np.abs(values) <= MOST) & (se > 0) & (se <= MOST))
    if wrong.any():
        place = int(np.flatnonzero(wrong)[0])
        raise ArgumentError(
            f"batches, row {rows_of_file(frame)[place]}: estimate must be a number and se above 0; "
            f"got {frame['estimate'].iloc[place]!r} and {frame['se'].iloc[place]!r}."
        )
    return values, se


def _given(limits: Iterable[float]) -> list[float]:
    row = [one_number("limits", limit, 0.0, MOST) for limit in limits]
    if not row or min(row) <= 0:
        raise ArgumentError("limits must be distances above 0; give at least one.")
    return sorted(dict.fromkeys(row))


def _row_of(spread: TrueSpread) -> list[float]:
    """Round distances from the middle of the batches to beyond nearly all of them."""
    top = max(spread.quantile(0.99), spread.quantile(0.5) * 1.5, 0.0) * 1.25 or 1.0
    step = _rounded(top / _ROW)
    return [round(step * (at + 1), 10) for at in range(_ROW)]


def _rounded(step: float) -> float:
    unit = 10.0 ** np.floor(np.log10(step))
    return float(unit * next(each for each in (1, 2, 2.5, 5, 10) if each * unit >= step * 0.999))


def _cost(read: _Read, limit: float, alpha: float, beta: float, level: float) -> dict[str, float]:
    if read.spread is None:
        return {}
    low, high = read.spread.beyond_limits(limit, level)
    assessors, held = _test(read, read.spread, limit, alpha, beta)
    return {
        "limit": limit,
        "beyond": read.spread.beyond(limit),
        "low": low,
        "high": high,
        "beyond_free": read.spread.beyond_free(limit),
        "assessors": assessors,
        "held": held,
    }


def _test(
    read: _Read, spread: TrueSpread, limit: float, alpha: float, beta: float
) -> tuple[float, float]:
    """Assessors that keep both risks, and the share of batches that would not pass with them."""
    truths = spread.points()
    none = float("nan"), float("nan")
    if read.protocol is not None:
        share = share_that_notices(read.protocol, limit)
        try:
            size = int(panel_size(read.protocol, alpha=alpha, beta=beta, pd=share).assessors)
        except ArgumentError:  # more than can be planned for
            return none
        chances = operating_characteristic(
            read.protocol,
            size,
            alpha=alpha,
            beta=beta,
            pd_limit=share,
            dprime=np.minimum(truths, 10.0),
        )
        return float(size), 1 - float(np.mean(sum(chances[each] for each in _PASSES)))
    if read.scatter is None or (size := _assessors(limit / read.scatter, alpha, beta)) == 0:
        return none
    does = paired_chances(
        truths, scatter=read.scatter, assessors=size, limit=limit, alpha=alpha, beta=beta
    )
    return float(size), 1 - float(np.mean(does.similar + does.both))


def _assessors(effect: float, alpha: float, beta: float) -> int:
    """First number of assessors whose one-sided t-test finds a difference at the limit."""
    people = np.arange(2, _MOST_ASSESSORS + 1)
    missed = nctdtr(people - 1, effect * np.sqrt(people), stdtrit(people - 1, 1 - alpha))
    kept = np.flatnonzero(missed <= beta)
    return int(people[kept[0]]) if len(kept) else 0


def _quantiles(spread: TrueSpread | None, level: float) -> pd.DataFrame:
    rows = [
        (share, spread.quantile(share), *spread.quantile_limits(share, level))
        for share in (_SHARES if spread else ())
        if spread
    ]
    return pd.DataFrame(rows, columns=["share", "estimate", "low", "high"])


def _limits(costs: Iterable[dict[str, float]] = ()) -> pd.DataFrame:
    columns = ["limit", "beyond", "low", "high", "beyond_free", "assessors", "held"]
    return pd.DataFrame(list(costs), columns=columns)


def _result(read: _Read, asked: dict[str, float], tables: dict[str, pd.DataFrame]) -> HistoryLimit:
    nothing = float("nan")
    return HistoryLimit(
        unit=read.unit,
        test=read.protocol.name if read.protocol else "",
        batches=read.count,
        mean=read.spread.mean if read.spread else nothing,
        spread=read.spread.spread if read.spread else nothing,
        form=read.spread.form if read.spread else "normal",
        why_none=read.why_none,
        **asked,
        _tables=MappingProxyType(tables),
    )


def _example() -> pd.DataFrame:
    """Forty batches in points, noise of the panel 0.25."""
    rng = np.random.default_rng(3)
    true = rng.normal(0.5, 0.3, 40)
    return pd.DataFrame(
        {
            "batch": [f"B{number}" for number in range(1, 41)],
            "estimate": true + rng.normal(0, 0.25, 40),
            "se": 0.25,
        }
    )

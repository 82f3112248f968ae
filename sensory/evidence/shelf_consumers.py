"""Shelf life by consumers who accept or reject samples of several storage times."""

from __future__ import annotations

import math
from collections.abc import Sequence
from types import MappingProxyType

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from ..base.checks import one_count, probability
from ..base.errors import ArgumentError
from ..base.results import digits, several
from ..models.censored_times import (
    SHAPES,
    WIDEST,
    Steps,
    TimesFit,
    fit_times,
    quantile_limits,
    steps_of,
)
from .shelf_intervals import AskedConsumers, asked_consumers, refuse_what_tells_nothing
from .shelf_life import ADVICE, BATCH, ShelfLife, row_of, storage_of
from .shelf_rows import accepts, days, of_one, series_rows, text

_DRAWS = 1000
NEAR = 2.0
"""Log-likelihood within which a distribution counts beside the most likely, which need not be the
true one: with its limits alone the lower limit held in 92 % of simulated lognormal studies."""
FEW = 30
"""Consumers below which a remark says how few they are. Common practice, no source."""
DISTRIBUTION = (
    "Between the storage times the share that rejects is that of a distribution, which nobody has "
    "seen. The estimate without one stands beside it; compare them."
)
WHO = (
    "It speaks of consumers like those who were asked, and takes for granted that they judged each "
    "sample by itself and knew no date. People at home, who have paid, may be stricter or milder."
)
INCONSISTENT = (
    "Who accepts an older sample after rejecting a younger one has changed somewhere between: the "
    "interval runs from the last acceptance before to the first rejection behind."
)


def shelf_life_from_consumers(
    answers: pd.DataFrame,
    *,
    safety_date: object,
    start: object,
    share: float,
    distribution: str | None = None,
    level: float = 0.90,
    seed: int = 1,
) -> ShelfLife:
    """After which storage time does the agreed share of consumers reject the product?

    Parameters
    ----------
    answers : DataFrame
        ``consumer time accepts``: days of storage, and yes or no. A consumer may have tasted all
        storage times, some or one. ``batch`` where there is one.
    safety_date : date or text
        Until when food safety allows the product to be eaten; no date is later.
    start : date or text
        When storage began.
    share : float
        Of consumers rejecting, at which the shelf life ends, as agreed; 0.25 and 0.5 are usual
        (common practice, no source).
    distribution : {"Weibull", "lognormal", "log-logistic"}, optional
        Of the days to rejection; the most likely of the three where none is agreed.
    level : float
        Of two-sided limits; at 0.90 the lower limit alone holds at 95 %.
    seed : int
        Of the consumers drawn anew for the limits without a distribution.

    Raises
    ------
    ArgumentError
        Cells that cannot be used; one consumer, one storage time; nobody rejects; all reject at
        the first time; one time at which all may have changed; rejection that does not rise.

    Notes
    -----
    Each consumer gives an interval in which rejection begins; the likelihood is the product of the
    chances of these intervals. The limits of the time are profile limits: of the agreed
    distribution, else the widest of all whose log-likelihood is within 2 of the most likely.
    Beside them stands Turnbull's estimate, which leaves open where inside an
    interval between two samples the share is reached; its limits are percentiles of 1,000 draws
    of the consumers. In 400 simulated studies of 60 consumers at 7 storage times
    (`tests/calibration/test_shelf_life.py`) the lower limit at 95 % was not later than the true
    time in 94 to 98 % of them, whichever of the three was true; that without a distribution in all
    but 1 of 400.

    Examples
    --------
    >>> rows = [("a", 30, "yes"), ("a", 60, "no"), ("b", 30, "yes"), ("b", 60, "yes"),
    ...         ("b", 90, "no"), ("c", 30, "no"), ("d", 30, "yes"), ("d", 60, "yes"),
    ...         ("d", 90, "yes")]
    >>> result = shelf_life_from_consumers(
    ...     pd.DataFrame(rows, columns=["consumer", "time", "accepts"]),
    ...     safety_date="2027-06-30", start="2026-11-28", share=0.5)
    >>> result
    <ShelfLife: shown until 2026-12-13, best estimate 2027-01-23>
    """
    level, share = probability("level", level), probability("share", share)
    seed = one_count("seed", seed)
    _check_distribution(distribution)
    needed = {"consumer": text, "time": days, "accepts": accepts}
    rows = series_rows("answers", answers, "answer", needed, {"batch": text})
    of_one("answers", rows, "batch", "give one at a time; the shortest shelf life counts for all.")
    storage = storage_of(start, safety_date, rows["time"])
    asked = asked_consumers(rows)
    refuse_what_tells_nothing(asked)
    fits = [fit_times(shape, asked.seen, share, level) for shape in SHAPES]
    if all(fit.spread > WIDEST for fit in fits):
        raise ArgumentError(
            "Rejection does not rise with storage time in these answers: no time can be estimated. "
            "Store longer, or look for samples that were mixed up."
        )
    best = _chosen(fits, distribution)
    near = (best,) if distribution else _near(fits, best)
    steps = steps_of(asked.seen)
    limits = quantile_limits(asked.seen, share, level, draws=_DRAWS, seed=seed)
    return ShelfLife(
        start=storage.start,
        safety_date=storage.safety_date,
        last=storage.last,
        event=f"{100 * share:g} % of consumers reject",
        estimate=best.estimate,
        low=min(fit.low for fit in near),
        high=max(fit.high for fit in near),
        level=level,
        at=100 * share,
        axis="consumers who reject, %",
        seen="share that rejects, without a distribution",
        basis=(
            _basis(asked, best, distribution),
            _beside(fits, best, None if distribution else len(near)),
            _free(steps, share, limits),
        ),
        remarks=tuple(_remarks(asked, best)),
        cannot_tell=(DISTRIBUTION, *((INCONSISTENT,) if asked.inconsistent else ()), WHO, BATCH,
                     ADVICE),
        _tables=MappingProxyType(
            {
                "points": _points(steps, asked, storage.last),
                "curve": _curve(best, storage.last),
                "fits": _table(fits, best, steps, share, limits),
            }
        ),
    )  # fmt: skip


def _check_distribution(distribution: str | None) -> None:
    named = [shape.name for shape in SHAPES]
    if distribution is not None and distribution not in named:
        raise ArgumentError(
            f"distribution must be one of {', '.join(named)}; got {distribution!r}."
        )


def _chosen(fits: Sequence[TimesFit], distribution: str | None) -> TimesFit:
    if distribution is None:
        return max(fits, key=lambda fit: fit.log_likelihood)
    return next(fit for fit in fits if fit.shape.name == distribution)


def _near(fits: Sequence[TimesFit], best: TimesFit) -> tuple[TimesFit, ...]:
    """The distributions that are nearly as likely as the best: their limits count too."""
    return tuple(fit for fit in fits if fit.log_likelihood >= best.log_likelihood - NEAR)


def _basis(asked: AskedConsumers, best: TimesFit, agreed: str | None) -> str:
    why = "as agreed" if agreed else "the most likely of three"
    return (
        f"{several(asked.consumers, 'consumer')}; {asked.always} still accept the last sample they "
        f"tasted. Days to rejection follow a {best.shape.name} distribution, {why}."
    )


def _beside(fits: Sequence[TimesFit], best: TimesFit, near: int | None) -> str:
    others = "; ".join(
        f"{fit.shape.name} {digits(fit.estimate, 3)} days ({digits(fit.low, 3)} to "
        f"{digits(fit.high, 3)}), {_compared(fit.log_likelihood - best.log_likelihood)}"
        for fit in fits
        if fit is not best
    )
    return f"By the other distributions: {others}. {_whose(near)}"


def _whose(near: int | None) -> str:
    if near is None:
        return "The limits are those of the agreed distribution."
    if near == 1:
        return "They are clearly less likely, and the limits are those of the most likely."
    return f"The limits are the widest of the {near} that are nearly as likely (within {NEAR:g})."


def _compared(gap: float) -> str:
    return f"log-likelihood {digits(abs(gap), 2)} {'higher' if gap > 0 else 'lower'}"


def _free(steps: Steps, share: float, limits: tuple[float, float]) -> str:
    begin, end = steps.quantile(share)
    if math.isinf(end):
        return (
            f"Without a distribution {100 * share:g} % rejecting is not reached by the last sample."
        )
    high = f"{digits(limits[1], 3)} days" if math.isfinite(limits[1]) else "an open end"
    return (
        f"Without a distribution the share is reached between {digits(begin, 3)} and "
        f"{digits(end, 3)} days (limits {digits(limits[0], 3)} to {high}); where between is not "
        "determined."
    )


def _remarks(asked: AskedConsumers, best: TimesFit) -> list[str]:
    remarks = []
    first = min(time for time in asked.times if time > 0)
    if best.estimate < first:
        remarks.append(
            f"The estimate lies before the first stored sample ({digits(first)} days), where "
            "nothing was tasted."
        )
    if asked.fresh_rejected:
        verb = (
            "rejects the fresh sample and is"
            if asked.fresh_rejected == 1
            else ("reject the fresh sample and are")
        )
        remarks.append(f"{several(asked.fresh_rejected, 'consumer')} {verb} left out.")
    if asked.inconsistent:
        accept = "accepts" if asked.inconsistent == 1 else "accept"
        remarks.append(
            f"{several(asked.inconsistent, 'consumer')} {accept} an older sample after rejecting a "
            "younger one."
        )
    if asked.consumers < FEW:
        remarks.append(f"{asked.consumers} consumers are few; 50 to 100 are usual.")
    return remarks


def _points(steps: Steps, asked: AskedConsumers, last: float) -> pd.DataFrame:
    """The share that rejects by the estimate without a distribution, where it is determined."""
    reached: Floats = np.cumsum(steps.mass)
    rows = []
    for time in asked.times:
        inside = ((steps.low < time) & (time < steps.high)).any()
        if not inside:
            done = steps.high <= time
            rows.append((time, float(reached[done][-1]) if done.any() else 0.0))
    return pd.DataFrame(
        {
            "time": [time for time, _ in rows],
            "estimate": [100 * share for _, share in rows],
            "low": np.nan,
            "high": np.nan,
            "answers": asked.consumers,
            "label": "without a distribution",
        }
    )


def _curve(best: TimesFit, last: float) -> pd.DataFrame:
    time = np.linspace(0, max(last, min(best.estimate, 1.5 * last)), 61)
    return pd.DataFrame(
        {"time": time, "estimate": 100 * best.share(time), "low": np.nan, "high": np.nan}
    )


def _table(
    fits: Sequence[TimesFit],
    best: TimesFit,
    steps: Steps,
    share: float,
    limits: tuple[float, float],
) -> pd.DataFrame:
    rows = [
        row_of(
            f"days, {fit.shape.name}{' (taken)' if fit is best else ''}",
            fit.estimate,
            fit.low,
            fit.high,
        )
        for fit in fits
    ]
    begin, end = steps.quantile(share)
    rows += [
        row_of("days, without a distribution: from", begin, *limits),
        row_of("days, without a distribution: to", end, *limits),
    ]
    rows += [row_of(f"log-likelihood, {fit.shape.name}", fit.log_likelihood) for fit in fits]
    rows.append(row_of("spread of log days", best.spread))
    return pd.DataFrame(rows)

"""Batches over time: is the product, or one line of it, moving away from the reference?

Limits of a chart come from the scatter of the batches and say what is unusual; the limit
agreed with management says what is too far. Neither follows from the other.

[1] After ISO 7870-2 and ISO 7870-6: Shewhart charts and EWMA charts. (Scope; from memory.)
[2] Lucas, J.M. and Saccucci, M.S. (1990). Technometrics 32, 1-12. (From memory.)
[3] After ISO 20613:2019: sensory analysis in quality control. (Scope.)

Why so
------
Trend: limits of the chart are not the agreed limit. A chart says what is unusual, by the scatter
of the batches; a batch is held against the agreed limit by its own standard error only. Scatter
makes the moving ranges add up to their expectation under the known, unequal standard errors,
which with equal ones is the individuals chart. A signal in two lines at one time points at the
reference.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd
from scipy.special import ndtri

from ..base.arrays import Row
from ..base.checks import one_count, one_number, probability
from ..models.charts import RUN_RULES, THREE_SIGMA
from ..models.run_lengths import COUNTABLE, ewma_width
from .batch_rows import batch_rows, each_line, is_number
from .charted import Charted
from .trend_lines import FEWEST, LineSetting, above_zero, chart_of_line, chosen_rules, quiet_run
from .trend_words import CHANGE, level_sentence, quiet_sentence, signal_rows, what_it_cannot_tell

RULES = ("limit", "nine on one side")
"""Rules in use where none are named."""

_MOST = 1e100  # beyond it squares leave the range of numbers

_CHECKS = (
    ("estimate", lambda cell: is_number(cell) and abs(cell) <= _MOST, "a number up to 1e100"),
    ("se", lambda cell: is_number(cell) and 0 <= cell <= _MOST, "a number, 0 or more, up to 1e100"),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trend(Charted):
    """Result of `trend`: tidy tables, handed out as copies.

    Attributes
    ----------
    limit, alpha, weight, centre, scatter, base, level, seed
        As given.
    rules : tuple of str
        Keys of `RUN_RULES`.
    width, ewma_width : float
        Limits of the points and of the weighted mean, in standard deviations of each.
    points : DataFrame
        ``line batch date estimate se low high centre sigma lower upper z ewma ewma_lower
        ewma_upper against_limit signals``: `low` and `high` are limits of the batch itself at
        `level`; `lower` and `upper` those of the chart; `sigma` is the standard deviation of
        the point on the chart, z = (estimate - centre) / sigma; `against_limit` is ``within``
        or ``beyond`` where low and high lie so as a whole, else ``cannot tell``.
    signals : DataFrame
        ``line batch date signal``: one row a signal.
    change : DataFrame
        ``line batch date first last before after difference se p clear``: the likeliest
        single step of each line with six batches or more. `batch` is the first one at the
        new level, `first` and `last` bound it at `level`; the step is `clear` where p is at
        most 1 - level.
    lines : DataFrame
        ``line batches estimate se low high scatter noise run_length``: mean of each line; the
        standard deviation of its batches; the panel's noise, as a root mean square; and after
        how many batches, on average, limits and runs signal where nothing changes.
    """

    limit: float | None
    weight: float
    centre: float | None
    scatter: float | None
    width: float
    ewma_width: float

    stepping = "level"
    shown = ("estimate", "lower", "upper", "ewma", "signals")

    @property
    def agreed(self) -> float | None:
        return self.limit

    def _whole_line(self, name: str, row: Row) -> str:
        return level_sentence(name, row, self.level)

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        rules = [RUN_RULES[key] for key in self.rules]
        beside = [rule.words for rule in rules if rule.kind not in COUNTABLE]
        adds = " and ".join(["the weighted mean", *beside])
        run = float(self._tables["lines"]["run_length"].iloc[0])
        return (
            *what_it_cannot_tell(self.lines, self.base, self.limit),
            *quiet_sentence(run, "limits and runs", f"{adds} come on top"),
        )

    def __repr__(self) -> str:
        return f"<Trend: {self._counted()}>"


def trend(
    batches: pd.DataFrame,
    *,
    limit: float | None = None,
    alpha: float = THREE_SIGMA,
    rules: Iterable[str] = RULES,
    weight: float = 0.2,
    centre: float | None = None,
    scatter: float | None = None,
    base: int | None = None,
    level: float = 0.95,
    seed: int = 1,
) -> Trend:
    """Do the batches keep their distance from the reference, or does it move?

    Parameters
    ----------
    batches : DataFrame
        One batch a row: ``batch estimate se`` and, where there are any, ``date line``.
        `estimate` is batch minus reference, or beyond the blind control; `se` its own
        standard error from the noise of the panel that day, 0 where unknown. Dates are
        moments, ISO texts or numbers; without them the rows are in the order of time.
        Each `line` (or supplier) has its own chart.
    limit : float, optional
        Distance that is not tolerated, agreed beforehand, in units of the estimate and in
        both directions. Batches are held against it by their own limits, not by the chart's.
    alpha : float
        Risk of a false signal of the limits at each batch where nothing changes; 0.0027 is
        three standard deviations. The weighted mean gets limits with the same average run
        length, 1 / alpha.
    rules : keys of RUN_RULES
        What is looked for beside the weighted mean. Each rule adds false signals.
    weight : float
        Of the latest batch in the weighted mean, 0.02 to 1: small for slow changes.
    centre : float, optional
        Centre line; otherwise the weighted mean of the base. 0 asks about the reference
        itself, the mean asks whether the batches stay alike.
    scatter : float, optional
        Known standard deviation of the batches, without the panel's noise; otherwise from the
        moving ranges of the base.
    base : int, optional
        Only so many first batches of each line set centre and scatter; otherwise all of
        them do, and a change widens the limits that should show it.
    level : float
        Of the limits of batches, means and the place of a change.
    seed : int
        Of the random orders behind the p of a change.

    Raises
    ------
    ArgumentError
        Cells that cannot be used, see `batch_rows`; fewer than three batches in a line
        whose centre or scatter is not given; a base below 3; an unknown rule; batches that
        show no scatter at all.

    Notes
    -----
    The standard deviation of a point is sqrt(scatter^2 + se^2), so a noisy day has wider
    limits; run rules look at the standardised points. Scatter makes the moving ranges add up
    to their expectation (`batch_scatter`); with equal se this is the individuals chart of
    [1], centre +- 3 mean moving range / 1.128, unless the panel's noise alone is more. The
    limits of the weighted mean widen with time and follow unequal se [2]. The change is one
    step, by likelihood ratio, over all batches, weighted by the scatter of all of them; p is
    a little too small where that scatter comes out as 0 by chance (at worst 0.10 for 0.05,
    simulated). It lay between `first` and `last`, 95 %, in 97.3 to 98.8 % of 400 lines of 12, 20 or
    40 batches, steps of 1 or 2 standard deviations; the limits of the mean of 5, 8 and 20 batches
    held it in 100, 96.5 and 96.0 % of 200. Limits of a batch hold in 95 % with a known se, and in
    87.8, 90.9, 92.4 and 93.5 % where it comes from 5, 8, 12 and 20 assessors
    (`tests/calibration/test_trend_limits.py`). se counts as known; where few assessors gave it,
    signals are somewhat too frequent. Batches made one after the other from the same lot go
    together, which no rule here takes into account.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(3)
    >>> estimate = rng.normal(0.1, 0.2, 24) + np.repeat([0.0, 0.8], [16, 8])
    >>> rows = pd.DataFrame({"batch": [f"L{i}" for i in range(1, 25)],
    ...                      "estimate": estimate, "se": 0.15})
    >>> result = trend(rows, limit=1.5, base=12)
    >>> result.change[["batch", "first", "last"]].values.tolist()
    [['L17', 'L17', 'L17']]
    >>> result
    <Trend: 24 batches, 1 line; 7 signals>
    """
    alpha, level = one_number("alpha", alpha, 1e-6, 0.5), probability("level", level)
    chosen = chosen_rules(rules)
    weight, width = one_number("weight", weight, 0.02, 1.0), float(-ndtri(alpha / 2))
    setting = LineSetting(
        limit=None if limit is None else above_zero("limit", limit),
        chosen=chosen,
        weight=weight,
        centre=None if centre is None else one_number("centre", centre, -1e300, 1e300),
        scatter=None if scatter is None else one_number("scatter", scatter, 0.0, 1e300),
        base=None if base is None else one_count("base", base, at_least=FEWEST),
        level=level,
        seed=one_count("seed", seed),
        width=width,
        ewma_width=ewma_width(weight, 1 / alpha),
        run_length=quiet_run(chosen, width),
    )
    rows = batch_rows(batches, _CHECKS)
    parts = [chart_of_line(line, part, setting) for line, part in each_line(rows)]
    tables = {
        "points": pd.concat([part[0] for part in parts], ignore_index=True),
        "lines": pd.DataFrame([part[1] for part in parts]),
        "change": pd.DataFrame([part[2] for part in parts if part[2]], columns=CHANGE),
    }
    tables["signals"] = signal_rows(tables["points"])
    return Trend(
        limit=setting.limit,
        alpha=alpha,
        rules=tuple(rule.key for rule in chosen),
        weight=weight,
        centre=setting.centre,
        scatter=setting.scatter,
        base=setting.base,
        level=level,
        seed=setting.seed,
        width=width,
        ewma_width=setting.ewma_width,
        _tables=MappingProxyType(tables),
    )

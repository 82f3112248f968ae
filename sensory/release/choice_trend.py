"""Choice tests over time: counts of one batch after the other against their own history.

[1] After ISO 7870-2: charts of counts. (Scope.) Limits here are binomial tails, not the normal
    approximation, which is poor at the size of a panel.
[2] Robbins, H. (1970). Annals of Mathematical Statistics 41, 1397-1409. (From memory.)
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

import numpy as np
import pandas as pd
from scipy.special import ndtri

from ..base.arrays import Floats, Ints, Name, Row
from ..base.checks import as_fraction, one_count, one_number, probability
from ..base.errors import ArgumentError
from ..choices.counts import check_protocol
from ..choices.dprime import estimate_dprime
from ..choices.protocols import Protocol
from ..models.binomial import clopper_pearson, least_count, lower_tail, most_count, upper_tail
from ..models.change_points import step_in_proportion
from ..models.charts import THREE_SIGMA
from ..models.confidence_sequence import always_limits
from ..ratings.frames import KeptTable
from .batch_rows import batch_rows, each_line, is_count
from .charted import Charted
from .trend import RULES
from .trend_lines import BEYOND, FEWEST_FOR_CHANGE, SHUFFLES, UNTOLD, WITHIN, chosen_rules, in_words
from .trend_words import (
    CHANGE,
    batch_count,
    begun,
    change_row,
    quiet_sentence,
    signal_rows,
    what_it_cannot_tell,
)

MANY_LOOKS = (
    "Limits of the total hold for one look only: looking after every batch and stopping when "
    "they please finds differences that are none. The limits for all looks allow it."
)
SAME_PEOPLE = (
    "The same assessors come back batch after batch and their answers go together, so similarity "
    "is not concluded from the total, however many answers it holds."
)
ONE_SHARE = "The limits of the total take every batch to be equally far from the reference."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChoiceTrend(Charted):
    """Result of `trend_of_choices`: tidy tables, handed out as copies.

    Attributes
    ----------
    protocol, pd_limit, alpha, base, level, seed
        As given.
    rules : tuple of str
        Keys of `RUN_RULES`.
    points : DataFrame
        ``line batch date correct trials pc dprime low high centre lower upper z
        against_limit signals``: d-prime with exact limits at `level`; `centre` is the
        proportion correct of the base; counts from `lower` to `upper` are usual there,
        0 and trials where no count on that side would be
        unusual; z is the normal score of the
        mid-p; `against_limit` goes by the exact limits of pd at `level`.
    total : DataFrame
        ``line batch date correct trials pc low high always_low always_high``: all answers up
        to and with this batch; exact limits of pc for a single look, and those that hold at
        all looks together.
    signals, change : DataFrame
        As in `Trend`; `before` and `after` are proportions correct.
    lines : DataFrame
        ``line batches correct trials pc dprime low high run_length``; the last is the mean
        number of batches up to a signal of the limits where nothing changes.
    """

    protocol: Protocol
    pd_limit: float | None

    stepping = "proportion correct"
    shown = ("correct", "trials", "dprime", "low", "high", "signals")

    total = KeptTable()

    @property
    def agreed(self) -> float | None:
        return self.pd_limit

    def _whole_line(self, name: str, row: Row) -> str:
        total, share = self._of("total", row["line"]), 100 * self.level
        guess = float(self.protocol.guess)
        ever = total.loc[total["always_low"] > guess, "batch"]
        shown = "does not show a difference"
        if len(ever):
            shown = f"shows a difference since batch {ever.iloc[0]}"
        return begun(
            name,
            f"{batch_count(row['batches'])}, {row['correct']} of {row['trials']} correct: "
            f"d-prime {row['dprime']:.2f} ({row['low']:.2f} to {row['high']:.2f}, {share:g} % "
            f"for one look). Looked at after every batch, the total {shown}.",
        )

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        run = float(self._tables["lines"]["run_length"].min())
        return (
            *what_it_cannot_tell(self.lines, self.base, self.pd_limit),
            *quiet_sentence(run, "the limits", "runs come on top"),
            MANY_LOOKS,
            SAME_PEOPLE,
            ONE_SHARE,
        )

    def __repr__(self) -> str:
        return f"<ChoiceTrend {self.protocol.name}: {self._counted()}>"


def trend_of_choices(
    batches: pd.DataFrame,
    *,
    protocol: Protocol | str,
    pd_limit: float | None = None,
    alpha: float = THREE_SIGMA,
    rules: Iterable[str] = RULES,
    base: int | None = None,
    level: float = 0.95,
    seed: int = 1,
) -> ChoiceTrend:
    """Do the batches stay as close to the reference as they were, by choice tests?

    Parameters
    ----------
    batches : DataFrame
        One batch a row: ``batch correct trials`` and, where there are any, ``date line``, as
        in `trend`; one answer an assessor.
    protocol : Protocol or str
        A name will do, as "triangle".
        The one test that all batches took; counts of different tests share no chart.
    pd_limit : float, optional
        Agreed limit as a proportion of distinguishers in this protocol.
    alpha : float
        Risk, at the most, of a false signal of the limits at each batch where nothing
        changes and the centre is known.
    rules : keys of RUN_RULES
    base : int, optional
        Only so many first batches of each line set the centre; otherwise all.
    level : float
        Of all limits.
    seed : int
        Of the random dealing behind the p of a change.

    Raises
    ------
    ArgumentError
        Cells that cannot be used, more correct answers than answers, no protocol, an
        unknown rule.

    Notes
    -----
    A count is beyond the limits where its binomial tail at the centre is at most alpha / 2;
    with few answers the true risk is smaller. The centre is the pooled proportion, so the
    question is whether a batch stands out from the others; whether it differs from the
    reference is `choice_test`. Rules on runs look at normal scores of the mid-p, for which
    their rates are near, not exact. The limits for all looks mix likelihood ratios [2]. The
    change is one step by likelihood ratio, its p deals the answers out again.

    Coverage of 95 % limits: those for all looks together hold in 99.0 to 100 % of 400 lines of 12
    or 40 batches of 12 or 24 answers, triangle and duo-trio, d-prime 0 to 2; `first` to `last` of
    a change from d-prime 0.5 to 1.5 or 2, 12 or 20 batches, in 97.8 to 99.8
    (`tests/calibration/test_trend_limits.py`). Those of d-prime, and of the total at a single
    look, are exact and hold in 95 % at the least (see `estimate_dprime`).

    Examples
    --------
    >>> from sensory.choices.protocols import TRIANGLE
    >>> rows = pd.DataFrame({"batch": [f"L{i}" for i in range(1, 13)], "trials": 24,
    ...                      "correct": [8, 9, 7, 10, 8, 9, 8, 15, 16, 14, 17, 15]})
    >>> result = trend_of_choices(rows, protocol=TRIANGLE)
    >>> print(result.says()[2])
    The proportion correct steps from 0.35 to 0.64 with batch L8 (95 %: L8 to L9; p < 0.001).
    """
    protocol = check_protocol(protocol)
    alpha, level = one_number("alpha", alpha, 1e-6, 0.5), probability("level", level)
    pd_limit = None if pd_limit is None else probability("pd_limit", pd_limit)
    chosen = chosen_rules(rules)
    base = None if base is None else one_count("base", base, at_least=1)
    seed = one_count("seed", seed)
    rows = batch_rows(batches, _CHECKS)
    over = rows["correct"] > rows["trials"]
    if over.any():
        bad = rows[over].iloc[0]
        raise ArgumentError(
            f"batches: correct must not exceed trials; batch {bad['batch']} has "
            f"{bad['correct']:g} correct of {bad['trials']:g}."
        )
    result = ChoiceTrend(
        protocol=protocol,
        pd_limit=pd_limit,
        alpha=alpha,
        rules=tuple(rule.key for rule in chosen),
        base=base,
        level=level,
        seed=seed,
        _tables=MappingProxyType({}),
    )
    parts = [_of_line(line, part, result) for line, part in each_line(rows)]
    tables = {
        "points": pd.concat([part[0] for part in parts], ignore_index=True),
        "total": pd.concat([part[1] for part in parts], ignore_index=True),
        "lines": pd.DataFrame([part[2] for part in parts]),
        "change": pd.DataFrame([part[3] for part in parts if part[3]], columns=CHANGE),
    }
    tables["signals"] = signal_rows(tables["points"])
    return replace(result, _tables=MappingProxyType(tables))


_CHECKS = (
    ("correct", is_count, "a whole number, 0 or more"),
    ("trials", lambda cell: is_count(cell) and cell >= 1, "a whole number, 1 or more"),
)


def _of_line(
    line: Name, part: pd.DataFrame, asked: ChoiceTrend
) -> tuple[pd.DataFrame, pd.DataFrame, Row, Row]:
    part = part.astype({"correct": np.int64, "trials": np.int64})
    total = _total(part, asked)
    whole = estimate_dprime(
        asked.protocol, int(part["correct"].sum()), int(part["trials"].sum()), level=asked.level
    )
    row: dict[Hashable, object] = {
        "line": line,
        "batches": len(part),
        "correct": whole.correct,
        "trials": whole.trials,
    }
    row |= {"pc": whole.correct / whole.trials, "dprime": whole.estimate}
    row |= {"low": whole.limits.low, "high": whole.limits.high}
    points = _points(part, asked)
    false = upper_tail(points["upper"] + 1, points["trials"], points["centre"])
    false = false + lower_tail(points["lower"] - 1, points["trials"], points["centre"])
    row |= {"run_length": 1 / false.mean() if false.any() else np.inf}
    change: Row = {}
    if len(part) >= FEWEST_FOR_CHANGE:
        step = step_in_proportion(
            part["correct"].to_numpy(float),
            part["trials"].to_numpy(float),
            level=asked.level,
            shuffles=SHUFFLES,
            seed=asked.seed,
        )
        change = change_row(line, part, step)
    return points, total, row, change


def _total(part: pd.DataFrame, asked: ChoiceTrend) -> pd.DataFrame:
    correct, trials = part["correct"].cumsum(), part["trials"].cumsum()
    x, n = correct.to_numpy(float), trials.to_numpy(float)
    low, high = clopper_pearson(x, n, asked.level)
    always_low, always_high = always_limits(x, n, asked.level)
    return part[["line", "batch", "date"]].assign(
        correct=correct,
        trials=trials,
        pc=x / n,
        low=low,
        high=high,
        always_low=always_low,
        always_high=always_high,
    )


def _points(part: pd.DataFrame, asked: ChoiceTrend) -> pd.DataFrame:
    x, n = part["correct"].to_numpy(), part["trials"].to_numpy()
    dprime = estimate_dprime(asked.protocol, x, n, level=asked.level)
    first = slice(None, asked.base)
    centre = Fraction(int(x[first].sum()), int(n[first].sum()))
    lower, upper = _usual(n, centre, as_fraction(asked.alpha) / 2)
    at = float(centre)
    middle = (lower_tail(x, n, at) + 1 - upper_tail(x, n, at)) / 2
    z = np.clip(ndtri(middle), -8.0, 8.0)
    seen = {
        rule.words: (x < lower) | (x > upper)
        if rule.zone is None and rule.window == 1
        else rule.hits(z)
        for rule in chosen_rules(asked.rules)
    }
    return part.assign(
        pc=x / n,
        dprime=dprime.estimate,
        low=dprime.limits.low,
        high=dprime.limits.high,
        centre=at,
        lower=lower,
        upper=upper,
        z=z,
        against_limit=_against(x, n, asked),
        signals=in_words(seen, len(part)),
    )


def _usual(trials: Ints, centre: Fraction, tail: Fraction) -> tuple[Ints, Ints]:
    """Smallest and largest count whose tail at the centre is above `tail`."""
    if centre in (0, 1):
        edge = trials * int(centre)
        return edge, edge
    return most_count(trials, centre, tail) + 1, least_count(trials, centre, tail) - 1


def _against(x: Floats, n: Floats, asked: ChoiceTrend) -> list[str]:
    if asked.pd_limit is None:
        return [""] * len(x)
    at_limit = float(asked.protocol.pc_at(asked.pd_limit))
    low, high = clopper_pearson(x, n, asked.level)
    return list(np.where(high < at_limit, WITHIN, np.where(low >= at_limit, BEYOND, UNTOLD)))

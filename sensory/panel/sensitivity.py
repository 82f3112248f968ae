"""How sensitive is each assessor beside the panel? Forced choices of many sessions together.

[1] Thurstone, L.L. (1927). Psychological Review 34, 273-286 (from memory): an assessor whose
    percepts scatter 1/r times as much as those of the panel has r times its d-prime, in every
    session and every protocol.

Why so
------
An easy session says little of anybody whom it does not divide, and a session without a difference
nothing at all. So d-prime of assessor i in a session is r times d-prime of the others: r has a
normal distribution over the assessors (a mixed model with one random slope), and sessions of all
protocols count by what they can say. d-prime of the others leaves out the assessor, who would
else be compared with him- or herself. Sessions in which the others did not discriminate are left
out; what they would add is guessing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from ..base.arrays import Bools, Floats, Ints
from ..base.checks import probability
from ..base.errors import ArgumentError
from ..base.results import several
from ..base.shown import Shown
from ..choices.protocols import PROTOCOLS
from ..models.binomial import upper_tail
from ..models.pooling import SLOPES, Pooled, counts_lower_tail, pooled_slopes

COLUMNS = ("session", "assessor", "protocol", "correct", "trials")
_LARGEST, _POINTS = 24.0, 4801


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sensitivity(Shown):
    """Result of `sensitivity`.

    Attributes
    ----------
    mean, spread : float
        Of r over the assessors, by maximum likelihood; NaN where no session divides.
    alpha, least, level : float
        As given.
    assessors : DataFrame
        ``assessor sessions answers correct expected estimate low high level p``: r, shrunken
        with its limits; `sessions` are those that count, `expected` the correct answers of
        somebody like the others; `p` that r is `least` or more.
    sessions : DataFrame
        As given, with ``dprime judged``: d-prime of the others, and whether they discriminated.
    """

    mean: float
    spread: float
    alpha: float
    least: float
    level: float
    _assessors: pd.DataFrame
    _sessions: pd.DataFrame

    @property
    def assessors(self) -> pd.DataFrame:
        """A row an assessor."""
        return self._assessors.copy()

    @property
    def sessions(self) -> pd.DataFrame:
        """A row a session and assessor."""
        return self._sessions.copy()

    def summary(self) -> pd.DataFrame:
        """The assessors, rounded for reading."""
        return self.assessors.round(2)

    def __repr__(self) -> str:
        return (
            f"<Sensitivity: {several(len(self._assessors), 'assessor')}, mean {self.mean:.2f}, "
            f"spread {self.spread:.2f}>"
        )


def sensitivity(
    answers: pd.DataFrame, *, least: float = 0.75, alpha: float = 0.05, level: float = 0.95
) -> Sensitivity:
    """How sensitive is each assessor beside the others, over many forced-choice sessions?

    Parameters
    ----------
    answers : DataFrame
        ``session assessor protocol correct trials``, a row an assessor and session.
    least : float
        Share of the panel's sensitivity of which `p` says that somebody has less: a
        convention, no source.
    alpha : float
        At which the others have to discriminate for a session to count.
    level : float
        Of the limits.

    Raises
    ------
    ArgumentError
        For a missing column, an unknown protocol, counts that cannot be, or no answer.

    Notes
    -----
    P(correct) = pc(r d), d that of the others with half an answer added to right and wrong so
    that all correct is not infinite. `p` is exact for given d (Poisson-binomial).

    Coverage of 95 % limits of r falls short: d counts as known. In 80 simulated panels each, three
    triangles an assessor and session at d-prime 2: 8 assessors x 8 sessions, spread 0.2, 87 %; 12 x
    24, spread 0.1 and 0.3, 91 and 92 %; of the most sensitive of each panel, who is drawn down to
    the others, in 66 to 72 % (`tests/calibration/test_panel_limits.py`).

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> pc = lambda r: float(PROTOCOLS["TRIANGLE"].proportion_correct(2.5 * r))
    >>> rows = [(s, a, "TRIANGLE", rng.binomial(3, pc(0 if a == "Bo" else 1)), 3)
    ...         for s in range(20) for a in ("Ada", "Bo", "Cy", "Di", "Ed", "Flo")]
    >>> result = sensitivity(pd.DataFrame(rows, columns=COLUMNS))
    >>> low = result.assessors.set_index("assessor").loc["Bo"]
    >>> bool(low["high"] < 0.8), bool(low["p"] < 0.001)
    (True, True)
    """
    alpha, level = probability("alpha", alpha), probability("level", level)
    if not 0 < least < 1:
        raise ArgumentError(f"least must lie between 0 and 1; got {least!r}.")
    frame = _checked(answers)
    who, different = pd.factorize(frame["assessor"], use_na_sentinel=False)
    names = list(different)
    right, trials = frame["correct"].to_numpy(float), frame["trials"].to_numpy(float)
    dprime, judged = _others(frame, right, trials, alpha)
    frame = frame.assign(dprime=dprime, judged=judged)
    log_likelihood = np.zeros((len(names), len(SLOPES)))
    expected, least_chance = np.zeros(len(frame)), np.zeros(len(frame))
    for key, rows in frame.groupby("protocol", sort=False).indices.items():
        chosen = rows[judged[rows]]
        told = _told(str(key), dprime[chosen], right[chosen], trials[chosen])
        log_likelihood += _by_person(who[chosen], told, len(names))
        expected[rows] = trials[rows] * _pc(str(key), dprime[rows])
        least_chance[rows] = _pc(str(key), least * dprime[rows])
    fit = pooled_slopes(log_likelihood, level=level) if judged.any() else None
    counts = (who, right, trials, expected, least_chance, judged)
    return Sensitivity(
        mean=fit.mean if fit else np.nan,
        spread=fit.spread if fit else np.nan,
        alpha=alpha,
        least=least,
        level=level,
        _assessors=_assessor_table(names, fit, counts, level),
        _sessions=frame.reset_index(drop=True),
    )


def _checked(answers: pd.DataFrame) -> pd.DataFrame:
    if missing := [name for name in COLUMNS if name not in answers]:
        raise ArgumentError(f"answers must have the columns {', '.join(COLUMNS)}; {missing} lack.")
    frame = answers.reset_index(drop=True)
    if frame.empty:
        raise ArgumentError("answers hold no row.")
    if strange := set(frame["protocol"].unique()) - set(PROTOCOLS):
        raise ArgumentError(f"protocol must be one of {', '.join(PROTOCOLS)}; got {strange}.")
    right, trials = frame["correct"].to_numpy(float), frame["trials"].to_numpy(float)
    wrong = ~((right >= 0) & (right <= trials) & (trials >= 1))
    if wrong.any():
        row = frame[wrong].iloc[0]
        raise ArgumentError(
            f"correct must lie from 0 to trials; got {row['correct']} of {row['trials']} for "
            f"{row['assessor']} in {row['session']}."
        )
    return frame


def _others(
    frame: pd.DataFrame, right: Floats, trials: Floats, alpha: float
) -> tuple[Floats, Bools]:
    """d-prime of all others of the session, and whether they discriminated."""
    sessions = frame.groupby(["session", "protocol"], sort=False).ngroup().to_numpy()
    right_of = np.bincount(sessions, right)[sessions] - right
    trials_of = np.bincount(sessions, trials)[sessions] - trials
    dprime, judged = np.zeros(len(frame)), np.zeros(len(frame), bool)
    for key, rows in frame.groupby("protocol", sort=False).indices.items():
        guess = float(PROTOCOLS[str(key)].guess)
        x, n = right_of[rows], trials_of[rows]
        judged[rows] = (n > 0) & (upper_tail(x, np.maximum(n, 1), guess) <= alpha)
        grid, pc = _table(str(key))
        dprime[rows] = np.interp((x + 0.5) / (n + 1), pc, grid)
    return dprime, judged


@lru_cache(maxsize=16)
def _table(key: str) -> tuple[Floats, Floats]:
    """The link at close steps; between them a straight line is right to 1e-6."""
    grid = np.linspace(0.0, _LARGEST, _POINTS)
    return grid, PROTOCOLS[key].proportion_correct(grid)


def _pc(key: str, dprime: Floats) -> Floats:
    """Proportion correct; where a sample is named as the stronger, below guessing too."""
    grid, pc = _table(key)
    there = np.interp(np.abs(dprime), grid, pc)
    protocol = PROTOCOLS[key]
    if protocol.asks_attribute and 2 * protocol.guess == 1:
        return np.where(dprime < 0, 1 - there, there)
    return there


def told_slopes(rows: pd.DataFrame) -> Floats:
    """Log-likelihood at each of `SLOPES` of answers of one assessor, with d-prime of the others."""
    told = np.zeros(len(SLOPES))
    for key, part in rows.groupby("protocol", sort=False):
        columns = (part[name].to_numpy(float) for name in ("dprime", "correct", "trials"))
        told += _told(str(key), *columns).sum(0)
    return told


def _told(key: str, dprime: Floats, right: Floats, trials: Floats) -> Floats:
    """Log-likelihood of each row at each slope; alike rows, of which there are many, once."""
    different, at = np.unique(dprime, return_inverse=True)
    most = int(trials.max(initial=0)) + 1
    cells, which = np.unique((at * most + right) * most + trials, return_inverse=True)
    d, x, n = (
        part[:, None] for part in (different[(cells // most**2).astype(int)], cells // most % most,
                                   cells % most)
    )  # fmt: skip
    pc = np.clip(_pc(key, d * SLOPES), 1e-9, 1 - 1e-9)
    return np.asarray((x * np.log(pc) + (n - x) * np.log1p(-pc))[which])


def _by_person(who: Ints, told: Floats, many: int) -> Floats:
    """Rows of one person together, (people, len(SLOPES))."""
    whole = np.zeros((many, told.shape[1]))
    people, starts = np.unique(np.sort(who), return_index=True)
    if len(people):
        whole[people] = np.add.reduceat(told[np.argsort(who, kind="stable")], starts)
    return whole


Counts = tuple[Ints, Floats, Floats, Floats, Floats, Bools]


def _assessor_table(
    names: Sequence[object], fit: Pooled | None, counts: Counts, level: float
) -> pd.DataFrame:
    who, right, trials, expected, least_chance, judged = counts
    rows = []
    for place, name in enumerate(names):
        mine = judged & (who == place)
        count = int(right[mine].sum())
        numbers = (fit.estimate[place], fit.low[place], fit.high[place]) if fit else (np.nan,) * 3
        asked = trials[mine].astype(int)
        p = counts_lower_tail(count, least_chance[mine], asked) if len(asked) else np.nan
        total = (len(asked), int(asked.sum()), count, float(expected[mine].sum()))
        rows.append((name, *total, *numbers, level, p))
    columns = "assessor sessions answers correct expected estimate low high level p"
    return pd.DataFrame(rows, columns=columns.split())

"""Is the new recipe the same as the present one, by choice tests over several lots of each?

Why so
------
A triangle of one lot each compares two lots. Lots of one recipe are apart as well, so it finds a
difference that is none of the recipe, and no number of assessors mends that. Here each pair of lots
is one session with its exact counts, and lots are a random term on the axis of d-prime. A lot that
is tasted in two sessions would make their answers go together, so each pair has lots of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd
from scipy.special import stdtr

from ..base.arrays import Row
from ..base.checks import one_number, probability
from ..base.errors import ArgumentError
from ..base.results import Table, digits, p_digits, several
from ..base.shown import Told
from ..models.joint_dprime import limits_of_sessions
from ..models.lot_pairs import Asked, LotFit, fit_lots
from ..ratings.frames import KeptTable, is_empty, rows_of_file, whole_frame
from .combined_words import BEYOND, DISTANCE, OPEN, WITHIN
from .session_rows import SessionRow, counts_of, session_rows

RECIPES, CONTROL = "recipes", "control"
"""What a pair compares: the recipes, or two lots of the present recipe."""
_NEEDED = ("present", "new", "protocol", "correct", "trials")
THESE_LOTS = (
    "Each recipe was tasted as one lot: this speaks of these two lots, not of the recipes. Another "
    "lot may differ from its own recipe by as much, and more assessors do not change that."
)
ALIKE = (
    "Lots of both recipes are taken to scatter alike, normally, and to be drawn from what will be "
    "made."
)
NO_CONTROL = (
    "No two lots of the present recipe were compared with each other. Pairs of them would say how "
    "far lots lie apart anyway, which here follows from the pairs of recipes alone."
)
SAME_PEOPLE = (
    "It takes the answers of all sessions for those of different people. Where the same assessors "
    "come back their answers go together."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LotsCompared(Told):
    """Result of `compare_lots`: tidy tables, handed out as copies.

    Attributes
    ----------
    dprime_limit, level
        As given.
    attribute : str
        What was asked for; empty for a difference of any kind.
    pairs : DataFrame
        ``present new pair protocol correct trials estimate low high``: d-prime of each pair of
        lots by itself, which speaks of these lots.
    recipes : DataFrame
        One row ``pairs estimate low high level p scatter against_limit``: the shift between the
        recipes over all lots, below 0 where the present one has more; `scatter` is the standard
        deviation of pairs about it. Missing limits: one pair only.
    """

    dprime_limit: float | None
    level: float
    attribute: str
    _tables: Mapping[str, pd.DataFrame]

    pairs = KeptTable()
    recipes = KeptTable()

    def says(self) -> tuple[str, ...]:
        """What the pairs show of the recipes."""
        row = self._tables["recipes"].iloc[0].to_dict()
        if row["pairs"] == 1:
            return (f"d-prime of these two lots {digits(row['estimate'], 3)}. {THESE_LOTS}",)
        span = f"{digits(row['low'], 3)} to {digits(row['high'], 3)}, {100 * self.level:g} %"
        apart = row["low"] > 0 or row["high"] < 0
        shown = f"{'a' if apart else 'no'} difference between the recipes is shown"
        about = f" in {self.attribute}" if self.attribute else ""
        controls = int((self._tables["pairs"]["pair"] == CONTROL).sum())
        beside = f" and {several(controls, 'control pair')}" if controls else ""
        lines = [
            f"{several(int(row['pairs']) - controls, 'pair')} of lots{beside}: {shown}{about} "
            f"(d-prime {digits(row['estimate'], 3)}, {span}; p {p_digits(row['p'])}).",
            f"Standard deviation of pairs of lots about it: {digits(row['scatter'], 2)}.",
        ]
        if self.dprime_limit is not None:
            at = digits(self.dprime_limit, 3)
            lines.append(_AGAINST[row["against_limit"]].format(limit=at))
        return tuple(lines)

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What this trial does not answer, a sentence each."""
        pairs = self._tables["pairs"]
        if len(pairs) == 1:
            return (THESE_LOTS, DISTANCE)
        few = () if (pairs["pair"] == CONTROL).any() else (NO_CONTROL,)
        return (ALIKE, *few, SAME_PEOPLE, DISTANCE)

    def summary(self) -> Table:
        """One row a pair, then the recipes."""
        rows = [
            (f"{row['new']} against {row['present']}", *_cells(row, f"{row['correct']} of "
             f"{row['trials']}")) for row in self._tables["pairs"].to_dict("records")
        ]  # fmt: skip
        whole = self._tables["recipes"].iloc[0].to_dict()
        rows.append(("recipes", *_cells(whole, "")))
        return Table(columns=("lots", "right", "d-prime", "low", "high"), rows=tuple(rows))

    def __repr__(self) -> str:
        row = self._tables["recipes"].iloc[0]
        return (
            f"<LotsCompared: {several(int(row['pairs']), 'pair')} of lots; d-prime "
            f"{digits(row['estimate'], 3)}, {digits(row['low'], 3)} to {digits(row['high'], 3)}>"
        )


_AGAINST = {
    WITHIN: "The difference between the recipes lies below the agreed d-prime of {limit}.",
    BEYOND: "The difference between the recipes lies above the agreed d-prime of {limit}.",
    OPEN: "Whether the recipes differ by less than the agreed d-prime of {limit} is open.",
}


def compare_lots(
    sessions: pd.DataFrame, *, dprime_limit: float | None = None, level: float = 0.95
) -> LotsCompared:
    """Do two recipes differ, by choice tests of several pairs of lots?

    Parameters
    ----------
    sessions : DataFrame
        One session a row: ``present new protocol correct trials``, the lots that were compared
        with each other; ``attribute`` for tests that ask for one; ``pair`` is "control" where both
        lots are of the present recipe, else empty or "recipes". Each lot stands in one row only.
    dprime_limit : float, optional
        Agreed limit as d-prime.
    level : float
        Of the limits, two-sided.

    Raises
    ------
    ArgumentError
        No pair of the recipes; a lot in two rows; tests that ask for different things; counts
        that cannot be; all answers right.

    Notes
    -----
    d-prime of a pair is the size of shift + e with e normal between pairs, that of a control pair
    the size of e; for tests that name an attribute it has a sign. Exact binomial counts, e
    integrated by a fine sum. Limits are where the profile log-likelihood falls by
    K/2 log(1 + t^2 / (K - 1)), t with K - 1 degrees of freedom for K pairs: where answers are many
    they are the t interval of K values. In 600 simulated trials each of 2, 3 and 5 pairs of 36
    answers by triangle, tetrad and 2-AFC, shifts 0 to 2, scatter 0 to 0.8, 95 % limits held the
    shift in 95.2 to 100 % (`tests/calibration/test_lots.py`). p is on the same scale, F with 1 and
    K - 1 degrees of freedom. With one pair nothing is said of recipes.

    Examples
    --------
    >>> rows = pd.DataFrame({
    ...     "present": ["P1", "P2", "P3"], "new": ["N1", "N2", "N3"], "protocol": "tetrad",
    ...     "correct": [22, 25, 20], "trials": 36})
    >>> print(*compare_lots(rows, dprime_limit=2.5).says(), sep="\\n")
    3 pairs of lots: a difference between the recipes is shown (d-prime 1.43, 0.62 to 2.09, 95 %; \
p 0.049).
    Standard deviation of pairs of lots about it: 0.
    The difference between the recipes lies below the agreed d-prime of 2.5.
    """
    level = probability("level", level)
    limit = None if dprime_limit is None else one_number("dprime_limit", dprime_limit, 0.05, 5.0)
    rows, lots = _rows(sessions)
    if all(row.correct == row.trials for row in rows):
        raise ArgumentError("Every answer is right: how far the recipes differ cannot be told.")
    own = limits_of_sessions(counts_of(rows), level)
    pairs = lots.assign(
        protocol=[row.test for row in rows],
        correct=[row.correct for row in rows],
        trials=[row.trials for row in rows],
        estimate=[fit.estimate for fit in own],
        low=[fit.low for fit in own],
        high=[fit.high for fit in own],
    )
    recipe = _together(rows, lots, own[0].estimate, level, limit)
    return LotsCompared(
        dprime_limit=limit,
        level=level,
        attribute=rows[0].attribute,
        _tables=MappingProxyType({"pairs": pairs, "recipes": pd.DataFrame([recipe])}),
    )


def asked_of(row: SessionRow, *, control: bool = False) -> Asked:
    """How a session asks, as the model takes it."""
    protocol = row.protocol
    return Asked(
        link=protocol.proportion_correct,
        signed=_signed(row),
        trials=row.trials,
        control=control,
    )


def _signed(row: SessionRow) -> bool:
    """Whether less of the attribute shows as answers below guessing: of two samples only."""
    return row.protocol.asks_attribute and float(row.protocol.guess) == 0.5


def _together(
    rows: list[SessionRow], lots: pd.DataFrame, single: float, level: float, limit: float | None
) -> dict[str, float | str]:
    if len(rows) == 1:
        nothing = dict.fromkeys(("low", "high", "p", "scatter"), float("nan"))
        only: dict[str, float | str] = {"pairs": 1, "estimate": single, "level": level}
        return {**only, **nothing, "against_limit": ""}
    asked = [
        asked_of(row, control=pair == CONTROL) for row, pair in zip(rows, lots["pair"], strict=True)
    ]
    fit = fit_lots(asked, [row.correct for row in rows], level)
    return {
        "pairs": len(rows),
        "estimate": fit.shift,
        "low": fit.low,
        "high": fit.high,
        "level": level,
        "p": _p(fit, len(rows)),
        "scatter": fit.scatter,
        "against_limit": "" if limit is None else _against(fit, limit),
    }


def _p(fit: LotFit, pairs: int) -> float:
    """The level at which the limits would just meet no shift."""
    t = np.sqrt((pairs - 1) * np.expm1(2 * fit.gained / pairs))
    return float(2 * stdtr(pairs - 1, -t))


def _against(fit: LotFit, limit: float) -> str:
    if max(fit.high, -fit.low) < limit:
        return WITHIN
    return BEYOND if fit.low > limit or fit.high < -limit else OPEN


def _rows(sessions: pd.DataFrame) -> tuple[list[SessionRow], pd.DataFrame]:
    """The sessions, and the lots that each compared."""
    frame = whole_frame("sessions", sessions, "session", _NEEDED, ("attribute", "pair"))
    names = [name for name in ("protocol", "correct", "trials", "attribute") if name in frame]
    rows = session_rows(frame[names], scores=False)
    lots = pd.DataFrame(
        {name: [_lot(frame, name, at) for at in range(len(frame))] for name in ("present", "new")}
    )
    lots["pair"] = [_pair(frame, at) for at in range(len(frame))]
    if not (lots["pair"] == RECIPES).any():
        raise ArgumentError("no pair compares the recipes; all are controls.")
    every = [*lots["present"], *lots["new"]]
    if twice := sorted({lot for lot in every if every.count(lot) > 1}):
        raise ArgumentError(
            f"lot {twice[0]} stands in more than one place: answers about one lot go together. "
            "Give each pair lots of its own."
        )
    asked = {(row.attribute, _signed(row)) for row in rows}
    if len(asked) > 1:
        named = ", ".join(sorted({row.attribute or f"any ({row.test})" for row in rows}))
        raise ArgumentError(
            f"sessions ask for different things ({named}): each has a d-prime of its own; give "
            "one at a time."
        )
    return rows, lots


def _lot(frame: pd.DataFrame, name: str, at: int) -> str:
    cell = frame[name].iloc[at]
    if is_empty(cell):
        raise ArgumentError(f"row {rows_of_file(frame)[at]}, {name}: name the lot.")
    return " ".join(str(cell).split())


def _pair(frame: pd.DataFrame, at: int) -> str:
    cell = "" if "pair" not in frame else frame["pair"].iloc[at]
    word = RECIPES if is_empty(cell) else str(cell).strip().casefold()
    if word not in (RECIPES, CONTROL):
        row = rows_of_file(frame)[at]
        raise ArgumentError(f"row {row}, pair: write {RECIPES} or {CONTROL}; got {cell!r}.")
    return word


def _cells(row: Row, right: str) -> tuple[str | float | None, ...]:
    numbers = (row["estimate"], row["low"], row["high"])
    return (right, *(None if number != number else float(number) for number in numbers))

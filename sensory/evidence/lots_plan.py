"""How many lots of each recipe, and how many assessors a pair: planned before tasting.

Why so
------
More assessors make each pair of lots sharper, more lots make the recipes sharper; which of the two
is short shows in a table of both. Chances are of simulated trials that `compare_lots` would read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from ..base.checks import counts as whole_numbers
from ..base.checks import one_number, probability
from ..base.errors import ArgumentError
from ..base.results import Table, several
from ..base.shown import Told
from ..choices.counts import check_protocol
from ..choices.protocols import Protocol
from ..models.lot_pairs import Asked, chance_within

_DRAWS, _SEED = 600, 1
MOST_LOTS, MOST_PEOPLE = 12, 200
_ROOT2 = 2.0**0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class LotsPlan(Told):
    """Result of `plan_lots`.

    Attributes
    ----------
    protocol, dprime_limit, lot_sd, chance, level
        As given.
    rows : DataFrame
        ``lots assessors answers chance``: lots of each recipe, assessors a pair, answers in all,
        and the chance that an unchanged recipe is shown to lie below the limit.
    """

    protocol: Protocol
    dprime_limit: float
    lot_sd: float
    chance: float
    level: float
    rows: pd.DataFrame

    @property
    def cheapest(self) -> dict[str, float] | None:
        """The row with fewest answers that reaches the chance; None where none does."""
        enough = self.rows[self.rows["chance"] >= self.chance].sort_values(["answers", "lots"])
        return None if enough.empty else dict(enough.iloc[0])

    def says(self) -> tuple[str, ...]:
        """How many of each to take, and what one lot each would say."""
        single_lot = (
            "With one lot of each recipe no number of assessors speaks of the recipes: it compares "
            "two lots."
        )
        best = self.cheapest
        if best is None:
            most = self.rows.sort_values("chance").iloc[-1]
            return (
                f"None of these reaches a chance of {100 * self.chance:g} %: the best, "
                f"{several(int(most['lots']), 'lot')} of each recipe with {int(most['assessors'])} "
                f"assessors a pair, has {_share(most['chance'])}. Take more lots or a larger "
                "limit.",
                single_lot,
            )
        return (
            f"Take {several(int(best['lots']), 'lot')} of each recipe with "
            f"{int(best['assessors'])} assessors a pair ({int(best['answers'])} answers): an "
            f"unchanged recipe is shown to lie below the limit with a chance of "
            f"{_share(best['chance'])}.",
            single_lot,
        )

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What the plan rests on."""
        return (
            "It rests on how far lots scatter, which is taken from lots before; if they scatter "
            "more, more lots are needed.",
            f"Chances are those of {_DRAWS} simulated trials a row, up to 4 points off by chance; "
            "each answer is taken for another person's.",
        )

    def summary(self) -> Table:
        """One row a number of lots and of assessors."""
        rows = tuple(
            (int(lots), int(people), int(answers), _share(chance))
            for lots, people, answers, chance in self.rows.itertuples(index=False)
        )
        columns = ("lots of each recipe", "assessors a pair", "answers", "chance of a fair pass")
        return Table(columns=columns, rows=rows)

    def __repr__(self) -> str:
        return f"<LotsPlan: {self.protocol.name}, {len(self.rows)} rows; {self.says()[0]}>"


def _share(chance: float) -> str:
    """A simulated chance in percent, which is never said to be none or certain.

    >>> _share(0.834), _share(1.0), _share(0.0)
    ('83 %', 'more than 99 %', 'less than 1 %')
    """
    if chance >= 0.995:
        return "more than 99 %"
    return "less than 1 %" if chance < 0.005 else f"{100 * chance:.0f} %"


def plan_lots(
    protocol: Protocol | str,
    *,
    dprime_limit: float,
    lot_sd: float,
    assessors: Sequence[int] = (12, 24, 48),
    lots: Sequence[int] = (2, 3, 4, 6, 8),
    chance: float = 0.8,
    level: float = 0.95,
) -> LotsPlan:
    """How many lots of each recipe, against how many assessors a pair?

    Parameters
    ----------
    protocol : Protocol or str
    dprime_limit : float
        Agreed limit as d-prime.
    lot_sd : float
        Standard deviation between lots of one recipe, as d-prime; 0 where they are all alike.
    assessors, lots : sequence of int
        Numbers to look at: up to 200 assessors a pair, 2 to 12 lots.
    chance : float
        With which an unchanged recipe should be shown to lie below the limit.
    level : float
        Of the limits; at 0.95 those of `compare_lots`, which hold the shift in 95.2 to 100 % of
        trials (`tests/calibration/test_lots.py`).

    Raises
    ------
    ArgumentError
        For numbers out of their bounds.

    Examples
    --------
    >>> plan = plan_lots("tetrad", dprime_limit=1.5, lot_sd=0.0, assessors=[24], lots=[2, 4])
    >>> plan.rows["chance"].round(1).tolist()
    [0.0, 1.0]
    """
    protocol = check_protocol(protocol)
    limit = one_number("dprime_limit", dprime_limit, 0.05, 5.0)
    between = one_number("lot_sd", lot_sd, 0.0, 2.0)
    chance, level = probability("chance", chance), probability("level", level)
    people = whole_numbers("assessors", assessors, at_least=2)
    arms = whole_numbers("lots", lots, at_least=2)
    if people.max() > MOST_PEOPLE or arms.max() > MOST_LOTS:
        raise ArgumentError(
            f"at most {MOST_PEOPLE} assessors a pair and {MOST_LOTS} lots are planned for."
        )
    signed = protocol.asks_attribute and float(protocol.guess) == 0.5
    rows = []
    for count in map(int, arms.ravel()):
        for each in map(int, people.ravel()):
            asked = Asked(link=protocol.proportion_correct, signed=signed, trials=each)
            reached = chance_within(
                asked, count, limit=limit, shift=0.0, scatter=between * _ROOT2, level=level,
                draws=_DRAWS, seed=_SEED,
            )  # fmt: skip
            rows.append((count, each, count * each, reached))
    return LotsPlan(
        protocol=protocol,
        dprime_limit=limit,
        lot_sd=between,
        chance=chance,
        level=level,
        rows=pd.DataFrame(rows, columns=["lots", "assessors", "answers", "chance"]),
    )

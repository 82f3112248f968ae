"""Is the new recipe the same as the present one, with several lots of each?

[1] Schuirmann, D.J. (1987). Journal of Pharmacokinetics and Biopharmaceutics 15, 657-680: two
    one-sided tests.

Why so
------
A profile of one lot each compares two lots. Where lots differ, as they do in a plant, it finds
'different' for two lots of one recipe in a tenth to half of all trials. So lots are a random term,
and the trial speaks of recipes only if it tasted several lots.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from ..base.arrays import Bools, Floats, Name
from ..base.checks import one_count, one_number, probability
from ..base.errors import ArgumentError
from ..base.results import Table, digits, p_digits, several
from ..base.shown import Told
from ..models.equivalence import chance_within
from ..models.multiplicity import holm
from ..models.nested_lots import ArmDifference, arm_difference
from .frames import KeptTable
from .names import each_named, name_among
from .tables import RatingTable, constant_notes, rating_table, without_constant

THESE_LOTS = (
    "Each recipe was tasted as one lot: this speaks of these two lots, not of the recipes. Another "
    "lot may differ from its own recipe by as much."
)
ONE_LOT = (
    "One recipe was tasted as one lot: its lots are taken to scatter as those of the other, which "
    "this trial cannot check."
)
LOTS_ALIKE = (
    "Lots of both recipes are taken to scatter alike and to be drawn from what will be made."
)
_FEWEST_PEOPLE = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RecipeComparison(Told):
    """Result of `compare_recipes`: tidy tables, handed out as copies.

    Attributes
    ----------
    reference, other : name
        The recipes; differences are `other` less `reference`.
    lots : mapping of recipe to tuple
    assessors : tuple
        Those who scored every lot; they are the ones that count.
    alpha : float
    notes : tuple of str
        What was left out, and what the trial cannot tell.
    differences : DataFrame
        ``attribute estimate se df low high level p p_holm margin p_within within``: limits have
        the level 1 - alpha; `p_within` is the larger of the two one-sided tests [1], missing
        without a margin.
    scatter : DataFrame
        ``attribute lots own_differences cells``: standard deviations between lots of a recipe, of
        an assessor's own true difference, and of an assessor's mean for a lot.
    """

    reference: Name
    other: Name
    lots: Mapping[Name, tuple[Name, ...]]
    assessors: tuple[Name, ...]
    alpha: float
    notes: tuple[str, ...]
    _tables: Mapping[str, pd.DataFrame]

    differences = KeptTable()
    scatter = KeptTable()

    def says(self) -> tuple[str, ...]:
        """What the trial shows, an attribute a sentence, those that differ first."""
        return tuple(self._sentences())

    def _sentences(self) -> Iterator[str]:
        rows = self._tables["differences"].to_dict("records")
        for row in sorted(rows, key=lambda row: row["p_holm"]):
            more = "more" if row["estimate"] > 0 else "less"
            size = f"{digits(abs(row['estimate']), 3)} {more}"
            low, high = (digits(row[name], 3) for name in ("low", "high"))
            span = f"{low} to {high}, {100 * row['level']:g} %"
            margin = digits(row["margin"], 3)
            if row["p_holm"] <= self.alpha:
                within = f", within the agreed margin of {margin}" if row["within"] else ""
                yield (
                    f"{row['attribute']}: {self.other} has {size} than {self.reference} ({span}; "
                    f"p {p_digits(row['p_holm'])}, Holm){within}."
                )
            elif row["within"]:
                yield (
                    f"{row['attribute']}: the recipes differ by less than "
                    f"{margin} (difference {digits(row['estimate'], 3)}, {span})."
                )
            else:
                agreed = row["margin"] == row["margin"]
                what = "neither a difference nor similarity" if agreed else "no difference"
                yield (
                    f"{row['attribute']}: {what} is shown (difference "
                    f"{digits(row['estimate'], 3)}, {span})."
                )

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What this trial does not answer, a sentence each."""
        return self.notes

    def summary(self) -> Table:
        """One row an attribute."""
        names = ("attribute", "estimate", "low", "high", "p_holm", "p_within")
        rows = self._tables["differences"].to_dict("records")
        cells = (
            tuple(None if row[name] != row[name] else row[name] for name in names) for row in rows
        )
        return Table(columns=names, rows=tuple(cells))

    def __repr__(self) -> str:
        counts = " and ".join(
            f"{several(len(names), 'lot')} of {recipe}" for recipe, names in self.lots.items()
        )
        people = several(len(self.assessors), "assessor")
        return f"<RecipeComparison: {counts}, {people}; {self.says()[0]}>"


def compare_recipes(
    ballots: pd.DataFrame,
    recipes: Mapping[Name, Name],
    *,
    reference: Hashable,
    margins: float | Mapping[Name, float] | None = None,
    attributes: Iterable[Hashable] | None = None,
    alpha: float = 0.05,
) -> RecipeComparison:
    """Do two recipes differ, judged over several lots of each?

    Parameters
    ----------
    ballots : DataFrame
        One score a row, see `rating_table`; a sample is a lot.
    recipes : mapping of sample to recipe
        Which recipe each lot is of; two recipes.
    reference : name of a recipe
        The one to compare with.
    margins : float or mapping of attribute to float, optional
        Differences that are agreed to be too small to matter, in units of the scale.
    attributes : names, optional
        Only these, in this order.
    alpha : float
        Risk of error of the tests; limits have the level 1 - alpha.

    Raises
    ------
    ArgumentError, BallotError
        See `rating_table`; a lot without a recipe, another number of recipes than two, an unknown
        reference, a margin that is not positive, fewer than three assessors who scored every lot.

    Notes
    -----
    score = recipe (fixed) + lot + assessor + assessor x recipe + assessor x lot + error, on the
    mean of each assessor's scores for each lot. The difference's variance is that between lots and
    that of the assessors' own differences together, less what both hold, and never below either;
    degrees of freedom by Satterthwaite. An assessor who lacks a lot is left out and named. 20,000
    simulated trials without a difference, alpha 0.05, a cell's standard deviation 1 (in brackets
    the same t of two lots' profiles, which takes lots for the recipe):

    =========  =========  ==================  ==================  ==================
    assessors  lots       lots alike          lots 0.3            lots 0.8
    =========  =========  ==================  ==================  ==================
    8          2 and 2    0.004 (0.051)       0.010 (0.111)       0.034 (0.365)
    10         3 and 3    0.011 (0.052)       0.024 (0.134)       0.043 (0.424)
    10         1 and 3    0.005 (0.048)       0.015 (0.138)       0.041 (0.427)
    20         3 and 3    0.012 (0.048)       0.038 (0.227)       0.050 (0.580)
    12         5 and 5    0.019 (0.049)       0.037 (0.156)       0.046 (0.473)
    =========  =========  ==================  ==================  ==================

    Assessors who differ about the recipes as well (0.7): 0.007 to 0.054. Similarity at a true
    difference of the margin: 0.007 to 0.045. Hence 95 % limits hold the difference in 94.5 to
    99.6 % of trials (`tests/calibration/test_recipes.py`). One lot each has only the brackets: a
    note says so.

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> lots = {"P1": "present", "P2": "present", "P3": "present",
    ...         "N1": "new", "N2": "new", "N3": "new"}
    >>> rows = [(person, lot, 5 + rng.normal(0, 0.3)) for person in "ABCDEFGHIJ" for lot in lots]
    >>> ballots = pd.DataFrame(rows, columns=["assessor", "sample", "score"])
    >>> ballots["attribute"] = "sour"
    >>> print(*compare_recipes(ballots, lots, reference="present", margins=1.0).says())
    sour: the recipes differ by less than 1 (difference 0.119, -0.0914 to 0.33, 95 %).
    """
    alpha = probability("alpha", alpha)
    table, constant = without_constant(rating_table(ballots, attributes=attributes))
    arms = _arms(table, recipes)
    names = list(dict.fromkeys(arms))
    first = name_among(names, reference)
    if first not in names or len(names) != 2:
        raise ArgumentError(
            f"recipes must name two, the reference among them; got {', '.join(map(str, names))}, "
            f"reference {reference}."
        )
    other = next(name for name in names if name != first)
    cells, people, left = _cells(table)
    is_other = np.array([arm == other for arm in arms])
    fit = arm_difference(cells, is_other)
    _refuse_without_scatter(table, fit)
    agreed = _agreed(table, margins)
    lots = {
        name: tuple(lot for lot, arm in zip(table.samples, arms, strict=True) if arm == name)
        for name in (first, other)
    }
    notes = (*table.notes, *constant_notes(constant), *left, *_lot_notes(lots))
    tables = {
        "differences": _differences(table, fit, agreed, alpha),
        "scatter": _scatter(table, fit),
    }
    return RecipeComparison(
        reference=first,
        other=other,
        lots=MappingProxyType(lots),
        assessors=people,
        alpha=alpha,
        notes=notes,
        _tables=MappingProxyType(tables),
    )


def chance_of_similar(
    margin: float,
    *,
    lots: int,
    assessors: int,
    lot_sd: float,
    cell_sd: float,
    own_sd: float = 0.0,
    difference: float = 0.0,
    alpha: float = 0.05,
) -> float:
    """The chance that a trial of `compare_recipes` shows two recipes to be within a margin.

    Parameters
    ----------
    margin : float
        In units of the scale.
    lots, assessors : int
        Lots of each recipe, and assessors who score all of them.
    lot_sd, own_sd, cell_sd : float
        Standard deviations as in `RecipeComparison.scatter`: between lots, of an assessor's own
        true difference, and of an assessor's mean for a lot.
    difference : float
        True difference of the recipes.

    Raises ArgumentError for counts below two and scatter below 0.

    Notes
    -----
    Two one-sided tests with the expected mean squares and their Satterthwaite degrees of freedom;
    lots weigh more than assessors: beyond some number, more assessors help no more.

    Examples
    --------
    >>> plan = dict(lot_sd=0.3, cell_sd=1.0)
    >>> [round(chance_of_similar(1.0, lots=lots, assessors=people, **plan), 2)
    ...  for lots, people in ((3, 12), (3, 24), (5, 12))]
    [0.57, 0.74, 0.92]
    """
    margin = one_number("margin", margin, 1e-9, 1e9)
    lots, assessors = (
        one_count("lots", lots, at_least=2),
        one_count("assessors", assessors, at_least=2),
    )
    lot, own, cell = (
        one_number(name, value, 0.0, 1e9) ** 2
        for name, value in (("lot_sd", lot_sd), ("own_sd", own_sd), ("cell_sd", cell_sd))
    )
    alpha, shift = probability("alpha", alpha), one_number("difference", difference, -1e9, 1e9)
    of_lots, of_own = assessors * lot + cell, lots * own / 2 + cell
    whole, lot_df, free = of_lots + of_own - cell, 2 * (lots - 1), assessors - 1
    noise = of_lots**2 / lot_df + of_own**2 / free + cell**2 / (free * lot_df)
    if not whole:
        return float(abs(shift) < margin)
    sd = float(np.sqrt(2 * whole / (lots * assessors)))
    return chance_within(margin, sd, float(whole**2 / noise), alpha, shift)


def _arms(table: RatingTable, recipes: Mapping[Name, Name]) -> list[Name]:
    if not isinstance(recipes, Mapping):
        raise ArgumentError("recipes must be a mapping of sample to recipe.")
    given = each_named(table.samples, recipes)
    absent = [str(name) for name in table.samples if name not in given]
    if absent:
        raise ArgumentError(
            f"recipes must name the recipe of each lot; missing {', '.join(absent)}."
        )
    return [given[name] for name in table.samples]


def _cells(table: RatingTable) -> tuple[Floats, tuple[Name, ...], tuple[str, ...]]:
    """Means by attribute, assessor and lot of those who scored all, and who was left out."""
    rows = table.rows.groupby(["attribute", "assessor", "sample"], observed=True)["score"].mean()
    index = pd.MultiIndex.from_product([table.attributes, table.assessors, table.samples])
    shape = (len(table.attributes), len(table.assessors), len(table.samples))
    cells = rows.reindex(index).to_numpy(float).reshape(shape)
    whole = np.isfinite(cells).all((0, 2))
    people = tuple(name for name, there in zip(table.assessors, whole, strict=True) if there)
    if len(people) < _FEWEST_PEOPLE:
        raise ArgumentError(
            f"ballots hold {several(len(people), 'assessor')} who scored every lot for every "
            f"attribute; it takes {_FEWEST_PEOPLE} or more."
        )
    out = [str(name) for name, there in zip(table.assessors, whole, strict=True) if not there]
    left = (f"Left out, as they did not score every lot: {', '.join(out)}.",) if out else ()
    return cells[:, whole], people, left


def _refuse_without_scatter(table: RatingTable, fit: ArmDifference) -> None:
    none: Bools = fit.se <= 1e-12 * (1 + np.abs(fit.estimate))
    if none.any():
        names = ", ".join(str(table.attributes[place]) for place in np.flatnonzero(none))
        raise ArgumentError(
            f"ballots cannot be tested for {names}: scores leave no scatter to test against. "
            "Leave out their rows."
        )


def _agreed(table: RatingTable, margins: float | Mapping[Name, float] | None) -> dict[Name, float]:
    given = {} if margins is None else each_named(table.attributes, margins)
    unknown = [str(name) for name in given if name not in table.attributes]
    if unknown:
        raise ArgumentError(
            f"margins must be for attributes among {', '.join(map(str, table.attributes))}; got "
            f"{', '.join(unknown)}."
        )
    return {name: one_number("margins", value, 1e-9, 1e9) for name, value in given.items()}


def _lot_notes(lots: Mapping[Name, tuple[Name, ...]]) -> tuple[str, ...]:
    counts = sorted(map(len, lots.values()))
    if counts[1] == 1:
        return (THESE_LOTS,)
    return (ONE_LOT, LOTS_ALIKE) if counts[0] == 1 else (LOTS_ALIKE,)


def _differences(
    table: RatingTable, fit: ArmDifference, agreed: Mapping[Name, float], alpha: float
) -> pd.DataFrame:
    margin = np.array([agreed.get(name, np.nan) for name in table.attributes])
    p = 2 * stdtr(fit.df, -np.abs(fit.estimate) / fit.se)
    half = -stdtrit(fit.df, alpha / 2) * fit.se
    within = stdtr(fit.df, (np.abs(fit.estimate) - margin) / fit.se)
    return pd.DataFrame(
        {
            "attribute": table.attributes,
            "estimate": fit.estimate,
            "se": fit.se,
            "df": fit.df,
            "low": fit.estimate - half,
            "high": fit.estimate + half,
            "level": 1 - alpha,
            "p": p,
            "p_holm": holm(p),
            "margin": margin,
            "p_within": within,
            "within": within <= alpha,
        }
    )


def _scatter(table: RatingTable, fit: ArmDifference) -> pd.DataFrame:
    """Standard deviations; NaN between lots where no recipe has two."""
    nothing = np.full(len(fit.estimate), np.nan)
    return pd.DataFrame(
        {
            "attribute": table.attributes,
            "lots": np.sqrt(fit.lot_variance) if fit.lot_df else nothing,
            "own_differences": np.sqrt(fit.own_variance) if fit.lot_df else nothing,
            "cells": np.sqrt(fit.of_cells) if fit.lot_df else nothing,
        }
    )

"""Who scored an attribute the other way round, and what this does to the result.

[1] Holm, S. (1979). Scandinavian Journal of Statistics 6, 65-70.

Why so
------
An assessor who turns the scale round tells the samples apart as well as the others; calling this
a want of discrimination sends the wrong person into the wrong training, and the finding loses a
difference that the rest of the panel saw. So reversal is tested first and by itself, against the
scatter of repeats: three sample means leave a correlation one degree of freedom, with which
nothing can be shown.

Nobody is left out because of it. A second table says what the comparison would be without these
scores; the finding rests on everybody.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping

import numpy as np
import pandas as pd
from scipy.special import stdtr

from ..base.arrays import Bools, Floats, Name
from ..base.errors import ArgumentError
from ..models.multiplicity import benjamini_hochberg, holm
from .contrasts import family, reference_table
from .fitting import FittedPanel, fit_panel
from .flags import p_words, said
from .performance import Cells
from .tables import RatingTable, rating_table

NOBODY = "nobody"


def reversal_p(of: Cells, numbers: Mapping[str, Floats]) -> Floats:
    """One-sided p of a slope on the others that is 0 or more, (assessors, attributes).

    Parameters
    ----------
    of : Cells
        Means and scatter of every assessor and sample.
    numbers : dict of float array
        From `performance.agreement`: `r` and `r_p`, which serve where nobody repeated.

    Notes
    -----
    The slope is a weighted sum of own means, with weights from the means of the others, which
    own errors do not enter: t of it against the scatter of repeats. That scatter is the panel's,
    or the assessor's own where this is larger, with the degrees of freedom of the panel. Over
    10 assessors, one who does not perceive the attribute and repeats 1, 1.5, 2, 3 times as widely
    as the others is called reversed in 0.004, 0.014, 0.024, 0.031 of sessions of three samples
    (tests/calibration/test_reversal.py).
    """
    own, here = of.mean, np.isfinite(of.mean)
    with np.errstate(divide="ignore", invalid="ignore"):
        others = (np.nansum(own, 0) - own) / (here.sum(0) - 1)
        others = np.where(here & np.isfinite(others), others, np.nan)
        count = np.isfinite(others).sum(1)
        weights = others - (np.nansum(others, 1) / count)[:, None]
        middle = np.nansum(own, 1) / here.sum(1)
        along = np.nansum(weights * (own - middle[:, None]), 1)
        free = of.free.sum(0)
        pooled = of.within.sum(0) / free
        variance = np.fmax(pooled, of.within / of.free)
        t = along / np.sqrt(variance * np.nansum(weights**2 / of.number, 1))
        p = stdtr(np.broadcast_to(free, t.shape), t)
        alone = np.where(numbers["r"] < 0, numbers["r_p"], 1 - numbers["r_p"])
    return np.where(count < 2, np.nan, np.where(free > 0, p, alone))


def reversal(of: Cells, numbers: Mapping[str, Floats], judged: Bools) -> dict[str, Floats]:
    """``reversed_p`` of `reversal_p`, and ``reversed_p_holm``: adjusted by Holm [1] over all
    assessors and judged attributes, NaN elsewhere.
    """
    p = reversal_p(of, numbers)
    tested = np.isfinite(p) & judged
    adjusted = np.full(p.shape, np.nan)
    if tested.any():
        adjusted[tested] = holm(p[tested])
    return {"reversed_p": p, "reversed_p_holm": adjusted}


def reversal_table(table: RatingTable, numbers: Mapping[str, Floats], where: Bools) -> pd.DataFrame:
    """Who is reversed: ``assessor attribute r slope p p_holm says``, by attribute.

    `numbers`: of `performance` and this module.
    `where`: the flag 'reversed', (assessors, attributes).
    """
    columns = {"r": "r", "slope": "slope", "p": "reversed_p", "p_holm": "reversed_p_holm"}
    rows = []
    for k, a in np.argwhere(where.T):
        at = {name: float(values[a, k]) for name, values in numbers.items()}
        assessor, attribute = table.assessors[a], table.attributes[k]
        numbered = (at[name] for name in columns.values())
        rows.append((assessor, attribute, *numbered, said("reversed", assessor, attribute, at)))
    return pd.DataFrame(rows, columns=["assessor", "attribute", *columns, "says"])


def left_out_table(
    panel: FittedPanel,
    whole: pd.DataFrame,
    turned: pd.DataFrame,
    reference: Hashable,
    alpha: float,
) -> pd.DataFrame:
    """Attributes with a reversal against the reference: with everybody, and without.

    `turned`: of `reversal_table`.
    `whole`: of `reference_table`, whose columns the table has, with ``left_out`` before them:
        'nobody', or the names of all who are reversed in that attribute. Without them Holm goes
        over the same attributes, the others with everybody. An attribute that nobody else can
        be tested on has no second row.
    """
    blocks = []
    for attribute, theirs in turned.groupby("attribute", sort=False):
        names = list(theirs["assessor"])
        mine = whole[whole["attribute"] == attribute]
        blocks.append(mine.assign(left_out=NOBODY))
        rest = _without(panel, attribute, names, reference, alpha)
        if rest is not None:
            rest = _adjusted(whole, rest, attribute)
            blocks.append(rest.assign(left_out=" and ".join(map(str, names))))
    table = pd.concat(blocks, ignore_index=True)
    return table[["left_out", *whole.columns]]


def _without(
    panel: FittedPanel, attribute: Name, names: list[Name], reference: Hashable, alpha: float
) -> pd.DataFrame | None:
    rows = panel.table.rows
    kept = rows[(rows["attribute"] == attribute) & ~rows["assessor"].isin(names)]
    try:
        rest = fit_panel(rating_table(kept), panel.occasion, panel.method)
        table = reference_table(rest, family(rest, reference), alpha)
    except ArgumentError:
        return None
    return table if rest.table.samples == panel.table.samples else None


def _adjusted(whole: pd.DataFrame, rest: pd.DataFrame, attribute: Name) -> pd.DataFrame:
    """p over the attributes of a sample, with those of one attribute replaced."""
    replaced = rest.set_index("sample")["p_adjusted"]
    mine = whole["attribute"] == attribute
    p = whole["p_adjusted"].where(~mine, whole["sample"].map(replaced))
    columns = {"p_holm": holm, "p_false_discovery": benjamini_hochberg}
    for column, adjust in columns.items():
        over = p.groupby(whole["sample"], sort=False).transform(lambda part, f=adjust: f(part))
        rest = rest.assign(**{column: over[mine].to_numpy()})
    return rest


def left_out_says(table: pd.DataFrame) -> tuple[str, ...]:
    """What leaving out would do, a sentence an attribute."""
    return tuple(
        _sentence(attribute, part) for attribute, part in table.groupby("attribute", sort=False)
    )


def _sentence(attribute: Hashable, part: pd.DataFrame) -> str:
    everybody, rest = part[part["left_out"] == NOBODY], part[part["left_out"] != NOBODY]
    with_all = (
        f"With everybody, the difference from {part['reference'].iloc[0]} in {attribute} is "
        f"{_listed(everybody)} (p by Dunnett and Holm)."
    )
    if rest.empty:
        return f"{with_all} Without the reversed scores it cannot be tested."
    return (
        f"{with_all} If the {attribute} of {rest['left_out'].iloc[0]} is left out: "
        f"{_listed(rest)}. The finding counts everybody."
    )


def _listed(part: pd.DataFrame) -> str:
    return "; ".join(
        f"{row['estimate']:+.2f} for {row['sample']}, {p_words(row['p_holm'])}"
        for row in part.to_dict("records")
    )

"""What moved these batches: lots, suppliers, lines, references, seasons, spans of time.

[1] Raudenbush, S.W. (1985) and van Houwelingen, H.C. et al. (2002), as in `models.known_error`.
[2] Westfall, P.H. and Young, S.S. (1993), as in `cause_search`.

Why so
------
A chart says that batches moved and a trace says what they share; neither says which of the many
things that they share goes with the deviation. One model with each batch's own known error says
that, as far as the batches can. A cause is named only when all candidates together would give as
much by chance in 5 of 100 rows without any cause; what it is confounded with stands beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from ..base.arrays import Row
from ..base.checks import one_count, probability
from ..base.results import Table, p_digits
from ..base.shown import Told
from ..ratings.frames import KeptTable
from .cause_candidates import TIME, candidates_of
from .cause_columns import cause_data
from .cause_doubts import Proposal, counted
from .cause_fit import kept_causes
from .cause_search import search
from .cause_tables import DRIFT, batches_table, beside, effects_table, variances_table

WENT_WITH = (
    "A cause named here went with the deviation; that it made it is for a look into the plant, or "
    "for a trial."
)
RECORDED = "What is not on record for each batch cannot be named; a span of time stands for it."
CHOSEN = "The size of a cause that a search picked tends to look larger than it is."
SINGLE = "A lot used for one batch only cannot be told from the batch itself."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class BatchCauses(Told):
    """Result of `explain_batches`: tidy tables, handed out as copies.

    Attributes
    ----------
    alpha, level, seed
        As given.
    scatter_before, scatter : float
        Standard deviation of the batches, noise of the panel taken off, before and with causes.
    causes : DataFrame
        ``cause factor value batches estimate se df low high level p p_adjusted share named
        apart``: those named, by their share; then the nearest one of each other factor.
        `estimate` is how far batches with it lie from where they would lie without; `p` is that
        of the joint model, `p_adjusted` that of the search; `apart` counts batches that lie so
        by themselves, beyond their own noise.
    variances : DataFrame
        ``term levels variance``: the batches themselves and the other lots of each factor.
    batches : DataFrame
        ``batch estimate se explained rest causes``.
    doubts : tuple of str
        What went with each cause, and what nothing here tells apart.
    proposals : tuple of Proposal
        Which batches would tell a cause from its rivals.
    remarks : tuple of str
        Factors that could not be looked at, and why.
    """

    alpha: float
    level: float
    seed: int
    scatter_before: float
    scatter: float
    doubts: tuple[str, ...]
    proposals: tuple[Proposal, ...]
    remarks: tuple[str, ...]
    _tables: Mapping[str, pd.DataFrame]

    causes = KeptTable()
    variances = KeptTable()
    batches = KeptTable()

    @property
    def named(self) -> tuple[str, ...]:
        """The causes named, the largest share first."""
        rows = self._tables["causes"]
        return tuple(str(cause) for cause in rows.loc[rows["named"], "cause"])

    @property
    def explained(self) -> float:
        """Share of the scatter between batches that all causes together take off."""
        if self.scatter_before == 0:
            return 0.0
        return max(0.0, 1 - (self.scatter / self.scatter_before) ** 2)

    @property
    def headlines(self) -> tuple[str, ...]:
        """Each cause named, with batches, size and limits."""
        rows = self._tables["causes"].to_dict("records")
        return tuple(_headline(row) for row in rows if row["named"])

    def of_batch(self, batch: str) -> tuple[str, ...]:
        """The causes named that a batch has, a line each; empty where it has none.

        >>> result = explain_batches(_example())
        >>> result.of_batch("B18"), result.of_batch("B3")
        (('sugar lot S3 (8 batches, +0.9, 0.8 to 1.1)',), ())
        """
        rows = self._tables["batches"]
        own = rows.loc[rows["batch"] == batch, "causes"]
        named = str(own.iloc[0]).split("; ") if len(own) else []
        rows_of = self._tables["causes"].to_dict("records")
        return tuple(_headline(row) for row in rows_of if row["named"] and row["cause"] in named)

    def says(self) -> tuple[str, ...]:
        """What explains the batches, a sentence each."""
        return (*self._of_scatter(), *self._of_causes())

    def _of_scatter(self) -> Iterator[str]:
        count = counted(len(self._tables["batches"]))
        if self.scatter_before == 0:
            yield f"{count} scatter no more than the panel's noise explains."
            return
        words = f"{count} scatter with a standard deviation of {self.scatter_before:.2g}"
        known = f"; what is named below takes off {100 * self.explained:.0f} % of the variance"
        yield f"{words} beyond the panel's noise{known if self.named else ''}."

    def _of_causes(self) -> Iterator[str]:
        start = "Most likely"
        for row in self._tables["causes"].to_dict("records"):
            if row["named"]:
                yield f"{start}: {_headline(row)}.{_by_itself(row)}"
                start = "Also"
        if not self.named:
            yield f"No cause stands out{self._nearest()}."

    def _nearest(self) -> str:
        rows = self._tables["causes"]
        if rows.empty:
            return ": no two batches share one that others lack"
        row = rows.sort_values("p_adjusted", kind="stable").iloc[0]
        return (
            f"; the nearest, {row['cause']}, would look as large by chance alone with a chance of "
            f"{p_digits(float(row['p_adjusted']))}"
        )

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What these batches do not answer, a sentence each."""
        return (*self.doubts, WENT_WITH, RECORDED, CHOSEN, SINGLE)

    def summary(self) -> Table:
        """One row a cause: those named, then the nearest of each other factor."""
        shown = ("cause", "batches", "estimate", "low", "high", "share", "p_adjusted")
        rows = tuple(
            (*(row[name] for name in shown), "yes" if row["named"] else "no")
            for row in self._tables["causes"].to_dict("records")
        )
        columns = (*shown[:-2], "share of scatter", "p of all candidates", "named")
        return Table(columns=columns, rows=rows)

    def __repr__(self) -> str:
        batches = counted(len(self._tables["batches"]))
        return f"<BatchCauses: {batches}; {', '.join(self.named) or 'no cause named'}>"


def explain_batches(
    batches: pd.DataFrame,
    *,
    causes: Iterable[str] | None = None,
    alpha: float = 0.05,
    level: float = 0.95,
    fewest: int = 2,
    seed: int = 1,
) -> BatchCauses:
    """Which lot, supplier, line, reference or time goes with the deviations of the batches?

    Parameters
    ----------
    batches : DataFrame
        One batch a row: ``batch estimate se`` as in `trend`, a column for each thing that may be
        the cause (``line``, ``reference``, ``sweetener lot``, ``sweetener supplier``, ...; empty
        where it is not known), and, where there are any, ``date``, and ``drift``: how far the
        reference itself lay from the first one on the day of the tasting, on any one scale. A
        batch without an estimate is one that could still be tasted.
    causes : names, optional
        Columns to look at; all others if not given.
    alpha : float
        Risk of naming any cause where there is none.
    level : float
        Of the limits.
    fewest : int
        Tasted batches that a candidate needs, and that must lie outside it; two or more.
    seed : int
        Of the simulated rows behind the adjusted p.

    Raises
    ------
    ArgumentError
        Cells that cannot be used, all of them at once; fewer than eight batches with an estimate.

    Notes
    -----
    estimate = usual level + drift of the reference + causes + other lots + batch + noise: the
    noise has the known variance se^2, batches and the other lots of each factor of four values or
    more are random with variances by restricted likelihood [1], causes are fixed. The drift is
    taken out before anything is sought. Then the candidate of the smallest adjusted p is named
    and joins the model, again and again while that p is at most alpha: values of the factors,
    and, with dates, spans of time on a line or on all. p counts all candidates, through the
    largest statistic of simulated rows [2]. Limits are those of the joint model, t with batches
    less columns degrees of freedom; they do not know that the largest was picked.

    Of 150 simulated rows of 30 batches with three lots a cause was named in 12 where there was
    none; where a lot was moved by five times the scatter it was always named, and its 95 % limits
    held the truth in 143. Of 60 rows of 24 dated batches on two lines with lots of two materials,
    causes were named in 2 and in 3 without any; a lot of three batches moved by 0.6, with a
    scatter of 0.2 and noise of 0.12 to 0.28, was named in 19
    (`tests/calibration/test_cause_levels.py`).

    Examples
    --------
    >>> result = explain_batches(_example())
    >>> print(*result.says(), sep="\\n")
    24 batches scatter with a standard deviation of 0.45 beyond the panel's noise; what is named \
below takes off 100 % of the variance.
    Most likely: sugar lot S3 (8 batches, +0.9, 0.8 to 1.1).
    """
    alpha, level = probability("alpha", alpha), probability("level", level)
    fewest, seed = one_count("fewest", fewest, at_least=2), one_count("seed", seed)
    data = cause_data(batches, causes)
    candidates, remarks = candidates_of(data, fewest)
    steps = search(data, candidates, alpha=alpha, seed=seed)
    named, joint = kept_causes(data, [candidates[at] for at in steps.named], alpha=alpha)
    effects = effects_table(data, candidates, steps, named, joint, level, alpha)
    doubts, proposals = beside(data, candidates, steps, named, joint, level)
    tables = {
        "causes": effects,
        "variances": variances_table(data, joint),
        "batches": batches_table(data, named, joint, effects),
    }
    return BatchCauses(
        alpha=alpha,
        level=level,
        seed=seed,
        scatter_before=joint.scatter_before,
        scatter=joint.scatter,
        doubts=doubts,
        proposals=proposals,
        remarks=(*data.remarks, *remarks),
        _tables=MappingProxyType(tables),
    )


def _example() -> pd.DataFrame:
    """Twenty-four batches on two lines, of which one lot of sugar moves eight."""
    rng = np.random.default_rng(5)
    lot = np.repeat(["S1", "S2", "S3"], 8)
    return pd.DataFrame(
        {
            "batch": [f"B{number}" for number in range(1, 25)],
            "estimate": rng.normal(0.1, 0.2, 24) + (lot == "S3"),
            "se": 0.18,
            "line": np.tile(["line 1", "line 2"], 12),
            "sugar lot": lot,
        }
    )


def _headline(row: Row) -> str:
    """A cause with batches, size and limits."""
    size, low, high = (f"{float(row[name]):.1f}" for name in ("estimate", "low", "high"))
    sign = "" if size.startswith("-") else "+"
    return f"{row['cause']} ({counted(int(row['batches']))}, {sign}{size}, {low} to {high})"


def _by_itself(row: Row) -> str:
    """How many of the batches show it, where that is not most of them."""
    if row["factor"] == DRIFT:
        return " It is taken out before other causes are sought."
    if row["factor"] != TIME:
        return ""
    return (
        f" {row['apart']} of them lie so by themselves. That is a time and no cause on record: "
        "look at what changed there."
    )

"""A limit that people set: how far from the reference consumers still go along.

[1] Accept or reject: `models.random_consumers`. Liking: `models.random_lines`.

Why so
------
The limit to agree is the lower one: the estimate would be too far in half of such studies. What
the plant accepts is a share of all consumers, so the share is taken over consumers and not for the
one in the middle. A design that cannot give a limit gives a result that says why, without a number.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
import pandas as pd

from ..base.checks import one_number, probability
from ..base.errors import ArgumentError
from ..base.results import Table, digits, p_digits, several
from ..base.shown import Told
from ..choices.dprime import CARRIED
from ..ratings.frames import MOST, KeptTable
from .carried_limit import NAMED_ONLY, limit_in_each_test
from .consumer_fit import agreed_limit, consumer_fit, end_of, samples_table
from .consumer_rows import ANSWER, ConsumerData, consumer_data

Unit = Literal["dprime", "points"]
UNITS: Mapping[str, str] = {"dprime": "d-prime", "points": "points"}
LIKE_THESE = (
    "It speaks of consumers like these, asked as these were: how they were chosen, and whether "
    "they tasted at home, is not in the table."
)
DISTANCE_ONLY = (
    "It takes answers to follow the distance from the reference alone. Two differences of the same "
    "size may please differently."
)
PANEL_SAW = "The distances are those that the panel perceived, not those of the consumers."
POINTS_STAY = "Points of a scale belong to its test: they are not carried to another one."
EXACT = "No distance has a standard error: they are taken as exact, and the limits are too narrow."
WITH_ERRORS = (
    "Distances have errors of their own here: in simulated studies such 95 % limits held the "
    "distance in 92 to 97 of 100."
)
NOT_SAFETY = "What may be eaten is for food safety; what may be sold also for law and label."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ConsumerLimit(Told):
    """Result of `limit_from_consumers`: tidy tables, handed out as copies.

    Attributes
    ----------
    asked : str
        ``answer`` (accept or reject) or ``liking``.
    unit, level, alpha, beta
        As given.
    tolerated : float
        The share of consumers, or the margin in liking.
    consumers : int
    estimate, low, high : float
        Distance at which the share rejects, or liking has fallen by the margin, with its limits;
        NaN where there is none.
    limit : float or None
        Distance to agree: the lower limit, at most the farthest that was tasted.
    why_none : str
        Why there is no limit to agree; empty where there is one.
    p, p_fit : float
        One-sided, for answers that do not follow the distance; and for samples that follow one
        curve. NaN where nothing was fitted.
    samples : DataFrame
        ``sample distance se consumers estimate low high``: share that rejected, or mean liking.
    curve : DataFrame
        ``distance estimate``: what the model says of it; empty where nothing was fitted.
    tests : DataFrame
        ``protocol dprime pd_limit assessors asks_attribute``: the limit in each test; empty
        without one, or in points.
    """

    asked: str
    unit: Unit
    level: float
    alpha: float
    beta: float
    tolerated: float
    consumers: int
    estimate: float
    low: float
    high: float
    limit: float | None
    why_none: str
    p: float
    p_fit: float
    exact: bool
    _tables: Mapping[str, pd.DataFrame]

    samples = KeptTable()
    curve = KeptTable()
    tests = KeptTable()

    def says(self) -> tuple[str, ...]:
        """What these consumers set, a sentence each."""
        return tuple(self._sentences())

    def _sentences(self) -> Iterator[str]:
        count = several(self.consumers, "consumer")
        yield f"{count} answered on {several(len(self._tables['samples']), 'sample')}."
        yield from self._of_reference()
        if not np.isnan(self.estimate):
            where = self._named(self.estimate)
            limits = f"{digits(self.low, 3)} to {end_of(self.high)}, {100 * self.level:g} %"
            yield f"{self._what()} at {where} ({limits})."
            if self.estimate > self._farthest:
                yield (
                    f"That lies beyond {digits(self._farthest, 3)}, the farthest that was tasted: "
                    "it is the curve carried on."
                )
            if self.p_fit <= 1 - self.level:
                yield (
                    f"The samples do not follow one curve (p {p_digits(self.p_fit)}): the limits "
                    "do not hold as they claim."
                )
        if self.limit is None:
            yield self.why_none
            return
        risk = 100 * (1 - self.level) / 2
        cut = "the farthest sample tasted" if self.limit < self.low else "the lower limit"
        yield (
            f"Limit to agree: {self._named(self.limit)}, {cut}. The distance itself lies below it "
            f"with a nominal risk of {risk:g} %."
        )

    def _of_reference(self) -> Iterator[str]:
        row = self._tables["samples"].iloc[0]
        if row["distance"] != 0:
            yield "The reference itself was not among the samples."
        elif self.asked == ANSWER:
            yield f"{100 * row['estimate']:.0f} % of them rejected the reference itself."
        else:
            yield f"At distance 0 mean liking was {digits(row['estimate'], 3)}."

    def _what(self) -> str:
        if self.asked == ANSWER:
            return f"{100 * self.tolerated:g} % of consumers reject"
        return f"Liking has fallen by {self.tolerated:g}"

    def _named(self, distance: float) -> str:
        if self.unit == "dprime":
            return f"d-prime {digits(distance, 3)}"
        return f"{digits(distance, 3)} points"

    @property
    def _farthest(self) -> float:
        return float(self._tables["samples"]["distance"].max())

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What these answers do not say, a sentence each."""
        carried = (CARRIED, NAMED_ONLY) if self.unit == "dprime" else (POINTS_STAY,)
        exact = (EXACT,) if self.exact else (WITH_ERRORS,)
        return (LIKE_THESE, DISTANCE_ONLY, PANEL_SAW, *exact, *carried, NOT_SAFETY)

    def summary(self) -> Table:
        """One row a sample, then the distance sought."""
        names = ("sample", "distance", "consumers", "estimate", "low", "high")
        rows = [tuple(row[name] for name in names) for row in self.samples.to_dict("records")]
        columns = ("sample", "distance", "consumers", self._column, "low", "high")
        return Table(columns=columns, rows=tuple(rows))

    @property
    def _column(self) -> str:
        return "share that rejected" if self.asked == ANSWER else "mean liking"

    def __repr__(self) -> str:
        limit = "no limit" if self.limit is None else f"limit {self._named(self.limit)}"
        return f"<ConsumerLimit: {several(self.consumers, 'consumer')}; {limit}>"


def limit_from_consumers(
    table: pd.DataFrame,
    *,
    share: float | None = None,
    margin: float | None = None,
    unit: Unit = "dprime",
    level: float = 0.95,
    alpha: float = 0.05,
    beta: float = 0.05,
) -> ConsumerLimit:
    """How far from the reference may a product lie before consumers stop going along?

    Parameters
    ----------
    table : DataFrame
        One consumer and sample a row: ``consumer sample distance``, either ``answer`` (accept or
        reject) or ``liking`` (a number), and ``se``, the standard error of the distance, where
        there is one. The distance from the reference is what the panel found, 0 for the reference
        itself. A row without an answer is left out.
    share : float
        For ``answer``: share of consumers whose rejection the plant accepts.
    margin : float
        For ``liking``: by how much mean liking may fall from that of the reference.
    unit : {'dprime', 'points'}
        Of the distances.
    level : float
        Of the limits, two-sided; the lower one, which is the limit to agree, is passed with half
        the rest.
    alpha, beta : float
        Risks for which `tests` counts assessors.

    Raises
    ------
    ArgumentError
        Cells that cannot be used, all of them at once; share or margin missing or out of bounds.

    Notes
    -----
    Accept or reject: logit of the rejection = intercept + slope * distance + own tendency of the
    consumer, normal; maximum likelihood by adaptive Gauss-Hermite quadrature with 25 nodes. The
    distance sought is where the share over consumers rejects; profile-likelihood limits. Liking:
    a line with own normal intercept and slope of each consumer, restricted likelihood; the
    distance is margin over slope, limits by t with consumers less one degrees of freedom. Errors of
    the distances are parameters of their own, one a sample. One consumer, fewer than ten, fewer
    than three distances, answers all alike or parted by one distance, and a rejection that does not
    rise (one-sided p above 1 - level) give no number, and say why.

    Of 200 simulated rows each of five samples 95 % limits of rejection held the distance in 193
    with 60 consumers and exact distances; with a standard error of 0.2 for each in 186 with 60
    consumers, 184 with 30 and 193 with 15, where the truth lay below the limit to agree in 6, 11
    and 6 (`tests/calibration/test_consumer_limits.py`).

    Examples
    --------
    >>> result = limit_from_consumers(_example(), share=0.25)
    >>> print(*result.says()[2:], sep="\\n")
    25 % of consumers reject at d-prime 1.14 (0.858 to 1.41, 95 %).
    Limit to agree: d-prime 0.858, the lower limit. The distance itself lies below it with a \
nominal risk of 2.5 %.
    """
    level, alpha = probability("level", level), probability("alpha", alpha)
    beta = probability("beta", beta)
    if unit not in UNITS:
        raise ArgumentError(f"unit must be one of {', '.join(UNITS)}; got {unit!r}.")
    data = consumer_data(table)
    tolerated = _tolerated(data, share, margin)
    fitted = consumer_fit(data, tolerated, level)
    limit = agreed_limit(fitted, data)
    dprime = limit if limit is not None and unit == "dprime" else 0.0
    tables = {
        "samples": samples_table(data, level),
        "curve": fitted.curve,
        "tests": limit_in_each_test(dprime, alpha=alpha, beta=beta),
    }
    return ConsumerLimit(
        asked=data.asked,
        unit=unit,
        level=level,
        alpha=alpha,
        beta=beta,
        tolerated=tolerated,
        consumers=len(data.values),
        estimate=fitted.estimate,
        low=fitted.low,
        high=fitted.high,
        limit=limit,
        why_none=fitted.why_none,
        p=fitted.p,
        p_fit=fitted.p_fit,
        exact=data.exact,
        _tables=MappingProxyType(tables),
    )


def _tolerated(data: ConsumerData, share: float | None, margin: float | None) -> float:
    wanted, other = ("share", margin) if data.asked == ANSWER else ("margin", share)
    given = share if data.asked == ANSWER else margin
    if other is not None or given is None:
        raise ArgumentError(
            f"a table with the column {data.asked} needs {wanted}, and nothing else; give "
            + ("the share of consumers whose rejection is accepted, such as 0.25."
               if wanted == "share" else "by how much liking may fall, such as 0.5.")
        )  # fmt: skip
    if wanted == "share":
        return probability("share", given)
    margin = one_number("margin", given, 0.0, MOST)
    if margin == 0:
        raise ArgumentError("margin must be above 0; got 0.")
    return margin


def _example() -> pd.DataFrame:
    """Eighty consumers on the reference and four samples; rejection rises with the distance."""
    rng = np.random.default_rng(4)
    distances = {"reference": 0.0, "P": 0.6, "Q": 1.2, "R": 1.8, "S": 2.6}
    rows = []
    for person in range(1, 81):
        tendency = rng.normal(0, 1)
        for sample, at in distances.items():
            rejects = rng.random() < 1 / (1 + np.exp(3 - 1.6 * at - tendency))
            rows.append(
                (f"C{person}", sample, at, 0.15 * (at > 0), "reject" if rejects else "accept")
            )
    return pd.DataFrame(rows, columns=["consumer", "sample", "distance", "se", "answer"])

"""Difference from control: how far a batch lies from the labelled reference, beyond placebo.

[1] After DIN 10976:2016, difference from control: the tolerated value is fixed beforehand.
    (Scope.)
[2] Aust, L.B. et al. (1985). Journal of Food Science 50, 511-513: blind control, samples
    that vary within a batch. (From memory.)
[3] Dunnett, C.W. (1955). Journal of the American Statistical Association 50, 1096-1121.

Why so
------
One pooled scatter passes too many batches that scatter more than their neighbours (0.11 for 0.05),
so `upper` is the larger of two limits, and 'beyond the limit' rests on own differences as well.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from ..base.arrays import Floats, Name
from ..base.checks import probability, within
from ..base.errors import ArgumentError
from ..base.findings import Finding, findings_of
from ..base.results import Cell, Table, several
from ..base.shown import Shown
from ..models.multiplicity import dunnett_p, dunnett_quantile
from ..models.paired import fewest_similar
from .contrasts import against, correlated, mean_table
from .fitting import FittedPanel, fit_panel
from .frames import KeptTable
from .names import each_named, name_among
from .performance import cells
from .tables import RatingTable, rating_table
from .variance import remarks

SCORE = "difference"  # the attribute where the ballots name none
TOO_LOW = 0.001  # chance of a batch so far below the blind control, from which it is no pass
_MOST_ASSESSORS = 2000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DifferenceFromControl(Shown):
    """Result of `difference_from_control`: tidy tables, handed out as copies.

    Attributes
    ----------
    scores : RatingTable
        The checked scores.
    control : name of a sample
    limits : mapping
        Limit of each attribute.
    alpha, beta, level : float
        As given.
    notes : tuple of str
        What the reader has to know about how the numbers came about.
    placebo : DataFrame
        ``attribute sample estimate se df low high level scores``: mean of the blind control.
    means : DataFrame
        The same for every sample, as scored, nothing taken off.
    against_control : DataFrame
        ``attribute sample estimate se df statistic p p_adjusted low high lower upper
        finding``: batch less blind control. `p` is one-sided, `p_adjusted` Dunnett's; `low`
        and `high` are two-sided limits at `level`; `lower` is Dunnett's simultaneous lower
        limit (above 0 exactly when p_adjusted < alpha), `upper` the one-sided upper limit at
        1 - beta, the larger of that by the model and that by the batch's own differences.
        BEYOND_LIMIT: `lower` and the batch's own one-sided lower limit at 1 - alpha lie above
        the limit.
    """

    scores: RatingTable
    control: Hashable
    limits: Mapping[Name, float]
    alpha: float
    beta: float
    level: float
    notes: tuple[str, ...]
    _tables: Mapping[str, pd.DataFrame]
    _own_se: pd.Series[float]

    means = KeptTable()
    against_control = KeptTable()

    @property
    def placebo(self) -> pd.DataFrame:
        return self.means[self.means["sample"] == self.control].reset_index(drop=True)

    def assessors_needed(self, chance: float = 0.8) -> pd.DataFrame:
        """How many assessors a new session needs for an unchanged batch to be shown as similar.

        Parameters
        ----------
        chance : float
            Of the upper limit lying below the limit when the batch is as the reference.

        Returns
        -------
        DataFrame
            ``attribute sample assessors``; missing where 2000 are not enough.

        Notes
        -----
        Noncentral t of the differences of assessors, with the scatter of this session and its
        replicates. The scatter is itself an estimate: take the number as an order of size.
        """
        wanted, there = probability("chance", chance), len(self.scores.assessors)
        table = self._tables["against_control"]
        larger = self._own_se.clip(lower=table["se"]).tolist()
        needed = [
            fewest_similar(
                self.limits[name] / se / np.sqrt(there), self.beta, wanted, _MOST_ASSESSORS
            )
            for name, se in zip(table["attribute"].tolist(), larger, strict=True)
        ]
        return table[["attribute", "sample"]].assign(assessors=pd.array(needed, dtype="Int64"))

    def summary(self) -> Table:
        """One row a batch: what lies beyond the blind control, its upper limit, the finding."""
        several_attributes = len(self.scores.attributes) > 1
        columns = ("sample", "beyond blind control", "p", "upper limit", "limit", "finding")
        rows: list[tuple[Cell, ...]] = []
        for row in self.against_control.to_dict("records"):
            line: tuple[Cell, ...] = (str(row["sample"]), row["estimate"], row["p_adjusted"])
            line += (row["upper"], self.limits[row["attribute"]])
            line += (Finding(row["finding"]).sentence,)
            rows.append((str(row["attribute"]), *line) if several_attributes else line)
        head = ("attribute", *columns) if several_attributes else columns
        return Table(columns=head, rows=tuple(rows))

    def __repr__(self) -> str:
        rows = self.against_control.to_dict("records")
        findings = ", ".join(f"{row['sample']} {row['finding']}" for row in rows)
        count = several(len(self.scores.assessors), "assessor")
        return f"<DifferenceFromControl: {count}, blind control {self.control}; {findings}>"

    def _repr_html_(self) -> str:
        notes = "".join(f"<p>{note}</p>" for note in self.notes)
        return f"{self.summary()._repr_html_()}{notes}"


def difference_from_control(
    ballots: pd.DataFrame,
    *,
    control: Hashable,
    limit: float | Mapping[Name, float],
    alpha: float = 0.05,
    beta: float = 0.05,
    level: float = 0.95,
    scale: tuple[float, float] | None = None,
) -> DifferenceFromControl:
    """Does a batch lie further from the reference than the reference itself, served blind?

    Each assessor scores how far each coded sample is from a labelled reference. One coded
    sample is the reference itself, the blind control. People expect differences, so its
    mean is not zero: a batch is judged by its score less that of the blind control.

    Parameters
    ----------
    ballots : DataFrame
        One score a row, columns ``assessor sample score`` and, where there is more than
        one, ``session replicate attribute``. 0 is no difference; larger is further away.
    control : name of a sample
        The blind control.
    limit : float or mapping of attribute to float
        Difference beyond the blind control, in units of the scale, from which a batch is
        not tolerated. A decision of management, from consumers or from a review of real
        batches, made before tasting [1]; no statistic of the session can give it.
    alpha : float
        Risk of calling any batch different when all are as the reference.
    beta : float
        Risk of calling a batch similar when it lies at the limit.
    level : float
        Of the two-sided limits.
    scale : (lowest, highest), optional
        Ends of the scale; a score beyond them is refused.

    Raises
    ------
    ArgumentError, BallotError
        See `rating_table` and `fit_panel`; a control that is not among the samples, one
        assessor, a limit that is not above 0 or not given for an attribute.

    Notes
    -----
    score = sample (fixed) + assessor + assessor x sample + error, so that with replicates
    the scatter is that of assessor x sample, and with one batch and no replicate this is the
    paired t-test. Difference: one-sided Dunnett [3] against the blind control, with the
    degrees of freedom of the interaction, also where scores are missing (see `profile`).
    Similarity: upper limit of the batch below `limit`, each batch at its own beta. Beyond the
    limit: simultaneous lower limit above it, at alpha for all batches together. The model
    takes all batches to scatter alike; but small differences scatter less, and near the end
    of the scale hardly at all. Two good batches beside one at the limit that scatters
    2.4 times as much would double the risk of passing that one (simulated, 8 assessors: 0.11
    for 0.05). Therefore `upper` is never below the limit from the batch's own differences
    within assessors, t with one degree of freedom less than there are such assessors; with one
    batch the two are the same. Skewed scores heaped at 0 can still raise the risk
    (0.07 for 0.05 with whole numbers of mean 1 and 2).
    95 % limits in 2,000 sessions of each, 8 or 12 assessors, 1 or 3 batches: where these scatter
    alike `low` to `high` hold in 94.6 to 95.9 %, `upper` in 94.8 to 97.0, all `lower` in 94.4 to
    95.6; for one of 3 that scatters 2.4 times as much in 87.7, 94.6 and 93.4 at the least, half as
    much in 97.1, 97.7 and 93.0 (`tests/calibration/test_rated_limits.py`).

    An assessor without a score of the blind control is kept: such scores say how the batches
    differ from each other, and `notes` says whose they are.
    A batch that lies so far *below* the blind control that this has a chance of 0.001 or
    less is not called similar: codes were mixed up, or the control was not the reference.

    Examples
    --------
    >>> ballots = pd.DataFrame({
    ...     "assessor": list("ABCDEFGH") * 3,
    ...     "sample": ["blind"] * 8 + ["batch 7"] * 8 + ["batch 8"] * 8,
    ...     "score": [1, 2, 1, 0, 1, 2, 1, 1, 1, 2, 2, 0, 1, 1, 1, 2, 4, 5, 3, 4, 6, 4, 5, 4]})
    >>> result = difference_from_control(ballots, control="blind", limit=1.5)
    >>> result.against_control[["sample", "estimate", "p_adjusted", "upper"]].round(3)
        sample  estimate  p_adjusted  upper
    0  batch 7     0.125       0.521  0.751
    1  batch 8     3.250       0.000  3.943
    >>> list(result.against_control["finding"])
    ['SIMILAR', 'BEYOND_LIMIT']
    """
    alpha, beta = probability("alpha", alpha), probability("beta", beta)
    level = probability("level", level)
    table = rating_table(_named(ballots), scale=scale)
    control = name_among(table.samples, control)
    if control not in table.samples:
        raise ArgumentError(
            "control must be one of the samples, the blind control among "
            f"{', '.join(map(str, table.samples))}; got {control}."
        )
    limits = _limits(table, limit)
    panel = fit_panel(table)
    rows, low = _against(panel, control, limits, alpha, beta, level)
    return DifferenceFromControl(
        scores=table,
        control=control,
        limits=MappingProxyType(limits),
        alpha=alpha,
        beta=beta,
        level=level,
        notes=(*table.notes, *remarks(panel), *_without_control(panel, control), *low),
        _tables={
            "means": mean_table(panel, 1 - level),
            "against_control": rows.drop(columns="own_se"),
        },
        _own_se=rows["own_se"],
    )


def _named(ballots: pd.DataFrame) -> pd.DataFrame:
    if isinstance(ballots, pd.DataFrame) and "attribute" not in ballots:
        return ballots.assign(attribute=SCORE)
    return ballots


def _limits(table: RatingTable, limit: float | Mapping[Name, float]) -> dict[Name, float]:
    given = each_named(table.attributes, limit)
    absent = [str(name) for name in table.attributes if name not in given]
    if absent:
        raise ArgumentError(f"limit must be given for every attribute; none for {absent[0]}.")
    unknown = [str(name) for name in given if name not in table.attributes]
    if unknown:
        raise ArgumentError(
            f"limit must be for attributes among {', '.join(map(str, table.attributes))}; "
            f"got {', '.join(unknown)}."
        )
    checked = {}
    for name in table.attributes:
        number = within("limit", given[name], -1e9, 1e9)
        if number.ndim or number <= 0:
            raise ArgumentError(
                f"limit must be one number above 0, in units of the scale; got {given[name]}."
            )
        checked[name] = float(number)
    return checked


def _against(
    panel: FittedPanel,
    control: Hashable,
    limits: Mapping[Name, float],
    alpha: float,
    beta: float,
    level: float,
) -> tuple[pd.DataFrame, list[str]]:
    """The table against the blind control, and remarks on batches that lie below it."""
    (weights, batches), names = against(panel, control), panel.table.attributes
    own, shape = _own_differences(panel, weights), (len(names), len(batches))
    whole: dict[str, NDArray[np.generic]] = {}
    for group in panel.groups:
        numbers = group.fit.contrasts(weights)
        correlation = correlated(group.fit.covariance_of(weights))
        rows = np.arange(len(group.places))
        for some in [rows] if group.complete else rows[:, None]:
            places, shared = group.places[some], correlation[some[0]]
            columns = _compared(
                *(part[some] for part in numbers),
                own=tuple(part[places] for part in own),
                correlation=shared,
                limit=np.array([[limits[names[place]]] for place in places]),
                risks=(alpha, beta, level),
            )
            for column, values in columns.items():
                whole.setdefault(column, np.empty(shape, values.dtype))[places] = values
    attribute, sample = [name for name in names for _ in batches], list(batches) * len(names)
    flat = {"attribute": attribute, "sample": sample}
    table = pd.DataFrame(flat | {column: values.ravel() for column, values in whole.items()})
    low = [_below(batch) for batch in table.loc[table["below"], "sample"]]
    return table.drop(columns="below"), low


def _compared(
    estimate: Floats,
    se: Floats,
    df: Floats,
    *,
    own: tuple[Floats, ...],
    correlation: Floats,
    limit: Floats,
    risks: tuple[float, float, float],
) -> dict[str, NDArray[np.generic]]:
    """Columns for the batches of attributes that share their correlation."""
    alpha, beta, level = risks
    statistic = estimate / se

    def tail(t: Floats) -> Floats:
        return dunnett_p(t.ravel(), df.ravel(), correlation, two_sided=False).reshape(t.shape)

    adjusted = tail(statistic)
    critical = dunnett_quantile(alpha, df.ravel(), correlation, two_sided=False)
    half = se * stdtrit(df, (1 + level) / 2)
    centre, own_se, own_df = own
    own_upper = centre + own_se * stdtrit(own_df, 1 - beta)
    own_lower = centre - own_se * stdtrit(own_df, 1 - alpha)
    upper = np.maximum(estimate + se * stdtrit(df, 1 - beta), own_upper)
    below = tail(-statistic) <= TOO_LOW
    lower = estimate - critical.reshape(se.shape) * se
    finding = findings_of(
        adjusted <= alpha, (upper < limit) & ~below, np.minimum(lower, own_lower) > limit
    )
    return {
        "estimate": estimate,
        "se": se,
        "df": df,
        "statistic": statistic,
        "p": stdtr(df, -statistic),
        "p_adjusted": adjusted,
        "low": estimate - half,
        "high": estimate + half,
        "lower": lower,
        "upper": upper,
        "finding": np.array([str(each) for each in finding.flat], object).reshape(finding.shape),
        "below": below,
        "own_se": own_se,
    }


def _own_differences(panel: FittedPanel, weights: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean, standard error and df of batch less control within assessors who scored both.

    Each (attributes, batches); NaN where fewer than two assessors scored both.
    """
    mean = cells(panel.table).mean  # (assessors, samples, attributes)
    apart = np.stack([mean[:, row > 0][:, 0] - mean[:, row < 0][:, 0] for row in weights], 2)
    count = np.isfinite(apart).sum(0).astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        centre = np.nansum(apart, 0) / count
        variance = np.nansum((apart - centre) ** 2, 0) / (count - 1)
        se = np.sqrt(variance / count)
    few = count < 2
    return np.where(few, np.nan, centre), np.where(few, np.nan, se), count - 1


def _below(batch: Name) -> str:
    return (
        f"{batch} scores far below the blind control, which chance hardly gives: look whether "
        "codes were mixed up. It is not called similar."
    )


def _without_control(panel: FittedPanel, control: Hashable) -> list[str]:
    table, grid = panel.table, panel.grid
    there = np.isfinite(grid.scores)
    tasted = np.zeros((len(table.assessors), there.shape[1]), bool)
    np.logical_or.at(tasted, grid.assessor, there)
    blind = grid.sample == table.samples.index(control)
    had_control = np.zeros_like(tasted)
    np.logical_or.at(had_control, grid.assessor[blind], there[blind])
    missed = tasted & ~had_control
    return [
        f"{', '.join(str(table.assessors[a]) for a in np.flatnonzero(missed[:, place]))}: no "
        f"score of the blind control for {table.attributes[place]}; kept for the differences "
        "between batches."
        for place in np.flatnonzero(missed.any(0))
    ]

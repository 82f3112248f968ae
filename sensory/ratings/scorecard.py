"""The panel's scorecard: who tells samples apart, repeats, and agrees with the others.

[1] After ISO 11132:2021, performance of a panel: its scope names discrimination, repeatability and
    agreement; the text was not checked. The only printed example is that of ISO 8586:2012,
    Annex C, whose means the tests give back.

Why so
------
pingouin checks ICC and Kendall's W in the tests. The package computes both for all attributes at
once (40 attributes: 50 times as fast), and the limits of one too (`intraclass_means`); who asks for
`PanelScorecard.intraclass` gets pingouin's own table, which brings plotting libraries.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from ..base.arrays import Bools, Floats, Name
from ..base.checks import probability
from ..base.errors import ArgumentError
from ..base.results import several
from ..base.shown import Shown
from ..models.mean_squares import BOTH, SAMPLE
from ..models.multiplicity import benjamini_hochberg
from .fitting import FittedPanel, fit_panel
from .flags import ScorecardLimits, flag_table, raised
from .frames import KeptTable, TablesWhenAsked, scale_ends
from .interaction import false_discovery, interaction_says, main_causes, shares_of
from .intraclass import by_pingouin
from .performance import (
    Cells,
    agreement,
    cells,
    concordance,
    discrimination,
    interaction_shares,
    intraclass,
    repeatability,
    smallest_difference,
)
from .reversal import reversal
from .scorecard_notes import cannot_say, gaps
from .tables import RatingTable, constant_notes, rating_table, without_constant
from .variance import remarks, source_numbers

_FEWEST_MEANS = 5  # that pingouin takes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PanelScorecard(Shown):
    """Result of `panel_scorecard`: tidy tables, handed out as copies.

    Attributes
    ----------
    scores : RatingTable
        The checked scores.
    limits, scale, alpha, power
        As given.
    judged : tuple
        Attributes that the panel as a whole discriminates; flags are raised on these only.
    notes : tuple of str
        How the numbers came about, and what a table of this size cannot say.
    assessors : DataFrame
        One row an assessor and attribute: ``assessor attribute judged statistic df df_error
        p`` (own F of sample), ``sd sd_df sd_ratio sd_p`` (repeatability, and against the
        others), ``samples r r_p rank_r`` (agreement with the others), ``slope slope_low
        slope_high slope_p`` (use of the scale), ``bias bias_p bias_sd level_p throughout``,
        ``reversed_p reversed_p_holm`` (of a slope of 0 or more), ``interaction_share``.
    attributes : DataFrame
        One row an attribute, the panel as a whole: ``attribute judged statistic df df_error
        p p_false_discovery`` (sample against assessor x sample), ``interaction_statistic
        interaction_p interaction_p_false_discovery`` (against error), ``sd`` (repeatability),
        ``icc icc_consistency icc_panel kendall_w kendall_p smallest_difference``.
    panel : DataFrame
        One row an assessor, over the judged attributes: ``assessor attributes apart r slope
        sd_ratio flags``: how many were judged, on how many the own p is at most alpha,
        medians, and the number of flags.
    flags : DataFrame
        ``assessor attribute flag value says train``.
    means : DataFrame
        ``attribute assessor sample estimate scores``: of the cells that hold a score.
    """

    scores: RatingTable
    limits: ScorecardLimits
    scale: tuple[float, float] | None
    alpha: float
    power: float
    judged: tuple[Name, ...]
    notes: tuple[str, ...]
    _tables: Mapping[str, pd.DataFrame]

    assessors = KeptTable()
    attributes = KeptTable()
    panel = KeptTable()
    flags = KeptTable()
    means = KeptTable()

    def intraclass(self, attribute: Hashable) -> pd.DataFrame:
        """Intraclass correlations of the cell means of one attribute, with their limits.

        Returns
        -------
        DataFrame
            As pingouin names them: ``Type ICC F df1 df2 pval CI95``, six kinds; the 95 % limits
            come rounded to two decimals.

        Raises
        ------
        ArgumentError
            For another attribute, where a cell is empty, or for fewer than five means.

        Notes
        -----
        Coverage of 95 % limits, 20,000 panels of each simulated, 8 assessors x 5 samples and
        12 x 10, samples, assessors and rest normal: agreement 94.6 to 95.3 %, consistency 94.9 to
        95.2; one way, which takes assessors as drawn anew for each sample, 93.4 to 95.1
        (`tests/calibration/test_rated_limits.py`). Those of the mean of all are functions of these.
        """
        return by_pingouin(self.intraclass_means(attribute))

    def intraclass_means(self, attribute: Hashable) -> Floats:
        """The cell means behind the intraclass correlations, (samples, assessors).

        Raises ArgumentError as `intraclass` does.
        """
        if attribute not in self.scores.attributes:
            known = ", ".join(map(str, self.scores.attributes))
            raise ArgumentError(f"attribute must be one of {known}; got {attribute}.")
        of, place = cells(self.scores), self.scores.attributes.index(attribute)
        means = of.mean[:, :, place].T
        if not of.number[:, :, place].all():
            raise ArgumentError(f"{attribute}: some assessors did not score every sample.")
        if means.size < _FEWEST_MEANS:
            raise ArgumentError(f"{attribute}: {means.size} means are too few for limits.")
        return means

    def causes(self, attribute: Hashable) -> tuple[Name, ...]:
        """Who causes most of the disagreement on an attribute, at least twice an even share each.

        Empty where no disagreement was shown, or where it is spread over the panel.
        """
        whole = self._tables["attributes"].set_index("attribute")
        shown = whole["interaction_p_false_discovery"].get(attribute, np.nan) <= self.alpha
        if not shown:
            return ()
        return tuple(main_causes(shares_of(self._tables["assessors"], attribute)))

    def says(self) -> tuple[str, ...]:
        """The scorecard in sentences: who is reversed, the panel, where assessors disagreed and
        by whom, the other flags with their training, the notes."""
        flags = self._tables["flags"]
        turned = flags["flag"] == "reversed"
        reversed_by, others = _with_training(flags[turned]), _with_training(flags[~turned])
        disagreed = interaction_says(
            self._tables["attributes"], self._tables["assessors"], self.alpha
        )
        return (
            *reversed_by,
            *self._panel_says(),
            *disagreed,
            *(others or ([] if reversed_by else self._no_flag())),
            *self.notes,
        )

    def _panel_says(self) -> list[str]:
        names, judged = self.scores.attributes, set(self.judged)
        rest = [str(name) for name in names if name not in judged]
        lines = [
            f"The panel discriminated on {len(judged)} of "
            f"{several(len(names), 'attribute')}; assessors are judged on these alone."
        ]
        if rest:
            lines.append(
                f"Not shown to discriminate on {', '.join(rest)}: the samples may be alike there; "
                "try samples that are further apart."
            )
        return lines

    def _no_flag(self) -> list[str]:
        return ["No assessor stands out."] if self.judged else ["No assessor can be judged."]

    def __repr__(self) -> str:
        return (
            f"<PanelScorecard: {several(len(self.scores.assessors), 'assessor')}, judged on "
            f"{len(self.judged)} of {several(len(self.scores.attributes), 'attribute')}; "
            f"{several(len(self._tables['flags']), 'flag')}>"
        )

    def _repr_html_(self) -> str:
        lines = "".join(f"<p>{line}</p>" for line in self.says())
        return f"{self._tables['panel'].to_html(index=False)}{lines}"


def panel_scorecard(
    ballots: pd.DataFrame,
    *,
    attributes: Iterable[Hashable] | None = None,
    limits: ScorecardLimits | None = None,
    scale: tuple[float, float] | None = None,
    alpha: float = 0.05,
    power: float = 0.8,
) -> PanelScorecard:
    """How does the panel work, and who needs which training?

    Parameters
    ----------
    ballots : DataFrame
        One score a row, see `rating_table`. Scores of the routine will do; samples that
        differ, and two replicates or more, say most.
    attributes : names, optional
        Only these, in this order.
    limits : ScorecardLimits, optional
        Limits behind the flags.
    scale : (lowest, highest), optional
        Ends of the scale: a score beyond them is refused, and they give the limit of
        repeatability as a share of the scale.
    alpha : float
        Level of the tests.
    power : float
        With which `smallest_difference` would be seen.

    Raises
    ------
    ArgumentError, BallotError
        See `rating_table` and `fit_panel`.

    Notes
    -----
    Discrimination, repeatability and agreement of assessor and panel, as the scope of [1] names
    them. An assessor who disagrees on an attribute that the panel does not discriminate has shown
    nothing: flags are raised only where p of sample against assessor x sample, adjusted for
    the false discovery rate over attributes, is at most alpha. Each assessor is compared with
    the mean of the *others*. Over several sessions the scatter of replicates holds what
    changed between sessions.

    The slope on the others is drawn a little towards 0 by the noise of their mean. ICC and
    W are of cell means. ICC is computed for all attributes at once; pingouin, one attribute
    at a time, gives the same numbers.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> level = {"lime": 2, "pear": 4, "plum": 5, "quince": 6, "rhubarb": 7, "sloe": 9}
    >>> rows = [(a, s, r, (11 - m if a == "Ed" else m) + rng.normal(0, 0.6))
    ...         for a in ("Ada", "Bo", "Cy", "Di", "Ed", "Flo", "Gus", "Hal")
    ...         for s, m in level.items() for r in (1, 2)]
    >>> ballots = pd.DataFrame(rows, columns=["assessor", "sample", "replicate", "score"])
    >>> result = panel_scorecard(ballots.assign(attribute="sour"), scale=(0, 10))
    >>> result
    <PanelScorecard: 8 assessors, judged on 1 of 1 attribute; 1 flag>
    >>> print(result.says()[0].split(" (")[0])
    Ed scored sour the other way round
    """
    alpha, power = probability("alpha", alpha), probability("power", power)
    limits = _limits(limits)
    ends = scale_ends(scale)
    table = rating_table(ballots, attributes=attributes, scale=ends)
    return scorecard_of(table, limits=limits, scale=ends, alpha=alpha, power=power)


def scorecard_of(
    table: RatingTable,
    *,
    limits: ScorecardLimits | None = None,
    scale: tuple[float, float] | None = None,
    alpha: float = 0.05,
    power: float = 0.8,
) -> PanelScorecard:
    """`panel_scorecard` of scores that are checked already."""
    limits = limits or ScorecardLimits()
    table, constant = without_constant(table)
    panel = fit_panel(table)
    of = cells(table)
    whole = _attribute_table(panel, of, alpha, power)
    judged = whole["judged"].to_numpy()
    numbers = _numbers(of, judged, alpha)
    flagged = raised(numbers, judged, limits, alpha, scale[1] - scale[0] if scale else None)
    tables: dict[str, Callable[[], pd.DataFrame]] = {
        "attributes": whole.copy,
        "flags": partial(flag_table, flagged, numbers, table.assessors, table.attributes),
        "assessors": partial(_assessor_table, table, numbers, judged),
        "means": partial(_mean_table, table),
        "panel": partial(_summary, table, numbers, judged, flagged, alpha),
    }
    return PanelScorecard(
        scores=table,
        limits=limits,
        scale=scale,
        alpha=alpha,
        power=power,
        judged=tuple(name for name, yes in zip(table.attributes, judged, strict=True) if yes),
        notes=(
            *table.notes,
            *constant_notes(constant),
            *remarks(panel),
            *gaps(table, of),
            *cannot_say(of, alpha),
        ),
        _tables=TablesWhenAsked(tables),
    )


def _numbers(of: Cells, judged: Bools, alpha: float) -> dict[str, Floats]:
    """What is known of each assessor in each attribute."""
    numbers = {**discrimination(of), **repeatability(of), **agreement(of, alpha)}
    return {**numbers, **reversal(of, numbers, judged), "interaction_share": interaction_shares(of)}


def _with_training(flags: pd.DataFrame) -> list[str]:
    return [f"{says} {train}" for says, train in zip(flags["says"], flags["train"], strict=True)]


def _limits(limits: object) -> ScorecardLimits:
    if limits is None:
        return ScorecardLimits()
    if not isinstance(limits, ScorecardLimits):
        raise ArgumentError(f"limits must be ScorecardLimits; got {type(limits).__name__}.")
    return limits


def _attribute_table(panel: FittedPanel, of: Cells, alpha: float, power: float) -> pd.DataFrame:
    sample, both = source_numbers(panel, SAMPLE), source_numbers(panel, BOTH)
    adjusted = benjamini_hochberg(sample["p"])
    told = panel.gathered(lambda group: np.full(len(group.places), float(group.interaction)))
    return pd.DataFrame(
        {
            "attribute": list(panel.table.attributes),
            "judged": adjusted <= alpha,
            **{name: sample[name] for name in ("statistic", "df", "df_error", "p")},
            "p_false_discovery": adjusted,
            "interaction_statistic": both["statistic"],
            "interaction_p": both["p"],
            "interaction_p_false_discovery": false_discovery(both["p"]),
            "sd": np.where(told > 0, panel.repeatability, np.nan),
            **intraclass(of),
            **concordance(of),
            "smallest_difference": smallest_difference(panel, alpha, power),
        }
    )


def _assessor_table(
    table: RatingTable, numbers: Mapping[str, Floats], judged: Bools
) -> pd.DataFrame:
    many, count = len(table.assessors), len(table.attributes)
    head = {
        "assessor": [name for name in table.assessors for _ in range(count)],
        "attribute": list(table.attributes) * many,
        "judged": np.tile(judged, many),
    }
    frame = pd.DataFrame(head | {name: values.ravel() for name, values in numbers.items()})
    return frame.assign(throughout=frame["throughout"] > 0)


def _mean_table(table: RatingTable) -> pd.DataFrame:
    """Mean and number of scores of each cell, in the order in which cells first occur."""
    names = ["attribute", "assessor", "sample"]
    cell, first = table.cells(names)
    scores = table.rows["score"].groupby(cell)
    frame = table.rows[names].iloc[first].reset_index(drop=True).infer_objects()
    return frame.assign(estimate=scores.mean(), scores=scores.size())


def _summary(
    table: RatingTable,
    numbers: Mapping[str, Floats],
    judged: Bools,
    flagged: Mapping[str, Bools],
    alpha: float,
) -> pd.DataFrame:
    chosen = {name: numbers[name][:, judged] for name in ("r", "slope", "sd_ratio")}
    own = numbers["p"][:, judged]
    scored = numbers["samples"][:, judged] > 0
    return pd.DataFrame(
        {
            "assessor": list(table.assessors),
            "attributes": scored.sum(1),
            "apart": (own <= alpha).sum(1),
            **{name: _median(values) for name, values in chosen.items()},
            "flags": sum(flag.sum(1) for flag in flagged.values()),
        }
    )


def _median(values: Floats) -> Floats:
    """The median of each row without what is missing; NaN where nothing is there."""
    some = ~np.isnan(values).all(axis=1)
    medians = np.full(len(values), np.nan)
    medians[some] = np.nanmedian(values[some], axis=1)
    return medians

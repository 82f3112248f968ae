"""The sensory profile: which attributes differ between samples, and by how much.

[1] After ISO 13299:2016, sensory profile (scope and excerpts).
[2] Næs, T., Brockhoff, P.B. and Tomic, O. (2010). Statistics for Sensory and Consumer
    Science, chapter 5: assessors and their interaction with samples as random.
    (From memory.)

Why so
------
One convention, with and without gaps: samples stand against assessor x sample by mean squares, also
where this lies below error; with gaps each cell's mean counts once. Likelihood, which puts such an
interaction at zero and tests against error, is the other convention: with one of 192 scores gone F
8.58 on 77 degrees of freedom became 5.09 on 172. It stays as `method="reml"`, the same as general
mixed-model programs to 1e-6, and for attributes whose gaps leave nothing else. Kenward and Roger's
F of the same fit, with the interaction kept at or above zero, jumps as far, has a risk of 0.02 to
0.03 for 0.05 without interaction, and finds least (`tests/calibration/test_gap_levels.py`).

Each comparison by its own scatter: one scatter for all is too small for the sample that scatters
most (`sensory/models/pair_scatter.py`).
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import pandas as pd

from ..base.arrays import Name
from ..base.checks import probability, truth, within
from ..base.errors import ArgumentError
from ..base.results import several
from ..base.shown import Shown
from .contrasts import equivalence_table, family, mean_table, pair_table, reference_table
from .fitting import SQUARES, FittedPanel, fit_panel
from .flags import turned_round
from .frames import KeptTable
from .least import least_table
from .names import each_named, name_among
from .performance import agreement, cells, discrimination
from .reversal import left_out_says, left_out_table, reversal, reversal_table
from .scaling import scaling_tables
from .tables import RatingTable, constant_notes, rating_table, without_constant
from .variance import anova_table, component_table, discriminated, remarks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile(Shown):
    """Result of `profile`: tidy tables, handed out as copies.

    Attributes
    ----------
    scores : RatingTable
        The checked scores, with the rows that were left out.
    reference, alpha, occasion
        As given; `occasion` is the further random term that was used, or None.
    margins : mapping
        Margin of each attribute that has one and was tested.
    constant : mapping
        Attributes with the same score everywhere, and that score: nothing to test. No table
        holds them.
    notes : tuple of str
        How the numbers came about, where the reader has to know.
    anova : DataFrame
        ``attribute source ss df ms against df_error statistic p p_holm p_false_discovery
        method``, the adjusted p for samples, across attributes.
    means : DataFrame
        ``attribute sample estimate se df low high level scores``.
    least_differences : DataFrame
        ``attribute dunnett tukey level``: from where two means differ significantly, see
        `least_table`.
    against_reference : DataFrame or None
        ``attribute sample reference estimate se df statistic p p_adjusted p_holm
        p_false_discovery low high level effect``: sample less reference, Dunnett.
    pairs : DataFrame
        The same with ``other`` instead of ``reference``: sample less other, Tukey.
    equivalence : DataFrame or None
        ``attribute sample reference margin estimate se df p low high level equivalent
        p_beyond beyond``.
    components : DataFrame
        ``attribute source estimate sd share``: variances, and their roots.
    reversals : DataFrame
        ``assessor attribute r slope p p_holm says``: who scored an attribute that the panel
        discriminates the other way round. They count all the same.
    left_out : DataFrame or None
        With a reference, of the attributes with a reversal: ``left_out`` ('nobody', or who was),
        then as `against_reference`: what the comparison is with everybody, and would be without.
    scaling, slopes : DataFrame or None
        Where asked for: the interaction split into scaling and disagreement, and the slope
        of each assessor.
    """

    scores: RatingTable
    reference: Hashable | None
    margins: Mapping[Name, float]
    constant: Mapping[Name, float]
    alpha: float
    occasion: str | None
    notes: tuple[str, ...]
    _tables: Mapping[str, pd.DataFrame]

    anova = KeptTable()
    means = KeptTable()
    least_differences = KeptTable()
    reversals = KeptTable()
    pairs = KeptTable()
    components = KeptTable()

    @property
    def against_reference(self) -> pd.DataFrame | None:
        return self._copy("against_reference")

    @property
    def left_out(self) -> pd.DataFrame | None:
        return self._copy("left_out")

    @property
    def equivalence(self) -> pd.DataFrame | None:
        return self._copy("equivalence")

    @property
    def scaling(self) -> pd.DataFrame | None:
        return self._copy("scaling")

    @property
    def slopes(self) -> pd.DataFrame | None:
        return self._copy("slopes")

    def left_out_says(self) -> tuple[str, ...]:
        """What leaving out reversed scores would do to the comparison, a sentence an attribute."""
        table = self._tables.get("left_out")
        return () if table is None else left_out_says(table)

    def says(self) -> tuple[str, ...]:
        """Who is reversed and what it does to the result, then the notes."""
        return (*self._tables["reversals"]["says"], *self.left_out_says(), *self.notes)

    def _copy(self, name: str) -> pd.DataFrame | None:
        return self._tables[name].copy() if name in self._tables else None

    def __repr__(self) -> str:
        anova = self._tables["anova"]
        moved = anova.loc[anova["p_holm"] <= self.alpha, "attribute"]
        return (
            f"<Profile: {several(len(self.scores.attributes), 'attribute')}, "
            f"{several(len(self.scores.samples), 'sample')}, "
            f"{several(len(self.scores.assessors), 'assessor')}; samples differ in "
            f"{', '.join(map(str, moved)) or 'none'} (Holm, alpha {self.alpha:g})>"
        )

    def _repr_html_(self) -> str:
        anova = self._tables["anova"]
        samples = anova[anova["source"] == "sample"].drop(columns=["ss", "ms"])
        notes = "".join(f"<p>{line}</p>" for line in self.says())
        return f"{samples.to_html(index=False)}{notes}"


def profile(
    ballots: pd.DataFrame,
    *,
    reference: Hashable | None = None,
    margins: float | Mapping[Name, float] | None = None,
    attributes: Iterable[Hashable] | None = None,
    alpha: float = 0.05,
    occasion: str | None = None,
    scaling: bool = False,
    scale: tuple[float, float] | None = None,
    method: str = SQUARES,
) -> Profile:
    """Which attributes differ between samples, and by how much?

    Parameters
    ----------
    ballots : DataFrame
        One score a row, see `rating_table`.
    reference : name of a sample, optional
        Each other sample is compared with it.
    margins : float or mapping of attribute to float, optional
        Differences from the reference that are agreed to be too small to matter, in units
        of the scale; one number holds for every attribute.
    attributes : names, optional
        Only these, in this order.
    alpha : float
        Risk of error of the tests; limits have the level 1 - alpha.
    occasion : {"session", "replicate"}, optional
        A further random term; if not given, session where there is more than one.
    scaling : bool
        Also correct for the use of the scale.
    scale : (lowest, highest), optional
        Ends of the scale; a score beyond them is refused.
    method : {"mean squares", "reml"}
        "reml": restricted likelihood with Satterthwaite's degrees of freedom and one scatter for
        all comparisons, as general mixed-model programs have it.

    Raises
    ------
    ArgumentError, BallotError
        See `rating_table` and `fit_panel`; an unknown reference or attribute, a margin that
        is not positive, margins without a reference.

    Notes
    -----
    score = sample (fixed) + assessor + assessor x sample [+ occasion] + error [2]. A panel
    speaks for other panels, so samples are tested against assessor x sample, never against
    error, even where the interaction lies below error. Where scores are missing or unequal in
    number, the mean of each assessor's scores for a sample counts once (unweighted mean
    squares), so that the loss of one score changes little. Restricted likelihood is taken where so
    much is missing that samples cannot be compared within assessors. With one score a sample the
    interaction is part of the error. Risk of F at alpha 0.05, and power, 4 samples scored twice,
    2,000 simulated sessions (interaction as a standard deviation, error 1):

    ==========  =====  ======================  ======================
    assessors   gone   interaction 0           interaction 0.5
                       squares     reml        squares     reml
    ==========  =====  ======================  ======================
    5            1 %   0.050 0.45  0.039 0.42  0.043 0.32  0.043 0.32
    5           15 %   0.054 0.37  0.036 0.36  0.048 0.28  0.042 0.29
    8            1 %   0.043 0.75  0.033 0.74  0.048 0.55  0.043 0.56
    8           15 %   0.047 0.63  0.034 0.64  0.056 0.48  0.051 0.49
    12           1 %   0.042 0.93  0.033 0.93  0.049 0.78  0.050 0.78
    12          15 %   0.049 0.85  0.034 0.86  0.049 0.70  0.049 0.72
    ==========  =====  ======================  ======================

    Two samples are compared by their own scatter within assessors, to which the rest of the panel
    adds as far as it agrees; `se` and `df` are those of the comparison. Risks for 0.05 where one
    sample scatters so many times as much as the others, 8 assessors, 4 samples, 20,000 sessions
    (in brackets with one scatter for all, as by "reml"):

    ====================  =============  =============  =============  =============
    scatter               1              1.5            2.4            4
    ====================  =============  =============  =============  =============
    different             0.034 (0.049)  0.044 (0.076)  0.051 (0.115)  0.052 (0.151)
    equivalent            0.037 (0.048)  0.043 (0.067)  0.048 (0.090)  0.049 (0.111)
    different, 10 % gap   0.032 (0.050)  0.041 (0.074)  0.050 (0.114)  0.052 (0.150)
    equivalent, 10 % gap  0.034 (0.048)  0.041 (0.066)  0.047 (0.088)  0.048 (0.109)
    ====================  =============  =============  =============  =============

    Any false difference among all from a reference that scatters 2.4 times as much, Dunnett, 10
    assessors, 5 samples: 0.050 (0.140), with 5 % gone 0.054 (0.128). 95 % limits hold a mean in
    95.2 to 97.0 % of 2,000 simulated sessions, all differences from the reference in 94.5 to 97.3,
    all pairs in 96.3 to 97.1: 5, 8 and 12 assessors, 4 or 6 samples scored twice, the reference
    scattering as the others or 2.4 times as much (`tests/calibration/test_rated_limits.py`).

    The price where all scatter alike: a power of 0.86 at 0.05 becomes 0.78, and one of 0.90 at
    0.005 becomes 0.72; with 5 assessors 0.84 becomes 0.69, and 0.83 at 0.005 becomes 0.51.
    An assessor who scored the other way round stays in every number; `says` names who, and what
    the comparison with the reference would be otherwise.
    Dunnett's and Tukey's p and limits take the degrees of freedom of each comparison,
    whole or not.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(7)
    >>> rows = [(a, s, r, 4 + 2 * (s == "lime") + rng.normal())
    ...         for a in "ABCDEFGH" for s in ("lime", "pear", "plum") for r in (1, 2)]
    >>> ballots = pd.DataFrame(rows, columns=["assessor", "sample", "replicate", "score"])
    >>> result = profile(ballots.assign(attribute="sour"), reference="plum", margins=1.0)
    >>> result
    <Profile: 1 attribute, 3 samples, 8 assessors; samples differ in sour (Holm, alpha 0.05)>
    >>> result.against_reference[["sample", "estimate", "p_adjusted"]].round(4)
      sample  estimate  p_adjusted
    0   lime    1.8297      0.0002
    1   pear   -0.4680      0.2557
    """
    alpha, wanted = probability("alpha", alpha), truth("scaling", scaling)
    table = rating_table(ballots, attributes=attributes, scale=scale)
    agreed = _margins(table, margins, reference)
    table, constant = without_constant(table)
    agreed = {name: size for name, size in agreed.items() if name not in constant}
    panel = fit_panel(table, occasion, method)
    if reference is not None:
        reference = name_among(table.samples, reference)
        compared = family(panel, reference)
    tables = {
        "anova": anova_table(panel),
        "means": mean_table(panel, alpha),
        "pairs": pair_table(panel, alpha),
        "components": component_table(panel),
    }
    tables["reversals"] = _reversals(panel, tables["anova"], alpha)
    if reference is not None:
        tables["against_reference"] = reference_table(panel, compared, alpha)
        if len(tables["reversals"]):
            whole, turned = tables["against_reference"], tables["reversals"]
            tables["left_out"] = left_out_table(panel, whole, turned, reference, alpha)
    tables["least_differences"] = least_table(tables["pairs"], tables.get("against_reference"))
    if agreed:
        tables["equivalence"] = equivalence_table(panel, compared, agreed, alpha)
    if wanted:
        tables["scaling"], tables["slopes"] = scaling_tables(panel)
    return Profile(
        scores=table,
        reference=reference,
        margins=MappingProxyType(agreed),
        constant=MappingProxyType(constant),
        alpha=alpha,
        occasion=panel.occasion,
        notes=(*table.notes, *constant_notes(constant), *remarks(panel)),
        _tables=MappingProxyType(tables),
    )


def _reversals(panel: FittedPanel, anova: pd.DataFrame, alpha: float) -> pd.DataFrame:
    """Who is reversed, by the limits of the scorecard, on what the panel discriminates."""
    of = cells(panel.table)
    judged = discriminated(anova, panel.table.attributes, alpha)
    numbers = {**discrimination(of), **agreement(of, alpha)}
    numbers |= reversal(of, numbers, judged)
    return reversal_table(panel.table, numbers, turned_round(numbers, judged, alpha))


def _margins(
    table: RatingTable, margins: float | Mapping[Name, float] | None, reference: Hashable | None
) -> dict[Name, float]:
    if margins is None:
        return {}
    if reference is None:
        raise ArgumentError("margins need a reference, the sample to compare with.")
    given = each_named(table.attributes, margins)
    unknown = [str(name) for name in given if name not in table.attributes]
    if unknown:
        raise ArgumentError(
            f"margins must be for attributes among {', '.join(map(str, table.attributes))}; "
            f"got {', '.join(unknown)}."
        )
    checked = {name: float(within("margins", value, 0, 1e9)) for name, value in given.items()}
    zero = [str(name) for name, value in checked.items() if not value]
    if zero:
        raise ArgumentError(f"margins must be above 0; got 0 for {', '.join(zero)}.")
    return checked

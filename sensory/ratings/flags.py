"""What stands out in a scorecard, in words, and what to train; the limits behind it.

[1] Assessors are judged on attributes that the panel as a whole discriminates: common practice,
    as in the scope of ISO 11132:2021, whose text was not checked. Limits are this program's own.
[2] Stone, H. and Sidel, J.L. Sensory Evaluation Practices: p of sample up to 0.50 as the
    least that is asked of an assessor. (From memory.)
[3] After ISO 5725-2:2019: level and scatter of one laboratory against the others (h and k). (From
    memory.)

Why so
------
Flags of the scorecard are raised only on attributes that the panel discriminates (false discovery
rate over attributes). Conventions are settings with a source (`ScorecardLimits`); where chance
alone would often cross one, a test stands beside it. Measured rates:
`tests/calibration/test_scorecard_flags.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields

import numpy as np
import pandas as pd

from ..base.arrays import Bools, Floats, Name
from ..base.checks import probability, within
from ..base.errors import ArgumentError
from ..base.results import Table
from ..models.multiplicity import benjamini_hochberg

_PRACTICE = "common practice, no source"


def _limit(default: float, source: str) -> float:
    return field(default=default, metadata={"source": source})


@dataclass(frozen=True, slots=True, kw_only=True)
class ScorecardLimits:
    """Limits behind the flags: conventions, not statistics, and therefore settings.

    Attributes
    ----------
    discrimination_p : float
        An assessor whose own p of sample lies above was not shown to discriminate.
    least_r : float
        Correlation with the others below which an assessor disagrees with them; as far
        below 0, the samples may have been scored the other way round.
    narrow_slope, wide_slope : float
        Slopes on the mean of the others beyond which the use of the scale stands out.
    bias_sd : float
        Bias in standard deviations between the means of the other assessors.
    scale_share : float
        Standard deviation of replicates as a share of the scale; used where the ends of
        the scale are given.

    Examples
    --------
    >>> print(ScorecardLimits(least_r=0.7).summary())
    limit             value  source
    discrimination_p  0.5    Stone and Sidel, Sensory Evaluation Practices (from memory)
    least_r           0.7    common practice, no source
    narrow_slope      0.5    common practice, no source
    wide_slope        2      common practice, no source
    bias_sd           2      common practice, no source
    scale_share       0.15   common practice, no source
    """

    discrimination_p: float = _limit(
        0.50, "Stone and Sidel, Sensory Evaluation Practices (from memory)"
    )
    least_r: float = _limit(0.5, _PRACTICE)
    narrow_slope: float = _limit(0.5, _PRACTICE)
    wide_slope: float = _limit(2.0, _PRACTICE)
    bias_sd: float = _limit(2.0, _PRACTICE)
    scale_share: float = _limit(0.15, _PRACTICE)

    def __post_init__(self) -> None:
        for name in ("discrimination_p", "least_r", "narrow_slope", "scale_share"):
            probability(name, getattr(self, name))
        for name, least in (("wide_slope", 1.0), ("bias_sd", 0.0)):
            if within(name, getattr(self, name), -1e9, 1e9).ndim or getattr(self, name) <= least:
                raise ArgumentError(
                    f"{name} must be one number above {least:g}; got {getattr(self, name)}."
                )

    def summary(self) -> Table:
        """Each limit with its value and where it comes from."""
        rows = [
            (limit.name, getattr(self, limit.name), limit.metadata["source"])
            for limit in fields(self)
        ]
        return Table(columns=("limit", "value", "source"), rows=tuple(rows))


def p_words(p: float) -> str:
    """A p-value for people.

    >>> p_words(0.0097), p_words(0.3), p_words(2e-9)
    ('p 0.0097', 'p 0.30', 'p < 0.001')
    """
    return "p < 0.001" if p < 0.001 else f"p {p:#.2g}"


# For each flag: the column that is its value, what is said, the numbers with it, the training.
_WORDS = {
    "reversed": (
        "r",
        "scored {} the other way round",
        "correlation with the others {r:.2f}, slope {slope:.2f}, {holm} after Holm",
        "Taste a low and a high reference of {} side by side; ask which end of the scale is which.",
    ),
    "agreement": (
        "r",
        "disagreed with the others on {}",
        "correlation with the others {r:.2f}",
        "Taste references of {} together, and agree on what the word means.",
    ),
    "discrimination": (
        "p",
        "was not shown to discriminate on {}",
        "own {p}",
        "Train {} on samples far apart, then closer; check whether it is perceived at all.",
    ),
    "repeatability": (
        "sd",
        "had poor repeatability on {}",
        "standard deviation of repeats {sd:.2g}",
        "Repeat blind duplicates for {}; look at pace, rinsing and number of samples a sitting.",
    ),
    "narrow": (
        "slope",
        "used a narrow part of the scale for {}",
        "slope on the others {slope:.2f}",
        "Show references of {} for both ends of the scale, and ask for the whole of it.",
    ),
    "wide": (
        "slope",
        "used a wider part of the scale for {} than the others",
        "slope on the others {slope:.2f}",
        "Anchor {} with references at several places of the scale.",
    ),
    "above": (
        "bias",
        "scored {} above the others throughout",
        "by {bias:.2g} on average",
        "Anchor {} with one reference of agreed score; it matters little while it is steady.",
    ),
    "below": (
        "bias",
        "scored {} below the others throughout",
        "by {bias:.2g} on average",
        "Anchor {} with one reference of agreed score; it matters little while it is steady.",
    ),
}
RULES = tuple(_WORDS)


def raised(
    numbers: Mapping[str, Floats],
    judged: Bools,
    limits: ScorecardLimits,
    alpha: float,
    width: float | None,
) -> dict[str, Bools]:
    """Which flags are raised, each (assessors, attributes).

    Parameters
    ----------
    numbers : dict of float array, (assessors, attributes)
        From `performance` and `reversal`.
    judged : bool array, (attributes,)
        Attributes that the panel as a whole discriminates [1]; nothing is raised elsewhere.
    alpha : float
        Level of the tests. Those of repeatability, slope and level are adjusted for the
        false discovery rate over all judged assessors and attributes.
    width : float or None
        Highest less lowest mark of the scale.

    Notes
    -----
    A convention alone raises no flag where chance would do it often: a low correlation
    counts as disagreement only where the assessor's own samples differ, else as discrimination
    that was not shown; reversal has its own test, adjusted by Holm; a slope must differ from 1,
    and a level stand out of the others'.
    """
    at = {name: np.where(judged, values, np.nan) for name, values in numbers.items()}
    with np.errstate(invalid="ignore"):
        apart, low = at["p"] <= alpha, at["r"] < limits.least_r
        unknown = np.isnan(at["p"]) & judged
        turned = turned_round(numbers, judged, alpha, limits)
        follows = at["r"] >= limits.least_r
        slope, level = _discovered(at["slope_p"], alpha), _discovered(at["level_p"], alpha)
        steady = level & (np.abs(at["bias_sd"]) >= limits.bias_sd) & (at["throughout"] > 0)
        poorly = _discovered(at["sd_p"], alpha)
        if width is not None:
            poorly |= at["sd"] > limits.scale_share * width
        none = (at["p"] > limits.discrimination_p) | ((at["p"] > alpha) & ~follows)
        return {
            "reversed": turned,
            "agreement": low & (apart | unknown) & ~turned,
            "discrimination": none & ~turned,
            "repeatability": poorly,
            "narrow": slope & follows & (at["slope"] <= limits.narrow_slope),
            "wide": slope & follows & (at["slope"] >= limits.wide_slope),
            "above": steady & (at["bias"] > 0),
            "below": steady & (at["bias"] < 0),
        }


def turned_round(
    numbers: Mapping[str, Floats],
    judged: Bools,
    alpha: float,
    limits: ScorecardLimits | None = None,
) -> Bools:
    """Who scored which judged attribute the other way round: by the test, and as far below 0 as
    agreement has to lie above it.

    `numbers`: `r` and `reversed_p_holm`, (assessors, attributes).
    """
    least = (limits or ScorecardLimits()).least_r
    with np.errstate(invalid="ignore"):
        turned = (numbers["r"] <= -least) & (numbers["reversed_p_holm"] <= alpha)
    return np.asarray(turned & judged)


def said(flag: str, assessor: Name, attribute: Name, at: Mapping[str, float]) -> str:
    """A flag in a sentence, with its numbers out of those of an assessor and attribute."""
    _, says, shown, _ = _WORDS[flag]
    chances = {"p": p_words(at["p"]), "holm": p_words(at["reversed_p_holm"])}
    return f"{assessor} {says.format(attribute)} ({shown.format(**{**at, **chances})})."


def flag_table(
    flags: Mapping[str, Bools],
    numbers: Mapping[str, Floats],
    assessors: Sequence[Name],
    attributes: Sequence[Name],
) -> pd.DataFrame:
    """One row a flag: ``assessor attribute flag value says train``."""
    rows = []
    for flag, (column, _, _, train) in _WORDS.items():
        for a, k in np.argwhere(flags[flag]):
            value = float(numbers[column][a, k])
            at = {name: float(values[a, k]) for name, values in numbers.items()}
            words = said(flag, assessors[a], attributes[k], at)
            rows.append((a, k, flag, value, words, train.format(attributes[k])))
    rows.sort(key=lambda row: (row[0], row[1], RULES.index(row[2])))
    names = None if rows else object
    return pd.DataFrame(
        {
            "assessor": pd.Series([assessors[row[0]] for row in rows], dtype=names),
            "attribute": pd.Series([attributes[row[1]] for row in rows], dtype=names),
            "flag": pd.Series([row[2] for row in rows], dtype=str),
            "value": pd.Series([row[3] for row in rows], dtype=float),
            "says": pd.Series([row[4] for row in rows], dtype=str),
            "train": pd.Series([row[5] for row in rows], dtype=str),
        }
    )


def _discovered(p: Floats, alpha: float) -> Bools:
    """p adjusted for the false discovery rate over all that were tested, at alpha."""
    tested = np.isfinite(p)
    answer = np.zeros(p.shape, bool)
    if tested.any():
        answer[tested] = benjamini_hochberg(p[tested]) <= alpha
    return answer

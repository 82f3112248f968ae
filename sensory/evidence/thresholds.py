"""Detection threshold from an ascending series of forced choices.

[1] After ISO 13301 (from memory): maximum likelihood over three-alternative forced choices.
[2] After ASTM E679 (from memory): best-estimate threshold of a group, a geometric mean.

Why so
------
The curve is fitted to all answers with the probability of guessing and with assessors who differ,
so that nobody at an end of the series needs an invented step. The best estimate stands beside it,
since plants and older reports know it; it lies too low where right answers were lucky.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import ndtr, stdtrit

from ..base.arrays import Floats
from ..base.checks import probability, within
from ..base.errors import ArgumentError
from ..base.results import Table, digits, several
from ..base.shown import Told
from ..choices.protocols import Protocol, find_protocol
from ..models.binomial import clopper_pearson
from ..models.threshold import Curve, best_curve, concentration_limits, quantile_limits
from ..ratings.frames import KeptTable
from ..ratings.names import alike_notes
from .ascending import ABOVE, BELOW, Series, best_estimates, series_of

LIKELIHOOD, BEST_ESTIMATES = "maximum likelihood", "best estimates"
NO_RISE = "Right answers do not rise with the concentration, so there is no threshold to estimate."
TOO_LOW = (
    "Right answers at the highest concentration are not above guessing by enough to place the "
    "threshold: it lies above the series."
)
TOO_HIGH = (
    "Most answers are right from the lowest concentration on: the threshold lies below the series."
)
STEP = (
    "Answers change from guessing to right within one step of the series, so its width cannot be "
    "estimated: the threshold lies between {low} and {high}."
)
ONE_PERSON = "One assessor answered: this speaks of that one only."
THESE_PEOPLE = (
    "It speaks of people like these assessors, in this carrier, served like this. Tasting in "
    "rising order lets expectation and fatigue in."
)
NO_SAFETY = (
    "A threshold says what is noticed, not what is harmful: whether a taint may be tasted or sold "
    "is for food law and those licensed to judge it."
)
_FEWEST_FOR_LIMITS = 3
_AT_EDGE, _SCATTER_SEEN = 1.02, 1.05
_AS_A_STEP = 1.5
"""Widths, in the least that is looked at, that cannot be told from a step."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class DetectionThreshold(Told):
    """Result of `detection_threshold`: tidy tables, handed out as copies.

    Attributes
    ----------
    protocol, level, unit
        As given.
    curve : Curve or None
        Middle and width in log10, and the share of the variance between assessors; None where
        the answers fix no curve.
    reason : str
        Why there is none.
    groups : DataFrame
        ``method estimate low high factor assessors at_ends``, in `unit`: where half of the
        tastings are noticed. `low` and `high` are missing where that end is open; `factor` is one
        standard deviation of thresholds between assessors, as a ratio.
    assessors : DataFrame
        ``assessor best_estimate end threshold low high``: `end` says where the best estimate was
        invented; `threshold` is drawn towards the group's, the more the fewer the answers.
    steps : DataFrame
        ``concentration correct trials share low high``: share of right answers with exact limits.
    noticed : DataFrame
        ``concentration share low high``: share of tastings noticed at the concentrations asked
        for.
    """

    protocol: Protocol
    level: float
    unit: str
    curve: Curve | None
    reason: str
    _tables: Mapping[str, pd.DataFrame]

    groups = KeptTable()
    assessors = KeptTable()
    steps = KeptTable()
    noticed = KeptTable()

    def says(self) -> tuple[str, ...]:
        """What the series shows."""
        return tuple(self._sentences())

    def _sentences(self) -> Iterator[str]:
        likely, best = self._tables["groups"].to_dict("records")
        if self.curve is None:
            yield self.reason
        else:
            yield (
                f"Half of the tastings are noticed at {self._amount(likely['estimate'])} "
                f"({self._span(likely['low'], likely['high'])}, {100 * self.level:g} %)."
            )
        if likely["factor"] >= _SCATTER_SEEN:
            yield (
                "Thresholds of assessors scatter: one standard deviation is a factor of "
                f"{digits(likely['factor'], 2)}."
            )
        ends = int(best["at_ends"])
        invented = f"; for {several(ends, 'assessor')} at an end of the series" if ends else ""
        invented += " the rule invents a step" if ends else ""
        yield (
            f"Best estimates of {several(int(best['assessors']), 'assessor')}: geometric mean "
            f"{self._amount(best['estimate'])}{invented}."
        )
        for row in self._tables["noticed"].to_dict("records"):
            low, share, high = (f"{100 * row[name]:.0f}" for name in ("low", "share", "high"))
            yield (
                f"At {self._amount(row['concentration'])} about {share} % of tastings are noticed "
                f"({low} to {high} %)."
            )

    def _amount(self, value: float) -> str:
        return f"{digits(value, 3)}{f' {self.unit}' if self.unit else ''}"

    def _span(self, low: float, high: float) -> str:
        if math.isnan(low) and math.isnan(high):
            return "both limits open"
        if math.isnan(low):
            return f"at most {digits(high, 3)}"
        if math.isnan(high):
            return f"at least {digits(low, 3)}"
        return f"{digits(low, 3)} to {digits(high, 3)}"

    def share_right(self, concentrations: ArrayLike) -> Floats:
        """Share of right answers that the curve gives at concentrations above 0, same shape.

        Raises ArgumentError where the answers fix no curve.
        """
        if self.curve is None:
            raise ArgumentError(f"there is no curve: {self.reason}")
        at = np.log10(within("concentrations", concentrations, 1e-300, 1e300))
        guess = float(self.protocol.guess)
        noticed = ndtr((at - self.curve.middle) / self.curve.width)
        return np.asarray(guess + (1 - guess) * noticed)

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What these answers do not answer, a sentence each."""
        people = self._tables["assessors"]["assessor"]
        alone = (ONE_PERSON,) if len(people) == 1 else ()
        return (*alike_notes(people), *alone, THESE_PEOPLE, NO_SAFETY)

    def summary(self) -> Table:
        """One row a method."""
        columns = ("method", "threshold", "low", "high", "assessors")
        rows = [
            (
                row["method"],
                *(
                    None if math.isnan(row[name]) else float(row[name])
                    for name in ("estimate", "low", "high")
                ),
                int(row["assessors"]),
            )
            for row in self._tables["groups"].to_dict("records")
        ]
        return Table(columns=columns, rows=tuple(rows))

    def __repr__(self) -> str:
        people = several(len(self._tables["assessors"]), "assessor")
        return f"<DetectionThreshold: {people}; {self.says()[0]}>"


def detection_threshold(
    answers: pd.DataFrame,
    *,
    protocol: Protocol | str = "3-AFC",
    unit: str = "",
    noticed_at: Sequence[float] = (),
    level: float = 0.95,
) -> DetectionThreshold:
    """At which concentration is a substance noticed, and by how many?

    Parameters
    ----------
    answers : DataFrame
        One answer a row: ``assessor concentration correct``, `correct` 0 or 1; or counts, with
        ``trials``.
    protocol : protocol or its name
        The forced choice at each concentration, against blanks; it says how often guessing is
        right.
    unit : str
        Of the concentrations, as it is to be printed.
    noticed_at : sequence of float
        Concentrations whose share of noticed tastings is wanted, as of a taint that was measured.
    level : float
        Of all limits, two-sided.

    Raises
    ------
    ArgumentError
        Cells that cannot be used; one concentration; a comparison whose guessing is not known.

    Notes
    -----
    Share right at concentration c is ``g + (1 - g) Phi((log10 c - m) / s)``: m is the logarithm
    of the threshold, where half are noticed and a share of ``(1 + g) / 2`` is right. The curves of
    assessors have thresholds from a normal distribution; its scatter and the width of one
    assessor's curve make up s. Limits are those of the profile likelihood.
    Limits hold the threshold in 375 to 391 of 400 simulated series (nominal 380): 10 to 40
    assessors, 6 to 9 steps of a factor of 2, thresholds alike or a factor of 1.6 to 4 apart
    (`tests/calibration/test_threshold.py`).

    Examples
    --------
    >>> import pandas as pd
    >>> answers = pd.DataFrame(
    ...     {"assessor": name, "concentration": at, "correct": right == "+"}
    ...     for name, rights in {"Ada": "-+-+++", "Bo": "--+-++", "Cleo": "+--+++", "Dan": "-+++++",
    ...                          "Eve": "---+-+", "Finn": "+-++++"}.items()
    ...     for at, right in zip([1, 2, 4, 8, 16, 32], rights)
    ... )
    >>> result = detection_threshold(answers, unit="ug/l")
    >>> print(*result.says(), sep="\\n")
    Half of the tastings are noticed at 6.42 ug/l (1.47 to 28, 95 %).
    Thresholds of assessors scatter: one standard deviation is a factor of 1.3.
    Best estimates of 6 assessors: geometric mean 5.66 ug/l.
    """
    level = probability("level", level)
    entry = find_protocol(protocol) if isinstance(protocol, str) else protocol
    if not isinstance(entry, Protocol):
        raise ArgumentError(f"protocol must be a forced choice or its name; got {protocol!r}.")
    at = within("noticed_at", noticed_at, 1e-300, 1e300) if len(noticed_at) else np.array([])
    series = series_of(answers, float(entry.guess))
    curve = best_curve(series.answers)
    reason = _no_curve(series, curve)
    fitted = None if reason else curve
    tables = {
        "groups": pd.DataFrame([_likely(series, fitted, level), _best(series, level)]),
        "assessors": _assessors(series, fitted, level),
        "steps": _steps(series, level),
        "noticed": _noticed(series, fitted, at.ravel().tolist(), level),
    }
    return DetectionThreshold(
        protocol=entry,
        level=level,
        unit=str(unit).strip(),
        curve=fitted,
        reason=reason,
        _tables=MappingProxyType(tables),
    )


def _no_curve(series: Series, curve: Curve) -> str:
    """Why the answers fix no curve; empty where they do."""
    at, (least, widest) = series.answers.at, series.answers.widths
    if curve.width * _AT_EDGE >= widest:
        return NO_RISE
    step = float(np.diff(at).max())
    if curve.middle > at[-1] + step:
        return TOO_LOW
    if curve.middle < at[0] - step:
        return TOO_HIGH
    if curve.width <= least * _AS_A_STEP:
        place = int(np.clip(np.searchsorted(at, curve.middle), 1, len(at) - 1))
        low, high = (digits(series.concentrations[each], 3) for each in (place - 1, place))
        return STEP.format(low=low, high=high)
    return ""


def _likely(series: Series, curve: Curve | None, level: float) -> dict[str, object]:
    low, high, middle, factor = None, None, math.nan, math.nan
    if curve is not None:
        low, high = concentration_limits(series.answers, curve, 0.0, level)
        middle = 10**curve.middle
        factor = 10 ** (curve.width * math.sqrt(curve.between))
    return {
        "method": LIKELIHOOD,
        "estimate": middle,
        "low": math.nan if low is None else 10**low,
        "high": math.nan if high is None else 10**high,
        "factor": factor,
        "assessors": len(series.assessors),
        "at_ends": 0,
    }


def _best(series: Series, level: float) -> dict[str, object]:
    """Geometric mean of the best estimates, with limits of Student's t on their logarithms."""
    pairs = best_estimates(series)
    logs = np.log10([value for value, _ in pairs])
    middle, count = float(logs.mean()), len(logs)
    spread = float(logs.std(ddof=1)) if count >= _FEWEST_FOR_LIMITS else math.nan
    half = float(stdtrit(max(count - 1, 1), (1 + level) / 2)) * spread / math.sqrt(count)
    return {
        "method": BEST_ESTIMATES,
        "estimate": 10**middle,
        "low": 10 ** (middle - half),
        "high": 10 ** (middle + half),
        "factor": 10**spread,
        "assessors": count,
        "at_ends": sum(end in (BELOW, ABOVE) for _, end in pairs),
    }


def _assessors(series: Series, curve: Curve | None, level: float) -> pd.DataFrame:
    nothing = np.full((len(series.assessors), 3), math.nan)
    own = nothing if curve is None else 10 ** series.answers.thresholds(curve, level)
    return pd.DataFrame(
        {
            "assessor": name,
            "best_estimate": estimate,
            "end": end,
            "threshold": middle,
            "low": low,
            "high": high,
        }
        for name, (estimate, end), (middle, low, high) in zip(
            series.assessors, best_estimates(series), own, strict=True
        )
    )


def _steps(series: Series, level: float) -> pd.DataFrame:
    answers = series.answers
    right = answers.right.sum(axis=0)
    trials = right + answers.wrong.sum(axis=0)
    low, high = clopper_pearson(right, trials, level)
    return pd.DataFrame(
        {
            "concentration": series.concentrations,
            "correct": right.astype(int),
            "trials": trials.astype(int),
            "share": right / trials,
            "low": low,
            "high": high,
        }
    )


def _noticed(series: Series, curve: Curve | None, at: list[float], level: float) -> pd.DataFrame:
    rows = [] if curve is None else [_share(series, curve, each, level) for each in at]
    return pd.DataFrame(rows, columns=["concentration", "share", "low", "high"])


def _share(series: Series, curve: Curve, concentration: float, level: float) -> dict[str, float]:
    at = math.log10(concentration)
    low, high = quantile_limits(series.answers, curve, at, level)
    return {
        "concentration": concentration,
        "share": float(ndtr((at - curve.middle) / curve.width)),
        "low": 0.0 if low is None else float(ndtr(low)),
        "high": 1.0 if high is None else float(ndtr(high)),
    }

"""Ring test: do several panels, sites or shifts get the same results on the same samples?

[1] After ISO 5725-2:2019 (from memory): repeatability and reproducibility standard deviations, h
    and k.

Why so
------
A result is what a panel reports, as the mean of one of its sessions; the scores of its assessors
are not results of several panels. A negative variance between panels is taken as 0, and the
repeatability stays the mean square within panels, as in [1]; restricted likelihood would pool both.
Nobody is left out by itself: what is flagged is looked into, and left out with a reason or kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Row
from ..base.errors import ArgumentError
from ..base.results import Table, several
from ..base.shown import Told
from ..models.consistency import (
    cochran_critical,
    grubbs_critical,
    mandel_h_critical,
    mandel_k_critical,
)
from ..ratings.frames import is_empty, rows_of_file

_COLUMNS = ("panel", "sample", "result")
STRAGGLER, OUTLIER = 0.05, 0.01
_FEWEST = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RingTest(Told):
    """Result of `ring_test`.

    Attributes
    ----------
    samples : DataFrame
        ``sample panels results mean sd_repeatability sd_between sd_reproducibility cochran
        cochran_limit grubbs grubbs_limit``: limits at 5 %; NaN where numbers are unequal.
    panels : DataFrame
        ``panel sample results mean sd h k h_flag k_flag``: flags are empty, ``straggler`` (5 %)
        or ``outlier`` (1 %).
    """

    _samples: pd.DataFrame
    _panels: pd.DataFrame

    @property
    def samples(self) -> pd.DataFrame:
        """A row a sample."""
        return self._samples.copy()

    @property
    def panels(self) -> pd.DataFrame:
        """A row a panel and sample."""
        return self._panels.copy()

    def summary(self) -> Table:
        """Repeatability and reproducibility of each sample."""
        columns = ("sample", "panels", "results", "mean", "sd_repeatability", "sd_reproducibility")
        rows = self._samples[list(columns)].itertuples(index=False)
        return Table(columns=columns, rows=tuple(map(tuple, rows)))

    @property
    def finding(self) -> str:
        """Whether a panel stands apart, in one sentence."""
        flagged = self._panels[(self._panels["h_flag"] != "") | (self._panels["k_flag"] != "")]
        names = list(dict.fromkeys(flagged["panel"]))
        if not names:
            return "No panel stands apart from the others."
        return f"Look into {', '.join(names)}: results stand apart from those of the other panels."

    @property
    def cannot_tell(self) -> tuple[str, ...]:
        """What this ring test leaves open."""
        many, equal = self._panels["panel"].nunique(), self._samples["cochran_limit"].notna()
        tests = len(self._panels) + int(self._samples["panels"][equal].sum())
        lines = [
            "Which panel is right: panels are compared with each other, not with a known value.",
            f"Whether a single flag is chance: of {tests} values of h and k, each tested by "
            f"itself, about {STRAGGLER * tests:.1f} are flagged where no panel differs.",
            f"The scatter between panels precisely: it rests on {many} of them.",
        ]
        if not equal.all():
            lines.append(
                "Whether a panel scatters too much, where panels have unequal numbers of results: "
                "k has no limit there."
            )
        return tuple(lines)

    def says(self) -> tuple[str, ...]:
        """A sentence for each sample and for each flag."""
        lines = [
            f"{row['sample']}: results scatter by {row['sd_repeatability']:.2g} within a panel "
            f"(repeatability) and by {row['sd_reproducibility']:.2g} over panels "
            "(reproducibility), as standard deviations."
            for row in self._samples.to_dict("records")
        ]
        for row in self._panels.to_dict("records"):
            lines += _flags(row)
        return tuple(lines)

    def __repr__(self) -> str:
        many = self._panels["panel"].nunique()
        return f"<RingTest: {several(many, 'panel')}, {several(len(self._samples), 'sample')}>"


def ring_test(results: pd.DataFrame) -> RingTest:
    """How well do panels agree on the same samples, and which one stands apart?

    Parameters
    ----------
    results : DataFrame
        ``panel sample result``, a row a result: two or more a panel and sample, at least three
        panels.

    Raises
    ------
    ArgumentError
        For a missing column, a result that is no number, or too few panels or results.

    Notes
    -----
    After [1]: repeatability is the pooled variance within panels; between panels the mean square
    less it, over the mean number of results; reproducibility is their sum. h is the distance of a
    panel's mean from the mean of all in standard deviations of the means, k its standard
    deviation over the pooled one. Critical values of k and Cochran's test hold for equal numbers
    of results and are left out else. With many samples some flags come by chance.

    Examples
    --------
    >>> rows = [(p, "A", r) for p, pair in {"north": (5.1, 5.3), "south": (5.0, 5.4),
    ...         "east": (5.2, 5.2), "west": (7.0, 7.2)}.items() for r in pair]
    >>> result = ring_test(pd.DataFrame(rows, columns=["panel", "sample", "result"]))
    >>> result.samples[["sd_repeatability", "sd_reproducibility"]].round(2).values.tolist()
    [[0.17, 0.96]]
    >>> result.says()[-1]
    'west lies apart on A: h 1.5, an outlier (1 %).'
    """
    frame = _checked(results)
    samples, panels = [], []
    for sample, part in frame.groupby("sample", sort=False):
        whole, each = _of_sample(str(sample), part)
        samples.append(whole)
        panels += each
    return RingTest(_samples=pd.DataFrame(samples), _panels=pd.DataFrame(panels))


def _checked(results: pd.DataFrame) -> pd.DataFrame:
    if missing := [name for name in _COLUMNS if name not in results]:
        raise ArgumentError(f"results must have the columns {', '.join(_COLUMNS)}; {missing} lack.")
    frame = results[list(_COLUMNS)].reset_index(drop=True)
    rows = rows_of_file(results)
    for place, names in enumerate(frame[["panel", "sample"]].itertuples(index=False)):
        if any(map(is_empty, names)):
            raise ArgumentError(f"row {rows[place]} lacks its panel or sample.")
    numbers = pd.to_numeric(frame["result"], errors="coerce")
    if not np.isfinite(numbers).all():
        place = int(np.flatnonzero(~np.isfinite(numbers))[0])
        row = frame.iloc[place]
        raise ArgumentError(
            f"row {rows[place]}: result of {row['panel']} on {row['sample']} must be a number; got "
            f"{row['result']!r}."
        )
    frame = frame.assign(result=numbers)
    counts = frame.groupby(["sample", "panel"], sort=False).size()
    for sample, part in counts.groupby("sample", sort=False):
        if len(part) < _FEWEST:
            raise ArgumentError(f"{sample} needs results of 3 panels at least; got {len(part)}.")
        if part.min() < 2:
            panel = list(part.index.get_level_values("panel"))[int(part.to_numpy().argmin())]
            single = np.flatnonzero((frame["panel"] == panel) & (frame["sample"] == sample))[0]
            raise ArgumentError(
                f"row {rows[int(single)]}: {panel} needs 2 results on {sample} at least; got 1."
            )
    return frame


def _of_sample(sample: str, part: pd.DataFrame) -> tuple[Row, list[Row]]:
    cells = part.groupby("panel", sort=False)["result"]
    n, mean, sd = (
        np.asarray(values, float) for values in (cells.size(), cells.mean(), cells.std())
    )
    many = len(n)
    within = float(((n - 1) * sd**2).sum() / (n - 1).sum())
    grand = float((n * mean).sum() / n.sum())
    apart = float((n * (mean - grand) ** 2).sum() / (many - 1))
    size = (n.sum() - (n**2).sum() / n.sum()) / (many - 1)
    between = max((apart - within) / size, 0.0)
    scatter = mean.std(ddof=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        h = (mean - mean.mean()) / scatter
        k = sd * np.sqrt(many) / np.sqrt((sd**2).sum())
        cochran = (sd**2).max() / (sd**2).sum()
    equal = int(n[0]) if (n == n[0]).all() else 0
    whole: Row = {
        "sample": sample,
        "panels": many,
        "results": int(n.sum()),
        "mean": grand,
        "sd_repeatability": np.sqrt(within),
        "sd_between": np.sqrt(between),
        "sd_reproducibility": np.sqrt(within + between),
        "cochran": cochran,
        "cochran_limit": cochran_critical(many, equal, STRAGGLER) if equal else np.nan,
        "grubbs": np.abs(h).max(),
        "grubbs_limit": grubbs_critical(many, STRAGGLER),
    }
    rows: list[Row] = []
    for place, panel in enumerate(cells.size().index):
        rows.append(
            {
                "panel": str(panel),
                "sample": sample,
                "results": int(n[place]),
                "mean": mean[place],
                "sd": sd[place],
                "h": h[place],
                "k": k[place],
                "h_flag": _flag(abs(h[place]), [mandel_h_critical(many, at) for at in _LEVELS]),
                "k_flag": _flag(
                    k[place],
                    [mandel_k_critical(many, equal, at) if equal else np.inf for at in _LEVELS],
                ),
            }
        )
    return whole, rows


_LEVELS = (STRAGGLER, OUTLIER)


def _flag(value: float, limits: list[float]) -> str:
    if value > limits[1]:
        return "outlier"
    return "straggler" if value > limits[0] else ""


def _flags(row: Row) -> list[str]:
    percent = {"straggler": "a straggler (5 %)", "outlier": "an outlier (1 %)"}
    lines = []
    if row["h_flag"]:
        where = f"{row['panel']} lies apart on {row['sample']}"
        lines.append(f"{where}: h {row['h']:.1f}, {percent[row['h_flag']]}.")
    if row["k_flag"]:
        where = f"{row['panel']} scatters more than the others on {row['sample']}"
        lines.append(f"{where}: k {row['k']:.1f}, {percent[row['k_flag']]}.")
    return lines

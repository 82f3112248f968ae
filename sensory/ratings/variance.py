"""Tables of variance: what differs, against what it is tested, and the panel's own noise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, fdtrc

from ..base.arrays import Bools, Floats, Name
from ..models.mean_squares import ASSESSOR, BOTH, OCCASION, SAMPLE, MeanSquares
from ..models.mixed import ERROR
from ..models.multiplicity import benjamini_hochberg, holm
from .fitting import REML, SQUARES, FittedGroup, FittedPanel

POOLED = f"{BOTH} and error"
UNWEIGHTED, LIKELIHOOD = "unweighted mean squares", "restricted likelihood"
_COLUMNS = ("ss", "df", "ms", "statistic", "df_error", "p")


class _Line(NamedTuple):
    source: str
    against: str | None
    numbers: Mapping[str, ArrayLike]


def anova_table(panel: FittedPanel) -> pd.DataFrame:
    """One row a source and attribute; samples are never tested against error alone.

    Columns ``attribute source ss df ms against df_error statistic p p_holm
    p_false_discovery method``. By mean squares F: sample and assessor against assessor x sample,
    this and the occasion against error. By restricted likelihood F of the fixed samples, and a
    likelihood ratio for each random term with the p of 1/2 chi2(0) + 1/2 chi2(1).
    """
    blocks: list[pd.DataFrame] = []
    for group in panel.groups:
        names = [panel.table.attributes[place] for place in group.places]
        lines = _square_lines(group.squares, panel) if group.squares else _other_lines(group, panel)
        count, lengths = len(lines), len(names)
        block = {
            "attribute": np.repeat(_objects(names), count),
            "source": np.tile(_objects([line.source for line in lines]), lengths),
            "against": np.tile(_objects([line.against for line in lines]), lengths),
            "method": _method(group),
            "_order": np.repeat(group.places, count),
        }
        for column in _COLUMNS:
            block[column] = np.column_stack(
                [np.broadcast_to(line.numbers.get(column, np.nan), lengths) for line in lines]
            ).ravel()
        blocks.append(pd.DataFrame(block))
    table = pd.concat(blocks).sort_values("_order", kind="stable", ignore_index=True)
    first = (table["source"] == SAMPLE).to_numpy()
    for column, adjust in (("p_holm", holm), ("p_false_discovery", benjamini_hochberg)):
        adjusted = np.full(len(table), np.nan)
        adjusted[first] = adjust(table["p"].to_numpy()[first])
        table[column] = adjusted
    order = ["attribute", "source", "ss", "df", "ms", "against", "df_error", "statistic", "p"]
    return table[[*order, "p_holm", "p_false_discovery", "method"]]


def source_numbers(panel: FittedPanel, source: str) -> dict[str, Floats]:
    """The numbers of one source as in `anova_table`, by column, (attributes,); NaN where none."""
    count = len(panel.table.attributes)
    numbers = {column: np.full(count, np.nan) for column in _COLUMNS}
    for group in panel.groups:
        lines = _square_lines(group.squares, panel) if group.squares else _other_lines(group, panel)
        for line in lines:
            if line.source == source:
                for column, values in line.numbers.items():
                    numbers[column][group.places] = values
    return numbers


def _method(group: FittedGroup) -> str:
    if group.squares is None:
        return LIKELIHOOD
    return SQUARES if group.complete else UNWEIGHTED


def _square_lines(squares: MeanSquares, panel: FittedPanel) -> list[_Line]:
    at = {source: place for place, source in enumerate(squares.sources)}
    lines = []
    for source, place in at.items():
        names, against = (BOTH in at, panel.occasion), None
        numbers: dict[str, ArrayLike] = {
            "ss": squares.ss[:, place],
            "df": squares.df[..., place],
            "ms": squares.ms[:, place],
        }
        if source != ERROR:
            against = BOTH if source in (SAMPLE, ASSESSOR) and BOTH in at else ERROR
            below = at[against]
            with np.errstate(divide="ignore", invalid="ignore"):
                statistic = squares.ms[:, place] / squares.ms[:, below]
            numbers |= {
                "df_error": squares.df[..., below],
                "statistic": statistic,
                "p": fdtrc(squares.df[..., place], squares.df[..., below], statistic),
            }
        tested = source_name(against, *names) if against else None
        lines.append(_Line(source_name(source, *names), tested, numbers))
    return lines


def _other_lines(group: FittedGroup, panel: FittedPanel) -> list[_Line]:
    statistic, df, df_error = group.fit.equality()
    p = fdtrc(df, df_error, statistic)
    tests: dict[str, ArrayLike] = {"df": df, "df_error": df_error, "statistic": statistic, "p": p}
    lines = [_Line(SAMPLE, "estimated variances", tests)]
    ratios = group.ratios if group.ratios is not None else np.empty((len(statistic), 0))
    for term, ratio in zip(group.fit.terms, ratios.T, strict=False):
        name = source_name(term, group.interaction, panel.occasion)
        tests = {"statistic": ratio, "p": np.where(ratio > 0, chdtrc(1, ratio) / 2, 1.0)}
        lines.append(_Line(name, "likelihood ratio", tests))
    return lines


def discriminated(anova: pd.DataFrame, attributes: Sequence[Name], alpha: float) -> Bools:
    """Attributes that the panel as a whole discriminates: false discovery rate at most alpha."""
    rows = anova[anova["source"] == SAMPLE]
    sample = dict(zip(rows["attribute"], rows["p_false_discovery"], strict=True))
    return np.array([bool(sample[name] <= alpha) for name in attributes])


def component_table(panel: FittedPanel) -> pd.DataFrame:
    """Variance components: columns ``attribute source estimate sd share``.

    ``estimate`` is a variance, ``sd`` its root in units of the scale: of error the
    repeatability, of assessor the spread between assessors. ``share`` is of their sum.
    """
    blocks = []
    for group in panel.groups:
        variances = group.fit.variances
        names = [source_name(t, group.interaction, panel.occasion) for t in group.fit.terms]
        attributes = [panel.table.attributes[place] for place in group.places]
        block = {
            "attribute": np.repeat(_objects(attributes), len(names)),
            "source": np.tile(_objects(names), len(attributes)),
            "estimate": variances.ravel(),
            "sd": np.sqrt(variances).ravel(),
            "share": (variances / variances.sum(1, keepdims=True)).ravel(),
            "_order": np.repeat(group.places, len(names)),
        }
        blocks.append(pd.DataFrame(block))
    table = pd.concat(blocks).sort_values("_order", kind="stable", ignore_index=True)
    return table.drop(columns="_order")


def remarks(panel: FittedPanel) -> tuple[str, ...]:
    """What the reader has to know about how the numbers came about."""
    lines: list[str] = []
    for group in panel.groups:
        names = _objects([str(panel.table.attributes[place]) for place in group.places])
        if not group.complete:
            lines.append(f"{_listed(names, panel)}: {_with_gaps(group, panel)}")
        if not group.interaction:
            lines.append(
                f"{_listed(names, panel)}: one score a sample; assessor x sample cannot be "
                "told from error, and samples are tested against both together."
            )
            continue
        at = group.fit.terms.index(BOTH)
        below = names[group.fit.variances[:, at] <= 0]
        if below.size and group.squares is not None:
            lines.append(
                f"{_listed(below, panel)}: assessors agree (interaction below error); samples are "
                "tested against assessor x sample all the same."
            )
        elif below.size:
            lines.append(
                f"{_listed(below, panel)}: the variance of assessor x sample is estimated as "
                "zero; the degrees of freedom of samples rest on the others, and are many."
            )
    if panel.table.dropped:
        lines.append(f"Rows without a score, left out: {panel.table.dropped}.")
    return tuple(lines)


def _with_gaps(group: FittedGroup, panel: FittedPanel) -> str:
    if group.squares is not None:
        return (
            "scores are missing or unequal in number; the mean of an assessor's scores for a "
            "sample counts once, however many they are."
        )
    likelihood = "restricted likelihood with Satterthwaite degrees of freedom"
    if panel.method == REML:
        return f"{likelihood}."
    return f"too many scores are missing for mean squares; {likelihood}."


def source_name(source: str, interaction: bool, occasion: str | None) -> str:
    """The source as the reader knows it."""
    if source == ERROR and not interaction:
        return POOLED
    return (occasion or source) if source == OCCASION else source


def _listed(names: NDArray[np.object_], panel: FittedPanel) -> str:
    several = len(names) > 1 and len(names) == len(panel.table.attributes)
    return "All attributes" if several else ", ".join(names)


def _objects(values: Sequence[Name]) -> NDArray[np.object_]:
    array = np.empty(len(values), object)
    array[:] = values
    return array

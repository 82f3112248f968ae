"""The scorecard of the panel as parts of an outcome, with its intraclass correlations."""

from __future__ import annotations

from typing import Any

from ..base.errors import ArgumentError
from ..base.results import Table
from ..ratings.scorecard import PanelScorecard
from .frames import table_of
from .outcome import AssessorPoint, NamedTable

_KINDS = {
    "ICC(A,1)": "one assessor, level counted",
    "ICC(C,1)": "one assessor, level left out",
    "ICC(C,k)": "mean of the panel",
}


def panel_parts(card: PanelScorecard | str) -> dict[str, Any]:
    """The fields of an outcome that speak of the panel; a text says why there is none."""
    if isinstance(card, str):
        return {"panel_says": (f"No scorecard of the panel: {card}",)}
    judged = card.assessors[card.assessors["judged"]]
    flags = card.flags.groupby(["assessor", "attribute"]).size()
    return {
        "panel": tuple(
            AssessorPoint(
                assessor=str(row["assessor"]),
                attribute=str(row["attribute"]),
                agreement=float(row["r"]),
                slope=float(row["slope"]),
                flags=int(flags.get((row["assessor"], row["attribute"]), 0)),
            )
            for row in judged.to_dict("records")
        ),
        "panel_says": card.says(),
        "panel_tables": _tables(card),
    }


def _tables(card: PanelScorecard) -> tuple[NamedTable, ...]:
    attributes = "attribute judged statistic p interaction_p sd icc kendall_w smallest_difference"
    panel = "assessor attributes apart r slope sd_ratio flags"
    assessors = "assessor attribute statistic p sd sd_ratio r slope bias"
    correlations = _intraclass(card)
    return (
        NamedTable("The panel, attribute by attribute", table_of(card.attributes, attributes)),
        *((NamedTable("Intraclass correlation", correlations),) if correlations.rows else ()),
        NamedTable("Each assessor over the judged attributes", table_of(card.panel, panel)),
        NamedTable("Each assessor in each attribute", table_of(card.assessors, assessors)),
    )


def _intraclass(card: PanelScorecard) -> Table:
    """Of the attributes in which every assessor scored every sample, with 95 % limits."""
    rows: list[tuple[str, str, float, float, float]] = []
    for attribute in card.scores.attributes:
        try:
            kinds = card.intraclass(attribute)
        except ArgumentError:
            continue
        for row in kinds[kinds["Type"].isin(list(_KINDS))].to_dict("records"):
            low, high = map(float, row["CI95"])
            rows.append((str(attribute), _KINDS[row["Type"]], float(row["ICC"]), low, high))
    return Table(columns=("attribute", "kind", "estimate", "low", "high"), rows=tuple(rows))

"""The scorecard of the panel as parts of an outcome, with its intraclass correlations."""

from __future__ import annotations

from typing import Any

from ..base.errors import ArgumentError
from ..base.results import Table
from ..ratings.frames import records
from ..ratings.intraclass import intraclass_table
from ..ratings.profile import Profile
from ..ratings.scorecard import PanelScorecard
from .frames import table_of
from .outcome import AssessorLine, AssessorPoint, NamedTable

_KINDS = {
    "ICC(A,1)": "one assessor, level counted",
    "ICC(C,1)": "one assessor, level left out",
    "ICC(C,k)": "mean of the panel",
}


def panel_parts(card: PanelScorecard | str, result: Profile) -> dict[str, Any]:
    """The fields of an outcome that speak of the panel; a text says why there is none.

    Who is reversed comes first, and then what this does to the result.
    """
    if isinstance(card, str):
        return {"panel_says": (f"No scorecard of the panel: {card}",)}
    turned, says = int((card.flags["flag"] == "reversed").sum()), card.says()
    return {
        "panel": assessor_points(card),
        "panel_lines": assessor_lines(card),
        "panel_says": (*says[:turned], *result.left_out_says(), *says[turned:]),
        "panel_tables": _tables(card),
    }


def reversed_in_short(result: Profile) -> tuple[str, ...]:
    """Beside the finding: who scored what the other way round."""
    rows = result.reversals.to_dict("records")
    if not rows:
        return ()
    named = "; ".join(
        f"{row['assessor']} scored {row['attribute']} the other way round" for row in rows
    )
    return (f"{named}. The section on the panel shows what this changes.",)


def assessor_points(card: PanelScorecard) -> tuple[AssessorPoint, ...]:
    """Assessors in the attributes that the panel discriminates."""
    judged = card.assessors[card.assessors["judged"]]
    flags = card.flags.groupby(["assessor", "attribute"]).size()
    return tuple(
        AssessorPoint(
            assessor=str(row["assessor"]),
            attribute=str(row["attribute"]),
            agreement=float(row["r"]),
            slope=float(row["slope"]),
            flags=int(flags.get((row["assessor"], row["attribute"]), 0)),
        )
        for row in judged.to_dict("records")
    )


def assessor_lines(card: PanelScorecard) -> tuple[AssessorLine, ...]:
    """Assessors over the samples in each attribute."""
    whole = card.attributes.set_index("attribute")
    share = card.assessors.set_index(["assessor", "attribute"])["interaction_share"]
    flags = card.flags[card.flags["flag"] == "reversed"]
    turned = set(zip(flags["assessor"], flags["attribute"], strict=True))
    causes = {name: card.causes(name) for name in whole.index}
    means = card.means.groupby(["attribute", "assessor"], sort=False)
    cells = {
        key: dict(zip(part["sample"], map(float, part["estimate"]), strict=True))
        for key, part in means
    }
    return tuple(
        AssessorLine(
            assessor=str(assessor),
            attribute=str(attribute),
            means={str(name): given[name] for name in card.scores.samples if name in given},
            share=float(share[assessor, attribute]),
            turned=(assessor, attribute) in turned,
            causes=assessor in causes[attribute],
        )
        for attribute in card.scores.attributes
        for assessor in card.scores.assessors
        if (given := cells.get((attribute, assessor)))
    )


def _tables(card: PanelScorecard) -> tuple[NamedTable, ...]:
    attributes = "attribute judged statistic p interaction_p sd icc kendall_w smallest_difference"
    panel = "assessor attributes apart r slope sd_ratio flags"
    assessors = "assessor attribute statistic p sd sd_ratio r slope interaction_share bias"
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
            kinds = intraclass_table(card.intraclass_means(attribute))
        except ArgumentError:
            continue
        for row in records(kinds):
            if kind := _KINDS.get(row["kind"]):
                rows.append((str(attribute), kind, row["estimate"], row["low"], row["high"]))
    return Table(columns=("attribute", "kind", "estimate", "low", "high"), rows=tuple(rows))

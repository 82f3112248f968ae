"""A study of two recipes by choice tests over several pairs of lots."""

from __future__ import annotations

import pandas as pd

from ..evidence.lots_by_choice import compare_lots
from ..sessions.study_file import StudyColumns, numbers
from .study_kinds import Answer, Settings, StudyKind, StudySetting, answer_of


def _pairs(rows: pd.DataFrame, settings: Settings) -> Answer:
    counts = {name: numbers(rows[name], name) for name in ("correct", "trials")}
    limit = settings.get("limit")
    result = compare_lots(
        rows.assign(**counts), dprime_limit=None if limit is None else float(limit)
    )
    words = (
        "d-prime of each pair of lots and of the recipes over all of them, with limits, and the "
        "agreed limit if there is one."
    )
    tables = {"Recipes": result.recipes, "Pairs of lots": result.pairs}
    return answer_of(result, tables, {"lots": words})


LOT_PAIRS = StudyKind(
    key="lot pairs",
    name="two recipes by choice tests over several lots",
    question="Is the new recipe the same, by choice tests over several lots?",
    standard="no standard for several lots is known to this program",
    columns=StudyColumns(
        words={
            "present": ("present lot", "present", "lot of the present recipe", "reference lot"),
            "new": ("new lot", "new", "lot of the new recipe"),
            "protocol": ("test", "protocol", "method"),
            "correct": ("correct", "right", "right answers", "correct answers"),
            "trials": ("answers", "trials", "ballots", "total"),
            "attribute": ("attribute", "merkmal"),
            "pair": ("pair", "compares"),
        },
        needed=("present", "new", "protocol", "correct", "trials"),
    ),
    people=(),
    settings=(
        StudySetting(key="limit", label="Agreed d-prime", kind="number", low=0.05, high=5.0),
    ),
    invented="recipe_pairs.csv",
    answer=_pairs,
)

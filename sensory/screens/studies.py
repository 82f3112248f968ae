"""Studies that are no session: a threshold, two recipes over several lots, graders at the line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import pandas as pd
import streamlit as st

from ..base.results import Table
from ..catalogue.outcome import NamedTable
from ..evidence.graders import GraderCheck, check_graders
from ..evidence.grading_rule import GradingRule
from ..evidence.thresholds import DetectionThreshold, detection_threshold
from ..ratings.recipes import RecipeComparison, compare_recipes
from ..report.study_figures import curve_figure, graders_figure, recipes_figure, votes_figure
from ..report.workbooks import workbook
from ..sessions.study_file import StudyColumns, numbers, read_study, truths
from .frame import current_frame, plain, shown_errors
from .parts import choose, download, listed, pressed, scroll, show_figure

_TYPES = ["csv", "txt", "tsv", "xlsx"]
_KEPT = "Nothing of this page is kept on record: download the results."
_CARE = (
    "Samples are cleared before anybody tastes them: allergens, and what was added. A taint that "
    "may harm is for food law and those licensed to judge it, not for a panel."
)
Result = DetectionThreshold | RecipeComparison | GraderCheck | GradingRule


@dataclass(frozen=True, slots=True, kw_only=True)
class _Study:
    """A question, the columns of its file, the invented file, and what is done with the table."""

    question: str
    columns: StudyColumns
    invented: str
    show: Callable[[pd.DataFrame], None]


def page() -> None:
    """The question, the file, the answer."""
    st.title("Studies")
    st.markdown("Questions that take a study of their own, from a file with one answer a row.")
    names = list(_STUDIES)
    chosen = st.radio(
        "What do you want to know?",
        names,
        format_func=lambda name: _STUDIES[name].question,
        key="study",
    )
    study = _STUDIES[chosen or names[0]]
    st.markdown(_CARE)
    with shown_errors():
        table = _table(chosen or names[0], study)
        if table is not None:
            study.show(table)


def _table(name: str, study: _Study) -> pd.DataFrame | None:
    """The file that was uploaded, else the invented one where it was opened."""
    upload = st.file_uploader("CSV or XLSX", _TYPES, key=f"study-file-{name}")
    st.markdown(f"Columns: {study.columns.asked()}.")
    if upload is not None:
        return read_study(upload.getvalue(), study.columns)
    if current_frame().invented:
        if pressed("Open an invented study", f"study-demo-{name}"):
            st.session_state["study-demo"] = name
        if st.session_state.get("study-demo") == name:
            return read_study(current_frame().demo / study.invented, study.columns)
    return None


def _threshold(table: pd.DataFrame) -> None:
    left, right = st.columns(2)
    unit = left.text_input("Unit of the concentration", key="study-unit", placeholder="µg/l")
    asked = right.text_input("How many notice at (numbers, with spaces)", key="study-at")
    at = numbers(pd.Series(asked.split(), dtype=str), "Concentrations")
    frame = table.assign(
        concentration=numbers(table["concentration"], "concentration"),
        correct=truths(table["correct"], "correct"),
    )
    result = detection_threshold(frame, unit=unit, noticed_at=at.tolist())
    words = "Share of right answers at each concentration, with its limits, and the fitted curve."
    _headline(result)
    show_figure("study-figure", curve_figure(result, "container"), words)
    _rest(result, (("Assessors", result.assessors), ("Steps", result.steps)))


def _recipes(table: pd.DataFrame) -> None:
    names = list(dict.fromkeys(name for name in table["recipe"].str.strip() if name))
    left, right = st.columns(2)
    reference = choose("Present recipe", names, names[0], "study-reference", place=left)
    margin = right.number_input(
        "Agreed margin, points of the scale", 0.0, value=None, step=0.1, key="study-margin"
    )
    lot = table["recipe"].str.strip() + ", lot " + table["lot"].str.strip()
    ballots = table.assign(sample=lot, score=numbers(table["score"], "score"))
    recipes = dict(zip(lot, table["recipe"].str.strip(), strict=True))
    result = compare_recipes(ballots, recipes, reference=reference, margins=margin or None)
    _headline(result)
    words = "Difference of each attribute with its limits, and the agreed margin."
    show_figure("study-figure", recipes_figure(result, "container"), words)
    _rest(result, (("Differences", result.differences), ("Scatter", result.scatter)))


def _graders(table: pd.DataFrame) -> None:
    left, right = st.columns(2)
    stopped = left.number_input("Good batches stopped, at most %", 0.1, 50.0, 5.0, key="study-good")
    passed = right.number_input("Bad batches passed, at most %", 0.1, 50.0, 10.0, key="study-bad")
    result = check_graders(table)
    known = result.graders
    if not (known["spiked"].all() and known["controls"].all()):
        _headline(result)
        _rest(result, (("Graders", known), ("Pairs", result.pairs)))
        return
    rule = result.rule(good_stopped=stopped / 100, bad_passed=passed / 100)
    _headline(rule)
    words = "Risks for each number of votes that stops a batch."
    show_figure("study-votes", votes_figure(rule), words)
    st.subheader("Each grader")
    listed(result.says())
    words = "Share of spiked samples found and of controls called out, with limits."
    show_figure("study-figure", graders_figure(result, "container"), words)
    tables = (("Graders", known), ("Pairs", result.pairs), ("Votes", rule.rules))
    _rest(rule, tables, say=False)


def _headline(result: Result) -> None:
    first, *_ = (*result.says(), "No sample's truth is known, and no two graded the same samples.")
    st.subheader(plain(first))


def _rest(result: Result, tables: Sequence[tuple[str, pd.DataFrame]], say: bool = True) -> None:
    """Further sentences, the limits of the result, the numbers folded and to take along."""
    if say:
        listed(result.says()[1:])
    st.markdown("**Limits of this result**")
    listed(result.cannot_tell)
    named: list[NamedTable] = [NamedTable(name, _plain_table(frame)) for name, frame in tables]
    download("Results, XLSX", partial(workbook, named), "study.xlsx", "study-xlsx")
    st.markdown(_KEPT)
    with st.expander("Numbers"):
        for name, table in named:
            st.markdown(f"**{name}**")
            scroll(table)


def _plain_table(frame: pd.DataFrame) -> Table:
    rows = frame.astype(object).where(frame.notna(), None).itertuples(index=False)
    return Table(columns=tuple(map(str, frame.columns)), rows=tuple(map(tuple, rows)))


_STUDIES = {
    "threshold": _Study(
        question="At which concentration is it noticed?",
        columns=StudyColumns(
            words={
                "assessor": ("assessor", "assessors", "person", "prüfer", "name"),
                "concentration": ("concentration", "dose", "step", "konzentration"),
                "correct": ("correct", "right", "answer", "result", "richtig"),
            },
            needed=("assessor", "concentration", "correct"),
        ),
        invented="threshold.csv",
        show=_threshold,
    ),
    "recipes": _Study(
        question="Is the new recipe the same as the present one, over several lots?",
        columns=StudyColumns(
            words={
                "assessor": ("assessor", "assessors", "person", "prüfer"),
                "recipe": ("recipe", "arm", "product", "rezept", "formula"),
                "lot": ("lot", "batch", "charge"),
                "attribute": ("attribute", "merkmal"),
                "score": ("score", "rating", "mark", "intensity"),
                "replicate": ("replicate", "repeat", "wiederholung"),
            },
            needed=("assessor", "recipe", "lot", "attribute", "score"),
        ),
        invented="recipe_lots.csv",
        show=_recipes,
    ),
    "graders": _Study(
        question="Can our graders at the line see the agreed standard?",
        columns=StudyColumns(
            words={
                "grader": ("grader", "assessor", "person", "prüfer"),
                "sample": ("sample", "number", "probe"),
                "grade": ("grade", "verdict", "urteil"),
                "truth": ("truth", "known", "true grade"),
            },
            needed=("grader", "sample", "grade"),
        ),
        invented="graders.csv",
        show=_graders,
    ),
}

"""Studies by panels or by graders: threshold, recipes over lots, graders at the line, ring test."""

from __future__ import annotations

import pandas as pd

from ..evidence.graders import check_graders
from ..evidence.ring_test import ring_test
from ..evidence.thresholds import detection_threshold
from ..ratings.recipes import compare_recipes
from ..sessions.study_file import StudyColumns, numbers, truths
from .study_kinds import (
    Answer,
    Drawn,
    SessionsOf,
    Settings,
    StudyKind,
    StudySetting,
    answer_of,
    frame_table,
)
from .threshold_sessions import session_rows, threshold_sessions

_NO_TRUTH = "No sample's truth is known, and no two graded the same samples."


def _threshold(rows: pd.DataFrame, settings: Settings) -> Answer:
    asked = str(settings.get("noticed_at", "")).split()
    at = numbers(pd.Series(asked, dtype=str), "Concentrations")
    frame = rows.assign(
        concentration=numbers(rows["concentration"], "concentration"),
        correct=truths(rows["correct"], "correct"),
    )
    unit = str(settings.get("unit", ""))
    result = detection_threshold(frame, unit=unit, noticed_at=at.tolist())
    tables = {
        "Thresholds": result.groups,
        "Assessors": result.assessors,
        "Steps": result.steps,
        "Noticed at": result.noticed,
    }
    words = "Share of right answers at each concentration, with its limits, and the fitted curve."
    return answer_of(result, {k: t for k, t in tables.items() if len(t)}, {"curve": words})


def _recipes(rows: pd.DataFrame, settings: Settings) -> Answer:
    recipe = rows["recipe"].str.strip()
    names = [name for name in dict.fromkeys(recipe) if name]
    reference = str(settings.get("reference", "")) or names[0]
    lot = recipe + ", lot " + rows["lot"].str.strip()
    ballots = rows.assign(sample=lot, score=numbers(rows["score"], "score"))
    recipes = dict(zip(lot, recipe, strict=True))
    margin = settings.get("margin")
    margins = None if margin is None else float(margin)
    result = compare_recipes(ballots, recipes, reference=reference, margins=margins)
    words = "Difference of each attribute with its limits, and the agreed margin."
    tables = {"Differences": result.differences, "Scatter": result.scatter}
    return answer_of(result, tables, {"differences": words})


def _graders(rows: pd.DataFrame, settings: Settings) -> Answer:
    result = check_graders(rows)
    known = result.graders
    tables = {"Graders": known, "Pairs": result.pairs}
    if not (known["spiked"].all() and known["controls"].all()):
        return answer_of(result, tables, {}, tuple(result.says()) or (_NO_TRUTH,))
    stopped, passed = (float(settings[name]) for name in ("good_stopped", "bad_passed"))
    rule = result.rule(good_stopped=stopped, bad_passed=passed)
    rates = "Share of spiked samples found and of controls called out, with limits."
    votes = "Risks for each number of votes that stops a batch."
    return Answer(
        says=(*rule.says(), *result.says()),
        cannot_tell=tuple(dict.fromkeys((*rule.cannot_tell, *result.cannot_tell))),
        tables=tuple(
            frame_table(name, frame) for name, frame in {**tables, "Votes": rule.rules}.items()
        ),
        drawn=(
            Drawn(of=rule, picture="votes", words=votes),
            Drawn(of=result, picture="graders", words=rates),
        ),
    )


def _ring(rows: pd.DataFrame, settings: Settings) -> Answer:
    results = rows.assign(result=numbers(rows["result"], "result"))
    for name in ("panel", "sample", *({"attribute"} & set(results))):
        results[name] = results[name].str.strip()
    if "attribute" in results:
        several = results["attribute"] + " of " + results["sample"]
        results["sample"] = several.where(results["attribute"] != "", results["sample"])
    result = ring_test(results)
    words = (
        "h: how far a panel's mean lies from that of all, in standard deviations of the means. k: "
        "its scatter over that of all panels together. A point a sample; the lines are the limits "
        "at 1 %."
    )
    tables = {"Samples": result.samples, "Panels": result.panels}
    return answer_of(result, tables, {"h and k": words}, (result.finding, *result.says()))


THRESHOLD = StudyKind(
    key="threshold",
    name="detection threshold",
    question="At which concentration is it noticed?",
    standard="after ISO 13301 and ASTM E679 (from memory)",
    columns=StudyColumns(
        words={
            "assessor": ("assessor", "assessors", "person", "prüfer", "name"),
            "concentration": ("concentration", "dose", "step", "konzentration"),
            "correct": ("correct", "right", "answer", "result", "richtig"),
        },
        needed=("assessor", "concentration", "correct"),
    ),
    people=("assessor",),
    settings=(
        StudySetting(key="unit", label="Unit of the concentration", hint="µg/l"),
        StudySetting(key="noticed_at", label="How many notice at (numbers, with spaces)"),
    ),
    invented="threshold.csv",
    answer=_threshold,
    of_sessions=SessionsOf(there=threshold_sessions, rows=session_rows),
)
RECIPES = StudyKind(
    key="recipes",
    name="two recipes over several lots",
    question="Is the new recipe the same as the present one, over several lots?",
    standard="no standard for several lots is known to this program",
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
    people=("assessor",),
    settings=(
        StudySetting(
            key="margin",
            label="Agreed margin, points of the scale",
            kind="number",
            low=0.01,
            high=1000.0,
        ),
        StudySetting(key="reference", label="Present recipe", kind="column", choices=("recipe",)),
    ),
    invented="recipe_lots.csv",
    answer=_recipes,
)
GRADERS = StudyKind(
    key="graders",
    name="graders at the line",
    question="Can our graders at the line see the agreed standard?",
    standard="no standard for graders at the line is known to this program",
    columns=StudyColumns(
        words={
            "grader": ("grader", "assessor", "person", "prüfer"),
            "sample": ("sample", "number", "probe"),
            "grade": ("grade", "verdict", "urteil"),
            "truth": ("truth", "known", "true grade"),
        },
        needed=("grader", "sample", "grade"),
    ),
    people=("grader",),
    settings=(
        StudySetting(
            key="good_stopped",
            label="Good batches stopped, at most %",
            kind="number",
            low=0.1,
            high=50.0,
            default=0.05,
            share=True,
        ),
        StudySetting(
            key="bad_passed",
            label="Bad batches passed, at most %",
            kind="number",
            low=0.1,
            high=50.0,
            default=0.1,
            share=True,
        ),
    ),
    invented="graders.csv",
    answer=_graders,
)
RING = StudyKind(
    key="ring",
    name="ring test of several panels",
    question="Do our panels or sites get the same results?",
    standard="after ISO 5725-2 (from memory)",
    columns=StudyColumns(
        words={
            "panel": ("panel", "site", "shift", "laboratory", "lab", "standort"),
            "sample": ("sample", "probe", "product"),
            "result": ("result", "mean", "ergebnis", "mittelwert"),
            "attribute": ("attribute", "merkmal"),
        },
        needed=("panel", "sample", "result"),
    ),
    people=(),
    settings=(),
    invented="ring_test.csv",
    answer=_ring,
)

"""Shelf life out of the closed sessions of a stored batch: the same as out of a file."""

from __future__ import annotations

import pandas as pd
import pytest

from sensory import shelf_life_from_choices, shelf_life_from_scores
from sensory.base.errors import RecordError
from sensory.release.all_studies import find_study
from sensory.release.rule import ReleaseRule
from sensory.release.storage_sessions import stored_sessions
from sensory.release.study_desk import keep_study
from sensory.report.study_documents import drafted_rows

from .shared import PRODUCT, desk_with, held, made, scores, triangles

START, SAFE = "2026-03-04", "2026-12-31"
DAYS = {"2026-03-14": 10, "2026-04-23": 50, "2026-07-02": 120}


def test_choice_tests_of_a_stored_batch_are_a_series(store):
    made(store, "SC-1")
    for day, correct in zip(DAYS, (5, 8, 11), strict=True):
        held(store, "SC-1", triangles(correct, 12), on=day)
    known = stored_sessions(store, "sc-1", START)
    (series,) = known.series
    assert (known.batch, known.product, known.remarks) == ("SC-1", PRODUCT, ())
    assert (series.name, series.sessions) == ("choice tests, any difference", 3)
    kind = find_study("shelf choices")
    settings = (("limit", 1.5), ("safe", SAFE), ("start", START))
    study = drafted_rows(kind.key, series.columns, series.cells, settings)
    table = {"time": list(DAYS.values()), "protocol": "triangle", "correct": [5, 8, 11]}
    by_file = shelf_life_from_choices(
        pd.DataFrame(table | {"trials": 12}), safety_date=SAFE, start=START, dprime_limit=1.5
    )
    assert study.outcome.sentence == by_file.says()[0]
    kept = keep_study(store, study, who="Mira")
    assert store.studies(kind="shelf choices") == [kept]
    later = stored_sessions(store, "SC-1", "2026-03-20")
    assert "was made on 2026-03-04; storage times count from 2026-03-20" in later.remarks[0]
    assert "before storage began" in later.remarks[1]
    assert later.series[0].sessions == 2
    with pytest.raises(RecordError, match="no batch 'SC-9'"):
        stored_sessions(store, "SC-9", START)


def test_scores_of_a_stored_batch_come_with_the_blind_control():
    store = desk_with(
        ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=2.0, assessors=6, decides="QA")
    )
    made(store, "SC-1")
    beyond = (0.2, 0.9, 1.9)
    for seed, (day, far) in enumerate(zip(DAYS, beyond, strict=True)):
        held(store, "SC-1", scores("SC-1", far, seed, people=6), on=day)
    (series,) = stored_sessions(store, "SC-1", START).series
    assert (series.name, len(series.cells)) == ("difference from control", 18)
    settings = (("limit", 1.5), ("safe", SAFE), ("start", START), ("worse", "higher"))
    study = drafted_rows("shelf scores", series.columns, series.cells, settings)
    rows = []
    for seed, (days, far) in enumerate(zip(DAYS.values(), beyond, strict=True)):
        cells = scores("SC-1", far, seed, people=6).values()
        pairs = {cell["assessor"]: {} for cell in cells}
        for cell in cells:
            pairs[cell["assessor"]][cell["sample"]] = float(cell["score"])
        rows += [(days, pair["SC-1"], pair["blind reference"]) for pair in pairs.values()]
    frame = pd.DataFrame(rows, columns=["time", "score", "reference"])
    by_file = shelf_life_from_scores(frame, safety_date=SAFE, start=START, limit=1.5)
    assert study.outcome.sentence == by_file.says()[0]
    assert study.assessors == tuple(f"P{at}" for at in range(1, 7))  # erasable, as of a file

"""The rating table: what is taken, what is dropped, what is refused and how."""

import re

import numpy as np
import pandas as pd
import pytest

from sensory.base.errors import ArgumentError, BallotError
from sensory.ratings.tables import rating_table


def ballots(**columns):
    base = {
        "session": 1,
        "assessor": ["Ada", "Ada", "Bo", "Bo"],
        "sample": ["lime", "plum", "lime", "plum"],
        "replicate": 1,
        "attribute": "sour",
        "score": [7.0, 2.0, 6.0, 3.5],
    }
    return pd.DataFrame(base | columns)


def test_names_and_scores():
    table = rating_table(ballots())
    assert table.assessors == ("Ada", "Bo")
    assert table.samples == ("lime", "plum")
    assert table.attributes == ("sour",)
    assert (table.sessions, table.replicates, table.dropped) == ((1,), (1,), 0)
    assert list(table.rows["score"]) == [7.0, 2.0, 6.0, 3.5]


def test_session_and_replicate_may_be_absent_and_other_columns_are_left_out():
    table = rating_table(ballots(colour="red").drop(columns=["session", "replicate"]))
    assert list(table.rows) == ["session", "assessor", "sample", "replicate", "attribute", "score"]
    assert table.sessions == (1,)


def test_missing_scores_are_dropped_counted_and_shown():
    table = rating_table(ballots(score=[7.0, None, 6.0, np.nan]))
    assert table.dropped == 2
    assert list(table.missing["sample"]) == ["plum", "plum"]
    assert len(table.rows) == 2


def test_text_numbers_are_numbers_categories_keep_their_order_and_numbers_are_sorted():
    rows = rating_table(ballots(score=["7", "2.5", "6", "3"])).rows
    assert list(rows["score"]) == [7, 2.5, 6, 3]
    kinds = pd.Categorical(["lime", "plum"] * 2, categories=["plum", "pear", "lime"])
    assert rating_table(ballots(sample=kinds)).samples == ("plum", "lime")
    assert rating_table(ballots(sample=[10, 9, 10, 9])).samples == (9, 10)


def test_attributes_are_chosen_in_order():
    both = pd.concat([ballots(), ballots(attribute="sweet"), ballots(attribute="body")])
    assert rating_table(both).attributes == ("sour", "sweet", "body")
    assert rating_table(both, attributes=["body", "sour"]).attributes == ("body", "sour")
    assert rating_table(both, attributes="sweet").attributes == ("sweet",)


def test_grid_holds_each_score_in_its_place():
    rng = np.random.default_rng(3)
    many = pd.concat(
        [
            ballots(attribute=name, replicate=r, session=s, score=rng.random(4))
            for name in ("sour", "sweet")
            for r in (1, 2)
            for s in (1, 2)
        ]
    ).sample(frac=0.8, random_state=4)
    table = rating_table(many)
    grid = table.grid()
    assert np.isfinite(grid.scores).sum() == len(many)
    for _, row in many.iterrows():
        here = (
            (grid.session == table.sessions.index(row["session"]))
            & (grid.assessor == table.assessors.index(row["assessor"]))
            & (grid.sample == table.samples.index(row["sample"]))
            & (grid.replicate == table.replicates.index(row["replicate"]))
        )
        column = table.attributes.index(row["attribute"])
        assert grid.scores[here, column] == pytest.approx([row["score"]])


def test_the_frame_given_is_not_changed_and_copies_are_handed_out():
    given = ballots(score=["7", "2", "6", "3"])
    before = given.copy()
    table = rating_table(given)
    handed_out = table.rows
    handed_out["score"] = 99.0
    pd.testing.assert_frame_equal(given, before)
    assert table.rows.loc[0, "score"] == 7.0


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ([1, 2], "ballots must be a pandas DataFrame with one score a row; got list."),
        (ballots().drop(columns="score"), "ballots lack the column score; needed are assessor"),
        (ballots().drop(columns=["sample", "score"]), "lack the columns sample, score"),
        (ballots().iloc[:0], "ballots are empty; give at least one row."),
        (ballots(score=np.nan), "ballots hold no score at all"),
        (pd.concat([ballots(), ballots()[["score"]]], axis=1), "column score more than once"),
    ],
)
def test_tables_that_cannot_be_read(given, message):
    with pytest.raises(ArgumentError, match=re.escape(message)):
        rating_table(given)


@pytest.mark.parametrize("wanted", [["salty"], [], ["sour", "salty"]])
def test_unknown_attributes(wanted):
    with pytest.raises(ArgumentError, match="attributes must be among sour; got"):
        rating_table(ballots(), attributes=wanted)


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"score": [7, "much", 6, 3]}, "row 3, column score: The score is not"),
        ({"score": [7, np.inf, 6, 3]}, "row 3, column score: The score is not"),
        ({"score": [True, False, True, True]}, "row 2, column score: The score is not"),
        ({"score": [7, True, 6, 3]}, "row 3, column score: The score is not"),
        ({"assessor": ["Ada", None, "Bo", "Bo"]}, "row 3, column assessor: The assessor is"),
        ({"sample": ["lime", " ", "lime", "plum"]}, "row 3, column sample: The sample is"),
        ({"sample": ["lime"] * 3 + ["plum"]}, "row 3, column replicate: Assessor Ada scored"),
        ({"sample": ["lime"] * 3 + ["plum"]}, "twice in replicate 1 of session 1 for sour"),
    ],
)
def test_bad_cells_are_named(columns, message):
    with pytest.raises(BallotError, match=re.escape(message)):
        rating_table(ballots(**columns))


def test_every_bad_cell_is_in_one_error():
    with pytest.raises(BallotError, match="3 errors to fix") as caught:
        rating_table(
            ballots(score=["x", 2, 6, "y"], assessor=["Ada", "", "Bo", "Bo"]), attributes=["sour"]
        )
    assert [fault.row for fault in caught.value.faults] == [2, 3, 5]

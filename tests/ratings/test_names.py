"""Names, scales and impossible values: the same sentences in every function of ratings."""

import re

import numpy as np
import pandas as pd
import pytest

import sensory
from sensory.base.errors import SensoryError
from sensory.ratings.drift import assessor_drift
from sensory.ratings.names import alike_notes, name_among, one_spelling
from sensory.ratings.profile import profile
from sensory.ratings.ranking import ranking_test
from sensory.ratings.sample_map import sample_map
from sensory.ratings.scorecard import panel_scorecard
from sensory.ratings.spikes import spiked_samples

from .shared import tidy


def ballots(assessors=6, sessions=4, seed=1):
    """Two attributes, three samples, two replicates, several sessions."""
    rng = np.random.default_rng(seed)
    level = np.array([3.0, 5.0, 7.0])[None, :, None, None]
    parts = []
    for number in range(1, sessions + 1):
        scores = level + rng.normal(0, 0.7, (assessors, 3, 2, 2))
        scored = tidy(scores.round(2), samples=["lime", "Pear", "plum"], attributes=["sour", "off"])
        parts.append(scored.assign(session=number))
    return pd.concat(parts, ignore_index=True)


def ranks(assessors=6):
    rows = [(f"A{a:02}", s, float(r)) for a in range(assessors) for r, s in enumerate("xyz", 1)]
    return pd.DataFrame(rows, columns=["assessor", "sample", "rank"])


RATED = {
    "profile": lambda table, **given: profile(table, reference="lime", **given),
    "panel_scorecard": panel_scorecard,
    "difference_from_control": lambda table, **given: sensory.difference_from_control(
        table, control="lime", limit=1.5, **given
    ),
    "assessor_drift": assessor_drift,
    "sample_map": lambda table, **given: sample_map(table, draws=200, **given),
}
SCORED = pytest.mark.parametrize("call", RATED.values(), ids=RATED.keys())


def with_names(table, column, **renamed):
    """The same table with a name spelled otherwise in every second of its rows."""
    table = table.astype({column: object})
    for name, other in renamed.items():
        rows = table.index[table[column] == name][1::2]
        table.loc[rows, column] = other
    return table


@SCORED
def test_spellings_of_one_assessor_change_nothing(call):
    plain, other = ballots(), with_names(ballots(), "assessor", A01=" a01 ", A02="Ａ02")
    other = with_names(other, "sample", Pear="pear ", plum="PLUM")
    other = with_names(other, "attribute", sour="Sour")
    assert repr(call(plain)) == repr(call(other))
    assert call(plain).notes == call(other).notes


@SCORED
def test_numbers_and_their_digits_are_one_assessor(call):
    numbered = ballots().assign(assessor=lambda table: table["assessor"].str[1:].astype(int))
    mixed = with_names(numbered, "assessor")
    mixed.loc[mixed.index[::2], "assessor"] = mixed["assessor"].iloc[::2].map(str)
    assert repr(call(mixed)) == repr(call(numbered))


def test_f_does_not_move_with_a_spelling():
    """One person in two spellings once made 22 assessors of 8."""
    table = ballots(assessors=8, sessions=1)
    odd = table["assessor"].where(table["replicate"] == 1, table["assessor"].str.lower() + " ")
    pd.testing.assert_frame_equal(profile(table.assign(assessor=odd)).anova, profile(table).anova)


@SCORED
def test_who_looks_like_one_person_is_named(call):
    table = ballots().replace({"assessor": {"A01": "A.B.", "A02": "AB", "A03": "A B"}})
    (note,) = [note for note in call(table).notes if "look like one person" in note]
    for name in ("A.B.", "AB", "A B", "3 assessors"):
        assert name in note


def test_rankings_and_spiked_samples_clean_names_too():
    plain, other = ranks(), with_names(ranks(), "assessor", A01="a01 ")
    assert ranking_test(plain).summary() == ranking_test(other).summary()
    assert ranking_test(plain, reference=" X ").reference == "x"
    assert ranking_test(plain, expected=["X", "y", "z"]).page.expected == ("x", "y", "z")
    alike = ranking_test(plain.replace({"assessor": {"A01": "A.B.", "A02": "AB"}}))
    assert "A.B. and AB look like one person" in alike.notes[0]
    assert alike.notes[0] in alike._repr_html_()
    answers = pd.DataFrame({"assessor": ["Bo", "bo ", "B.o", "B.o"], "spiked": 1, "found": 1})
    spiked = spiked_samples(answers)
    assert list(spiked.assessors["assessor"]) == ["B.o", "Bo"]
    assert "look like one person" in spiked.notes[0]


def test_two_spellings_of_one_person_score_a_sample_once():
    table = ballots(sessions=1)
    twice = pd.concat([table, table.iloc[[0]].assign(assessor="a00 ")])
    with pytest.raises(SensoryError, match="Assessor A00 scored sample lime twice in replicate 1"):
        profile(twice)


def test_reference_margins_and_attributes_are_found_in_any_spelling():
    table = ballots(sessions=1)
    result = profile(table, reference=" LIME", margins={"Sour": 1}, attributes=["SOUR "])
    assert result.reference == "lime"
    assert dict(result.margins) == {"sour": 1.0}
    control = sensory.difference_from_control(table, control="Lime ", limit={"Sour": 1, "OFF": 2})
    assert control.control == "lime"
    assert dict(control.limits) == {"sour": 1.0, "off": 2.0}


def test_categories_keep_their_order():
    names = pd.Series(["mid", "low ", "Low", "high"], dtype="category")
    names = names.cat.set_categories(["low ", "Low", "mid", "high"])
    assert list(one_spelling(names).cat.categories) == ["low", "mid", "high"]
    plain = pd.Series(["b", "a"], dtype="category")
    assert one_spelling(plain) is plain
    assert name_among((1, "Bo"), "1") == 1
    assert name_among((1, "Bo"), 1.0) == 1
    assert not alike_notes(["Anna", "Hanna", 12, "1 3"])


@SCORED
def test_a_score_off_the_scale_is_refused_with_its_row(call):
    table = ballots()
    table.loc[3, "score"] = 77
    message = "row 5, column score: 77 lies off the scale of 0 to 10. Look at the ballot"
    with pytest.raises(SensoryError, match=message):
        call(table, scale=(0, 10))
    with pytest.raises(SensoryError, match="scale must be its lowest and highest mark"):
        call(table, scale=(10, 0))
    assert repr(call(ballots(), scale=(-20, 30))) == repr(call(ballots()))


@SCORED
@pytest.mark.parametrize("score", [1e150, -1e150, 1e300, 1.7e308, 2e9])
def test_a_score_too_large_to_compute_with(call, score):
    table = ballots()
    table.loc[3, "score"] = score
    with pytest.raises(SensoryError, match=r"row 5, column score: .* is too large to compute with"):
        call(table)


@SCORED
@pytest.mark.parametrize("score", [np.inf, -np.inf])
def test_an_infinite_score(call, score):
    table = ballots()
    table.loc[3, "score"] = score
    with pytest.raises(SensoryError, match=r"row 5, column score: .*no(t a)? number"):
        call(table)


@SCORED
@pytest.mark.parametrize("column", ["assessor", "sample"])
def test_one_assessor_or_one_sample(call, column):
    table = ballots()
    alone = table[table[column] == table[column].iloc[0]]
    if call is assessor_drift and column == "sample":
        assert len(call(alone).trends)  # drift is of assessors, on whatever they tasted
        return
    words = rf"(one {column} only|at least . {column}s|one of the samples)"
    with pytest.raises(SensoryError, match=words):
        call(alone)


@SCORED
@pytest.mark.parametrize("size", [1e-12, 1e-150, 1e-160, 1e-300])
def test_tiny_scores_give_numbers_or_a_sentence(call, size):
    table = ballots().assign(score=lambda table: table["score"] * size)
    assert re.search("attribute|sample|assessor", words_of(call, table))


def words_of(call, table):
    try:
        result = call(table)
        return f"{result!r} {result.table()}"
    except SensoryError as error:
        return str(error)


@pytest.mark.parametrize("rank", [1e150, np.inf, -1e300])
def test_ranks_that_cannot_be(rank):
    table = ranks()
    table.loc[1, "rank"] = rank
    with pytest.raises(SensoryError, match="rank"):
        ranking_test(table)
    for column in ("assessor", "sample"):
        with pytest.raises(SensoryError, match=r"two|only"):
            ranking_test(ranks()[ranks()[column] == ranks()[column].iloc[0]])

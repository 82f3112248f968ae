"""What planning says of a ranking: the ballots without which no pair can be told apart."""

import numpy as np
import pandas as pd
import pytest

from sensory.catalogue.question import Question
from sensory.catalogue.tests import find_kind, kinds
from sensory.ratings.rank_pairs import fewest_to_rank
from sensory.ratings.ranking import ranking_test


def said(assessors=20, alpha=0.05, **settings):
    question = Question(protocol="RANKING", assessors=assessors, alpha=alpha, settings=settings)
    return " ".join(find_kind("RANKING").planning(question))


def unanimous(samples, ballots, reference):
    """Whether the most agreeing panel finds any pair."""
    rows = [(f"A{a}", f"S{s}", s + 1) for a in range(ballots) for s in range(samples)]
    frame = pd.DataFrame(rows, columns=["assessor", "sample", "rank"])
    return bool(ranking_test(frame, reference=reference).different_pairs)


@pytest.mark.parametrize("reference", [None, "S0"])
@pytest.mark.parametrize("samples", [3, 4, 9])
def test_the_fewest_find_a_pair_and_one_fewer_does_not(samples, reference):
    fewest = fewest_to_rank(samples, 0.05, beside_reference=reference is not None)
    assert unanimous(samples, fewest, reference)
    assert not unanimous(samples, fewest - 1, reference)


def test_the_sentence_follows_what_was_agreed():
    assert "6 with 3 samples, 7 with 4 samples, 7 with 5 samples, 7 with 6 samples" in said()
    assert "It takes 6 ballots before any sample can be told from the reference" in said(
        reference="plum"
    )
    # an expected order spends half of alpha on all pairs: 2 / 2^n <= 0.025 for 3 of 3 samples
    assert "told apart: 7 with 3 samples," in said(expected="lime; pear; plum")
    assert np.log2(2 / 0.025) <= 7


def test_too_few_planned_ballots_are_told():
    assert "Too few: with 5 ballots no two samples" in said(assessors=5)
    assert "Too few" not in said(assessors=6)


def test_what_hangs_on_the_question_alone_is_told_of_these_tests():
    silent = [kind.key for kind in kinds() if not kind.planning(Question(protocol=kind.key))]
    assert set(silent) == {kind.key for kind in kinds()} - {"RANKING", "GRADING", "RISING_SETS"}

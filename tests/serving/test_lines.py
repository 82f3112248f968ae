"""Lines of a plan are ballots that pass their own checks as soon as answers are typed."""

from __future__ import annotations

import pytest

from sensory import serving_plan
from sensory.catalogue.checking import check_lines
from sensory.catalogue.choice_ballot import CHOICE
from sensory.catalogue.question import Question
from sensory.catalogue.tests import TESTS, find_kind
from sensory.choices.protocols import PROTOCOLS
from sensory.serving.lines import ballot_lines

FOUR = ("A", "new press", "old press", "less sugar")
ANSWERS = {
    "A_NOT_A": {"answer": "not A"},
    "SAME_DIFFERENT": {"answer": "same"},
    "SURENESS": {"answer": "surely A"},
    "RANKING": {"rank": "2.5"},
    "DIFFERENCE_FROM_CONTROL": {"score": "2"},
    "PROFILE": {"sour": "3"},
    "TICKED_WORDS": {"ticked": "sour; sweet"},
    "GRADING": {"answer": "in"},
}
METHODS = [kind for kind in TESTS.values() if not kind.protocol]


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=PROTOCOLS)
def test_forced_choices(protocol):
    plan = serving_plan(protocol, 7, seed=5, replicates=2, warm_up="plain syrup")
    lines = ballot_lines(plan)
    assert list(lines) == list(range(1, 15))
    names = {column.name for column in CHOICE.columns}
    key = {(row["assessor"], row["code"]): row["sample"] for row in plan.key().records()}
    for line in lines.values():
        assert set(line) <= names
        coded = [line[f"code_{place}"] for place in range(1, protocol.coded + 1)]
        served = "".join(key[(line["assessor"], code)] for code in coded)
        assert served == line["order"][protocol.labelled :]
        right = protocol.right_answers(line["order"])[0]
        line["answer"] = " ".join(coded[place] for place in sorted(right))
    checked = check_lines(lines, find_kind(protocol), Question(pd_limit=0.30))
    assert checked.faults == ()
    assert [ballot.correct for ballot in checked.rows] == [True] * 14


@pytest.mark.parametrize("method", METHODS, ids=repr)
def test_methods(method):
    samples = FOUR if method.by_name else ("blank", "0.5") if method.picks else None
    replicates = 2 if method.serving.replicates else 1
    plan = serving_plan(
        method, 6, seed=5, samples=samples, replicates=replicates, warm_up="plain syrup"
    )
    lines = ballot_lines(plan, first=2)
    assert min(lines) == 2
    names = {column.name for column in method.ballot.columns}
    assert all(set(line) <= names for line in lines.values())
    cells = {
        number: line | ({"answer": line["code_1"]} if method.picks else ANSWERS[method.key])
        for number, line in lines.items()
    }
    settings = {"attributes": "sour"} if method.key == "PROFILE" else {}
    found = check_lines(cells, method, Question(pd_limit=0.30, settings=settings))
    assert found.blocking == ()
    assert found.ready == len(lines)
    cups = sum(row.scored for row in plan.rows)
    assert len(lines) == (len(plan.sets) if method.serving.order_column else cups)


def test_a_not_a_gives_letters_whatever_the_samples_are_called():
    plan = serving_plan("A_NOT_A", 4, seed=1, samples=("stock 12", "batch 118"))
    key = {(row["assessor"], row["code"]): row["sample"] for row in plan.key().records()}
    letters = {"stock 12": "A", "batch 118": "B"}
    for line in ballot_lines(plan).values():
        assert line["sample"] == letters[key[(line["assessor"], line["code"])]]


def test_lines_of_one_comparison_and_one_replicate():
    pairs = [("reference", "batch 118"), ("reference", "batch 119")]
    plan = serving_plan("triangle", 6, seed=1, sets=2, samples=pairs, replicates=3)
    lines = ballot_lines(plan, set_number=2, replicate=3)
    wanted = [one for one in plan.sets if (one.set, one.replicate) == (2, 3)]
    assert [(line["assessor"], line["order"]) for line in lines.values()] == [
        (one.assessor, one.order) for one in wanted
    ]
    assert {line["replicate"] for line in lines.values()} == {"3"}


def test_samples_that_come_again_in_another_set_are_further_replicates():
    names = [f"press {number}" for number in range(1, 5)]
    plan = serving_plan("profile", 4, seed=1, samples=names, set_size=3, sets=2)
    lines = list(ballot_lines(plan).values())
    keys = {(line["assessor"], line["sample"], line["replicate"]) for line in lines}
    assert len(keys) == len(lines) == 4 * 2 * 3
    for name in plan.assessors:
        again = [line for line in lines if line["assessor"] == name and line["replicate"] == "2"]
        assert len(again) == 2  # two sets of 3 out of 4 share two samples


def test_rankings_in_incomplete_sets_are_read_as_a_balanced_design():
    pd = pytest.importorskip("pandas")
    from sensory.ratings.rank_ballots import read_ranks

    names = [f"press {number}" for number in range(1, 8)]
    plan = serving_plan("ranking", 14, seed=1, samples=names, set_size=3)
    frame = pd.DataFrame(ballot_lines(plan).values())
    frame["rank"] = frame.groupby("assessor").cumcount() + 1
    assert read_ranks(frame).samples == tuple(names)

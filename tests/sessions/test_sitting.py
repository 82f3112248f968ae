"""What each assessor did in a session: kept at closing, emptied when reopened, erased."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sensory.base.errors import RecordError
from sensory.catalogue import frames
from sensory.sessions import booth_plans, booths, workflow
from sensory.sessions.filling import fill_sittings
from sensory.sessions.sitting import ABSENT, CAME, LATE, Sitting
from sensory.store import tables
from sensory.store.repository import open_store

from ..shared import CARE
from .shared import BY, at_booths, finish

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture
def store(tmp_path):
    opened = open_store(f"sqlite:///{tmp_path}/record.sqlite3")
    yield opened
    opened.close()


def closed(store, name: str, here: str = "5" * 32) -> Sitting:
    prepared = workflow.read_prepared(DEMO, name)
    details = replace(prepared["details"], care=CARE)
    workflow.open_session(store, here, **{**prepared, "details": details}, who=BY, why="loaded")
    workflow.agree(store, here, who=BY)
    workflow.close(store, here, who=BY)
    return store.sitting(here)


def test_a_forced_choice_keeps_right_answers_of_each(store):
    sitting = closed(store, "suspect_batch")
    assert (sum(sitting.correct), sum(sitting.trials)) == (18, 24)
    assert set(sitting.came) == {CAME}
    assert len(sitting.assessors) == 24
    assert sitting.attributes == ()
    assert store.verify() == []


def test_a_profile_keeps_means_and_own_scatter_of_each(store):
    sitting = closed(store, "pressing")
    cells = store.cells(sitting.session).values()
    cooked = next(each for each in sitting.attributes if each.attribute == "cooked")
    place, column = sitting.assessors.index("P03"), sitting.samples.index("new press")
    scores = [
        float(texts["cooked"].replace(",", "."))
        for texts in cells
        if (texts["assessor"], texts["sample"]) == ("P03", "new press")
    ]
    assert cooked.means[place][column] == pytest.approx(sum(scores) / len(scores), rel=1e-12)
    assert cooked.sd_df[place] == len(sitting.samples) * (len(scores) - 1)
    assert sitting.control == "reference"
    assert cooked.judged


def test_reopened_it_holds_nobody_and_closed_again_it_is_back(store):
    sitting = closed(store, "suspect_batch")
    workflow.reopen(store, sitting.session, who=BY, why="a ballot was mistyped")
    assert store.sitting(sitting.session) == sitting.emptied()
    workflow.close(store, sitting.session, who=BY)
    assert store.sitting(sitting.session) == sitting
    assert store.verify() == []


def test_an_erased_person_is_erased_from_the_sitting(store):
    sitting = closed(store, "suspect_batch")
    gone = sitting.assessors[3]
    store.erase_person(gone, who=BY, why="asked for it")
    there = store.sitting(sitting.session)
    assert there.assessors[3] == "erased 1"
    assert there.correct == sitting.correct
    with store._reading() as connection:
        contents = [str(row) for row in connection.execute(tables.register.select())]
        contents += [str(row) for row in connection.execute(tables.journal.select())]
    assert not [text for text in contents if f'"{gone}"' in text]
    assert store.verify() == []


def test_a_session_of_an_older_release_is_filled_once(store):
    sitting = closed(store, "pressing")
    with store.action(who=BY) as act:
        act._connection.execute(tables.register.delete())
    assert store.without_sitting() == [sitting.session]
    assert fill_sittings(store, who="this program") == 1
    assert fill_sittings(store, who="this program") == 0
    assert store.sitting(sitting.session) == sitting


def test_who_came_late_and_who_did_not_come(store):
    session_id, _, tokens = at_booths(store)
    late = booth_plans.add_late(store, session_id, "Zoë", who=BY)
    names = list(tokens)
    finish(store, tokens[names[0]])
    booths.consent(store, late)
    finish(store, late)
    for name in names[1:]:
        booth_plans.did_not_come(store, session_id, name, who=BY)
    workflow.close(store, session_id, who=BY)
    sitting = store.sitting(session_id)
    came = dict(zip(sitting.assessors, sitting.came, strict=True))
    assert came == {names[0]: CAME, "Zoë": LATE} | dict.fromkeys(names[1:], ABSENT)


def test_a_sitting_needs_a_value_of_each_assessor():
    with pytest.raises(RecordError, match="2 assessors needs a value of each"):
        Sitting(session="s", held_on="2026-01-01", test="TRIANGLE", assessors=("a", "b"),
                came=(CAME,))  # fmt: skip


@pytest.mark.parametrize("name", ["pressing", "gasket"])
def test_a_closing_computes_the_scorecard_once(store, monkeypatch, name):
    """For what the session showed, and for what each assessor did."""
    asked = []
    whole = frames.scorecard_of
    monkeypatch.setattr(
        frames,
        "scorecard_of",
        lambda *rows, **told: (asked.append(told), whole(*rows, **told))[1],
    )
    frames._LATEST.clear()
    sitting = closed(store, name)
    assert sitting.attributes
    assert asked == [{"alpha": 0.05, "scale": sitting.scale}]
    outcome = store.outcome(sitting.session)
    assert [each.smallest for each in sitting.attributes] == list(
        outcome["smallest_differences"].values()
    )

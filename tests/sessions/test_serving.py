"""What a session keeps of its serving: typed, without names, and written as records have it."""

from __future__ import annotations

import json
from dataclasses import FrozenInstanceError

import pytest

from sensory.serving.planning import serving_plan
from sensory.sessions.serving import Breaks, Confirmation, Serving, seats_of

PEOPLE = ["Mira", "Zoë", "seat 1"]
PLAN = serving_plan("triangle", PEOPLE, seed=3, samples=["seat 1", "b"])
SEATED = PLAN.renamed(seats_of(PEOPLE))
SERVING = Serving(planned=SEATED.to_dict(), language="de", booths={"a" * 64: "seat 1"})


def test_names_and_seats_are_exchanged_and_samples_keep_theirs():
    assert SEATED.assessors == ("seat 1", "seat 2", "seat 3")
    assert not {"Mira", "Zoë"} & set(json.dumps(SEATED.to_dict(), ensure_ascii=False).split('"'))
    assert SEATED.design == PLAN.design
    names = {seat: name for name, seat in seats_of(PEOPLE).items()}
    assert SEATED.renamed(names) == PLAN
    without = PLAN.without("Zoë").renamed(seats_of(PEOPLE))
    assert without.changes == (("without", "seat 2"),)


def test_what_nobody_stated_is_not_written():
    assert list(SERVING.to_dict()) == ["plan", "language", "booths"]


def test_all_of_it_is_written_under_the_names_that_records_have():
    whole = Serving(
        planned=SEATED.to_dict(),
        breaks=Breaks(minutes=5, started=1),
        allergens={"b": "milk"},
        excluded={"seat 2": ("b",)},
        confirmed=Confirmation(at="2026-09-14T10:31:07.123+00:00"),
        late={"2": "2026-09-14T10:40:00.000+00:00"},
    )
    plain = whole.to_dict()
    assert plain == {
        "plan": SEATED.to_dict(),
        "language": "en",
        "booths": {},
        "breaks": {"minutes": 5, "started": 1},
        "allergens": {"b": "milk"},
        "excluded": {"seat 2": ["b"]},
        "served": {"at": "2026-09-14T10:31:07.123+00:00"},
        "late": {"2": "2026-09-14T10:40:00.000+00:00"},
    }
    assert Serving.from_dict(json.loads(json.dumps(plain))) == whole


def test_exclusions_and_declarations_are_taken_back_with_nothing_left():
    excluded = SERVING.excluding("seat 2", ["b"])
    assert excluded.excluded == {"seat 2": ("b",)}
    assert excluded.excluding("seat 2", []) == SERVING
    declared = SERVING.declaring({"b": "milk", "seat 1": "none"})
    assert declared.allergens == {"b": "milk", "seat 1": "none"}
    assert declared.declaring({"b": "", "seat 1": ""}) == SERVING


def test_another_plan_is_yet_to_be_confirmed():
    late = PLAN.with_late("Cleo").renamed(seats_of([*PEOPLE, "Cleo"]))
    confirmed = Serving(planned=SEATED.to_dict(), confirmed=Confirmation(at="now"))
    after = confirmed.changed(late, {"b" * 64: "seat 4"})
    assert (after.confirmed, after.seats[-1]) == (None, "seat 4")
    assert after.plan == late
    assert {cup.assessor for cup in after.cups("seat 4")} == {"seat 4"}


def test_it_is_frozen():
    with pytest.raises(FrozenInstanceError):
        SERVING.language = "en"

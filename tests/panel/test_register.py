"""The register on a real record: entered, changed, erased; and who is invited from it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.panel.assessors import Assessor, Membership, Qualification, Role
from sensory.panel.invitation import invitees
from sensory.panel.register import (
    change_assessor,
    enter_assessor,
    panels_of,
    qualify,
    take_regulars,
    the_register,
)
from sensory.sessions.care import ALCOHOL, Substance
from sensory.sessions.session import Sample, SessionDetails, StoredSession
from sensory.store.repository import open_store

from ..sessions.shared import BY, newer
from ..shared import CARE, add

WHO = {"who": BY}
DAY = "2026-11-25"  # a Wednesday


@pytest.fixture
def store(tmp_path):
    opened = open_store(f"sqlite:///{tmp_path}/record.sqlite3")
    yield opened
    opened.close()


def enter(store, name: str, role: Role = Role.ASSESSOR, panel: str = "day shift") -> Assessor:
    return enter_assessor(store, name, panel=panel, role=role, entered_on="2026-01-08", **WHO)


def session(store, key: str, day: str = DAY, *people: str, alcohol: bool = False, batch="") -> str:
    care = replace(CARE, contains=(Substance(kind=ALCOHOL),)) if alcohol else CARE
    samples = (Sample(letter="A", name="reference"), Sample(letter="B", batch=batch))
    new = StoredSession(
        id=key,
        created_at=f"{day}T08:00:00+00:00",
        details=SessionDetails(held_on=day, care=care, samples=samples),
        question=replace(store_question(), pd_limit=0.3),
        cautions={},
    )
    lines = {
        place: {"assessor": name, "code_1": "111", "code_2": "222", "code_3": "333"}
        for place, name in enumerate(people, 1)
    }
    add(store, new, lines, who=BY, why="typed")
    return key


def store_question():
    from sensory.catalogue.question import Question

    return Question()


def test_an_entry_comes_back_and_is_one_person_however_spelt(store):
    ada = enter(store, "Ada  Holm")
    assert the_register(store) == [ada]
    assert ada.person == "Ada Holm"
    with pytest.raises(RecordError, match=r"Ada Holm is in the register already"):
        enter(store, "ada holm")
    new = replace(
        ada,
        panels=(*ada.panels, Membership(panel="night shift", role=Role.EXPERT)),
        languages=("de", "en"),
        not_these=("sloe cordial",),
    )
    assert change_assessor(store, ada, new, **WHO) == new
    with pytest.raises(RecordError, match="changed in another window meanwhile"):
        change_assessor(store, ada, replace(new, languages=("en",)), **WHO)
    assert panels_of(the_register(store)) == ["day shift", "night shift"]
    assert the_register(store, "Night shift") == [new]
    assert store.verify() == []


def test_who_left_is_no_longer_listed_and_stays_on_record(store):
    ada = enter(store, "Ada")
    gone = replace(ada, panels=(Membership(panel="day shift", role=Role.LEFT),))
    change_assessor(store, ada, gone, **WHO)
    assert the_register(store) == []
    assert the_register(store, "day shift") == []
    assert the_register(store, gone=True) == [gone]


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"panels": ()}, "one panel at least"),
        ({"languages": ("xx",)}, "languages must be some of"),
        ({"entered_on": "soon"}, "entry date must be a date"),
        ({"not_these": ("Sloe", "sloe")}, "excluded sample 'sloe' is there twice"),
    ],
)
def test_an_entry_that_cannot_be_is_refused(store, wrong, says):
    with pytest.raises(RecordError, match=says):
        replace(enter(store, "Ada"), **wrong)


def test_a_qualification_holds_from_one_date_to_the_other(store):
    ada = qualify(
        store, enter(store, "Ada"), "Quince", since="2026-02-01", until="2026-12-31", **WHO
    )
    held = [ada.qualified_for("quince", day) for day in ("2026-01-31", "2026-02-01", "2027-01-01")]
    assert held == [False, True, False]
    assert ada.lapsing("2026-12-15") == ada.qualified
    assert ada.lapsing("2026-11-15") == ()
    again = qualify(store, ada, " quince ", since="2027-01-01", **WHO)
    assert again.qualified == (Qualification(product="quince", since="2027-01-01"),)
    with pytest.raises(RecordError, match="ends on 2026-01-01, before it begins"):
        qualify(store, again, "quince", since="2026-02-01", until="2026-01-01", **WHO)


def test_an_erased_person_is_erased_from_the_register_and_the_chain_is_sound(store):
    ada = enter(store, "Ada Holm")
    change_assessor(store, ada, replace(ada, not_these=("sloe",)), **WHO)
    store.erase_person("ADA holm", who=BY, why="asked for it")
    (there,) = the_register(store, gone=True)
    assert (there.person, there.erased, there.left) == ("erased 1", True, True)
    assert the_register(store) == []
    assert store.verify() == []
    entries = [entry for entry in store.noun_entries(there) if "noun" in entry.content]
    assert len(entries) == 2
    assert "Ada" not in str(entries)


def test_regular_assessors_are_taken_over_once(store):
    session(store, "a" * 32, DAY, "Ada", "Bo")
    enter(store, "ada")
    assert take_regulars(store, panel="day shift", **WHO) == 1
    assert take_regulars(store, panel="day shift", **WHO) == 0
    assert [each.person for each in the_register(store)] == ["ada", "Bo"]


def test_those_who_are_qualified_and_rested_are_invited_first(store):
    people = {name: enter(store, name) for name in ("Ada", "Bo", "Cy", "Di", "Ed")}
    for name in ("Ada", "Bo", "Cy", "Di"):
        people[name] = qualify(store, people[name], "quince", since="2026-02-01", **WHO)
    change_assessor(store, people["Di"], replace(people["Di"], not_these=("QC-7",)), **WHO)
    enter(store, "Flo", Role.CANDIDATE)
    enter(store, "Gus", panel="night shift")
    session(store, "1" * 32, "2026-11-23", "Bo", "Cy", "Ada")
    session(store, "2" * 32, "2026-11-24", "Bo", "Cy")
    session(store, "3" * 32, DAY, "Bo", "bo", alcohol=True)
    session(store, "4" * 32, "2026-11-20", "Ada")  # the week before
    here = session(store, "5" * 32, alcohol=True, batch="qc-7")
    newer(store, here, 410)  # the newest 400 were all that was looked at
    asked = {"panel": "Day shift", "product": "Quince"}
    listed = invitees(store, here, the_register(store), most_sittings=3, most_alcohol=6, **asked)
    assert {each.assessor.person: each.reasons for each in listed} == {
        "Ada": (),
        "Cy": (),
        "Bo": ("3 sittings this week already", "6 servings with alcohol today already"),
        "Di": ("not this sample",),
        "Ed": ("not qualified for Quince on 2026-11-25",),
        "Flo": ("is candidate", "not qualified for Quince on 2026-11-25"),
    }
    assert [each.assessor.person for each in listed[:2]] == ["Ada", "Cy"]
    freely = invitees(store, here, the_register(store), panel="day shift", most_sittings=4,
                      most_alcohol=7)  # fmt: skip
    assert [each.assessor.person for each in freely if each.proposed] == ["Ed", "Ada", "Cy", "Bo"]

"""People who sign: on record, chained, erasable, and never without somebody to manage them."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

from sensory.base.errors import RecordError
from sensory.release.batch_records import BatchRecord
from sensory.sessions import workflow
from sensory.sessions.signing import PASSCODE, Person, Right, signed_words
from sensory.sessions.staff import (
    IN,
    OUT,
    REFUSED,
    active_people,
    appoint,
    change_person,
    enter_person,
    managers,
    note_door,
    note_passcode,
)
from sensory.store import tables
from sensory.store.archive import archive_session, import_archive
from sensory.store.repository import Repository, open_store
from sensory.store.seats import append

DEMO = Path(__file__).parents[2] / "demo_data"
NORA = Person(name="Nora Sand", roles=("release officer",), may=(Right.DECIDE, Right.MANAGE))
OTTO = Person(name="Otto Brandt", roles=("food safety", "allergens"), may=(Right.CLEAR,))


@pytest.fixture
def store(opens, any_url) -> Repository:
    return opens(any_url)


def names(store: Repository) -> list[str]:
    return [person.name for person in active_people(store)]


def test_people_come_back_as_they_were_entered(store, opens):
    nora = enter_person(store, NORA, who="Nora Sand")
    otto = enter_person(store, OTTO, who="Nora Sand")
    assert len(nora.key) == 32
    assert store.people() == [nora, otto]
    assert replace(otto, key="") == OTTO
    assert store.verify() == []
    assert opens(str(store._engine.url.render_as_string(hide_password=False))).people() == [
        nora,
        otto,
    ]


def test_journal_tells_roles_and_rights_and_holds_no_name(store):
    nora = enter_person(store, NORA, who="Mira")
    change_person(store, nora, replace(nora, roles=("head of quality",)), who="Mira")
    first, second = store.entries("")
    assert (first.what, second.what) == ("person entered", "person changed")
    assert first.why == "release officer; may decide on batches, manage people"
    assert first.content["staff"] == {
        "person": "Nora Sand",
        "roles": ["release officer"],
        "may": ["decide", "manage"],
        "active": True,
    }
    with store._engine.connect() as connection:
        chained = connection.execute(sa.select(tables.journal)).all()
        kept = connection.execute(sa.select(tables.staff)).all()
    assert "Nora" not in f"{chained}{kept}"


def test_name_is_there_once_however_it_is_spelt(store):
    enter_person(store, NORA, who="Mira")
    with pytest.raises(RecordError, match="on record already"):
        enter_person(store, replace(NORA, name=" nora  SAND"), who="Mira")


def test_who_left_no_longer_signs_and_may_come_back(store):
    otto = enter_person(store, OTTO, who="Mira")
    change_person(store, otto, replace(otto, active=False), who="Mira")
    assert names(store) == []
    again = enter_person(store, replace(OTTO, roles=("QA",)), who="Mira")
    assert (again.key, again.roles, names(store)) == (otto.key, ("QA",), ["Otto Brandt"])
    assert [entry.what for entry in store.entries("")][-1] == "person entered again"
    assert store.verify() == []


@pytest.mark.parametrize(
    "wanted", [{"active": False}, {"may": (Right.DECIDE,)}, {"may": ()}], ids=str
)
def test_last_who_may_manage_people_keeps_that_right(store, wanted):
    nora = enter_person(store, NORA, who="Mira")
    otto = enter_person(store, replace(OTTO, may=(Right.MANAGE,)), who="Mira")
    # Otto cannot sign in, so Nora is the last who can
    with pytest.raises(RecordError, match="last who may manage people"):
        change_person(store, nora, replace(nora, **wanted), who="Mira", able={nora.key})
    assert active_people(store) == [nora, otto]
    change_person(store, nora, replace(nora, **wanted), who="Mira", able={nora.key, otto.key})
    with pytest.raises(RecordError, match="last who may manage people"):
        change_person(store, otto, replace(otto, active=False), who="Mira", able={otto.key})
    assert [person.name for person in managers(store.people())] == ["Otto Brandt"]


def test_entry_that_was_changed_meanwhile_is_not_overwritten(store):
    nora = enter_person(store, NORA, who="Mira")
    change_person(store, nora, replace(nora, roles=("QA",)), who="Mira")
    with pytest.raises(RecordError, match="changed in another window"):
        change_person(store, nora, replace(nora, roles=("lab",)), who="Mira")


def test_first_person_of_a_network_is_appointed_once(store):
    first = appoint(store, "Mira Lund", named_by="Mira Lund", signs=True)
    assert (first.roles, first.may) == (("panel leader",), (Right.AGREE, Right.MANAGE))
    assert appoint(store, "mira lund", named_by="x", signs=True) == first
    enter_person(store, OTTO, who="Mira")
    promoted = appoint(store, "Otto Brandt", named_by="x", signs=True)
    assert promoted.may == (Right.CLEAR, Right.MANAGE)
    office = appoint(store, "Administrator", named_by="x", signs=False)
    assert office.may == (Right.MANAGE,)


def test_passcodes_leave_an_entry_without_the_passcode(store):
    nora = enter_person(store, NORA, who="Mira")
    with store.action(who="Mira") as act:
        note_passcode(act, nora, own=False)
    entry = store.entries("")[-1]
    assert (entry.who, entry.what) == ("Mira", "passcode given")
    assert entry.content == {"about": "Nora Sand"}


def test_who_came_went_or_was_refused_stands_in_the_journal(store):
    nora = enter_person(store, NORA, who="Mira")
    before = len(store.entries(""))
    for what, key in ((IN, nora.key), (OUT, nora.key), (REFUSED, nora.key), (REFUSED, "")):
        note_door(store, what, key, "from 192.0.2.7")
    entries = store.entries("")[before:]
    about = {"about": "Nora Sand"}
    assert [(entry.who, entry.what, entry.why, entry.content) for entry in entries] == [
        ("Nora Sand", "signed in", "from 192.0.2.7", about),
        ("Nora Sand", "signed out", "from 192.0.2.7", about),
        ("sign-in", "sign-in refused", "from 192.0.2.7", about),
        ("sign-in", "sign-in refused", "from 192.0.2.7", {}),
    ]
    assert store.verify() == []


def test_name_is_erased_when_the_person_no_longer_signs(store):
    nora = enter_person(store, replace(NORA, may=(Right.DECIDE,)), who="Mira")
    enter_person(store, OTTO, who="Nora Sand")
    with pytest.raises(RecordError, match="still signs"):
        store.erase_person("nora sand", who="Mira", why="asked")
    change_person(store, nora, replace(nora, active=False), who="Mira")
    assert store.erase_person("Nora Sand", who="Mira", why="asked").shown_as == "erased 1"
    assert [person.name for person in store.people()] == ["erased 1", "Otto Brandt"]
    assert store.entries("")[1].who == "erased 1"
    assert store.verify() == []


def test_rights_that_were_changed_behind_the_journal_are_named(store):
    otto = enter_person(store, OTTO, who="Mira")
    grown = {"roles": ["food safety"], "may": ["clear", "decide"], "active": True}
    with store._engine.begin() as connection:
        connection.execute(sa.update(tables.staff).values(content=grown))
    (wrong,) = store.verify()
    assert wrong == f"What person:{otto.key} may sign is not what the journal says."
    with store._engine.begin() as connection:
        connection.execute(sa.delete(tables.staff))
    assert len(store.verify()) == 1


def test_archive_carries_who_agreed_in_which_role_and_the_proof(store, opens, tmp_path):
    enter_person(store, replace(NORA, may=(Right.AGREE,)), who="Mira")
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    workflow.open_session(store, "s1", **prepared, who="Mira", why="demo")
    workflow.agree(store, "s1", who="nora sand", how=PASSCODE)
    content = archive_session(store, "s1")
    other = opens(f"sqlite:///{tmp_path / 'other.sqlite3'}")
    session = import_archive(other, content, who="Otto", why="archive")
    assert (session.agreed_by, session.agreed_role) == ("Nora Sand", "release officer")
    (agreed,) = [entry for entry in other.entries("s1") if entry.what == "agreed"]
    assert signed_words(agreed) == "Nora Sand, release officer (signed in with a passcode)"
    assert other.people() == []  # nobody signs there by way of an archive
    assert other.verify() == []


def test_archive_whose_journal_names_people_who_sign_changes_nobody(store):
    """Only entries of the record as a whole say who signs; those of a session never do."""
    enter_person(store, NORA, who="Mira")
    workflow.open_session(
        store, "s1", **workflow.read_prepared(DEMO, "suspect_batch"), who="Mira", why="demo"
    )
    with store.action(who="Mira") as act:
        entry = act._entry("s1", "person changed", "", {"staff": {"person": "Nora Sand"}})
        append(act._connection, entry)
    assert store.verify() == []
    assert store.people()[0].may == NORA.may


@pytest.mark.parametrize("roles", [(), ("",), (" ", "")])
def test_person_without_a_role_is_refused(roles):
    with pytest.raises(RecordError, match="The role of Nora is missing"):
        Person(name="Nora", roles=roles)


def test_record_of_version_5_has_nobody_who_signs_and_works_on(tmp_path: Path):
    """Written by version 5: a batch released after a tasting, then complained of."""
    kept = Path(__file__).with_name("version_5.record")
    url = f"sqlite:///{shutil.copy(kept, tmp_path / 'panel.sqlite3')}"
    store = open_store(url)
    assert store.verify() == []
    assert store.people() == []
    record = store.noun(BatchRecord, "SC-1")
    assert record.decision.signers == "Nora Sand, release officer"
    assert record.complaints[0].recorded_by == ""
    session = store.session(record.tastings[0].session)
    assert (session.agreed_by, session.agreed_role) == ("Mira", "")
    enter_person(store, NORA, who="Mira")
    assert store.verify() == []
    store.close()

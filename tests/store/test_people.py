"""Names stand outside the chain: they can be erased everywhere, and not changed unseen."""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile
from pathlib import Path
from unicodedata import normalize

import pytest
import sqlalchemy as sa

from sensory.base.errors import RecordError
from sensory.catalogue.outcome_json import outcome_to_json
from sensory.catalogue.question import Question
from sensory.sessions import booths
from sensory.sessions.finding import session_report
from sensory.sessions.session import Sample, SessionDetails, StoredSession
from sensory.sessions.workflow import agree, close, enter_cells, open_session, reopen
from sensory.store import tables
from sensory.store.archive import archive_session
from sensory.store.repository import Repository, open_store
from sensory.store.rows import entry_for
from sensory.store.seats import append

from ..sessions.shared import at_booths, fill
from ..shared import ALL_YES, ANSWERS, CARE, add, put, write_lines

SESSION = StoredSession(
    id="rhubarb",
    created_at="2026-09-14T08:00:00+00:00",
    details=SessionDetails(
        title="Rhubarb cordial",
        samples=(Sample(letter="A", batch="RH-1"), Sample(letter="B")),
        leader="Änne Weiß",
    ),
    question=Question(pd_limit=0.30, decision="Whether the recipe changes."),
    cautions={},
    agreed_by="Änne Weiß",
)
CELLS = {
    2: {"assessor": "Karim Aziz", "order": "ABB", "answer": "412"},
    3: {"assessor": "Zoë Brandt", "order": "BAB", "answer": "903"},
}
LEADER = {"who": "Änne Weiß", "why": "typed"}


@pytest.fixture(params=["sqlite", "postgresql"])
def store(opens, request: pytest.FixtureRequest) -> Repository:
    server = request.param == "postgresql"
    opened = opens(request.getfixturevalue("postgres_url") if server else "sqlite://")
    add(opened, SESSION, CELLS, **LEADER)
    return opened


def rows_of(store: Repository, table: sa.Table) -> list[tuple]:
    with store._engine.connect() as connection:
        return [tuple(row) for row in connection.execute(sa.select(table))]


def bytes_of(store: Repository) -> bytes:
    """All that stands in the files of a SQLite record, its log included."""
    file = Path(store._engine.url.database)
    return b"".join(path.read_bytes() for path in sorted(file.parent.glob(f"{file.name}*")))


def references(store: Repository) -> dict[str, str]:
    return {name: f"person:{one}" for one, name, *_ in rows_of(store, tables.people)}


# Outside the chain.


def test_tables_and_journal_hold_references(store):
    known = references(store)
    assert set(known) == {"Änne Weiß", "Karim Aziz", "Zoë Brandt"}
    cells = rows_of(store, tables.ballot_cells)
    assert {text for _, _, name, text in cells if name == "assessor"} == {
        known["Karim Aziz"],
        known["Zoë Brandt"],
    }
    ((_, _, _, who, *_),) = rows_of(store, tables.journal)
    assert who == known["Änne Weiß"]
    for table in (tables.sessions, tables.ballot_cells, tables.journal):
        words = repr(rows_of(store, table))
        assert not [name for name in known if name in words]


def test_who_reads_sees_names(store):
    assert store.session(SESSION.id) == store.sessions()[0] == SESSION
    assert store.cells(SESSION.id) == CELLS
    (entry,) = store.entries(SESSION.id)
    assert entry.who == "Änne Weiß"
    assert entry.content["cells"]["2"]["assessor"] == "Karim Aziz"
    assert entry.content["session"]["details"]["leader"] == "Änne Weiß"
    assert entry.content["session"]["agreed_by"] == "Änne Weiß"


def test_one_person_has_one_reference(store):
    add(
        store,
        dataclasses.replace(SESSION, id="other"),
        {2: {"assessor": "Karim Aziz"}},
        who="Karim Aziz",
        why="typed",
    )
    assert len(rows_of(store, tables.people)) == 3
    assert store.cells("other") == {2: {"assessor": "Karim Aziz"}}


@pytest.mark.parametrize("name", ["person:", "person:0", "erased 7", " ", "橙 🍋", "x" * 20_000])
def test_any_text_can_be_a_name(store, name):
    if name == "person:0":
        name = next(iter(references(store).values()))
    write_lines(store, SESSION.id, {4: {"assessor": name}}, **LEADER)
    assert store.cells(SESSION.id)[4] == {"assessor": name}
    assert store.entries(SESSION.id)[-1].content["changes"][0]["new"] == name
    assert store.verify() == []


def test_reference_tells_nothing_of_the_name(tmp_path):
    found = []
    for number in range(2):
        one = open_store(f"sqlite:///{tmp_path / str(number)}.sqlite3")
        add(one, SESSION, CELLS, **LEADER)
        found.append(references(one)["Karim Aziz"])
        one._engine.dispose()
    assert found[0] != found[1]


# Erasing.


def test_erased_name_is_gone_everywhere(store):
    hash_before = rows_of(store, tables.journal)[0][-1]
    erasure = store.erase_person("Karim Aziz", who="Änne Weiß", why="asked for it")
    assert (erasure.shown_as, erasure.spellings, erasure.remains) == ("erased 1", 1, ())
    assert store.cells(SESSION.id)[2] == {**CELLS[2], "assessor": "erased 1"}
    assert store.cells(SESSION.id)[3] == CELLS[3]
    assert store.entries(SESSION.id)[0].content["cells"]["2"]["assessor"] == "erased 1"
    for table in tables.metadata.sorted_tables:
        assert "Karim" not in repr(rows_of(store, table))
    assert rows_of(store, tables.journal)[0][-1] == hash_before
    assert store.verify() == []


def test_the_journal_says_that_somebody_was_erased_and_not_who(store):
    (reference,) = [one for name, one in references(store).items() if name == "Karim Aziz"]
    store.erase_person("Karim Aziz", who="Änne Weiß", why="asked for it")
    (entry,) = store.entries("")
    assert (entry.number, entry.who, entry.what, entry.why) == (
        2,
        "Änne Weiß",
        "person erased",
        "asked for it",
    )
    assert entry.content == {"erased": [reference.removeprefix("person:")], "shown_as": 1}


def test_leader_can_be_erased_also_by_himself(store):
    store.erase_person("Änne Weiß", who="Änne Weiß", why="left the company")
    assert store.session(SESSION.id).details.leader == "erased 1"
    assert store.session(SESSION.id).agreed_by == "erased 1"
    assert store.entries(SESSION.id)[0].who == store.entries("")[0].who == "erased 1"
    assert store.verify() == []


def test_all_spellings_of_a_name_go_together_and_stay_one_person(store):
    write_lines(store, SESSION.id, {4: {"assessor": " karim  AZIZ"}}, **LEADER)
    erasure = store.erase_person("KARIM AZIZ", **LEADER)
    assert erasure.spellings == 2
    cells = store.cells(SESSION.id)
    assert cells[2]["assessor"] == cells[4]["assessor"] == "erased 1"
    assert store.verify() == []


def test_erased_persons_stay_apart(store):
    store.erase_person("Karim Aziz", **LEADER)
    assert store.erase_person("Zoë Brandt", **LEADER).shown_as == "erased 2"
    cells = store.cells(SESSION.id)
    assert [cells[line]["assessor"] for line in (2, 3)] == ["erased 1", "erased 2"]


def test_who_comes_back_is_a_new_person(store):
    store.erase_person("Karim Aziz", **LEADER)
    write_lines(store, SESSION.id, {4: {"assessor": "Karim Aziz"}}, **LEADER)
    assert store.cells(SESSION.id)[2]["assessor"] == "erased 1"
    assert store.cells(SESSION.id)[4]["assessor"] == "Karim Aziz"
    assert store.erase_person("Karim Aziz", **LEADER).shown_as == "erased 2"
    assert store.verify() == []


def test_page_that_sends_back_what_it_showed_writes_nothing(store):
    store.erase_person("Karim Aziz", **LEADER)
    with store.action(**LEADER) as act:
        assert act.write_lines(SESSION.id, act.cells(SESSION.id)) == 0


def test_erased_ballot_moved_to_another_line_stays_with_the_same_person(store):
    store.erase_person("Karim Aziz", **LEADER)
    write_lines(store, SESSION.id, {2: {"assessor": ""}, 9: {"assessor": "erased 1"}}, **LEADER)
    assert store.cells(SESSION.id)[9] == {"assessor": "erased 1"}
    assert len(rows_of(store, tables.people)) == 3
    assert store.verify() == []


def test_window_that_was_open_during_an_erasure_is_told_to_reload(store):
    store.erase_person("Änne Weiß", **LEADER)
    with pytest.raises(RecordError, match="Reload"):
        put(
            store,
            dataclasses.replace(SESSION, cautions={"cleared": True}),
            expect=SESSION,
            what="described",
            who="Zoë",
            why="typed",
        )


def test_unknown_name_is_refused_and_changes_nothing(store):
    with pytest.raises(RecordError, match=r"nobody of the name 'Mira Lund' on record"):
        store.erase_person("Mira Lund", **LEADER)
    assert store.entries("") == []


def test_reason_may_not_hold_the_name(store):
    with pytest.raises(RecordError, match="without the name"):
        store.erase_person("Karim Aziz", who="Änne Weiß", why="karim aziz asked for it")
    assert "Karim Aziz" in references(store)


def test_free_texts_that_hold_the_name_are_listed(store):
    said = {3: {"comment": 'as Karim Aziz said: "flat"'}, 4: {"comment": "flat"}}
    said |= {line: {"comment": "like Karim Aziz"} for line in range(5, 65)}
    write_lines(store, SESSION.id, said, who="Änne Weiß", why="after a talk with Karim Aziz")
    erasure = store.erase_person("Karim Aziz", **LEADER)
    rows = [f"Session {SESSION.id}, row {line}, comment" for line in (3, *range(5, 65))]
    assert erasure.remains == (*rows, "Journal entry 2")


def test_description_that_holds_the_name_is_listed(store):
    details = dataclasses.replace(SESSION.details, assessors='Zoë "Z" Ölund and four others')
    described = dataclasses.replace(SESSION, details=details)
    put(store, described, expect=SESSION, what="described", who="Änne Weiß", why="typed")
    write_lines(store, SESSION.id, {4: {"assessor": 'Zoë "Z" Ölund'}}, **LEADER)
    assert store.erase_person('Zoë "Z" Ölund', **LEADER).remains == (
        f"Session {SESSION.id}, its description",
        "Journal entry 2",
    )


def test_no_byte_of_the_name_is_left_in_the_file(opens, sqlite_url):
    store = opens(sqlite_url)
    add(store, SESSION, CELLS, **LEADER)
    write_lines(store, SESSION.id, {2: {"assessor": "Mira Lund"}}, **LEADER)
    assert b"Karim Aziz" in bytes_of(store)
    assert store.erase_person("Karim Aziz", **LEADER).remains == ()
    assert b"Karim" not in bytes_of(store)
    assert b"Mira Lund" in bytes_of(store)


def test_copies_made_before_an_upgrade_are_listed(opens, sqlite_url):
    store = opens(sqlite_url)
    add(store, SESSION, CELLS, **LEADER)
    copy = Path(store._engine.url.database).with_name("panel-before-version-2.sqlite3")
    copy.write_text("cordial")
    assert store.erase_person("Karim Aziz", **LEADER).remains == (f"The copy {copy}",)


def test_reader_that_holds_the_log_is_reported(opens, sqlite_url):
    store = opens(sqlite_url)
    add(store, SESSION, CELLS, **LEADER)

    @sa.event.listens_for(store._engine, "connect")
    def _impatient(connection, _record):
        connection.execute("PRAGMA busy_timeout = 100")

    store._engine.dispose()
    with store._engine.connect() as reader:
        reader.execute(sa.select(tables.people)).all()
        (remains,) = store.erase_person("Karim Aziz", **LEADER).remains
    assert "log of the database" in remains or "Free pages" in remains
    assert store.verify() == []


# Names cannot be changed unseen.


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE people SET name = 'Mira Lund' WHERE name = 'Karim Aziz'",
        "UPDATE people SET salt = 'cordial' WHERE name = 'Karim Aziz'",
        "UPDATE people SET sought = NULL WHERE name = 'Karim Aziz'",
        "UPDATE people SET erased = 4 WHERE name = 'Karim Aziz'",
        "UPDATE people SET name = NULL, sought = NULL, salt = NULL, erased = 1 "
        "WHERE name = 'Karim Aziz'",
        "DELETE FROM people WHERE name = 'Karim Aziz'",
        "INSERT INTO people (id, name) VALUES ('0', 'Mira Lund')",
        "UPDATE people SET name = CASE name WHEN 'Karim Aziz' THEN 'Zoë Brandt' "
        "WHEN 'Zoë Brandt' THEN 'Karim Aziz' ELSE name END",
    ],
)
def test_changed_names_are_found(store, statement):
    with store._engine.begin() as connection:
        connection.execute(sa.text(statement))
    found = store.verify()
    assert found
    assert all(one.startswith("The name of person ") for one in found)


def test_name_put_in_the_place_of_an_erased_one_is_found(store):
    store.erase_person("Karim Aziz", **LEADER)
    with store._engine.begin() as connection:
        at = tables.people.c.erased == 1
        connection.execute(sa.update(tables.people).where(at).values(name="Mira Lund"))
    assert len(store.verify()) == 1


# With the use cases.


def test_finding_is_the_same_after_an_erasure(opens, any_url):
    store = opens(any_url)
    question = Question(pd_limit=0.30, **ANSWERS, assessors=3)
    cells = {
        line: {"assessor": name, "order": "ABB", "codes": "412 837 265", "answer": "412"}
        for line, name in enumerate(["Karim Aziz", "Zoë Brandt", "Mira Lund"], start=2)
    }
    details = dataclasses.replace(SESSION.details, care=CARE)
    plain = {"details": details, "question": question, "cautions": ALL_YES, "cells": cells}
    open_session(store, "s", **plain, **LEADER)
    agree(store, "s", who="Änne Weiß")
    close(store, "s", who="Änne Weiß")
    reopen(store, "s", who="Änne Weiß", why="misread")
    enter_cells(store, "s", {3: {"assessor": "Karim Berg"}}, who="Änne Weiß")
    close(store, "s", who="Änne Weiß")
    before = session_report(store, "s", version="1")
    store.erase_person("Karim Aziz", **LEADER)
    store.erase_person("Änne Weiß", who="Zoë Brandt", why="left")
    after = session_report(store, "s", version="1")
    assert outcome_to_json(after.outcome) == outcome_to_json(before.outcome)
    assert after.outcome.counts.assessors == 3
    assert any("'Zoë Brandt' became 'Karim Berg' (erased 2)" in line for line in after.afterwards)
    assert store.verify() == store.verify("s") == []


# Nothing of the name is left.


ERASED = ["Änne Weiß", "Zoë Ölund-Ğül", "Ярослав Ким", "橙 田中", 'Ann "Q" O\\Hara']


def needles(name: str) -> set[bytes]:
    """Bytes by which a part of the name could stand anywhere: plain, in JSON, composed or not."""
    forms = {normalize(form, name) for form in ("NFC", "NFD", "NFKC")}
    words = {word for form in forms for word in (form, form.casefold(), form.upper())}
    texts = words | {json.dumps(word)[1:-1] for word in words}
    return {text.encode() for text in texts} | {text.encode("utf-16-le") for text in words}


def everything(store: Repository, session_id: str) -> bytes:
    """All that stands in the files of a record, or in the rows of a server's, and an archive."""
    with zipfile.ZipFile(io.BytesIO(archive_session(store, session_id))) as files:
        archived = b"".join(map(files.read, files.namelist()))
    if store._engine.dialect.name == "sqlite":
        return bytes_of(store) + archived
    rows = [row for table in tables.metadata.sorted_tables for row in rows_of(store, table)]
    texts = [cell if isinstance(cell, str) else json.dumps(cell) for row in rows for cell in row]
    return "\n".join(texts).encode() + archived


def test_after_booths_no_byte_of_a_name_is_left_and_the_links_end(opens, any_url):
    store = opens(any_url)
    here, _, links = at_booths(store, "A_NOT_A", ["Bo", *ERASED])
    for name in ERASED:
        booths.consent(store, links[name])
        fill(store, links[name], booths.visit(store, links[name]).ballot)
        assert any(needle in everything(store, here) for needle in needles(name))
    for name in ERASED:
        assert store.erase_person(name, who="Mira", why="asked").remains == ()
        assert booths.visit(store, links[name]) is None
    left = everything(store, here)
    assert [name for name in ERASED if any(needle in left for needle in needles(name))] == []
    assert booths.visit(store, links["Bo"]).assessor == "Bo"
    assert store.verify() == store.verify(here) == []


def test_who_acts_at_a_booth_is_a_person_and_a_role(store):
    with store.action(who="Karim Aziz", role="booth") as act:
        act.write_lines(SESSION.id, {2: {"comment": "flat"}})
    entry = store.entries(SESSION.id)[-1]
    assert (entry.who, entry.role, entry.by) == ("Karim Aziz", "booth", "booth of Karim Aziz")
    assert set(references(store)) == {"Änne Weiß", "Karim Aziz", "Zoë Brandt"}


def test_the_name_in_an_entry_that_a_booth_signed_before_goes_with_the_person(store):
    write_lines(store, SESSION.id, {2: {"comment": "flat"}}, who="booth of Karim  aziz")
    assert store.entries(SESSION.id)[-1].by == "booth of Karim  aziz"
    assert store.erase_person("Karim Aziz", **LEADER).spellings == 2
    assert store.entries(SESSION.id)[-1].by == "erased 1"
    assert "aziz" not in repr(rows_of(store, tables.people)).casefold()
    assert store.verify() == []


def test_what_a_booth_left_of_an_erased_name_goes_with_the_upgrade(opens, sqlite_url):
    """As records before version 9 have it: the person erased, `booth of` her name still there."""
    store = opens(sqlite_url)
    add(store, SESSION, CELLS, **LEADER)
    for who in ("booth of Karim Aziz", "booth of Zoë Brandt"):
        write_lines(store, SESSION.id, {2: {"comment": who[-4:]}}, who=who)
    with store._engine.begin() as connection:
        (at,) = [key for key, name, *_ in rows_of(store, tables.people) if name == "Karim Aziz"]
        gone = {"name": None, "sought": None, "salt": None, "erased": 1}
        connection.execute(sa.update(tables.people).where(tables.people.c.id == at).values(gone))
        content = {"erased": [at], "shown_as": 1}
        append(connection, entry_for(connection, "", "Mira", "person erased", "", content))
        tables.checks.drop(connection)
        tables.turns.drop(connection)
        connection.exec_driver_sql("UPDATE schema SET version = 8")
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0008'")
    assert "booth of Karim Aziz" in references(store)
    store.close()
    again = opens(sqlite_url)
    names = {name for _, name, *_ in rows_of(again, tables.people)}
    assert names == {None, "Änne Weiß", "Zoë Brandt", "Mira", "booth of Zoë Brandt"}
    assert again.entries("")[-1].what == "person erased"
    assert again.verify() == []

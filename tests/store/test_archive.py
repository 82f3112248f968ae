"""An archive gives back the same session, says what it holds, and refuses what is not sound."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import io
import json
import struct
import subprocess
import zipfile
from collections.abc import Iterator
from pathlib import Path

import frictionless
import pytest
import sqlalchemy as sa

from sensory.base.errors import RecordError
from sensory.base.records import digest_of
from sensory.base.results import Table
from sensory.catalogue.outcome_json import outcome_to_json
from sensory.catalogue.question import Question
from sensory.release.batch_records import BatchRecord
from sensory.release.batches import Batch
from sensory.serving.planning import serving_plan
from sensory.sessions.care import Care
from sensory.sessions.finding import session_report
from sensory.sessions.serving import Serving
from sensory.sessions.session import Sample, SessionDetails
from sensory.sessions.workflow import agree, close, enter_cells, open_session, reopen
from sensory.store import archive, archive_form, journal, tables
from sensory.store.archive import (
    archive_session,
    import_archive,
    read_archive,
    serving_faults,
)
from sensory.store.connections import writing
from sensory.store.nouns import id_of
from sensory.store.repository import Repository, open_store
from sensory.store.rows import entry_for
from sensory.store.seats import append

from ..shared import ALL_YES, ANSWERS, put_noun

ID = "gooseberry"
LEADER = {"who": "Änne Weiß", "why": "typed"}
SAID = '  \'less; "berry"\r\n\t=1+1, -- 橙 🍋 \r %s \\ '
NUMBERS = Table(
    columns=("what", "value", "note"),
    rows=(("correct", 3, None), ("p", 0.1 + 0.2, "one-sided"), ("high", float("inf"), "")),
)
REPORT = b"%PDF-1.7 cordial"


def fill(store: Repository) -> None:
    """A session that was closed, reopened, changed and closed again."""
    open_session(
        store,
        ID,
        details=SessionDetails(
            title="Gooseberry cordial — “less” sugar",
            leader="Änne Weiß",
            samples=(Sample(letter="A", batch="GB-1"), Sample(letter="B", allergens="sulphites")),
            care=Care(cleared_by="Änne Weiß", cleared_on="2026-09-13"),
        ),
        question=Question(pd_limit=0.30, **ANSWERS, assessors=3),
        cautions=ALL_YES,
        cells={
            line: {"assessor": name, "order": "ABB", "codes": "412 837 265", "answer": "412"}
            for line, name in enumerate(["Karim Aziz", "Zoë Brandt", "Mira Lund"], start=2)
        },
        **LEADER,
    )
    agree(store, ID, who="Änne Weiß")
    close(store, ID, who="Änne Weiß")
    reopen(store, ID, who="Änne Weiß", why="misread")
    enter_cells(store, ID, {3: {"comment": SAID}, 4: {"answer": "837"}}, who="Zoë Brandt")
    close(store, ID, who="Änne Weiß")


def typed(store: Repository, key: str, cells: dict | None = None, **details: str) -> None:
    """A session with these cells, of which nothing else is said."""
    plain = {
        "details": SessionDetails(**details),
        "question": Question(pd_limit=0.30),
        "cells": cells,
    }
    open_session(store, key, **plain, **LEADER)


@pytest.fixture(scope="module")
def store() -> Iterator[Repository]:
    opened = open_store("sqlite://")
    fill(opened)
    yield opened
    opened._engine.dispose()


@pytest.fixture
def other(opens, any_url: str, tmp_path: Path) -> Repository:
    """A record elsewhere, on each kind of database."""
    url = f"sqlite:///{tmp_path / 'other.sqlite3'}" if any_url.startswith("sqlite") else any_url
    return opens(url)


@pytest.fixture(scope="module")
def made(store: Repository) -> bytes:
    return archive_session(store, ID, numbers=NUMBERS, report=REPORT, version="1.2.3")


def files_of(archive: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(archive)) as zipped:
        return {name: zipped.read(name) for name in zipped.namelist()}


def zipped(files: dict[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", how) as archive:
        for name, one in files.items():
            archive.writestr(name, one)
    return content.getvalue()


def sums_of(files: dict[str, bytes]) -> bytes:
    names = sorted(files.keys() - {"SHA256SUMS"})
    lines = (f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in names)
    return "".join(lines).encode()


def sealed(files: dict[str, bytes]) -> bytes:
    """The files with sums that fit, as somebody would make them who knows how."""
    files = dict(files)
    package = json.loads(files["datapackage.json"])
    for resource in package["resources"]:
        content = files[resource["path"]]
        resource["hash"] = f"sha256:{hashlib.sha256(content).hexdigest()}"
        resource["bytes"] = len(content)
    files["datapackage.json"] = json.dumps(package).encode()
    return zipped(files | {"SHA256SUMS": sums_of(files)})


# There and back.


def test_archive_gives_back_session_ballots_and_journal(store, made):
    archive = read_archive(made)
    assert archive.session == store.session(ID)
    assert archive.cells == store.cells(ID)
    assert list(archive.entries) == store.entries(ID)
    assert archive.cells[3]["comment"] == SAID
    assert (archive.report, archive.digest) == (REPORT, hashlib.sha256(made).hexdigest())


def test_same_record_gives_the_same_bytes(store, made):
    assert archive_session(store, ID, numbers=NUMBERS, report=REPORT, version="1.2.3") == made


def test_files_of_an_archive(made):
    files = files_of(made)
    names = "SHA256SUMS ballots.csv datapackage.json journal.csv numbers.csv outcome.json"
    assert set(files) == {*names.split(), "people.csv", "report.pdf", "session.json"}
    assert files["report.pdf"] == REPORT
    assert archive_form.unpacked_files(made) == files


def test_numbers_are_not_rounded(made):
    rows = list(csv.DictReader(io.StringIO(files_of(made)["numbers.csv"].decode())))
    assert [row["value"] for row in rows] == ["3", repr(0.1 + 0.2), "INF"]


def test_sums_are_those_that_the_usual_program_checks(made, tmp_path):
    for name, content in files_of(made).items():
        (tmp_path / name).write_bytes(content)
    check = ["sha256sum", "--check", "--strict", "SHA256SUMS"]
    done = subprocess.run(check, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count(": OK") == 8


def test_archive_without_numbers_report_and_ballots(store):
    typed(store, "empty")
    archive = read_archive(archive_session(store, "empty"))
    assert (archive.cells, archive.numbers, archive.report) == ({}, b"", b"")
    assert archive.session == store.session("empty")


def test_ballot_with_a_column_called_line_and_very_long_texts(store):
    cells = {2: {"line": "7", "line_": "8", "comment": "x" * 300_000}}
    typed(store, "odd", cells)
    limit = csv.field_size_limit()
    assert read_archive(archive_session(store, "odd")).cells == cells
    assert csv.field_size_limit() == limit


@pytest.mark.parametrize("kind", ["zip", "folder"])
def test_frictionless_finds_a_sound_data_package(made, tmp_path, kind):
    for name, content in files_of(made).items():
        (tmp_path / name).write_bytes(content)
    (tmp_path / "archive.zip").write_bytes(made)
    path = {"zip": "archive.zip", "folder": "datapackage.json"}[kind]
    package = frictionless.Package(str(tmp_path / path))
    report = package.validate()
    assert report.valid, report.flatten(["type", "message", "note"])
    names = ("ballots", "journal", "people", "numbers")
    tables_found = {name: package.get_resource(name).read_rows() for name in names}
    assert [row["line"] for row in tables_found["ballots"]] == [2, 3, 4]
    assert tables_found["ballots"][1]["comment"] == SAID
    numbers = [row["number"] for row in tables_found["journal"]]
    assert numbers == [1, 2, 3, 5, 7, 8]  # 4 and 6 are entries of its sitting, which stay here
    people = {row["name"] for row in tables_found["people"]}
    assert people == {"Änne Weiß", "Karim Aziz", "Zoë Brandt", "Mira Lund"}
    assert float(tables_found["numbers"][1]["value"]) == 0.1 + 0.2


def test_frictionless_would_find_a_changed_file(made, tmp_path):
    for name, content in files_of(made).items():
        (tmp_path / name).write_bytes(content.replace(b"837", b"265"))
    report = frictionless.Package(str(tmp_path / "datapackage.json")).validate()
    assert not report.valid


# Into another record.


def test_import_gives_the_same_session_with_its_history(store, other, made):
    assert import_archive(other, made, who="Zoë Brandt", why="moved to line 2") == store.session(ID)
    assert other.session(ID) == store.session(ID)
    assert other.cells(ID) == store.cells(ID)
    assert other.verify() == other.verify(ID) == []
    imported, *entries = other.entries(ID)
    told = (imported.who, imported.what, imported.why)
    assert told == ("Zoë Brandt", "imported", "moved to line 2")
    assert imported.content == {"archive": hashlib.sha256(made).hexdigest(), "entries": 6}
    for new, old in zip(entries, store.entries(ID), strict=True):
        assert new.content == {**old.content, "imported": old.number}
        assert (new.at, new.who, new.what, new.why) == (old.at, old.who, old.what, old.why)


def test_what_was_done_after_the_finding_comes_along(store, other, made):
    import_archive(other, made, **LEADER)
    here, there = (session_report(one, ID, version="1") for one in (store, other))
    assert there.afterwards == here.afterwards
    assert "ballots opened again by Änne Weiß" in " ".join(there.afterwards)
    assert outcome_to_json(there.outcome) == outcome_to_json(here.outcome)


def test_persons_of_both_records_are_the_same_persons(store, other, made):
    typed(other, "quince", {2: {"assessor": "Karim Aziz"}}, leader="Änne Weiß")
    import_archive(other, made, **LEADER)
    other.erase_person("Karim Aziz", **LEADER)
    assert other.cells("quince")[2]["assessor"] == other.cells(ID)[2]["assessor"] == "erased 1"
    assert other.verify() == []


def test_session_on_record_is_not_imported_again(store, made):
    before = store.entries(ID)
    with pytest.raises(RecordError, match="on record already"):
        import_archive(store, made, **LEADER)
    assert store.entries(ID) == before
    assert store.verify() == []


def test_archive_of_an_imported_session_can_be_imported(opens, store, other, made, tmp_path):
    import_archive(other, made, **LEADER)
    again = archive_session(other, ID)
    third = opens(f"sqlite:///{tmp_path / 'third.sqlite3'}")
    import_archive(third, again, **LEADER)
    assert third.session(ID) == store.session(ID)
    assert third.cells(ID) == store.cells(ID)
    assert third.verify() == []


def test_erased_person_stays_erased_and_apart_from_others(opens, other):
    store = opens()
    fill(store)
    store.erase_person("Karim Aziz", **LEADER)
    made = archive_session(store, ID)
    assert b"Karim" not in b"".join(files_of(made).values())
    assert read_archive(made).cells == store.cells(ID)
    typed(other, "quince", {2: {"assessor": "Jonas Reh"}})
    other.erase_person("Jonas Reh", **LEADER)
    import_archive(other, made, **LEADER)
    named = f"erased 1 in archive {read_archive(made).digest[:8]}"
    assert other.cells(ID)[2] == {**store.cells(ID)[2], "assessor": named}
    assert other.cells("quince")[2]["assessor"] == "erased 1"
    assert other.verify() == []


@pytest.mark.parametrize("number", [1, 2, 4, 7])
def test_imported_entries_cannot_be_dropped_unseen(other, made, number):
    import_archive(other, made, **LEADER)
    with other._engine.begin() as connection:
        connection.execute(sa.delete(tables.journal).where(tables.journal.c.number == number))
    assert other.verify()
    assert other.verify(ID)


# What is refused.


@pytest.mark.parametrize(
    "name", ["session.json", "ballots.csv", "journal.csv", "people.csv", "report.pdf"]
)
def test_changed_file_is_refused(made, name):
    files = files_of(made)
    files[name] = files[name] + b" "
    with pytest.raises(RecordError, match=rf"sums of the archive .*{name}"):
        read_archive(zipped(files))


@pytest.mark.parametrize("name", archive_form.NEEDED)
def test_lacking_file_is_refused(made, name):
    files = files_of(made)
    del files[name]
    with pytest.raises(RecordError, match=f"lacks {name}"):
        read_archive(zipped(files))


@pytest.mark.parametrize(
    "name",
    ["../session.json", "/etc/passwd", "a/../../b", "extra.txt", "folder/", "..\\x", "C:\\x"],
)
def test_other_files_are_refused(made, name):
    with pytest.raises(RecordError, match="belong to none"):
        read_archive(zipped(files_of(made) | {name: b"x"}))


def test_file_that_is_there_twice_is_refused(made):
    content = io.BytesIO(made)
    with (
        pytest.warns(UserWarning, match="Duplicate name"),
        zipfile.ZipFile(content, "a") as archive,
    ):
        archive.writestr("session.json", b"{}")
    with pytest.raises(RecordError, match="a file twice"):
        read_archive(content.getvalue())


def test_file_that_unpacks_to_too_much_is_refused(made, monkeypatch):
    monkeypatch.setattr(archive_form, "MOST_BYTES", 1_000_000)
    bomb = zipped(files_of(made) | {"report.pdf": b"\0" * 2_000_000})
    assert len(bomb) < 20_000
    with pytest.raises(RecordError, match="bigger than 1000000 bytes"):
        read_archive(bomb)


def test_file_longer_than_it_says_is_refused(made):
    """The size in both headers is made smaller than what the data unpack to."""
    files = files_of(made)
    length = len(files["report.pdf"])
    raw = bytearray(zipped(files, zipfile.ZIP_DEFLATED))
    with zipfile.ZipFile(io.BytesIO(bytes(raw))) as archive:
        local = archive.getinfo("report.pdf").header_offset
    central = raw.rfind(b"report.pdf") - 46
    assert raw[central : central + 4] == b"PK\x01\x02"
    for place in (local + 22, central + 24):
        assert struct.unpack_from("<I", raw, place) == (length,)
        struct.pack_into("<I", raw, place, 3)
    with pytest.raises(RecordError):
        read_archive(bytes(raw))


@pytest.mark.parametrize(
    "content", [b"", b"PK", b"no zip at all", zipped({}), zipped({"session.json": b"{"})]
)
def test_what_is_no_archive_is_refused(content):
    with pytest.raises(RecordError, match=r"cannot be read|lacks"):
        read_archive(content)


def test_encrypted_file_is_refused(made):
    raw = bytearray(made)
    for signature, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        raw[raw.find(signature) + place] |= 1
    with pytest.raises(RecordError, match="cannot be read"):
        read_archive(bytes(raw))


def test_every_cut_of_an_archive_is_refused(made):
    for length in range(0, len(made), 97):
        with pytest.raises(RecordError):
            read_archive(made[:length])


def test_changed_bytes_are_refused_or_do_not_matter(made):
    """Whatever byte is changed: refused, or (dates, comments) the content is the same."""
    whole = read_archive(made)
    for place in range(0, len(made), 31):
        raw = bytearray(made)
        raw[place] ^= 0x55
        try:
            found = read_archive(bytes(raw))
        except RecordError:
            continue
        assert dataclasses.replace(found, digest=whole.digest) == whole


def text_of(files: dict[str, bytes], name: str, old: str, new: str) -> dict[str, bytes]:
    assert old.encode() in files[name]
    return files | {name: files[name].replace(old.encode(), new.encode(), 1)}


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("ballots.csv", "837", "265", "does not lead to"),
        ("ballots.csv", "Karim Aziz", "Mira Lund", "does not lead to"),
        ("ballots.csv", "\r\n3,", "\r\n2,", "a line twice"),
        ("ballots.csv", "\r\n3,", "\r\nx,", "line of the number 'x'"),
        ("ballots.csv", "line,answer", "line,codes", "a column twice"),
        ("ballots.csv", "line,", "line,more,", "different lengths"),
        ("journal.csv", "misread", "mislaid", "Journal entry 5 is not as it was written"),
        ("journal.csv", "number,at", "number,when", "has to hold number, at"),
        ("people.csv", "Karim Aziz", "Jonas Reh", "does not lead to"),
        ("people.csv", ",false", ",no", "has to hold reference"),
        ("session.json", '"id": "gooseberry"', '"id": "quince"', "not as it was written"),
        ("session.json", '"id": "gooseberry"', '"id": ""', "1 to 32 characters"),
        ("session.json", '"alpha": 0.05', '"alpha": "high"', "alpha of Question must be a number"),
        ("session.json", '"alpha": 0.05', '"alpha": 0.5', "does not lead to"),
        ("session.json", '"alpha": 0.05', '"alfa": 0.05', "has no field alfa"),
        (
            "session.json",
            '"cleared": true',
            '"cleared": "yes"',
            "cautions of StoredSession must be true or false",
        ),
        ("session.json", '"closed_at"', '"closed"', "lacks closed_at"),
        (
            "session.json",
            '"agreed_by": "Änne Weiß"',
            '"agreed_by": {}',
            "agreed_by of StoredSession must be a text",
        ),
        ("session.json", '"agreed_by": "Änne Weiß",', "", "lacks agreed_by"),
        ("session.json", '"samples": [', '"samples": 3, "x": [', "has no field x"),
        ("session.json", "{", "[", "cannot be read"),
        ("session.json", '"target": "B"', '"settings": {"x": [1]}', "neither text nor number"),
        ("session.json", '_at_agreement": 3', f'_at_agreement": {2**70}', "cannot be 1180"),
        (
            "session.json",
            '"serving": null',
            '"serving": {"plan": 3}',
            "plan of Serving must be a mapping",
        ),
        ("session.json", '"serving": null', '"serving": {"plan": {}}', "plan that cannot be read"),
        (
            "session.json",
            '"serving": null',
            '"serving": {"plan": {}, "language": "en", "booths": {"x": 3}}',
            "booths of Serving must be a text",
        ),
        (
            "session.json",
            '"serving": null',
            '"serving": {"plan": {}, "language": "en", "late": {"2": 3}}',
            "late of Serving must be a text",
        ),
    ],
)
def test_changes_of_somebody_who_makes_new_sums_are_refused(made, name, old, new, said):
    forged = sealed(text_of(files_of(made), name, old, new))
    with pytest.raises(RecordError, match=said):
        read_archive(forged)


@pytest.mark.parametrize("name", ["session.json", "ballots.csv", "journal.csv", "people.csv"])
@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"[]", b"null", b'"', b"[" * 100_000])
def test_files_of_another_kind_are_refused(made, name, content):
    with pytest.raises(RecordError):
        read_archive(sealed(files_of(made) | {name: content}))


def test_package_that_describes_other_files_is_refused(made):
    files = files_of(made)
    package = json.loads(files["datapackage.json"])
    for resources in ([], None, package["resources"][1:], [3]):
        changed = files | {"datapackage.json": json.dumps({"resources": resources}).encode()}
        with pytest.raises(RecordError, match=r"does not describe its files"):
            read_archive(zipped(changed | {"SHA256SUMS": sums_of(changed)}))


@pytest.mark.parametrize(
    ("new", "said"), [("265", "does not lead to"), ("\\ud800", "holds half a character")]
)
def test_forged_journal_that_is_sound_by_itself_is_refused(made, new, said):
    """An answer changed in the journal with a new hash: the ballots say otherwise."""
    files = files_of(made)
    rows = list(csv.DictReader(io.StringIO(files["journal.csv"].decode(), newline="")))
    entry = next(row for row in rows if '"837"' in row["content"])
    entry["content"] = entry["content"].replace('"837"', f'"{new}"')
    plain = {key: value for key, value in entry.items() if key != "sha256"}
    entry["sha256"] = digest_of(plain | {"number": int(plain["number"])})
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    with pytest.raises(RecordError, match=said):
        read_archive(sealed(files | {"journal.csv": text.getvalue().encode()}))


def test_refused_archive_leaves_the_record_as_it_was(store, other, made):
    with pytest.raises(RecordError):
        import_archive(other, made[:-30], **LEADER)
    assert other.sessions() == []
    assert other.verify() == []


@pytest.mark.parametrize(
    ("name", "value", "sound"),
    [
        ("allergens", {"reference": "none"}, True),
        ("allergens", {"reference": 3}, False),
        ("excluded", {"seat 1": ["b"]}, True),
        ("excluded", {"seat 1": "b"}, False),
        ("served", {"at": "2026-05-02T08:00:00+00:00"}, True),
        ("served", "yes", False),
        ("breaks", {"minutes": 5, "started": 1}, True),
        ("breaks", {"minutes": 5}, False),
        ("breaks", {"minutes": -1, "started": 1}, False),
        ("language", "xx", False),
        ("booths", {"0" * 64: "seat x"}, False),
        ("late", {"2": 3}, False),
    ],
)
def test_marks_of_the_serving_are_texts_lists_and_counts(name, value, sound):
    plan = serving_plan("triangle", 6, seed=1).to_dict()
    assert (faults({"plan": plan, "language": "en", "booths": {}, name: value}) == []) is sound


def faults(plain: dict) -> list[str]:
    """What is wrong with a serving as an archive holds it."""
    try:
        return serving_faults(Serving.from_dict(plain))
    except RecordError as error:
        return [str(error)]


BATCH = BatchRecord(
    batch=Batch(number="GC-14", product="Gooseberry cordial", made_on="2026-03-04"), reference="G1"
)
NOUNS = {
    "of a batch on record": {"kind": "batch", "content": json.loads(json.dumps(BATCH.to_dict()))},
    "of an unknown kind": {"kind": "zz", "content": {}},
    "without content": {"kind": "batch", "content": {}},
    "of another type": {"kind": "reference", "content": {"name": 3}},
}


def written_behind(store: Repository, noun: object, session: str = ID) -> None:
    """An entry of the register in the journal of a session, in a chain that is sound."""
    with writing(store._engine) as connection:
        entry = entry_for(connection, session, "Mira", "entered", "made", {"noun": noun})
        append(connection, entry)


@pytest.mark.parametrize("noun", NOUNS.values(), ids=NOUNS)
def test_archive_whose_journal_holds_more_than_its_session_is_refused(
    store, other, noun, monkeypatch
):
    put_noun(other, BATCH, expect=None, what="entered", who="Mira", why="made")
    written_behind(store, noun)
    monkeypatch.setattr(archive, "refuse_changed", lambda *asked: None)  # made by another program
    made = archive_session(store, ID)
    whole = store.session(ID), store.cells(ID), store.entries(ID)
    for act in (
        lambda: import_archive(other, made, **LEADER),
        lambda: other.add_imported(*whole, digest="0" * 64, **LEADER),
    ):
        with pytest.raises(RecordError, match=r"entries of a product, a reference or .*nothing"):
            act()
    assert other.sessions() == other.entries(ID) == other.verify() == []


def test_archive_with_the_identifier_of_a_batch_on_record_is_refused(other):
    put_noun(other, BATCH, expect=None, what="entered", who="Mira", why="made")
    key = id_of("batch", "GC-14")
    source = open_store("sqlite://")
    typed(source, key)
    made = archive_session(source, key)
    source.close()
    with pytest.raises(RecordError, match="has the identifier of a batch on record; nothing"):
        import_archive(other, made, **LEADER)
    assert other.sessions() == []
    assert [one.what for one in other.noun_entries(BATCH)] == ["entered"]
    assert other.verify() == []


@pytest.mark.parametrize("noun", NOUNS.values(), ids=NOUNS)
def test_entries_of_the_register_among_those_of_a_session_are_reported(store, noun):
    """As a record may hold them that took such an archive before they were refused."""
    written_behind(store, noun)
    (said,) = store.verify()
    assert said in (
        "Batch gc-14 is not what the journal says.",
        f"What the journal has of {ID} is no product, reference or batch.",
    )
    assert store.verify(ID) == [said]


@pytest.mark.parametrize("noun", [None, 3, "batch", [], {"kind": []}, {"kind": "batch"}])
def test_what_is_no_noun_at_all_is_reported(noun):
    assert journal.differing_noun("x", (noun,), None, []) == [
        "What the journal has of x is no product, reference or batch."
    ]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda plan: plan["design"].update(samples=[1]),
        lambda plan: plan["design"].update(samples=[["A", 2]]),
        lambda plan: plan["design"].pop("samples"),
        lambda plan: plan.update(rows=5),
        lambda plan: plan["rows"].append("a cup"),
        lambda plan: plan.pop("design"),
    ],
)
def test_a_plan_of_another_kind_is_no_plan(spoil):
    plan = serving_plan("triangle", 6, seed=1).to_dict()
    serving = {"plan": plan, "language": "en", "booths": {}}
    assert faults(serving) == []
    spoil(plan)
    assert len(faults(serving)) == 1

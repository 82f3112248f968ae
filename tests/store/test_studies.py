"""A study is kept in one action, checked with the record, found again, and its names erased."""

from __future__ import annotations

import gzip
import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from sensory.base.errors import RecordError
from sensory.release.product_desk import enter_product
from sensory.release.studies import Study
from sensory.release.study_desk import (
    keep_study,
    the_study,
    withdraw_study,
    withdrawn_behind,
    withdrawn_same,
)
from sensory.report.study_documents import StudyReport, drafted
from sensory.store import tables
from sensory.store.archive_form import holds_study
from sensory.store.repository import Repository, open_store
from sensory.store.study_archive import archive_study, import_study

from .test_archive import LEADER, files_of, sealed, zipped

# Written by version 9 of the program: a product, a batch and a session.
OLD = Path(__file__).with_name("version_9.record.gz")
NAMES = ["Änne Weiß", "Zoë Brandt", "Karim Aziz"]
GRADES = "grader,sample,truth,grade\n" + "".join(
    f"{name},{sample},{'out' if sample % 2 else 'in'},{'out' if sample % 4 == 1 else 'in'}\n"
    for name in NAMES
    for sample in range(8)
)
SETTINGS = (("bad_passed", 0.1), ("good_stopped", 0.05))


def rows_of(file: Path, statement: str) -> list[tuple]:
    with closing(sqlite3.connect(file)) as connection:
        return connection.execute(statement).fetchall()


@pytest.fixture(scope="module")
def draft() -> Study:
    study = drafted("graders", GRADES.encode(), SETTINGS)
    return replace(study, title="Graders of May", held_on="2026-05-04", agreed_by="Nora Vik")


@pytest.fixture
def old_file(tmp_path: Path) -> Path:
    file = tmp_path / "panel.sqlite3"
    file.write_bytes(gzip.decompress(OLD.read_bytes()))
    return file


@pytest.fixture
def store(opens, any_url: str) -> Repository:
    return opens(any_url)


def test_a_study_comes_back_as_it_was_kept(opens, any_url, store, draft):
    enter_product(store, "Sloe cordial", who="Mira")
    kept = keep_study(store, replace(draft, product="sloe  cordial"), who="Mira Lund")
    assert (kept.product, kept.kept_by) == ("Sloe cordial", "Mira Lund")
    again = open_store(any_url)
    assert the_study(again, kept.key) == kept
    assert again.studies(product="Sloe cordial") == again.studies(kind="graders") == [kept]
    assert again.studies(product="other") == again.studies(batch="SL-9") == []
    assert kept.digest == draft.digest
    (entry,) = again.noun_entries(kept)
    assert (entry.what, entry.who) == ("study kept", "Mira Lund")
    assert again.verify() == again.verify_noun(kept) == []
    again.close()


def test_the_same_rows_and_settings_are_kept_once(store, draft):
    keep_study(store, draft, who="Mira")
    with pytest.raises(RecordError, match="on record already: Graders of May, 2026-05-04"):
        keep_study(store, replace(draft, title="Another"), who="Mira")
    assert len(store.studies()) == 1


def test_an_error_within_the_action_leaves_nothing(store, draft):
    with pytest.raises(RecordError, match="no product 'Rose'"):
        keep_study(store, replace(draft, product="Rose"), who="Mira")
    assert store.studies() == []
    assert store.newest() is None


def test_names_of_graders_are_erased_everywhere(store, draft):
    kept = keep_study(store, draft, who="Mira")
    said = json.dumps(kept.shown().to_dict(), ensure_ascii=False)
    assert all(name in said for name in NAMES)
    for name in (*NAMES, "Nora Vik"):
        assert store.erase_person(name, who="Mira", why="asked").remains == ()
    study = the_study(store, kept.key)
    shown = json.dumps([study.shown().to_dict(), study.table().table.rows, study.to_dict()])
    assert not [name for name in (*NAMES, "Nora Vik") if json.dumps(name)[1:-1] in shown]
    assert "erased 1: " in " ".join(study.shown().because)
    assert study.digest == kept.digest
    assert store.verify() == []


def test_a_withdrawn_study_stays_on_record_and_nothing_rests_on_it(opens, tmp_path, store, draft):
    enter_product(store, "Sloe cordial", who="Mira")
    kept = keep_study(store, replace(draft, product="Sloe cordial"), who="Mira")
    with pytest.raises(RecordError, match="Say why the study is withdrawn"):
        withdraw_study(store, kept.key, who="Nora Vik", why=" ")
    gone = withdraw_study(store, kept.key, who="Nora Vik", why="wrong  samples")
    assert gone.withdrawn
    assert gone.withdrawn_words == f"Withdrawn by Nora Vik on {gone.withdrawn_on}: wrong samples"
    assert (gone.digest, gone.rows, gone.outcome) == (kept.digest, kept.rows, kept.outcome)
    assert the_study(store, kept.key) == gone
    last = store.noun_entries(gone)[-1]
    assert (last.what, last.who, last.why) == ("study withdrawn", "Nora Vik", "wrong  samples")
    assert withdrawn_same(store, draft) == gone
    with pytest.raises(RecordError, match="These rows with these settings are not used"):
        keep_study(store, draft, who="Mira")
    with pytest.raises(RecordError, match="is withdrawn already"):
        withdraw_study(store, kept.key, who="Nora Vik", why="again")
    reason = f"Limit from answers: (Study SHA-256 {kept.digest[:12]}.)"
    assert withdrawn_behind(store, "Sloe cordial", reason) == [gone]
    assert withdrawn_behind(store, "Sloe cordial", "management") == []
    report = StudyReport(study=gone, kept=True, printed_at="2026-11-28T08:00:00+00:00")
    assert report.headline == f"Withdrawn: {gone.shown().sentence}"
    assert ("Withdrawn", gone.withdrawn_words.removeprefix("Withdrawn ")) in report.asked()
    content = archive_study(store, gone)
    other = opens(f"sqlite:///{tmp_path / 'elsewhere.sqlite3'}")
    enter_product(other, "Sloe cordial", who="Zora")
    assert import_study(other, content, who="Zora", why="archive").withdrawn_words == (
        gone.withdrawn_words
    )
    store.erase_person("Nora Vik", who="Mira", why="asked")
    assert "Nora" not in json.dumps(the_study(store, kept.key).to_dict())
    assert store.verify() == []


def test_a_study_that_was_changed_outside_is_found(opens, sqlite_url, draft):
    store = opens(sqlite_url)
    kept = keep_study(store, draft, who="Mira")
    file = Path(sqlite_url.removeprefix("sqlite:///"))
    with closing(sqlite3.connect(file)) as connection:
        connection.execute(
            "UPDATE register SET content = replace(content, '2 of 4', '3 of 4') "
            "WHERE kind = 'study'"
        )
        connection.commit()
    (wrong,) = store.verify()
    assert wrong.startswith("Study ")
    assert wrong.endswith("is not what the journal says.")
    assert store.verify_noun(kept) == [wrong]


def test_the_kept_record_of_version_9_takes_studies(opens, old_file, draft):
    assert rows_of(old_file, "SELECT version FROM schema") == [(9,)]
    before = rows_of(old_file, "SELECT * FROM journal ORDER BY number")
    store = opens(f"sqlite:///{old_file}")
    assert rows_of(old_file, "SELECT version FROM schema") == [(tables.SCHEMA_VERSION,)]
    assert rows_of(old_file, "SELECT * FROM journal ORDER BY number") == before
    assert store.verify() == []
    kept = keep_study(store, replace(draft, batch="sl-9"), who="Mira Lund")
    assert (kept.product, kept.batch) == ("Sloe cordial", "SL-9")
    assert store.studies(batch="SL-9") == store.studies(product="Sloe cordial") == [kept]
    assert store.verify() == []


def test_an_archive_brings_a_study_back_with_its_journal(opens, tmp_path, store, draft):
    kept = keep_study(store, draft, who="Mira")
    store.erase_person("Karim Aziz", who="Mira", why="asked")
    study = the_study(store, kept.key)
    content = archive_study(store, study, report=b"%PDF")
    assert content == archive_study(store, study, report=b"%PDF")
    assert holds_study(content)
    other = opens(f"sqlite:///{tmp_path / 'elsewhere.sqlite3'}")
    brought = import_study(other, content, who="Zora", why="archive")
    assert the_study(other, kept.key) == brought
    assert brought.digest == kept.digest
    assert {"Änne Weiß", "Zoë Brandt"} < set(brought.assessors)
    assert any("erased 1 in archive" in name for name in brought.assessors)
    entries = [(entry.what, entry.who) for entry in other.noun_entries(brought)]
    assert entries == [("imported", "Zora"), ("study kept", "Mira")]
    assert other.verify() == []
    with pytest.raises(RecordError, match="on record already; nothing was imported"):
        import_study(other, content, who="Zora", why="archive")


@pytest.mark.parametrize(
    ("name", "old", "new", "match"),
    [
        ("study.json", b"Graders of May", b"Graders of Mai", "does not lead to its study"),
        ("rows.csv", b",out", b",in", "does not hold the rows"),
        ("journal.csv", b"study kept", b"study lost", "not as it was written"),
    ],
)
def test_a_forged_archive_is_refused(opens, tmp_path, store, draft, name, old, new, match):
    content = archive_study(store, keep_study(store, draft, who="Mira"))
    other = opens(f"sqlite:///{tmp_path / 'elsewhere.sqlite3'}")
    files = files_of(content)
    with pytest.raises(RecordError, match="sums of the archive are not those of its files"):
        import_study(other, zipped(files | {name: files[name].replace(old, new)}), **LEADER)
    with pytest.raises(RecordError, match=match):
        import_study(other, sealed(files | {name: files[name].replace(old, new)}), **LEADER)
    assert other.studies() == []


def test_a_picture_that_would_fetch_something_is_refused(draft):
    picture = draft.outcome.pictures[0]
    with pytest.raises(RecordError, match="none that this program has drawn"):
        replace(picture, chart='{"data": {"url": "http://a.test/x.csv"}}')


def test_a_batch_of_another_product_is_refused(opens, old_file, draft):
    store = opens(f"sqlite:///{old_file}")
    enter_product(store, "Rose cordial", who="Mira Lund")
    with pytest.raises(RecordError, match="Batch SL-9 is of Sloe cordial, not of Rose cordial"):
        keep_study(store, replace(draft, product="Rose cordial", batch="SL-9"), who="Mira Lund")

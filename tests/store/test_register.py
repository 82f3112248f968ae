"""Products, references and batches on a real record: written with the journal, found, checked."""

from __future__ import annotations

import random
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

from sensory.base.errors import RecordError
from sensory.release.batch_records import BatchRecord, Decision, ProductRecord, Tasting
from sensory.release.batches import Batch, Clearance, Disposition, Product, RawLot
from sensory.release.references import Reference, ReferenceKind
from sensory.store import tables
from sensory.store.repository import Repository, open_store

from ..shared import put_noun

BY = {"who": "Mira Lund", "why": "made"}


def record(number: str, made_on: str = "2026-03-04", **more: object) -> BatchRecord:
    batch = Batch(
        number=number,
        product="Quince cordial",
        made_on=made_on,
        line="line 1",
        raw_lots=(RawLot(material="sweetener", lot="SW-7"), RawLot(material="acid", lot="CA-2")),
    )
    return BatchRecord(batch=batch, reference="Q1", **more)


def cleared(number: str, by: str, **declared: object) -> Clearance:
    safe = {"food_safe": True, "food_safe_by": by, "food_safe_on": "2026-03-05"}
    return Clearance(batch=number, **safe, **declared)


def decision(disposition: Disposition, reason: str) -> Decision:
    by = {"decided_by": "Nora Sand", "role": "release officer", "decided_at": "2026-03-06"}
    return Decision(disposition=disposition, reason=reason, **by)


@pytest.fixture
def store(opens, any_url: str) -> Repository:
    return opens(any_url)


def entered(store: Repository, noun: object, expect: object = None) -> None:
    put_noun(store, noun, expect=expect, what="entered", **BY)


def test_nouns_come_back_as_they_were_put(store: Repository):
    product = ProductRecord(product=Product(name="Quince cordial", drift_limit=0.8))
    reference = Reference(
        name="Q1",
        product="Quince cordial",
        kind=ReferenceKind.FRESHLY_MADE,
        made_on="2026-01-02",
        usable_until="2026-06-02",
    )
    for noun in (product, reference, record("QC-1")):
        entered(store, noun)
        assert store.noun(type(noun), noun.name) == noun
    assert store.noun(BatchRecord, " qc-1 ") == record("QC-1")
    assert store.noun(BatchRecord, "QC-2") is None
    assert store.nouns(ProductRecord) == [product]
    assert store.nouns(Reference, "quince CORDIAL") == [reference]
    assert store.nouns(Reference, "sloe cordial") == []
    assert store.verify() == []


def test_a_number_is_taken_once_however_it_is_written(store: Repository):
    entered(store, record("QC-1"))
    with pytest.raises(RecordError, match=r"Batch qc-1 is on record already\."):
        entered(store, record("qc-1"))
    assert len(store.batches()) == 1


def test_whoever_was_slower_changes_nothing(store: Repository):
    first = record("QC-1")
    entered(store, first)
    new = replace(first, clearance=cleared("QC-1", "Mo"))
    entered(store, new, first)
    with pytest.raises(RecordError, match="changed in another window meanwhile"):
        entered(store, replace(first, reference="Q2"), first)
    assert store.noun(BatchRecord, "QC-1") == new
    before = len(store.noun_entries(new))
    entered(store, new, new)  # nothing differs, nothing is written
    assert len(store.noun_entries(new)) == before == 2


def test_batches_by_product_state_and_date(store: Repository):
    end = decision(Disposition.RELEASE, "similar")
    for day in range(1, 10):
        done = {"decisions": (end,)} if day % 3 == 0 else {}
        entered(store, record(f"QC-{day}", f"2026-03-0{day}", **done))

    def numbers(**asked: object) -> list[str]:
        return [one.name for one in store.batches(**asked)]

    assert numbers() == [f"QC-{day}" for day in range(1, 10)]
    assert numbers(state="done") == ["QC-3", "QC-6", "QC-9"]
    assert numbers(state="open", most=2) == ["QC-7", "QC-8"]
    assert numbers(since="2026-03-04", until="2026-03-05") == ["QC-4", "QC-5"]
    assert numbers(product="sloe cordial") == []
    assert numbers(most=4, skip=4) == ["QC-2", "QC-3", "QC-4", "QC-5"]  # the page before the latest
    assert numbers(most=4, skip=8) == ["QC-1"]
    assert [store.how_many(), store.how_many(state="open")] == [9, 6]
    assert store.how_many(product="Quince cordial", since="2026-03-04", until="2026-03-05") == 2


def test_batches_by_what_they_hang_together_with(store: Repository):
    entered(store, record("QC-1"))
    tasted = record("QC-2", tastings=(Tasting(session="a" * 32, test="TRIANGLE"),))
    entered(store, tasted)
    again = replace(record("QC-3"), batch=replace(record("QC-3").batch, rework_of=("QC-1",)))
    entered(store, again)
    assert [one.name for one in store.linked("lot", "sw-7 ")] == ["QC-1", "QC-2", "QC-3"]
    assert [one.name for one in store.linked("lot", "SW-7", most=2)] == ["QC-2", "QC-3"]
    assert store.how_many_linked("lot", "SW-7") == 3
    assert store.linked("session", "a" * 32) == [tasted]
    assert store.linked("rework", "qc-1") == [again]
    assert len(store.linked("reference", "Q1")) == 3
    changed = replace(tasted, batch=replace(tasted.batch, raw_lots=()))
    entered(store, changed, tasted)
    assert [one.name for one in store.linked("lot", "SW-7")] == ["QC-1", "QC-3"]
    assert store.verify() == []


def test_seeking_finds_parts_and_puts_the_whole_number_first(store: Repository):
    for number in ("QC-10", "QC-1", "QC-11"):
        entered(store, record(number))
    assert [one.name for one in store.seek("qc-1")] == ["QC-1"]
    everywhere = [one.name for one in store.seek("qc-1", within=True)]
    assert (everywhere[0], sorted(everywhere)) == ("QC-1", ["QC-1", "QC-10", "QC-11"])
    assert len(store.seek("C-1")) == len(store.seek("sw-7")) == len(store.seek("quince")) == 3
    assert store.seek("q1") != []
    assert store.seek("  ") == store.seek("%") == store.seek("QC_1") == []


def test_what_did_not_change_is_built_once_and_what_did_is_seen(store: Repository):
    declared = {"allergens_by": "Nora Sand", "allergens_on": "2026-03-05"}
    clearance = cleared("QC-1", "Otto Brandt", allergens=("sulphites",), **declared)
    entered(store, record("QC-1", clearance=clearance))
    (first,) = store.batches()
    assert store.batches()[0] is first is store.noun(BatchRecord, "QC-1")
    changed = replace(first, reference="Q2")
    entered(store, changed, first)
    assert store.batches() == [changed]
    store.erase_person("Nora Sand", who="Otto Brandt", why="asked for it")
    (erased,) = store.batches()
    assert erased.clearance.allergens_by == "erased 1"
    assert erased.reference == "Q2"


def test_names_in_a_batch_stand_outside_the_chain_and_can_be_erased(store: Repository):
    declared = {"allergens_by": "Nora Sand", "allergens_on": "2026-03-05"}
    clearance = cleared("QC-1", "Otto Brandt", allergens=("sulphites",), **declared)
    waits = decision(Disposition.HOLD, "waits for a second look")
    entered(store, record("QC-1", clearance=clearance, decisions=(waits,)))
    with store._engine.connect() as connection:
        texts = [
            str(row)
            for table in (tables.journal, tables.register)
            for row in connection.execute(sa.select(table))
        ]
    assert not any("Nora" in text or "Otto" in text for text in texts)
    done = store.erase_person("Nora Sand", who="Mira Lund", why="asked for it")
    found = store.noun(BatchRecord, "QC-1")
    assert done.remains == ()
    assert found.decision.decided_by == found.clearance.allergens_by == "erased 1"
    assert found.clearance.food_safe_by == "Otto Brandt"
    assert store.verify() == []


def test_a_name_in_a_reason_is_said_to_remain(store: Repository):
    told = decision(Disposition.HOLD, "Karim Aziz tasted rubber")
    entered(store, record("QC-1", decisions=(told,)))
    entered(store, record("QC-2", clearance=cleared("QC-2", "Karim Aziz")))
    remains = store.erase_person("Karim Aziz", who="Mira Lund", why="asked").remains
    assert "The batch qc-1" in remains


COLUMNS = ("kind", "name", "product", "on_date", "line", "state", "content")


@pytest.mark.parametrize("column", COLUMNS)
def test_any_column_changed_behind_the_back_is_found(opens, sqlite_url: str, column: str):
    store = opens(sqlite_url)
    for number in ("QC-1", "QC-2"):
        entered(store, record(number))
    other = {"kind": "reference", "content": {**record("QC-1").to_dict(), "reference": "Q9"}}
    value = other.get(column, "other")
    key = sa.select(sa.func.min(tables.register.c.id)).scalar_subquery()
    with store._engine.begin() as connection:
        at = tables.register.c.id == key
        connection.execute(sa.update(tables.register).where(at).values({column: value}))
    assert any("is not what the journal says" in line for line in store.verify())


def test_changes_of_links_and_rows_are_found(opens, sqlite_url: str):
    store = opens(sqlite_url)
    for number in ("QC-1", "QC-2", "QC-3"):
        entered(store, record(number))
    rng = random.Random(4)
    links = tables.register_links
    for _ in range(20):
        with store._engine.connect() as connection:
            rows = [dict(row._mapping) for row in connection.execute(sa.select(links))]
        one = rng.choice(rows)
        at = sa.and_(*(links.c[name] == value for name, value in one.items()))
        with store._engine.begin() as connection:
            if rng.random() < 0.5:
                connection.execute(sa.delete(links).where(at))
                back = sa.insert(links).values(**one)
            else:
                connection.execute(sa.update(links).where(at).values(value="other"))
                mended = {**one, "value": "other"}
                at = sa.and_(*(links.c[name] == value for name, value in mended.items()))
                back = sa.update(links).where(at).values(value=one["value"])
        assert store.verify() != []
        assert store.verify(one["id"]) != []
        with store._engine.begin() as connection:
            connection.execute(back)
        assert store.verify() == []
    with store._engine.begin() as connection:
        connection.execute(sa.delete(links))
        connection.execute(sa.delete(tables.register))
    assert len(store.verify()) == 3


def test_a_record_of_version_3_gets_a_register(tmp_path: Path):
    """Written by version 3 of the program: one closed session, no register."""
    kept = Path(__file__).with_name("version_3.record")
    file = Path(shutil.copy(kept, tmp_path / "panel.sqlite3"))
    store = open_store(f"sqlite:///{file}")
    assert store.verify() == []
    assert [one.what for one in store.entries("a" * 32)] == ["opened", "agreed", "closed"]
    entered(store, record("QC-1"))
    assert store.batches() == [record("QC-1")]
    assert store.verify() == []
    store.close()
    assert (tmp_path / f"panel-before-version-{tables.SCHEMA_VERSION}.sqlite3").exists()


def test_messages_leave_names_as_they_are_written(store: Repository):
    entered(store, record("QC-1 Acid"))
    with pytest.raises(RecordError, match=r"^Batch QC-1 Acid is on record already\.$"):
        entered(store, record("QC-1 Acid"))
    with pytest.raises(RecordError, match=r"^Batch QC-1 Acid was changed in another window"):
        entered(store, record("QC-1 Acid"), expect=record("QC-1 Acid", "2026-05-04"))

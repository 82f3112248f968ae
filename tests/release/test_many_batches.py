"""Nothing is cut in silence where a product has more batches than fit a page."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
import sqlalchemy as sa

from sensory.release import (
    batch_desk,
    cause_desk,
    complaint_desk,
    day,
    limit_desk,
    look_up,
    tastings,
)
from sensory.release.batch_records import BatchRecord, Complaint, ProductRecord
from sensory.release.batches import Batch, RawLot
from sensory.store.nouns import row_of
from sensory.store.repository import Repository
from sensory.store.rows import columns_of
from sensory.store.tables import register, register_links, sessions

from ..sessions.shared import agreed, newer
from .shared import ONE, PRODUCT, desk_with

MANY = 1001
COMPLAINT = Complaint(text="rubber", received_on="2026-03-10")


def number(at: int) -> str:
    return f"SC-{at:04d}"


@pytest.fixture(scope="module")
def many() -> Repository:
    """Open batches of one lot, each with an open complaint; read only."""
    store = desk_with(ONE)
    lots = (RawLot(material="sweetener", lot="SW-1"),)
    rows, links = [], []
    for at in range(MANY):
        made_on = f"2026-{1 + at // 28 % 12:02d}-{1 + at % 28:02d}"
        batch = Batch(number=number(at), product=PRODUCT, made_on=made_on, raw_lots=lots)
        noun = BatchRecord(batch=batch, complaints=(COMPLAINT,))
        row, tied = row_of("batch", json.loads(json.dumps(noun.to_dict())))
        rows.append(row)
        links += [{"id": row["id"], "kind": kind, "value": value} for kind, value in tied]
    with store._engine.begin() as connection:  # without the journal, which is not asked here
        connection.execute(sa.insert(register), rows)
        connection.execute(sa.insert(register_links), links)
    return store


def test_today_knows_every_open_batch_and_complaint(many):
    assert {each.record.name for each in day.waiting(many)} == {*map(number, range(MANY))}
    assert len(complaint_desk.open_complaints(many)) == MANY
    assert len(many.linked("complaint", "2026-03")) == MANY
    assert len(many.nouns(BatchRecord)) == MANY


def test_today_says_how_many_open_sessions_it_does_not_show(many):
    session = many.session(agreed(many, "suspect_batch"))
    old = [replace(session, id=f"{at:032x}", created_at="2020-01-01") for at in range(210)]
    closed = [replace(each, id=f"c{each.id[1:]}", closed_at="2026-01-01") for each in old]
    with many._engine.begin() as connection:
        rows = [columns_of(each) for each in (*old, *closed)]
        connection.execute(sa.insert(sessions), rows)
    shown, more = day.running(many)
    assert (shown[0].session.id, len(shown), more) == (session.id, 8, 203)
    assert len(many.sessions(1000, unclosed=True)) == 211


def test_one_field_says_of_what_there_is_more(many):
    hits, more = look_up.look_up(many, "sw-1")
    assert more == ["batches", "lots"]
    assert [hit.about for hit in hits if hit.kind == "lot"] == [
        "sweetener, lot SW-1: at least 50 batches"
    ]
    assert look_up.look_up(many, "SC-0007")[1] == []


def test_every_session_that_names_a_batch_is_offered_as_its_tasting(many):
    """Among the newest 200 it was not; sessions of other batches were offered, and refused."""
    session = many.session(agreed(many, "suspect_batch"))
    samples = (session.details.samples[0], replace(session.details.samples[1], batch="sc-0007"))
    by_batch = replace(session, id="b" * 32, details=replace(session.details, samples=samples))
    named = replace(session.question, settings={"samples": "reference; SC-0007"})
    by_setting = replace(session, id="a" * 32, question=named, created_at="2019-01-01")
    other = replace(by_batch, id="9" * 32, agreed_at=None)
    with many._engine.begin() as connection:
        rows = [columns_of(each) for each in (by_batch, by_setting, other)]
        connection.execute(sa.insert(sessions), rows)
    newer(many, session.id, 210)
    offered = tastings.sessions_to_attach(many, "SC-0007")
    assert [each.id for each in offered] == [by_batch.id, by_setting.id]


def test_a_lot_says_how_many_earlier_batches_it_leaves_out(many, monkeypatch):
    first = min(many.nouns(BatchRecord), key=lambda each: (each.batch.made_on, each.name)).name
    for most, name, left in ((1000, number(MANY - 1), 1), (1000, first, 0), (998, first, 2)):
        monkeypatch.setattr(batch_desk, "_OF_A_LOT", most)
        (lot,) = batch_desk.batch_file(many, name).kin
        assert (len(lot.batches) + lot.left, lot.left) == (MANY - 1, left)


def test_causes_and_sold_batches_say_which_are_not_looked_at(many):
    causes = cause_desk.product_causes(many, PRODUCT)
    in_year = len(many.batches(product=PRODUCT, since="2025-12-28", most=MANY))
    assert causes.remarks[-1] == (
        f"{in_year - 400} batches of these months, made earlier, are not looked at here."
    )
    record = many.noun(ProductRecord, PRODUCT)
    sold = limit_desk.limit_of_sold(many, record)
    assert sold.remarks == ("601 batches of the product, made earlier, are not looked at here.",)


def test_nothing_is_said_where_nothing_is_left_out():
    store = desk_with(ONE)
    with store.action(who="Mira", why="typed") as act:
        batch = Batch(number="SC-1", product=PRODUCT, made_on="2026-03-04")
        act.put_noun(BatchRecord(batch=batch), expect=None, what="entered")
    assert "made earlier" not in " ".join(cause_desk.product_causes(store, PRODUCT).remarks)
    assert limit_desk.limit_of_sold(store, store.noun(ProductRecord, PRODUCT)).remarks == ()

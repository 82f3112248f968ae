"""Which batches go into the chart of a product, and which are left out with a reason."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.findings import Finding
from sensory.release.batch_records import BatchRecord, Tasting
from sensory.release.batch_trend import attributes_of, materials_of, trend_of_batches
from sensory.release.batches import Batch, RawLot
from sensory.release.choice_trend import ChoiceTrend
from sensory.release.rule import ReleaseRule
from sensory.release.trend import Trend

PROFILE = ReleaseRule(test="PROFILE", margins={"sweet": 1.0, "sour": 0.8}, assessors=10)
TRIANGLE = ReleaseRule(test="TRIANGLE", limit=0.3, assessors=24)


def record(number: int, *tastings: Tasting, line: str = "line 1") -> BatchRecord:
    batch = Batch(
        number=f"SC-{number}", product="Sloe cordial", made_on=f"2026-03-{number:02}", line=line
    )
    return BatchRecord(batch=batch, tastings=tastings)


def rated(number: int, key: str = "a", **differences: tuple[float, float]) -> Tasting:
    return Tasting(
        session=f"{key}{number}",
        test="PROFILE",
        finding=Finding.SIMILAR,
        held_on="2026-03-30",
        differences=differences,
    )


def test_each_attribute_has_its_own_margin_and_chart():
    records = [
        record(day, rated(day, sweet=(0.1 * day, 0.2), sour=(0.3 - 0.05 * day, 0.1)))
        for day in range(1, 9)
    ]
    assert attributes_of(records, PROFILE) == ["sweet", "sour"]
    for name, limit, first in (("sweet", 1.0, 0.1), ("sour", 0.8, 0.25)):
        found = trend_of_batches(records, PROFILE, attribute=name)
        assert isinstance(found.result, Trend)
        assert (found.result.limit, found.attribute) == (limit, name)
        assert found.result.points["estimate"].iloc[0] == pytest.approx(first)


def test_the_latest_of_several_tastings_counts_and_the_date_is_that_of_making():
    records = [record(day, rated(day, sweet=(0.1 * day, 0.2))) for day in range(3, 9)]
    twice = record(2, rated(2, sweet=(9.0, 0.2)), rated(2, "b", sweet=(0.4, 0.2)))
    found = trend_of_batches([*records, twice], PROFILE)
    assert isinstance(found.result, Trend)
    first = found.result.points.iloc[0]
    assert (first["batch"], first["estimate"]) == ("SC-2", 0.4)
    assert str(first["date"])[:10] == "2026-03-02"


def test_counts_of_all_tastings_of_a_batch_go_together():
    def counted(number: int, correct: int, key: str = "a") -> Tasting:
        return Tasting(
            session=f"{key}{number}",
            test="TRIANGLE",
            finding=Finding.UNDECIDED,
            correct=correct,
            trials=24,
        )

    records = [record(day, counted(day, 8)) for day in range(2, 6)]
    twice = record(1, counted(1, 11), counted(1, 10, "b"))
    found = trend_of_batches([twice, *records], TRIANGLE)
    assert isinstance(found.result, ChoiceTrend)
    first = found.result.points.iloc[0]
    assert (first["correct"], first["trials"]) == (21, 48)


def test_what_is_left_out_is_said():
    records = [record(day, rated(day, sweet=(0.1, 0.2))) for day in range(1, 6)]
    other = [record(day, rated(day, sweet=(0.1, 0.2)), line="line 7") for day in (8, 9)]
    found = trend_of_batches([*records, *other, record(10)], PROFILE)
    assert found.remarks == (
        "1 batch without a finding of this test.",
        "Fewer than 3 batches, so no chart: line 7.",
    )
    nothing = trend_of_batches([record(1)], PROFILE)
    assert nothing.result is None
    assert nothing.says() == ("1 batch without a finding of this test.",)


def test_batches_without_scatter_give_a_reason_instead_of_a_chart():
    records = [record(day, rated(day, sweet=(0.0, 0.0))) for day in range(1, 6)]
    found = trend_of_batches(records, PROFILE)
    assert found.result is None
    assert "scatter" in found.remarks[-1]


def test_suppliers_of_a_material_stand_side_by_side():
    """By hand: days 1, 3, 5 are of one mill, 2, 4, 6 of a lot without supplier, 7 of neither."""
    records = []
    for day in range(1, 8):
        lot = RawLot(material="Sugar", lot="S-1", supplier="north mill" if day % 2 else "")
        one = record(day, rated(day, sweet=(0.1 * day, 0.2)))
        records.append(replace(one, batch=replace(one.batch, raw_lots=(lot,) if day < 7 else ())))
    assert materials_of(records) == ["Sugar"]
    found = trend_of_batches(records, PROFILE, beside="sugar")
    assert isinstance(found.result, Trend)
    by_source = found.result.points.groupby("line")["batch"].agg(list).to_dict()
    assert by_source == {
        "from north mill": ["SC-1", "SC-3", "SC-5"],
        "sugar S-1": ["SC-2", "SC-4", "SC-6"],
    }
    assert found.remarks == ("Fewer than 3 batches, so no chart: without sugar.",)


def test_the_same_batches_are_charted_once_and_a_new_one_anew():
    records = [record(day, rated(day, sweet=(0.1 * day, 0.2))) for day in range(1, 9)]
    first = trend_of_batches(records, PROFILE).result
    assert trend_of_batches(list(records), PROFILE).result is first
    assert trend_of_batches(records[:-1], PROFILE).result is not first
    assert trend_of_batches(records, PROFILE, base=4).result is not first
    moved = [*records[:-1], record(8, rated(8, sweet=(0.9, 0.2)))]
    assert trend_of_batches(moved, PROFILE).result.points["estimate"].iloc[-1] == 0.9


def test_a_new_reference_and_a_new_lot_are_marked_at_their_first_batch():
    def made(number: int, reference: str, lot: str, line: str = "line 1") -> BatchRecord:
        plain = record(number, rated(number, sweet=(0.1, 0.2)), line=line)
        lots = (RawLot(material="sweetener", lot=lot),)
        return replace(plain, reference=reference, batch=replace(plain.batch, raw_lots=lots))

    records = [
        made(1, "S1", "SW-1"),
        made(2, "S1", "SW-1"),
        made(3, "S1", "SW-2", line="line 2"),  # the first lot of a line is no change
        made(4, "S2", "sw-1 "),
        made(5, "S2", "SW-3"),
    ]
    marks = trend_of_batches(records[::-1], PROFILE).marks
    assert [(mark.batch, mark.what, mark.words) for mark in marks] == [
        ("SC-4", "reference", "reference S2"),
        ("SC-5", "lot", "sweetener, lot SW-3"),
    ]

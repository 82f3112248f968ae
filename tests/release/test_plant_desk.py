"""One material under several names: lots are matched across them, and who said so is kept."""

from __future__ import annotations

import pytest

from sensory.base.errors import RecordError
from sensory.release import batch_desk, plant_desk
from sensory.release.batches import RawLot
from sensory.release.plant import Material, OtherName, Plant
from sensory.store.repository import Repository

from .shared import PRODUCT, desk_with, held, made, scores, triangles
from .test_batch_desk import RATED


def batch(store: Repository, number: str, material: str, lot: str, **more: object) -> None:
    made(store, number, raw_lots=(RawLot(material=material, lot=lot, **more),))


def same(store: Repository, name: str, other: str, by: str = "Karim Aziz") -> Plant:
    return plant_desk.same_material(store, name, other, by=by, who="Mira", on="2026-03-01")


def kin_of(store: Repository, number: str) -> dict[str, set[str]]:
    kin = batch_desk.batch_file(store, number).kin
    return {lot.name: {each.name for each in lot.batches} for lot in kin}


def test_lots_match_across_the_names_of_a_material(store):
    batch(store, "SC-1", "sweetener", "SW-7")
    batch(store, "SC-2", "Glucose syrup", "sw-7")
    batch(store, "SC-3", "citric acid", "SW-7")
    assert kin_of(store, "SC-1") == {}
    same(store, "sweetener", "glucose  syrup")
    assert kin_of(store, "SC-1") == {"sweetener (also glucose syrup), lot SW-7": {"SC-2"}}
    assert kin_of(store, "SC-2") == {"Glucose syrup (also sweetener), lot sw-7": {"SC-1"}}
    assert kin_of(store, "SC-3") == {}  # another material with a lot of the same number
    same(store, "Glucose syrup", "GS 80", by="Nora Sand")
    batch(store, "SC-4", "gs 80", "SW-7")
    (sharing,) = kin_of(store, "SC-4").values()
    assert sharing == {"SC-1", "SC-2"}


def test_the_list_keeps_who_said_so(store):
    same(store, "sweetener", "glucose syrup")
    (material,) = plant_desk.the_plant(store).materials
    assert material.names == ("sweetener", "glucose syrup")
    assert (material.others[0].said_by, material.others[0].said_on) == ("Karim Aziz", "2026-03-01")
    (entry,) = store.noun_entries(plant_desk.the_plant(store))
    assert (entry.what, entry.why) == ("names of a material", "glucose syrup is sweetener")
    store.erase_person("Karim Aziz", who="Mira", why="asked")
    assert plant_desk.the_plant(store).materials[0].others[0].said_by == "erased 1"


def test_a_name_is_taken_off_again(store):
    batch(store, "SC-1", "sweetener", "SW-7")
    batch(store, "SC-2", "glucose syrup", "SW-7")
    same(store, "sweetener", "glucose syrup")
    with pytest.raises(RecordError, match="Say why glucose syrup is another material"):
        plant_desk.another_material(store, "glucose syrup", who="Mira", why="")
    with pytest.raises(RecordError, match="acid is not on the list"):
        plant_desk.another_material(store, "acid", who="Mira", why="x")
    plant_desk.another_material(store, "Glucose syrup", who="Mira", why="other supplier")
    assert plant_desk.the_plant(store) == Plant()
    assert kin_of(store, "SC-1") == {}


def test_what_is_said_twice_or_against_the_list_is_refused(store):
    same(store, "sweetener", "glucose syrup")
    with pytest.raises(RecordError, match="Sweetener and glucose syrup are one material already"):
        same(store, "glucose syrup", "Sweetener")
    with pytest.raises(RecordError, match="acid and acid are one material already"):
        same(store, "acid", "acid")
    with pytest.raises(RecordError, match="is on the list as sweetener: part it"):
        same(store, "invert sugar", "glucose syrup")
    with pytest.raises(RecordError, match="said_by of invert sugar must be a text"):
        same(store, "sweetener", "invert sugar", by=" ")
    alias = OtherName(name="glucose", said_by="Mo", said_on="2026-03-01")
    twice = (Material(name="a", others=(alias,)), Material(name="b", others=(alias,)))
    with pytest.raises(RecordError, match="material 'glucose' is there twice"):
        Plant(materials=twice)


def test_suppliers_stand_side_by_side_under_one_name():
    store = desk_with(RATED)
    for number in range(8):
        material = ("sweetener", "Glucose syrup")[number % 2]
        supplier = ("north", "south")[number // 4]
        batch(store, f"SC-{number}", material, f"L-{number}", supplier=supplier)
        held(store, f"SC-{number}", scores(f"SC-{number}", 0.1, number))
    same(store, "sweetener", "glucose syrup")
    trend = batch_desk.product_trend(store, PRODUCT, beside="sweetener")
    assert trend.result.lines.set_index("line")["batches"].to_dict() == {
        "from north": 4,
        "from south": 4,
    }
    store.close()


def test_triangle_batches_of_one_lot_are_found_under_each_name(store):
    """The search by lot needs no material, so it finds them all."""
    batch(store, "SC-1", "sweetener", "SW-7")
    held(store, "SC-1", triangles(12, 36))
    batch(store, "SC-2", "glucose syrup", "SW-7")
    assert {each.name for each in store.seek("sw-7")} == {"SC-1", "SC-2"}

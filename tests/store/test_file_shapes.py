"""How a file was read is kept on record by name, and offered for the next file of its shape."""

from __future__ import annotations

import json

import pytest

from sensory.base.errors import SensoryError
from sensory.release.file_shapes import keep_shape, shapes_for
from sensory.sessions.file_import import import_file, proposed_merges
from sensory.sessions.file_shape import FileShape, Merge
from sensory.sessions.file_sheets import file_sheets, sheet_named

MARCH = """Verkostung im März;;;;
Prüfer;Probe;bitter;bittr;Laune
Anna;Referenz;4,5;;gut
Ana;Charge 7;;5;gut
Bo;Referenz;3;;müde
Bo;Charge 7;4;;müde
"""
APRIL = MARCH.replace("März", "April").replace("Charge 7", "Charge 9").replace("müde", "wach")


def sheet(text):
    return sheet_named(file_sheets(text.encode()))


def read(text, shape=None):
    one = sheet(text)
    given = dict(zip(shape.headings, shape.roles, strict=True)) if shape else None
    roles = one.roles(given or {"Laune": "ignore"})
    merges = shape.merges if shape else proposed_merges(one, roles)
    return import_file(one, roles, merges=merges, reference="Referenz", name="monthly sheet")


def test_the_next_file_of_the_shape_is_read_like_the_first(store):
    assert shapes_for(store, sheet(MARCH).headings) == ()
    first = read(MARCH)
    keep_shape(store, first.shape, who="Mira")
    (kept,) = shapes_for(store, sheet(APRIL).headings)
    assert (kept.name, kept.reference) == ("monthly sheet", "Referenz")
    assert dict(zip(kept.headings, kept.roles, strict=True))["Laune"] == "ignore"
    assert read(APRIL, kept).samples == ("Referenz", "Charge 9")
    assert shapes_for(store, reversed(sheet(APRIL).headings)) == (kept,)
    assert shapes_for(store, [*sheet(APRIL).headings, "sour"]) == ()
    assert shapes_for(store, [*sheet(APRIL).headings, "Laune"]) == ()
    assert store.verify() == []
    assert store.verify_noun(kept) == []


def test_spellings_of_people_are_not_kept(store):
    merges = (
        Merge(role="assessor", spelling="Ana", name="Anna"),
        Merge(role="attribute", spelling="bittr", name="bitter"),
    )
    shape = FileShape(name="s", headings=("a", "b"), roles=("assessor", "attribute"), merges=merges)
    kept = keep_shape(store, shape, who="Mira")
    assert kept.merges == merges[1:]
    journal = json.dumps([str(entry) for entry in store.noun_entries(kept)])
    assert "Ana" not in journal
    assert FileShape.from_dict(kept.to_dict()) == kept


def test_a_reading_of_the_same_name_is_replaced_and_a_name_is_needed(store):
    shape = FileShape(name=" monthly  sheet", headings=("a",), roles=("assessor",))
    keep_shape(store, shape, who="Mira")
    keep_shape(
        store, FileShape(name="Monthly sheet", headings=("b",), roles=("assessor",)), who="M"
    )
    assert shapes_for(store, ["a"]) == ()
    (kept,) = shapes_for(store, ["B"])
    assert [entry.who for entry in store.noun_entries(kept)] == ["Mira", "M"]
    with pytest.raises(SensoryError, match="name of the file shape"):
        FileShape(name=" ", headings=("a",), roles=("assessor",))

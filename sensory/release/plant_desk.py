"""Use cases of the plant's own lists and defaults: causes, materials, new sessions, booths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..base.errors import RecordError
from ..base.records import utc_now
from ..base.spelling import key_of
from .plant import PLANT, Defaults, Material, OtherName, Plant
from .product_desk import Desk, DeskAction


def the_plant(desk: Desk) -> Plant:
    """The plant's lists; the usual ones as long as nobody changed them."""
    return desk.noun(Plant, PLANT) or Plant()


def agree_causes(desk: Desk, causes: Sequence[str], *, who: str, why: str) -> Plant:
    """Change the short list of causes; what was decided with another one stays as it is.

    Raises RecordError without a reason, for an empty list, or a cause that stands there twice.
    """
    if not why.strip():
        raise RecordError("Say why the list of causes changes; the journal keeps it.")
    texts = tuple(" ".join(cause.split()) for cause in causes if cause.strip())
    with desk.action(who=who, why=why.strip()) as act:
        return _put(act, replace(the_plant(act), causes=texts), "causes agreed")


def keep_defaults(desk: Desk, defaults: Defaults, *, who: str) -> Plant:
    """Change what new sessions begin with; sessions on record stay as they are."""
    with desk.action(who=who, why="defaults of new sessions") as act:
        plant = the_plant(act)
        if plant.defaults == defaults:
            return plant
        return _put(act, replace(plant, defaults=defaults), "defaults")


def keep_booth_address(desk: Desk, address: str, *, who: str) -> Plant:
    """Keep under which address booths reach the program, for the cards of later sessions."""
    with desk.action(who=who, why="address of the booths") as act:
        plant = the_plant(act)
        if plant.booths_at == address:
            return plant
        return _put(act, replace(plant, booths_at=address), "address of the booths")


def same_material(desk: Desk, name: str, other: str, *, by: str, who: str, on: str = "") -> Plant:
    """Keep that a raw material goes by another name too, with who said so.

    Parameters
    ----------
    name, other : str
        One that the list knows, or a new one, and the other name.
    on : str
        Date where it was said on another day than today.

    Raises RecordError without a name of who said so, where both are the same already, or where
    the other one is on the list with further names of its own.
    """
    name, other = " ".join(name.split()), " ".join(other.split())
    alias = OtherName(name=other, said_by=" ".join(by.split()), said_on=on or utc_now()[:10])
    with desk.action(who=who, why=f"{other} is {name}") as act:
        plant = the_plant(act)
        names = plant.names_of(name)
        if key_of(other) in map(key_of, names):
            raise RecordError(f"{other} and {name} are one material already.")
        if len(further := plant.names_of(other)) > 1:
            raise RecordError(
                f"{other} is on the list as {further[0]}: part it from that material first."
            )
        there = [each for each in plant.materials if each.names == names]
        old = there[0] if there else Material(name=name, others=())
        new = replace(old, others=(*old.others, alias))
        rest = tuple(each for each in plant.materials if each != old)
        return _put(act, replace(plant, materials=(*rest, new)), "names of a material")


def another_material(desk: Desk, other: str, *, who: str, why: str) -> Plant:
    """Take a name off the material that it was said to be.

    Raises RecordError without a reason, or for a name that is no other name of a material.
    """
    if not why.strip():
        raise RecordError(f"Say why {other} is another material; the journal keeps it.")
    with desk.action(who=who, why=why.strip()) as act:
        plant = the_plant(act)
        kept = [
            replace(each, others=tuple(o for o in each.others if key_of(o.name) != key_of(other)))
            for each in plant.materials
        ]
        if tuple(kept) == plant.materials:
            raise RecordError(f"{other} is not on the list as another name of a material.")
        left = tuple(each for each in kept if each.others)
        return _put(act, replace(plant, materials=left), "names of a material")


def _put(act: DeskAction, new: Plant, what: str) -> Plant:
    act.put_noun(new, expect=act.noun(Plant, PLANT), what=what)
    return new

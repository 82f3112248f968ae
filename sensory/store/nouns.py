"""Products, references and batches as rows of the register, and back.

A row holds the whole noun as JSON; the other columns and the links follow from it, so that
they can be sought quickly and checked against it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ..base.records import digest_of
from ..base.spelling import key_of
from ..release.batch_records import BatchRecord, ProductRecord
from ..release.references import Reference

Noun = ProductRecord | Reference | BatchRecord
Change = Callable[[str], str]

KINDS: dict[str, type[Noun]] = {
    "product": ProductRecord,
    "reference": Reference,
    "batch": BatchRecord,
}


def kind_of(noun: Noun) -> str:
    """Name of the kind of a noun."""
    return next(name for name, kind in KINDS.items() if isinstance(noun, kind))


def id_of(kind: str, name: str) -> str:
    """Under which identifier a noun stands in register and journal.

    >>> id_of("batch", "PE-14") == id_of("batch", " pe-14"), len(id_of("batch", "PE-14"))
    (True, 32)
    """
    return digest_of([kind, key_of(name)])[:32]


def row_of(kind: str, content: Mapping[str, Any]) -> dict[str, Any]:
    """The columns of a noun that is given as plain data."""
    batch = content["batch"] if kind == "batch" else {}
    noun = batch or (content["product"] if kind == "product" else content)
    name = noun["number"] if kind == "batch" else noun["name"]
    product = name if kind == "product" else noun["product"]
    return {
        "id": id_of(kind, name),
        "kind": kind,
        "name": key_of(name),
        "product": key_of(product),
        "on_date": noun.get("made_on", ""),
        "line": batch.get("line", ""),
        "state": KINDS[kind].from_dict(dict(content)).state if kind == "batch" else "",  # type: ignore[union-attr]
        "content": dict(content),
    }


def links_of(kind: str, content: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Kind and key of what a noun hangs together with."""
    if kind != "batch":
        return []
    return sorted(BatchRecord.from_dict(dict(content)).links())


def noun_of(kind: str, content: Mapping[str, Any]) -> Noun:
    """The noun that plain data describe."""
    return KINDS[kind].from_dict(dict(content))


def renamed(content: Mapping[str, Any], change: Change) -> dict[str, Any]:
    """Plain data of a noun with each name of a person changed."""
    new = dict(content)
    if new.get("clearance"):
        new["clearance"] = _changed(new["clearance"], ("food_safe_by", "allergens_by"), change)
    if new.get("decisions"):
        new["decisions"] = [_changed(one, ("decided_by",), change) for one in new["decisions"]]
    return new


def _changed(plain: Mapping[str, Any], names: tuple[str, ...], change: Change) -> dict[str, Any]:
    there = {name: change(plain[name]) for name in names if plain.get(name)}
    return {**plain, **there}

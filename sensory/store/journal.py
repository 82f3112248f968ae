"""The chained journal: each entry carries the SHA-256 of the one before.

A change behind its back breaks the chain, or leaves the tables unlike what the journal,
played again from its first entry, makes of them. Against somebody who rewrites both, the
last hash has to be kept elsewhere: the report prints the digest of its question.

Why so
------
The number of an entry counts, not its time. A clock set back is written as it was; order and
chain do not depend on it. Imported entries bring their own times.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, TypeVar

from ..base.errors import SensoryError
from ..base.records import JsonObject, digest_of, utc_now
from .nouns import row_of

START = "0" * 64
OUTCOME = "outcome"
"""Where an entry holds the SHA-256 of what its session showed."""
STAFF = ("roles", "may", "active")
"""What the record holds of a person who signs, beside the name."""

Key = TypeVar("Key", str, tuple[str, int, str])
Content = tuple[str, JsonObject]
"""What an entry belongs to, and what it says."""
Place = tuple[str, int, str]
"""Session, line and column name of a cell."""


def next_entry(last: Any, *, content: JsonObject, **words: str) -> JsonObject:
    """The columns of the entry after `last`, which has `number` and `sha256`, or is None."""
    entry = {
        "number": last.number + 1 if last else 1,
        "at": utc_now(),
        **words,
        "content": json.dumps(content, sort_keys=True, ensure_ascii=False),
        "before": last.sha256 if last else START,
    }
    return entry | {"sha256": _sha(entry)}


def broken_links(entries: Iterable[JsonObject]) -> list[str]:
    """A sentence for each entry that is not as it was written, is missing, or was put in."""
    broken, before, number = [], START, 0
    for entry in entries:
        number += 1
        if not sound(entry, number=number, before=before):
            broken.append(not_as_written(entry))
            number = entry["number"]
        before = entry["sha256"]
    return broken


def sound(entry: JsonObject, *, number: int, before: str) -> bool:
    """Whether an entry is as it was written, and follows on the one before it."""
    in_place = bool(entry["number"] == number and entry["before"] == before)
    return in_place and _sha(entry) == entry["sha256"]


def not_as_written(entry: JsonObject) -> str:
    """The sentence for a broken entry."""
    return f"Journal entry {entry['number']} is not as it was written."


def _sha(entry: JsonObject) -> str:
    try:
        return digest_of({key: value for key, value in entry.items() if key != "sha256"})
    except TypeError:  # a value of another type was put there
        return ""


def played_again(
    contents: Iterable[Content],
) -> tuple[dict[str, JsonObject], dict[Place, str]]:
    """The columns of sessions, and the texts of cells, that entries lead to from the first."""
    sessions: dict[str, JsonObject] = {}
    cells: dict[Place, str] = {}
    for key, content in contents:
        if not key or holds_noun(content):
            continue
        if "session" in content:
            sessions[key] = dict(content["session"])
        sessions.setdefault(key, {}).update(content.get("changed", {}))
        for line, texts in content.get("cells", {}).items():
            cells |= {(key, int(line), name): text for name, text in texts.items() if text}
        for change in content.get("changes", []):
            place = (key, change["line"], change["name"])
            cells[place] = change["new"]
            if not change["new"]:
                del cells[place]
    return sessions, cells


def nested(texts: Mapping[Place, str]) -> dict[int, dict[str, str]]:
    """Texts of the cells of one session by line and column name."""
    cells: dict[int, dict[str, str]] = {}
    for (_, line, name), text in texts.items():
        cells.setdefault(line, {})[name] = text
    return cells


def holds_noun(content: object) -> bool:
    """Whether the content of an entry is of the register; no session has such entries."""
    return isinstance(content, Mapping) and "noun" in content


# The tables beside it.


def differences(
    contents: Iterable[Content], sessions: Iterable[JsonObject], cells: Mapping[Place, str]
) -> list[str]:
    """Where the tables are not what the journal makes of them."""
    expected, written = played_again(contents)
    columns = {key: _normal(row) for key, row in expected.items()}
    there = {row["id"]: _normal(row) for row in sessions}
    return [f"Session {key} is not what the journal says." for key in _unlike(columns, there)] + [
        f"Session {place[0]}, row {place[1]}, {place[2]}: {cells.get(place)!r} stands "
        f"where the journal has {written.get(place)!r}."
        for place in _unlike(written, cells)
    ]


def differing_outcomes(contents: Iterable[Content], kept: Mapping[str, object]) -> list[str]:
    """Sessions of which something else is kept than the journal has sealed, or nothing."""
    sealed = {key: content[OUTCOME] for key, content in contents if OUTCOME in content}
    there = {key: digest_of(plain) for key, plain in kept.items()}
    return [f"What session {key} showed is not what was kept." for key in _unlike(sealed, there)]


def differing_people(contents: Iterable[JsonObject], people: Iterable[JsonObject]) -> list[str]:
    """Persons whose names are not those that the journal has sealed."""
    seals: JsonObject = {}
    for content in contents:
        seals |= content.get("people", {})
        seals |= dict.fromkeys(content.get("erased", ()), content.get("shown_as"))
    there = {row["id"]: _sealed(row) for row in people}
    return [f"The name of person {key} is not as it was written." for key in _unlike(seals, there)]


def _sealed(row: JsonObject) -> object:
    """What the journal has to hold for a row of people; of an erased one, its number."""
    texts = (row["name"], row["sought"], row["salt"])
    if row["erased"] is not None:
        return row["erased"] if texts == (None, None, None) else ""
    if row["sought"] != digest_of(row["name"]):
        return ""
    return digest_of([row["salt"], row["name"]])


def differing_nouns(
    contents: Iterable[Content],
    rows: Iterable[JsonObject],
    links: Iterable[tuple[str, str, str]],
) -> list[str]:
    """Where the register is not what the journal makes of it."""
    expected = {key: content["noun"] for key, content in contents if holds_noun(content)}
    there = {row["id"]: row for row in rows}
    tied: dict[str, list[tuple[str, str]]] = {}
    for key, kind, value in links:
        tied.setdefault(key, []).append((kind, value))
    wrong = []
    for key in sorted(expected.keys() | there.keys() | tied.keys()):
        try:
            row, ties = (None, []) if key not in expected else row_of(**expected[key])
        except _UNREADABLE:
            wrong.append(f"What the journal has of {key} is no product, reference or batch.")
            continue
        if _normal(row) != _normal(there.get(key)) or sorted(tied.get(key, [])) != ties:
            shown = row or there.get(key) or {"kind": "Register entry", "name": key}
            wrong.append(f"{shown['kind']} {shown['name']} is not what the journal says.")
    return [f"{line[0].upper()}{line[1:]}" for line in wrong]


_UNREADABLE = (LookupError, TypeError, ValueError, AttributeError, SensoryError)


def differing_staff(contents: Iterable[JsonObject], rows: Iterable[JsonObject]) -> list[str]:
    """Who signs otherwise, or without being so on record in the journal."""
    expected = {
        content["staff"]["person"]: {key: content["staff"][key] for key in STAFF}
        for content in contents
        if isinstance(content.get("staff"), dict) and content["staff"].keys() >= {"person", *STAFF}
    }
    there = {row["person"]: row["content"] for row in rows}
    wrong = _unlike(expected, there)
    return [f"What {key} may sign is not what the journal says." for key in wrong]


def _unlike(expected: Mapping[Key, object], there: Mapping[Key, object]) -> Iterator[Key]:
    for key in sorted(expected.keys() | there.keys()):
        if expected.get(key) != there.get(key):
            yield key


def _normal(row: JsonObject | None) -> str:
    """A row in a fixed spelling; a column that is empty may be one that came later."""
    there = row and {name: cell for name, cell in row.items() if cell is not None}
    return json.dumps(there, sort_keys=True, default=repr)

"""The chained journal: each entry carries the SHA-256 of the one before.

A change behind its back breaks the chain, or leaves the tables unlike what the journal,
played again from its first entry, makes of them. Against somebody who rewrites both, the
last hash has to be kept elsewhere: the report prints the digest of its question.

Why so
------
The number of an entry counts, not its time. A clock set back is written as it was; order and
chain do not depend on it. Imported entries bring their own times.

What can stand in a column of a damaged record is anything: no JSON, no text of Unicode, another
type. So a digest that cannot be made is empty, and what cannot be read is unlike everything.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from json.encoder import encode_basestring as _quoted
from typing import Any

from ..base.errors import SensoryError
from ..base.records import JsonObject, digest_of, utc_now
from .nouns import row_of

START = "0" * 64
OUTCOME = "outcome"
"""Where an entry holds the SHA-256 of what its session showed."""
ARCHIVE = "archive"
"""Where an entry says from which archive those after it were brought; it does nothing itself."""
ROLE = "role"
"""Where an entry says as what a person acted, as in `booth`."""
STAFF = ("roles", "may", "active")
"""What the record holds of a person who signs, beside the name."""

Content = tuple[str, JsonObject]
"""What an entry belongs to, and what it says."""
Lines = dict[int, dict[str, str]]
"""Texts of the cells of one session by line and column name."""
UNREADABLE = (
    *(LookupError, TypeError, ValueError, AttributeError, RecursionError),
    *(OverflowError, SensoryError),
)
"""What reading a value raises that another hand has put there."""
COLUMNS = ("number", "at", "session", "who", "what", "why", "content", "before", "sha256")
"""Columns of an entry, in the order in which a chain is read."""


def next_entry(last: Any, *, content: JsonObject, **words: str) -> JsonObject:
    """The columns of the entry after `last`, which has `number` and `sha256`, or is None."""
    entry: JsonObject = {
        "number": last.number + 1 if last else 1,
        "at": utc_now(),
        **words,
        "content": json.dumps(content, sort_keys=True, ensure_ascii=False),
        "before": last.sha256 if last else START,
    }
    return entry | {"sha256": _sha(*(entry[name] for name in COLUMNS[:-1]))}


def sound(entry: JsonObject, *, number: int, before: str) -> bool:
    """Whether an entry is as it was written, and follows on the one before it."""
    return sound_row(tuple(entry[name] for name in COLUMNS), number=number, before=before)


def sound_row(row: Any, *, number: int, before: str) -> bool:
    """The same for an entry as a row of `COLUMNS`."""
    if row[0] != number or row[7] != before:
        return False
    return _sha(*row[:-1]) == row[8]


def not_as_written(number: object) -> str:
    """The sentence for a broken entry."""
    return f"Journal entry {number} is not as it was written."


def _sha(
    number: int, at: str, session: str, who: str, what: str, why: str, content: str, before: str
) -> str:
    """`digest_of` the columns by name, written out: a record is checked by the million.

    >>> row = (7, "now", "s", "Mia", "cells", "“橙”", "{}", "00")
    >>> _sha(*row) == digest_of(dict(zip(COLUMNS, row)))
    True
    """
    try:
        text = (
            f'{{"at":{_quoted(at)},"before":{_quoted(before)},"content":{_quoted(content)},'
            f'"number":{number:d},"session":{_quoted(session)},"what":{_quoted(what)},'
            f'"who":{_quoted(who)},"why":{_quoted(why)}}}'
        )
        return hashlib.sha256(text.encode()).hexdigest()
    except (TypeError, ValueError):  # a value of another type was put there
        return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """What entries lead to, played from the first: by session or noun.

    `sessions`: the columns of sessions. `cells`: their texts. `nouns`: kind and content.
    `outcomes`: the SHA-256 of what a session showed; None where it shows nothing any more.
    """

    sessions: dict[str, JsonObject] = field(default_factory=dict)
    cells: dict[str, Lines] = field(default_factory=dict)
    nouns: dict[str, tuple[JsonObject, ...]] = field(default_factory=dict)
    outcomes: dict[str, str | None] = field(default_factory=dict)

    def play(self, key: str, content: JsonObject) -> None:
        """Play the next entry of a session or a noun; those of the record as a whole do nothing."""
        if not key or ARCHIVE in content:
            return
        if OUTCOME in content:
            self.outcomes[key] = content[OUTCOME]
        if holds_noun(content):
            self.nouns[key] = (content["noun"],)
            return
        if "session" in content:
            self.sessions[key] = dict(content["session"])
        self.sessions.setdefault(key, {}).update(content.get("changed", {}))
        lines = self.cells.setdefault(key, {})
        for line, texts in content.get("cells", {}).items():
            if "" in texts.values():
                texts = {name: text for name, text in texts.items() if text}
            if texts:
                lines.setdefault(int(line), {}).update(texts)
        for change in content.get("changes", ()):
            _change(lines, change)


def _change(lines: Lines, change: JsonObject) -> None:
    line, name = change["line"], change["name"]
    if change["new"]:
        lines.setdefault(line, {})[name] = change["new"]
        return
    del lines[line][name]
    if not lines[line]:
        del lines[line]


def played_again(contents: Iterable[Content]) -> Played:
    """What entries lead to, from the first."""
    played = Played()
    for key, content in contents:
        played.play(key, content)
    return played


def holds_noun(content: object) -> bool:
    """Whether the content of an entry is of the register; no session has such entries."""
    return isinstance(content, Mapping) and "noun" in content


# The tables beside it: a sentence for each difference.


def differing_session(key: str, expected: JsonObject | None, there: JsonObject | None) -> list[str]:
    """Whether a session is not what the journal makes of it."""
    if _normal(expected) == _normal(there):
        return []
    return [f"Session {key} is not what the journal says."]


def differing_cells(key: str, expected: Lines, there: Lines) -> list[str]:
    """Cells of a session that are not what the journal makes of them."""
    if expected == there:
        return []
    return [
        f"Session {key}, row {line}, {name}: {there.get(line, {}).get(name)!r} stands "
        f"where the journal has {expected.get(line, {}).get(name)!r}."
        for line in in_order(expected.keys() | there.keys())
        for name in in_order(expected.get(line, {}).keys() | there.get(line, {}).keys())
        if expected.get(line, {}).get(name) != there.get(line, {}).get(name)
    ]


def differing_outcome(key: str, sealed: str | None, kept: object) -> list[str]:
    """Whether something else is kept of what a session showed than the journal has sealed.

    `kept`: None where nothing is.
    """
    if sealed == (None if kept is None else _digest(kept)):
        return []
    return [f"What session {key} showed is not what was kept."]


def differing_noun(
    key: str,
    expected: tuple[JsonObject, ...],
    there: JsonObject | None,
    links: list[tuple[str, str]],
) -> list[str]:
    """Whether a noun of the register, or what it hangs together with, is not as the journal says.

    `expected`: its kind and content after the journal, or nothing.
    """
    try:
        row, ties = row_of(**expected[0]) if expected else (None, [])
    except UNREADABLE:
        return [f"What the journal has of {key} is no product, reference or batch."]
    if _normal(row) == _normal(there) and in_order(links) == ties:
        return []
    shown = row or there or {"kind": "Register entry", "name": key}
    line = f"{shown['kind']} {shown['name']} is not what the journal says."
    return [f"{line[0].upper()}{line[1:]}"]


def seals_in(content: JsonObject) -> JsonObject:
    """By person, what an entry says of the name: its seal, or the number of who was erased."""
    erased = dict.fromkeys(content.get("erased", ()), content.get("shown_as"))
    return {**content.get("people", {}), **erased}


def differing_people(seals: JsonObject, rows: Iterable[JsonObject]) -> list[str]:
    """Persons whose names are not those that the journal has sealed."""
    there = {row["id"]: _sealed(row) for row in rows}
    return [
        f"The name of person {key} is not as it was written."
        for key in in_order(seals.keys() | there.keys())
        if seals.get(key) != there.get(key)
    ]


def _sealed(row: JsonObject) -> object:
    """What the journal has to hold for a row of people; of an erased one, its number."""
    texts = (row["name"], row["sought"], row["salt"])
    if row["erased"] is not None:
        return row["erased"] if texts == (None, None, None) else ""
    if row["sought"] != _digest(row["name"]):
        return ""
    return _digest([row["salt"], row["name"]])


def differing_staff(expected: JsonObject, rows: Iterable[JsonObject]) -> list[str]:
    """Who signs otherwise, or without being so on record in the journal."""
    there = {row["person"]: row["content"] for row in rows}
    return [
        f"What {key} may sign is not what the journal says."
        for key in in_order(expected.keys() | there.keys())
        if key not in expected or key not in there or _normal(expected[key]) != _normal(there[key])
    ]


def in_order(keys: Iterable[Any]) -> list[Any]:
    """Keys in order, as they are written where another hand has put several types there."""
    try:
        return sorted(keys)
    except TypeError:
        return sorted(keys, key=repr)


def _digest(plain: object) -> str:
    try:
        return digest_of(plain)
    except (TypeError, ValueError, RecursionError):
        return ""


def _normal(row: object) -> str:
    """A row in a fixed spelling; a column that is empty may be one that came later."""
    there = row
    if isinstance(row, Mapping):
        there = {name: cell for name, cell in row.items() if cell is not None}
    return json.dumps(there, sort_keys=True, default=repr)

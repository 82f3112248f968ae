"""The chained journal: each entry carries the SHA-256 of the one before.

A change behind its back breaks the chain, or leaves the tables unlike what the journal,
played again from its first entry, makes of them. Against somebody who rewrites both, the
last hash has to be kept elsewhere: the report prints the digest of its question.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from ..base.errors import SensoryError
from ..base.records import digest_of, utc_now
from .nouns import links_of, noun_of, row_of

START = "0" * 64
OUTCOME = "outcome"
"""Where an entry holds the SHA-256 of what its session showed."""


def next_entry(last: Any, *, content: Any, **words: str) -> dict[str, Any]:
    """The columns of the entry after `last`, which has `number` and `sha256`, or is None."""
    entry = {
        "number": last.number + 1 if last else 1,
        "at": utc_now(),
        **words,
        "content": json.dumps(content, sort_keys=True, ensure_ascii=False),
        "before": last.sha256 if last else START,
    }
    return entry | {"sha256": _sha(entry)}


def broken_links(entries: Iterable[Mapping[str, Any]]) -> list[str]:
    """A sentence for each entry that is not as it was written, is missing, or was put in."""
    broken, before, number = [], START, 0
    for entry in entries:
        number += 1
        if not sound(entry, number=number, before=before):
            broken.append(not_as_written(entry))
            number = entry["number"]
        before = entry["sha256"]
    return broken


def sound(entry: Mapping[str, Any], *, number: int, before: str) -> bool:
    """Whether an entry is as it was written, and follows on the one before it."""
    in_place = bool(entry["number"] == number and entry["before"] == before)
    return in_place and _sha(entry) == entry["sha256"]


def not_as_written(entry: Mapping[str, Any]) -> str:
    """The sentence for a broken entry."""
    return f"Journal entry {entry['number']} is not as it was written."


def differences(
    entries: Iterable[Mapping[str, Any]],
    sessions: Iterable[Mapping[str, Any]],
    cells: Iterable[tuple[Any, ...]],
) -> list[str]:
    """Where the tables are not what the journal makes of them."""
    expected, written = played_again(entries)
    there = {row["id"]: dict(row) for row in sessions}
    typed = {(session, line, name): text for session, line, name, text in cells}
    lines = [
        f"Session {key} is not what the journal says."
        for key in sorted(expected.keys() | there.keys())
        if _normal(expected.get(key)) != _normal(there.get(key))
    ]
    places = sorted(
        place for place in written.keys() | typed.keys() if written.get(place) != typed.get(place)
    )
    return lines + [
        f"Session {session}, row {line}, {name}: {typed.get((session, line, name))!r} stands "
        f"where the journal has {written.get((session, line, name))!r}."
        for session, line, name in places
    ]


def differing_outcomes(
    entries: Iterable[Mapping[str, Any]], kept: Iterable[tuple[str, Any]]
) -> list[str]:
    """Sessions of which something else is kept than the journal has sealed, or nothing."""
    sealed: dict[str, Any] = {}
    for entry in entries:
        content = json.loads(entry["content"])
        if OUTCOME in content:
            sealed[entry["session"]] = content[OUTCOME]
    there = {session: digest_of(plain) for session, plain in kept}
    return [
        f"What session {key} showed is not what was kept."
        for key in sorted(sealed.keys() | there.keys())
        if sealed.get(key) != there.get(key)
    ]


def differing_people(
    contents: Iterable[Mapping[str, Any]], people: Iterable[Mapping[str, Any]]
) -> list[str]:
    """Persons whose names are not those that the journal has sealed."""
    seals: dict[str, Any] = {}
    for content in contents:
        seals |= content.get("people", {})
        seals |= dict.fromkeys(content.get("erased", ()), content.get("shown_as"))
    there = {row["id"]: _sealed(row) for row in people}
    return [
        f"The name of person {one} is not as it was written."
        for one in sorted(seals.keys() | there.keys())
        if seals.get(one) != there.get(one)
    ]


def _sealed(row: Mapping[str, Any]) -> Any:
    """What the journal has to hold for a row of people; of an erased one, its number."""
    texts = (row["name"], row["sought"], row["salt"])
    if row["erased"] is not None:
        return row["erased"] if texts == (None, None, None) else ""
    if row["sought"] != digest_of(row["name"]):
        return ""
    return digest_of([row["salt"], row["name"]])


def played_again(
    entries: Iterable[Mapping[str, Any]],
) -> tuple[dict[str, dict[str, Any]], dict[tuple[str, int, str], str]]:
    """The columns of sessions, and the texts of cells, that entries lead to from the first."""
    sessions: dict[str, dict[str, Any]] = {}
    cells: dict[tuple[str, int, str], str] = {}
    for entry in (one for one in entries if one["session"]):
        content, key = json.loads(entry["content"]), entry["session"]
        if holds_noun(content):
            continue
        if "session" in content:
            sessions[key] = content["session"]
        sessions.setdefault(key, {}).update(content.get("changed", {}))
        for line, texts in content.get("cells", {}).items():
            cells |= {(key, int(line), name): text for name, text in texts.items() if text}
        for change in content.get("changes", []):
            place = (key, change["line"], change["name"])
            cells[place] = change["new"]
            if not change["new"]:
                del cells[place]
    return sessions, cells


def holds_noun(content: Any) -> bool:
    """Whether the content of an entry is of the register; no session has such entries."""
    return isinstance(content, Mapping) and "noun" in content


def nouns_played_again(entries: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Kind and plain data of products, references and batches that entries lead to.

    They are as the journal has them, so that they may be no nouns at all.
    """
    read = ((entry["session"], json.loads(entry["content"])) for entry in entries)
    return {key: content["noun"] for key, content in read if holds_noun(content)}


def differing_nouns(
    entries: Iterable[Mapping[str, Any]],
    rows: Iterable[Mapping[str, Any]],
    links: Iterable[tuple[Any, ...]],
) -> list[str]:
    """Where the register is not what the journal makes of it."""
    expected = nouns_played_again(entries)
    there = {row["id"]: dict(row) for row in rows}
    tied: dict[str, list[tuple[str, str]]] = {}
    for key, kind, value in links:
        tied.setdefault(key, []).append((kind, value))
    found = []
    for key in sorted(expected.keys() | there.keys() | tied.keys()):
        try:
            row, ties = _as_stored(expected[key]) if key in expected else (None, [])
        except _UNREADABLE:
            found.append(f"What the journal has of {key} is no product, reference or batch.")
            continue
        if _normal(row) != _normal(there.get(key)) or sorted(tied.get(key, [])) != ties:
            shown = row or there.get(key) or {"kind": "Register entry", "name": key}
            found.append(f"{shown['kind']} {shown['name']} is not what the journal says.")
    return [f"{line[0].upper()}{line[1:]}" for line in found]


_UNREADABLE = (LookupError, TypeError, ValueError, AttributeError, SensoryError)


def _as_stored(noun: Any) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    """Row and links of a noun of the journal."""
    kind, content = noun["kind"], noun["content"]
    noun_of(kind, content)
    return row_of(kind, content), links_of(kind, content)


def nested(texts: Mapping[tuple[str, int, str], str]) -> dict[int, dict[str, str]]:
    """Texts of the cells of one session by line and column name."""
    cells: dict[int, dict[str, str]] = {}
    for (_, line, name), text in texts.items():
        cells.setdefault(line, {})[name] = text
    return cells


def _normal(row: Mapping[str, Any] | None) -> str:
    """A row in a fixed spelling; a column that is empty may be one that came later."""
    there = row if row is None else {name: cell for name, cell in row.items() if cell is not None}
    return json.dumps(there, sort_keys=True, default=repr)


def _sha(entry: Mapping[str, Any]) -> str:
    plain = {key: value for key, value in entry.items() if key != "sha256"}
    try:
        return digest_of(plain)
    except TypeError:  # a value of another type was put there
        return ""

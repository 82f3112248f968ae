"""What was done after a finding had been seen, read out of the journal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..base.records import JournalEntry


def done_afterwards(entries: Sequence[JournalEntry]) -> tuple[str, ...]:
    """What happened once the finding had been shown for the first time."""
    closings = [entry.number for entry in entries if entry.what == "closed"]
    first = closings[0] if closings else entries[-1].number if entries else 0
    lines = []
    for entry in entries:
        if entry.number <= first:
            continue
        if entry.what == "reopened":
            lines.append(f"{entry.at}: ballots opened again by {entry.who}. Reason: {entry.why}")
        for change in entry.content.get("changes", []):
            place = f"row {change['line']}, {change['name']}"
            words = f"{change['old']!r} became {change['new']!r}"
            lines.append(f"{entry.at}: {place}: {words} ({entry.who})")
        if entry.what == "described":
            lines += [f"{entry.at}: {words} ({entry.who})" for words in _described(entry.content)]
    return tuple(lines)


def _described(content: Mapping[str, Any]) -> list[str]:
    """Which fields a change of the description touched."""
    lines = []
    for part, new in content["changed"].items():
        old = content["old"][part]
        if isinstance(new, dict) and isinstance(old, dict):
            lines += [
                f"{part}, {name}: {old.get(name)!r} became {value!r}"
                for name, value in new.items()
                if old.get(name) != value
            ]
    return lines

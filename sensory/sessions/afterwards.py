"""What was done after a finding had been seen, read out of the journal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..serving.ballot_line import is_answer
from .session import JournalEntry

_SERVING = frozenset(
    {
        "allergens declared",
        "excluded",
        "planned again",
        "late assessor",
        "absent assessor",
        "serving confirmed",
        "serving not confirmed",
        "minor",
        "adverse reaction",
        "reaction taken up",
    }
)
"""Entries about serving and safety that are told as they are."""


def done_afterwards(entries: Sequence[JournalEntry]) -> tuple[str, ...]:
    """What happened once the finding had been shown for the first time, in words.

    The first line sums up; then come the reasons and every change.
    """
    closings = [entry for entry in entries if entry.what == "closed"]
    if not closings:
        return ()
    later = [entry for entry in entries if entry.number > closings[0].number]
    lines = [line for entry in later for line in _lines(entry)]
    if not lines:
        return ()
    first = f"The first finding was {closings[0].why}."
    changes = [change for entry in later for change in entry.content.get("changes", [])]
    return (f"{first} {_summed_up(changes)}", *lines)


def _lines(entry: JournalEntry) -> list[str]:
    lines = []
    if entry.what == "reopened":
        lines.append(f"{entry.at}: ballots opened again by {entry.by}. Reason: {entry.why}")
    for change in entry.content.get("changes", []):
        place = f"row {change['line']}, {change['name']}"
        words = f"{change['old']!r} became {change['new']!r}"
        lines.append(f"{entry.at}: {place}: {words} ({entry.by})")
    if entry.what in _SERVING:
        lines.append(f"{entry.at}: {entry.what}: {entry.why} ({entry.by})")
    if entry.what == "late ballot":
        lines.append(f"{entry.at}: {entry.why} ({entry.by})")
    if entry.what == "described":
        lines += [f"{entry.at}: {words} ({entry.by})" for words in _described(entry.content)]
    return lines


def _summed_up(changes: Sequence[Mapping[str, Any]]) -> str:
    answers = [change for change in changes if is_answer(change["name"])]
    added = sum(not change["old"] for change in answers)
    changed = sum(bool(change["old"]) for change in answers)
    return (
        f"Since then {added} answers were added, {changed} answers changed or removed, and "
        f"{len(changes) - len(answers)} other cells changed."
    )


def _described(content: Mapping[str, Any]) -> list[str]:
    """Which fields a change of the description touched."""
    lines = []
    for part, new in content["changed"].items():
        old = content["old"][part]
        if isinstance(new, dict) and isinstance(old, dict):
            lines += [
                f"{part}, {name}: {old.get(name)!r} became {value!r}"
                for name, value in new.items()
                if old.get(name) != value and name != "care"
            ]
            care, before = new.get("care", {}), old.get("care", {})
            lines += [
                f"{name.replace('_', ' ')}: {before.get(name, '')!r} became {value!r}"
                for name, value in care.items()
                if before.get(name, "") != value and name != "reactions"
            ]
    return lines

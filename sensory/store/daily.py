"""The whole record is checked once a day, and the newest hash can be kept in a file elsewhere.

Why so
------
The result stands beside the record (table `checks`), not in its chain: a sentence quotes what
another hand has written, and the chain takes nothing back. A file of anchors gets a line after
each sound check: time, number of the newest entry, its hash. Whoever rewrites the last entries
with all hashes does not reach that file where it lies on another machine; the next check compares.
"""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ..base.errors import RecordError
from ..base.records import utc_now
from ..sessions.session import Check
from .repository import Repository

_EACH = timedelta(days=1)
_FIRST_AFTER, _LOOKED_EACH = 60.0, 1800.0
_MOST = 100


def check_now(store: Repository, anchors: Path | None = None) -> Check:
    """Check the whole record and note when, and with what result.

    Parameters
    ----------
    anchors : path, optional
        File of earlier anchors, compared and, where nothing is wrong, added to.

    Raises RecordError where the record is away, or the result can be noted nowhere.
    """
    newest, wrong = store.newest(), store.verify()
    if anchors is not None:
        wrong += differing_anchors(store, anchors)
    check = Check(
        at=utc_now(),
        number=newest.number if newest else 0,
        sha256=newest.sha256 if newest else "",
        wrong=tuple(wrong[:_MOST]),
    )
    store.note_check(check)
    if anchors is not None and newest and not wrong:
        write_anchor(store, anchors)
    return check


def is_due(check: Check | None) -> bool:
    """Whether the last check is a day old, or of a time to come, since the clock was set back."""
    if check is None:
        return True
    age = datetime.now(UTC) - datetime.fromisoformat(check.at)
    return not timedelta() <= age < _EACH


def check_daily(store: Repository, anchors: Path | None, stop: threading.Event) -> None:
    """Check the record whenever that is due, until `stop` is set; for a thread of its own."""
    wait = _FIRST_AFTER
    while not stop.wait(wait):
        wait = _LOOKED_EACH
        try:
            if is_due(store.last_check()):
                check_now(store, anchors)
        except (RecordError, ValueError):  # away, or damaged: said where a page reads it
            continue


# Anchors.


def write_anchor(store: Repository, file: Path) -> None:
    """Add time, number and hash of the newest entry to a file.

    Raises RecordError where it cannot be written.
    """
    newest = store.newest()
    if newest is None:
        return
    try:
        with file.open("a", encoding="utf-8") as lines:
            lines.write(f"{utc_now()} {newest.number} {newest.sha256}\n")
    except OSError as error:
        raise RecordError(f"The file of anchors {file} cannot be written: {error}.") from error


def differing_anchors(store: Repository, file: Path) -> list[str]:
    """A sentence for each line of a file of anchors that the journal no longer has."""
    try:
        lines = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
    except (OSError, UnicodeDecodeError) as error:
        return [f"The file of anchors {file} cannot be read: {error}."]
    wrong = []
    for place, line in enumerate(filter(None, lines), start=1):
        words = line.split()
        if len(words) != 3 or not words[1].isdecimal():
            wrong.append(f"Line {place} of {file} is no anchor: time, number and hash.")
        elif store.hash_of_entry(int(words[1][:9])) != words[2]:
            wrong.append(f"Journal entry {words[1]} is not the one that was noted on {words[0]}.")
    return wrong

"""A session as one file that outlives the program, and its way back into a record."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from ..base.errors import RecordError
from ..base.results import Table
from ..sessions.session import JournalEntry, StoredSession
from . import archive_form as form
from . import journal, people
from .archive_checks import serving_faults, settings_faults
from .repository import NO_NOUNS, Repository, Snapshot
from .rows import columns_of, entry_of, session_of, unpacked

_JOURNAL = ("number", "at", "session", "who", "what", "why", "content", "before", "sha256")
_PEOPLE = ("reference", "name", "erased")
_NEEDED = ("ballots_at_agreement", "agreed_at", "agreed_by", "digest", "closed_at")
_LONGEST_ID = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Archive:
    """What an archive holds, read and checked.

    Attributes
    ----------
    cells : dict of dict
        By line and column name.
    outcome : dict or None
        What the session showed, where it was kept.
    entries : tuple of JournalEntry
        The journal of the session, oldest first.
    erased : frozenset of str
        Names among these that stand for erased persons.
    numbers, report : bytes
        CSV and PDF, empty where there is none.
    digest : str
        SHA-256 of the whole file.
    """

    session: StoredSession
    cells: dict[int, dict[str, str]]
    outcome: dict[str, Any] | None
    entries: tuple[JournalEntry, ...]
    erased: frozenset[str]
    numbers: bytes
    report: bytes
    digest: str


def archive_session(
    store: Repository,
    session_id: str,
    *,
    numbers: Table | None = None,
    report: bytes = b"",
    version: str = "",
) -> bytes:
    """A zip with all that is on record of one session.

    Its journal stands there as in the chain, so that each hash can be computed again;
    `people.csv` resolves the references. Archives are beyond the reach of `erase_person`.

    Parameters
    ----------
    numbers : Table, optional
        The numbers of the finding.
    report : bytes
        The report as PDF, if there is one.
    version : str
        Of the program, for the description.

    Returns
    -------
    bytes
        The same record gives the same bytes.

    Raises RecordError when there is no such session.

    Examples
    --------
    >>> from sensory.store.repository import open_store
    >>> store, other = open_store("sqlite://"), open_store("sqlite://")
    >>> session = StoredSession(
    ...     id="quince",
    ...     created_at="2026-09-14T08:00:00+00:00",
    ...     details=SessionDetails(title="Quince cordial"),
    ...     question=Question(),
    ...     cautions={},
    ... )
    >>> with store.action(who="Zoë", why="typed") as act:
    ...     act.add(session, {2: {"answer": "412"}})
    >>> made = archive_session(store, "quince")
    >>> read_archive(made).cells
    {2: {'answer': '412'}}
    >>> import_archive(other, made, who="Zoë", why="moved") == session
    True
    >>> [entry.what for entry in other.entries("quince")], other.verify()
    (['imported', 'opened'], [])
    >>> store.close(), other.close()
    (None, None)
    """
    snapshot = store.snapshot(session_id)
    written = {
        form.BALLOTS: ballot_table(snapshot.cells),
        form.JOURNAL: _journal_table(snapshot),
        form.PEOPLE: _people_table(snapshot),
    }
    if numbers is not None:
        written[form.NUMBERS] = numbers
    files = {form.SESSION: form.json_bytes(columns_of(snapshot.session))}
    files |= {name: form.csv_bytes(table) for name, table in written.items()}
    if snapshot.outcome is not None:
        files[form.OUTCOME] = form.json_bytes(snapshot.outcome)
    if report:
        files[form.REPORT] = report
    title = snapshot.session.details.title or "Untitled session"
    words = {"name": f"session-{_plain(session_id)}", "title": title}
    words |= {"version": version} if version else {}
    return form.packed(files, _schemas(written), words)


def read_archive(content: bytes) -> Archive:
    """Read an archive; everything is checked before anything is given back.

    Raises RecordError when it is no archive, a sum or the hash of an entry is wrong, or the journal
    does not lead to the session and the ballots, or holds more than they.
    """
    files = form.unpacked_files(content)
    session = _session(form.json_object(files[form.SESSION], form.SESSION))
    cells = _cells(files[form.BALLOTS])
    known = _people(files[form.PEOPLE])
    names = {one.reference: one.name for one in known}
    raw = _journal(files[form.JOURNAL], session.id)

    def name_of(text: str) -> str:
        if not isinstance(text, str):
            raise TypeError(f"{str(text)[:40]} stands where a name should")
        return names.get(text, text)

    try:
        named = [people.in_entry(unpacked(entry), name_of) for entry in raw]
        leads_to = _played_again(named)
        entries = tuple(map(entry_of, named))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise RecordError(f"{form.JOURNAL} of the archive cannot be read: {error!r}.") from error
    if any(journal.holds_noun(entry["content"]) for entry in named):
        raise RecordError(NO_NOUNS)
    if leads_to != (session, cells):
        raise RecordError("The journal of the archive does not lead to its session and ballots.")
    outcome = _outcome(files, raw)
    return Archive(
        session=session,
        cells=cells,
        outcome=people.in_plain(outcome, name_of),
        entries=entries,
        erased=frozenset(one.name for one in known if one.erased),
        numbers=files.get(form.NUMBERS, b""),
        report=files.get(form.REPORT, b""),
        digest=hashlib.sha256(content).hexdigest(),
    )


def import_archive(store: Repository, content: bytes, *, who: str, why: str) -> StoredSession:
    """Put the session of an archive on record, with the journal that it brings.

    An entry says that it was imported and gives the SHA-256 of the archive. Persons who
    were erased are named after the archive, since numbers differ from record to record.

    Raises RecordError when the archive is not sound, or the session is on record already.
    """
    archive = read_archive(content)
    others = {name: f"{name} in archive {archive.digest[:8]}" for name in archive.erased}

    def change(text: str) -> str:
        return others.get(text, text)

    session = session_of(people.in_columns(columns_of(archive.session), change))
    entries = [
        replace(entry, who=change(entry.who), content=people.in_content(entry.content, change))
        for entry in archive.entries
    ]
    cells = people.in_cells(archive.cells, change)
    outcome = people.in_plain(archive.outcome, change)
    store.add_imported(
        session, cells, entries, outcome=outcome, digest=archive.digest, who=who, why=why
    )
    return session


# Writing.


def ballot_table(cells: Mapping[int, Mapping[str, str]]) -> Table:
    """Ballots as a table: the number of the line, then a column for each name.

    >>> print(ballot_table({2: {"order": "ABB", "answer": "412"}}))
    line  answer  order
    2     412     ABB
    """
    names = sorted({name for texts in cells.values() for name in texts})
    first = "line"
    while first in names:
        first += "_"
    rows = tuple(
        (line, *(texts.get(name) or None for name in names))
        for line, texts in sorted(cells.items())
    )
    return Table(columns=(first, *names), rows=rows)


def _journal_table(snapshot: Snapshot) -> Table:
    rows = tuple(tuple(entry[name] for name in _JOURNAL) for entry in snapshot.journal)
    return Table(columns=_JOURNAL, rows=rows)


def _people_table(snapshot: Snapshot) -> Table:
    known = sorted(snapshot.people)
    rows = tuple((one.reference, one.name, str(one.erased).lower()) for one in known)
    return Table(columns=_PEOPLE, rows=rows)


def _schemas(tables: Mapping[str, Table]) -> dict[str, Any]:
    line = tables[form.BALLOTS].columns[0]
    given = {
        form.BALLOTS: dict.fromkeys(tables[form.BALLOTS].columns, "string") | {line: "integer"},
        form.JOURNAL: {"number": "integer", "at": "datetime"},
        form.PEOPLE: {"erased": "boolean"},
    }
    keys = {form.BALLOTS: line, form.JOURNAL: "number", form.PEOPLE: "reference"}
    return {
        name: form.fields_of(table, **given.get(name, {}))
        | ({"primaryKey": [keys[name]]} if name in keys else {})
        for name, table in tables.items()
    }


def _plain(text: str) -> str:
    """An identifier as the standard allows it."""
    return "".join(one if one.isascii() and one.isalnum() else "-" for one in text.lower())


# Reading.


def _session(plain: dict[str, Any]) -> StoredSession:
    if lacking := [name for name in _NEEDED if name not in plain]:
        raise RecordError(f"In the archive, {form.SESSION} lacks {', '.join(lacking)}.")
    try:
        session = session_of(plain)
    except RecordError as error:
        raise RecordError(f"In the archive, {form.SESSION}: {error}") from error
    faults = settings_faults(session.question.settings) + serving_faults(session.serving)
    if not 0 <= session.ballots_at_agreement < 10**9:
        count = str(session.ballots_at_agreement)[:40]
        faults.append(f"{form.SESSION}, ballots_at_agreement cannot be {count}.")
    if not 0 < len(session.id) <= _LONGEST_ID:
        faults.append(f"{form.SESSION}: the id has to have 1 to 32 characters.")
    if faults:
        raise RecordError(f"In the archive, {faults[0]}")
    return session


def _cells(content: bytes) -> dict[int, dict[str, str]]:
    headings, rows = form.csv_rows(content, form.BALLOTS)
    if len(set(headings)) < len(headings):
        raise RecordError(f"{form.BALLOTS} of the archive has a column twice.")
    cells = {
        _number(row[0], form.BALLOTS): {
            name: text for name, text in zip(headings[1:], row[1:], strict=True) if text
        }
        for row in rows
    }
    if len(cells) < len(rows):
        raise RecordError(f"{form.BALLOTS} of the archive has a line twice.")
    return cells


def _people(content: bytes) -> list[people.Person]:
    headings, rows = form.csv_rows(content, form.PEOPLE)
    if tuple(headings) != _PEOPLE or any(row[2] not in ("true", "false") for row in rows):
        raise RecordError(f"{form.PEOPLE} of the archive has to hold {', '.join(_PEOPLE)}.")
    return [people.Person(row[0], row[1], row[2] == "true") for row in rows]


def _journal(content: bytes, session_id: str) -> list[dict[str, Any]]:
    headings, rows = form.csv_rows(content, form.JOURNAL)
    if tuple(headings) != _JOURNAL:
        raise RecordError(f"{form.JOURNAL} of the archive has to hold {', '.join(_JOURNAL)}.")
    entries = [dict(zip(headings, row, strict=True)) for row in rows]
    found: list[dict[str, Any]] = [
        {**entry, "number": _number(entry["number"], form.JOURNAL)} for entry in entries
    ]
    last = 0
    for entry in found:
        own = journal.sound(entry, number=entry["number"], before=entry["before"])
        if not own or entry["number"] <= last or entry["session"] != session_id:
            raise RecordError(f"In the archive: {journal.not_as_written(entry)}")
        last = entry["number"]
    return found


def _played_again(entries: list[dict[str, Any]]) -> tuple[StoredSession, dict[int, dict[str, str]]]:
    """The session and the cells that unpacked entries of one session lead to."""
    packed = [{**one, "content": form.json_bytes(one["content"])} for one in entries]
    sessions, texts = journal.played_again(packed)
    (columns,) = sessions.values()
    return session_of(columns), journal.nested(texts)


def _outcome(files: Mapping[str, bytes], entries: list[dict[str, Any]]) -> dict[str, Any] | None:
    """What the session showed, with references; it has to be what the journal has sealed."""
    content = files.get(form.OUTCOME)
    plain = None if content is None else form.json_object(content, form.OUTCOME)
    kept = [] if plain is None else [(entries[0]["session"], plain)]
    if journal.differing_outcomes(entries, kept):
        raise RecordError(f"The journal of the archive does not lead to its {form.OUTCOME}.")
    return plain


def _number(text: str, name: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise RecordError(f"{name} of the archive has a line of the number {text[:20]!r}.")
    return int(text)

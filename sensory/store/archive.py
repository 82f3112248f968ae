"""A session as one file that outlives the program, and its way back into a record.

Why so
------
An import brings the journal along. Its entries follow the entry `imported`, which names the
SHA-256 of the archive; so a report still says what was done after the finding. Nothing is
imported unless the journal, played again, gives session and ballots.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from ..base.errors import RecordError, SensoryError
from ..base.languages import languages
from ..base.records import JsonObject
from ..base.results import Table
from ..sessions.filling import fill_outcomes
from ..sessions.serving import Serving
from ..sessions.session import JournalEntry, StoredSession
from ..sessions.soundness import refuse_changed
from . import archive_form as form
from . import journal, people
from .repository import NO_NOUNS, Repository
from .rows import Cells, columns_of, entry_of, session_of, unpacked

JOURNAL_COLUMNS = ("number", "at", "session", "who", "what", "why", "content", "before", "sha256")
PEOPLE_COLUMNS = ("reference", "name", "erased")
_NEEDED = ("ballots_at_agreement", "agreed_at", "agreed_by", "digest", "closed_at")
_LONGEST_ID = 32
_SEAT = re.compile(r"seat [1-9][0-9]{0,5}", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Archive:
    """What an archive holds, read and checked.

    Attributes
    ----------
    outcome : dict or None
        What the session showed, where it was kept.
    erased : frozenset of str
        Names among these that stand for erased persons.
    numbers, report : bytes
        CSV and PDF, empty where there is none.
    digest : str
        SHA-256 of the whole file.
    """

    session: StoredSession
    cells: dict[int, dict[str, str]]
    outcome: JsonObject | None
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
    """A zip with all that is on record of one session; the same record gives the same bytes.

    Its journal stands there as in the chain, so that each hash can be computed again;
    `people.csv` resolves the references. Archives are beyond the reach of `erase_person`.

    Raises RecordError when there is no such session, or it was changed outside this program.
    """
    refuse_changed(store, session_id, "An archive")
    snapshot = store.snapshot(session_id)
    journal_rows = tuple(
        tuple(entry[name] for name in JOURNAL_COLUMNS) for entry in snapshot.journal
    )
    known = tuple((*person[:2], str(person.erased).lower()) for person in snapshot.people)
    tables = {
        form.BALLOTS: _ballot_table(snapshot.cells),
        form.JOURNAL: Table(columns=JOURNAL_COLUMNS, rows=journal_rows),
        form.PEOPLE: Table(columns=PEOPLE_COLUMNS, rows=known),
    }
    if numbers is not None:
        tables[form.NUMBERS] = numbers
    files = {form.SESSION: form.json_bytes(columns_of(snapshot.session))}
    files |= {name: form.csv_bytes(table) for name, table in tables.items()}
    if snapshot.outcome is not None:
        files[form.OUTCOME] = form.json_bytes(snapshot.outcome)
    if report:
        files[form.REPORT] = report
    plain_id = re.sub("[^a-z0-9]", "-", session_id.lower())
    title = snapshot.session.details.title or "Untitled session"
    words = {"name": f"session-{plain_id}", "title": title}
    words |= {"version": version} if version else {}
    return form.packed(files, _schemas(tables), words)


def read_archive(content: bytes) -> Archive:
    """Read an archive; everything is checked before anything is given back.

    Raises RecordError when it is no archive, a sum or the hash of an entry is wrong, or the journal
    does not lead to the session and the ballots, or holds more than they.
    """
    files = form.unpacked_files(content)
    session = _session(form.json_object(files[form.SESSION], form.SESSION))
    cells = _cells(files[form.BALLOTS])
    known = people_of(files[form.PEOPLE])
    names = {person.reference: person.name for person in known}
    raw = chain_of(files[form.JOURNAL], session.id)

    def name_of(text: str) -> str:
        if not isinstance(text, str):
            raise TypeError(f"{str(text)[:40]} stands where a name should")
        return names.get(text, text)

    try:
        named = people.renamed(list(map(unpacked, raw)), people.ENTRY, name_of)
        contents = [(session.id, entry["content"]) for entry in named]
        played = journal.played_again(contents)
        (columns,) = played.sessions.values()
        leads_to = session_of(columns), played.cells[session.id]
        entries = tuple(map(entry_of, named))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise RecordError(f"{form.JOURNAL} of the archive cannot be read: {error!r}.") from error
    if any(journal.holds_noun(entry.content) for entry in entries):
        raise RecordError(NO_NOUNS)
    if leads_to != (session, cells):
        raise RecordError("The journal of the archive does not lead to its session and ballots.")
    kept = files.get(form.OUTCOME)
    outcome = None if kept is None else form.json_object(kept, form.OUTCOME)
    if journal.differing_outcome(session.id, played.outcomes.get(session.id), outcome):
        raise RecordError(f"The journal of the archive does not lead to its {form.OUTCOME}.")
    return Archive(
        session=session,
        cells=cells,
        outcome=outcome,
        entries=entries,
        erased=frozenset(person.name for person in known if person.erased),
        numbers=files.get(form.NUMBERS, b""),
        report=files.get(form.REPORT, b""),
        digest=hashlib.sha256(content).hexdigest(),
    )


def import_archive(store: Repository, content: bytes, *, who: str, why: str) -> StoredSession:
    """Put the session of an archive on record, with the journal that it brings.

    An entry says that it was imported and gives the SHA-256 of the archive. Persons who
    were erased are named after the archive, since numbers differ from record to record.
    A closed session that does not bring what it showed is read once.

    Raises RecordError when the archive is not sound, or the session is on record already.
    """
    archive = read_archive(content)
    others = {name: f"{name} in archive {archive.digest[:8]}" for name in archive.erased}

    def change(text: str) -> str:
        return others.get(text, text)

    session = session_of(people.renamed(columns_of(archive.session), people.COLUMNS, change))
    entries = [
        replace(
            entry,
            who=change(entry.who),
            content=people.renamed(entry.content, people.CONTENT, change),
        )
        for entry in archive.entries
    ]
    store.add_imported(
        session,
        people.renamed(archive.cells, people.CELLS, change),
        entries,
        outcome=archive.outcome,
        digest=archive.digest,
        who=who,
        why=why,
    )
    if session.closed and archive.outcome is None:
        fill_outcomes(store, who=who)
    return session


# Writing.


def _ballot_table(cells: Cells) -> Table:
    """The number of the line, then a column for each name."""
    names = sorted({name for texts in cells.values() for name in texts})
    first = "line"
    while first in names:
        first += "_"
    rows = tuple(
        (line, *(texts.get(name) or None for name in names))
        for line, texts in sorted(cells.items())
    )
    return Table(columns=(first, *names), rows=rows)


def _schemas(tables: Mapping[str, Table]) -> dict[str, JsonObject]:
    line, *others = tables[form.BALLOTS].columns
    given = {
        form.BALLOTS: dict.fromkeys(others, "string") | {line: "integer"},
        form.JOURNAL: {"number": "integer", "at": "datetime"},
        form.PEOPLE: {"erased": "boolean"},
    }
    keys = {form.BALLOTS: line, form.JOURNAL: "number", form.PEOPLE: "reference"}
    return {
        name: form.fields_of(table, **given.get(name, {}))
        | ({"primaryKey": [keys[name]]} if name in keys else {})
        for name, table in tables.items()
    }


# Reading.


def _session(plain: JsonObject) -> StoredSession:
    if lacking := [name for name in _NEEDED if name not in plain]:
        raise RecordError(f"In the archive, {form.SESSION} lacks {', '.join(lacking)}.")
    try:
        session = session_of(plain)
    except RecordError as error:
        raise RecordError(f"In the archive, {form.SESSION}: {error}") from error
    faults = []
    settings = session.question.settings.values()
    if not all(isinstance(value, str | int | float) for value in settings):
        faults.append(f"{form.SESSION} has settings that are neither text nor number.")
    faults += serving_faults(session.serving)
    if not 0 <= session.ballots_at_agreement < 10**9:
        count = str(session.ballots_at_agreement)[:40]
        faults.append(f"{form.SESSION}, ballots_at_agreement cannot be {count}.")
    if not 0 < len(session.id) <= _LONGEST_ID:
        faults.append(f"{form.SESSION}: the id has to have 1 to 32 characters.")
    if faults:
        raise RecordError(f"In the archive, {faults[0]}")
    return session


def serving_faults(serving: Serving | None) -> list[str]:
    """What pages and booths could not read of a serving, though its kinds are right."""
    if serving is None:
        return []
    try:
        _ = serving.plan
    except SensoryError as error:
        return [f"{form.SESSION} has a plan that cannot be read in what is served: {error}"]
    if serving.language not in languages():
        return [f"{form.SESSION} has ballots in a language that is not known."]
    if not all(_SEAT.fullmatch(seat) for seat in serving.booths.values()):
        return [f"{form.SESSION} has booths without seats."]
    breaks = serving.breaks
    if breaks and not (0 <= breaks.minutes < 10**6 and 0 <= breaks.started < 10**6):
        return [f"{form.SESSION} has breaks that cannot be."]
    return []


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


def people_of(content: bytes) -> list[people.Person]:
    """The persons of an archive; RecordError where they cannot be read."""
    rows = form.csv_rows(content, form.PEOPLE, PEOPLE_COLUMNS)[1]
    if any(row[2] not in ("true", "false") for row in rows):
        raise RecordError(f"{form.PEOPLE} of the archive has to hold {', '.join(PEOPLE_COLUMNS)}.")
    return [people.Person(row[0], row[1], row[2] == "true") for row in rows]


def chain_of(content: bytes, session_id: str) -> list[JsonObject]:
    """The entries of a session or a noun, each as it was written; RecordError else."""
    entries: list[JsonObject] = []
    last = 0
    for row in form.csv_rows(content, form.JOURNAL, JOURNAL_COLUMNS)[1]:
        number = _number(row[0], form.JOURNAL)
        entry: JsonObject = {**dict(zip(JOURNAL_COLUMNS, row, strict=True)), "number": number}
        own = journal.sound(entry, number=number, before=entry["before"])
        if not own or number <= last or entry["session"] != session_id:
            raise RecordError(f"In the archive: {journal.not_as_written(number)}")
        if not _can_be_written(entry["content"]):
            raise RecordError(
                f"In the archive: entry {number} of the journal holds half a character, which no "
                "record can hold."
            )
        entries.append(entry)
        last = number
    return entries


def _can_be_written(content: str) -> bool:
    """Whether no text in it has half of a character of two parts: JSON can name it, UTF-8 not."""
    if "\\ud" not in content.lower():
        return True
    try:
        json.dumps(json.loads(content), ensure_ascii=False).encode()
    except (ValueError, RecursionError):
        return False
    return True


def _number(text: str, name: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise RecordError(f"{name} of the archive has a line of the number {text[:20]!r}.")
    return int(text)

"""A study as one file that outlives the program, and its way back into a record.

Its files: `study.json` with all that is kept, `rows.csv` with the rows as read, the journal as it
stands in the chain, the people whom it names, and the report.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace

from ..base.errors import RecordError
from ..base.records import JsonObject
from ..base.results import Table
from ..release.studies import Study
from ..sessions.session import JournalEntry
from ..sessions.soundness import refuse_wrong
from . import archive_form as form
from . import journal, people
from .archive import JOURNAL_COLUMNS, PEOPLE_COLUMNS, chain_of, people_of
from .nouns import id_of
from .repository import Repository
from .rows import entry_of, unpacked


def archive_study(store: Repository, study: Study, *, report: bytes = b"") -> bytes:
    """A zip with all that is on record of a study; the same record gives the same bytes.

    Archives are beyond the reach of `erase_person`.

    Raises RecordError when the study was changed outside this program.
    """
    refuse_wrong(store.verify_noun(study), "An archive")
    entries, known = store.chained(study)
    rows = tuple(tuple(entry[name] for name in JOURNAL_COLUMNS) for entry in entries)
    named = tuple((*person[:2], str(person.erased).lower()) for person in known)
    tables = {
        form.ROWS: study.table().table,
        form.JOURNAL: Table(columns=JOURNAL_COLUMNS, rows=rows),
        form.PEOPLE: Table(columns=PEOPLE_COLUMNS, rows=named),
    }
    files = {form.STUDY: form.json_bytes(study.to_dict())}
    files |= {name: form.csv_bytes(table) for name, table in tables.items()}
    if report:
        files[form.REPORT] = report
    schemas = {name: form.fields_of(table) for name, table in tables.items()}
    words = {"name": f"study-{study.key}", "title": study.title, "version": study.version}
    return form.packed(files, schemas, words)


def import_study(store: Repository, content: bytes, *, who: str, why: str) -> Study:
    """Put the study of an archive on record, with the journal that it brings.

    An entry says that it was imported and gives the SHA-256 of the archive.

    Raises RecordError when the archive is not sound, or the study is on record already.
    """
    files = form.unpacked_files(content, form.OF_STUDY, (*form.OF_STUDY, form.REPORT))
    study = Study.from_dict(form.json_object(files[form.STUDY], form.STUDY))
    if files[form.ROWS] != form.csv_bytes(study.table().table):
        raise RecordError(f"{form.ROWS} of the archive does not hold the rows of its study.")
    known = people_of(files[form.PEOPLE])
    digest = hashlib.sha256(content).hexdigest()
    others = {each.name: f"{each.name} in archive {digest[:8]}" for each in known if each.erased}

    def change(text: str) -> str:
        return others.get(text, text)

    entries = [
        replace(
            entry,
            who=change(entry.who),
            content=people.renamed(entry.content, people.CONTENT, change),
        )
        for entry in _entries(files, study, known)
    ]
    renamed = Study.from_dict(people.renamed(study.to_dict(), people.NOUN, change))
    store.add_imported_study(renamed, entries, digest=digest, who=who, why=why)
    return renamed


def _entries(
    files: dict[str, bytes], study: Study, known: list[people.Person]
) -> list[JournalEntry]:
    """The entries, with names; RecordError where they do not lead to the study."""
    key = id_of("study", study.name)
    names = {person.reference: person.name for person in known}
    raw = chain_of(files[form.JOURNAL], key)
    try:
        named: list[JsonObject] = people.renamed(
            list(map(unpacked, raw)), people.ENTRY, lambda text: names.get(text, text)
        )
        played = journal.played_again([(key, entry["content"]) for entry in named])
        (held,) = played.nouns[key]
        leads_to = Study.from_dict(held["content"])
        entries = list(map(entry_of, named))
    except journal.UNREADABLE as error:
        raise RecordError(f"{form.JOURNAL} of the archive cannot be read: {error!r}.") from error
    if leads_to != study or held.get("kind") != "study":
        raise RecordError("The journal of the archive does not lead to its study.")
    return entries

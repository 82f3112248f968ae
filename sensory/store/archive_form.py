"""The form of an archive: names of its files, tables as CSV, zip with sums.

A zip with a Frictionless Data Package: ``datapackage.json`` describes each file with its
fields, its length and its SHA-256; ``SHA256SUMS`` lists the same for ``sha256sum -c``.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
import struct
import sys
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

from ..base.errors import RecordError
from ..base.records import JsonObject
from ..base.results import Cell, Table

PACKAGE, SUMS = "datapackage.json", "SHA256SUMS"
SESSION, BALLOTS, JOURNAL, PEOPLE = "session.json", "ballots.csv", "journal.csv", "people.csv"
NUMBERS, REPORT, OUTCOME = "numbers.csv", "report.pdf", "outcome.json"
STUDY, ROWS = "study.json", "rows.csv"
NEEDED = (PACKAGE, SESSION, BALLOTS, JOURNAL, PEOPLE, SUMS)
ALLOWED = (*NEEDED, NUMBERS, REPORT, OUTCOME)
OF_STUDY = (PACKAGE, STUDY, ROWS, JOURNAL, PEOPLE, SUMS)
MOST_BYTES = 256 * 1024 * 1024

# What zipfile raises for damaged files, and for kinds that it cannot read.
_NO_ZIP = (
    *(zipfile.BadZipFile, zlib.error, struct.error, NotImplementedError, RuntimeError),
    *(EOFError, OSError, ValueError, LookupError, OverflowError),
)
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_PROFILE = "https://datapackage.org/profiles/2.0/"
_MEDIA = {"csv": "text/csv", "json": "application/json", "pdf": "application/pdf"}


# Tables.


def csv_bytes(table: Table) -> bytes:
    """A table as CSV after RFC 4180, in UTF-8; numbers as they are, not rounded."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(table.columns)
    writer.writerows([[_cell(cell) for cell in row] for row in table.rows])
    return text.getvalue().encode()


def csv_rows(
    content: bytes, name: str, headings: Sequence[str] = ()
) -> tuple[list[str], list[list[str]]]:
    """Headings and rows of such a file; RecordError where it is none, or has other headings."""
    try:
        with _long_fields():
            lines = list(csv.reader(io.StringIO(content.decode(), newline=""), strict=True))
    except (csv.Error, UnicodeDecodeError) as error:
        raise RecordError(f"{name} of the archive cannot be read: {error}.") from error
    if not lines or any(len(line) != len(lines[0]) for line in lines):
        raise RecordError(f"{name} of the archive has rows of different lengths, or none.")
    if headings and lines[0] != list(headings):
        raise RecordError(f"{name} of the archive has to hold {', '.join(headings)}.")
    return lines[0], lines[1:]


def fields_of(table: Table, **types: str) -> JsonObject:
    """The schema of a table: `types` by column, else number where only numbers stand."""
    columns = zip(table.columns, zip(*table.rows, strict=True), strict=False)
    numbers = {
        name: "number"
        for name, cells in columns
        if all(isinstance(cell, int | float) for cell in cells if cell is not None)
        and any(cell is not None for cell in cells)
    }
    kinds = numbers | types
    return {"fields": [{"name": n, "type": kinds.get(n, "string")} for n in table.columns]}


def _cell(cell: Cell) -> Cell:
    if isinstance(cell, float) and math.isinf(cell):
        return "INF" if cell > 0 else "-INF"
    if isinstance(cell, float) and math.isnan(cell):
        return "NaN"
    return cell


@contextmanager
def _long_fields() -> Iterator[None]:
    """The csv module refuses fields of over 128 KiB unless told otherwise."""
    before = csv.field_size_limit(min(sys.maxsize, MOST_BYTES))
    try:
        yield
    finally:
        csv.field_size_limit(before)


# The zip.


def packed(
    files: Mapping[str, bytes], schemas: Mapping[str, JsonObject], words: Mapping[str, str]
) -> bytes:
    """The zip of some files; the same files always give the same bytes."""
    whole = dict(files)
    resources = [_resource(name, content, schemas.get(name)) for name, content in files.items()]
    package = {"$schema": f"{_PROFILE}datapackage.json", **words, "resources": resources}
    whole[PACKAGE] = json_bytes(package)
    sums = [f"{_sha(content)}  {name}\n" for name, content in sorted(whole.items())]
    whole[SUMS] = "".join(sums).encode()
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as zipped:
        for name, content in sorted(whole.items()):
            entry = zipfile.ZipInfo(name)  # dated 1980: the time is no part of the content
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o600 << 16  # it holds names
            zipped.writestr(entry, content)
    return made.getvalue()


def unpacked_files(
    content: bytes, needed: Sequence[str] = NEEDED, allowed: Sequence[str] = ALLOWED
) -> dict[str, bytes]:
    """The files of an archive, their sums checked; of a session, if nothing else is said.

    Raises RecordError when it is no zip, holds other files than an archive does, is too big when
    unpacked, lacks a file, or a sum is not that of its file.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as zipped:
            files = _read_all(zipped, allowed)
    except RecordError:
        raise
    except _NO_ZIP as error:
        raise RecordError(f"The archive cannot be read: {error}.") from error
    if lacking := [name for name in needed if name not in files]:
        raise RecordError(f"The archive lacks {', '.join(lacking)}.")
    _check_sums(files)
    _check_package(files)
    return files


def holds_study(content: bytes) -> bool:
    """Whether a zip is the archive of a study; False for what is no zip."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as zipped:
            return STUDY in zipped.namelist()
    except _NO_ZIP:
        return False


def json_bytes(plain: object) -> bytes:
    """JSON in UTF-8, indented for readers."""
    return (json.dumps(plain, ensure_ascii=False, indent=2, sort_keys=True) + "\n").encode()


def json_object(content: bytes, name: str) -> JsonObject:
    """A JSON object; RecordError where there is none."""
    try:
        plain = json.loads(content.decode())
    except (ValueError, RecursionError) as error:
        raise RecordError(f"{name} of the archive cannot be read: {error}.") from error
    if not isinstance(plain, dict):
        raise RecordError(f"{name} of the archive is no JSON object.")
    return plain


def _resource(name: str, content: bytes, schema: JsonObject | None) -> JsonObject:
    stem, kind = name.split(".")
    described: JsonObject = {
        "name": stem,
        "path": name,
        "format": kind,
        "mediatype": _MEDIA[kind],
        "bytes": len(content),
        "hash": f"sha256:{_sha(content)}",
    }
    if schema is not None:
        described |= {"type": "table", "encoding": "utf-8", "schema": schema}
    return described


def _read_all(zipped: zipfile.ZipFile, allowed: Sequence[str]) -> dict[str, bytes]:
    entries = zipped.infolist()
    names = [entry.filename for entry in entries]
    if strange := sorted(set(names) - set(allowed)):
        shown = ", ".join(repr(name[:60]) for name in strange[:5])
        raise RecordError(f"The archive holds files that belong to none: {shown}.")
    if len(set(names)) < len(names):
        raise RecordError("The archive holds a file twice.")
    if any(entry.compress_type not in _METHODS for entry in entries):
        raise RecordError("The archive is packed in another way than an archive is.")
    if sum(entry.file_size for entry in entries) > MOST_BYTES:
        raise RecordError(f"The archive is bigger than {MOST_BYTES} bytes when unpacked.")
    files = {}
    for entry in entries:
        with zipped.open(entry) as file:
            files[entry.filename] = file.read(entry.file_size + 1)
        if len(files[entry.filename]) != entry.file_size:
            raise RecordError(f"{entry.filename} of the archive is not as long as it says.")
    return files


def _check_sums(files: Mapping[str, bytes]) -> None:
    expected = "".join(
        f"{_sha(content)}  {name}\n" for name, content in sorted(files.items()) if name != SUMS
    )
    if files[SUMS] == expected.encode():
        return
    listed = set(files[SUMS].decode(errors="replace").splitlines())
    other = [line.split("  ")[1] for line in expected.splitlines() if line not in listed]
    raise RecordError(
        f"The sums of the archive are not those of its files: {', '.join(other) or SUMS}. "
        "It was changed or damaged after it was made."
    )


def _check_package(files: Mapping[str, bytes]) -> None:
    resources = json_object(files[PACKAGE], PACKAGE).get("resources")
    resources = resources if isinstance(resources, list) else []
    described = {file.get("path"): file.get("hash") for file in resources if isinstance(file, dict)}
    there = {
        name: f"sha256:{_sha(content)}"
        for name, content in files.items()
        if name not in (PACKAGE, SUMS)
    }
    if described != there:
        raise RecordError(f"{PACKAGE} of the archive does not describe its files.")


def _sha(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()

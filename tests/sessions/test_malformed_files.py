"""Malformed files at every reader: each is read or refused in our own words.

Nothing is written outside the record, memory stays bounded, and a refused archive leaves
the record as it was. The test takes some of them; for all of them, or as many as fit into so
many minutes:

    python tests/sessions/test_malformed_files.py [files] [seed] [folder] [minutes]

It says every half minute how far it is and what has failed; Ctrl-C ends it with what it knows.
Nearly all of the time goes into workbooks: openpyxl takes a few microseconds a cell, each file is
read by three readers, and a bomb of the largest size that is allowed takes seconds. The 10,000 of
seed 1 are read or refused, and nothing is written outside; eight journals of archives that name
half a character had ended in a traceback before.
"""

from __future__ import annotations

import io
import json
import math
import os
import random
import subprocess
import sys
import time
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl

from sensory.base.errors import SensoryError
from sensory.base.records import digest_of
from sensory.catalogue.tests import TESTS, find_kind
from sensory.choices.protocols import PROTOCOLS
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions, outcomes, workflow
from sensory.sessions.lines import cells_of_file
from sensory.sessions.reading import read_answers, read_ballots
from sensory.store import archive_form
from sensory.store.archive import archive_session, import_archive
from sensory.store.repository import Repository, open_store

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_data"
CASES, SEED = 60, 4
MOST_MEMORY = 900 * 2**20  # of the whole process: the libraries alone take 250 MiB
Rng = random.Random

SPITE = [
    *("9" * 400, "1e999", "-1e999", "nan", "inf", "-0", "٤١٢", "1_000", "0x1F", "½", "4" * 70_000),
    *("=1+1", '=HYPERLINK("http://127.0.0.1:9/","x")', "@SUM(A1)", "+1", "-1", "=cmd|'/c calc'!A1"),
    *("\0", "\x1a", "\ufeff", "\u202e", "\ud7ff", "\U0010ffff", "\r", "\n\n", '"', '""', "'", ";"),
    *("{0.__class__}", "%s%n", "../../x", "C:\\x", "<script>", "None", "NaT", "True", "  ", "\t\t"),
]
NAMES = ["../../escaped.txt", "/tmp/escaped.txt", "C:\\escaped.txt", "a/../../x"]
NAMES += ["\0", "", "x" * 5000]
BOMB = (
    b'<?xml version="1.0"?><!DOCTYPE z [<!ENTITY a "ha">'
    + b"".join(
        b'<!ENTITY %c "%s">' % (98 + level, b"&%c;" % (97 + level) * 10) for level in range(9)
    )
    + b"]><worksheet><sheetData><row><c><v>&j;</v></c></row></sheetData></worksheet>"
)
OUTSIDE = (
    b'<?xml version="1.0"?><!DOCTYPE z [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
    b'<worksheet><sheetData><row><c t="str"><v>&a;</v></c></row></sheetData></worksheet>'
)


# Bytes.


def flipped(rng: Rng, content: bytes) -> bytes:
    changed = bytearray(content)
    for _ in range(rng.randint(1, 40)):
        changed[rng.randrange(len(changed))] ^= 1 << rng.randrange(8)
    return bytes(changed)


def cut(rng: Rng, content: bytes) -> bytes:
    return content[: rng.randrange(len(content))]


def put_in(rng: Rng, content: bytes) -> bytes:
    at = rng.randrange(len(content))
    part = rng.choice([rng.randbytes(rng.randint(1, 300)), b"\0" * 9, rng.choice(SPITE).encode()])
    return content[:at] + part + content[at + rng.choice([0, len(part)]) :]


def shuffled(rng: Rng, content: bytes) -> bytes:
    a, b = sorted(rng.randrange(len(content)) for _ in range(2))
    return rng.choice(
        [content[:a] + content[b:], content[:b] + content[a:], content[a:] + content[:b]]
    )


BYTES = [flipped, cut, put_in, shuffled]


# CSV.


def spiteful(rng: Rng, text: str) -> str:
    """One to six cells exchanged for what no cell should hold."""
    lines = [line.split(",") for line in text.splitlines()]
    for _ in range(rng.randint(1, 6)):
        line = rng.choice(lines)
        line[rng.randrange(len(line))] = rng.choice(SPITE)
    return "\n".join(",".join(line) for line in lines)


def widened(rng: Rng, text: str) -> str:
    lines = text.splitlines()
    count = min(rng.choice([150, 150, 1_000, 1_000, 20_000]), 8 * 2**20 // len(lines))
    return "\n".join(line + ",x" * count for line in lines)


def lengthened(rng: Rng, text: str) -> str:
    head, *rest = text.splitlines()
    times = min(rng.choice([2, 2, 2, 60, 60, 600]), 8 * 2**20 // len(text))
    return "\n".join([head, *rest * times, *[head] * rng.randint(0, 3)])


def renamed(rng: Rng, text: str) -> str:
    """Headings doubled, exchanged or gone."""
    head, *rest = text.splitlines()
    names = head.split(",")
    for _ in range(rng.randint(1, 4)):
        names[rng.randrange(len(names))] = rng.choice([*names, *SPITE, "", "order", "correct"])
    return "\n".join([",".join(names), *rest])


def encoded(rng: Rng, text: str) -> bytes:
    """In some encoding, its mark right, wrong or missing."""
    codec = rng.choice(
        ["utf-8"] * 4 + ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "cp500"]
    )
    mark = rng.choice([b""] * 5 + [b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff"])
    return mark + text.replace(",", rng.choice([",", ",", ";", "\t", "|"])).encode(codec, "replace")


def bad_csv(rng: Rng) -> bytes:
    text = rng.choice(TEXTS)
    for change in rng.sample([spiteful, widened, lengthened, renamed], rng.choice([0, 1, 1, 2])):
        text = change(rng, text)
    content = encoded(rng, text)
    return rng.choice(BYTES)(rng, content) if rng.random() < 0.6 else content


# XLSX.


def workbook(rng: Rng, text: str) -> bytes:
    book = openpyxl.Workbook(write_only=True)
    book.create_sheet()
    for title in rng.sample(["Monday", "Tuesday", "Notes", "x" * 31], rng.randint(0, 3)):
        book.create_sheet(title)
    for sheet in book.worksheets:
        for line in text.splitlines():
            cells = ["".join(one for one in cell if one >= " ") for cell in line.split(",")]
            short = [cell.isdecimal() and len(cell) < 16 for cell in cells]
            sheet.append([int(c) if whole else c for c, whole in zip(cells, short, strict=True)])
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


@cache
def sound_book(text: str) -> bytes:
    return workbook(random.Random(TEXTS.index(text)), text)


def repacked(rng: Rng, content: bytes) -> bytes:
    """One part of a zip damaged, exchanged, doubled, renamed or in a strange company."""
    with zipfile.ZipFile(io.BytesIO(content)) as old:
        parts = [(name, old.read(name)) for name in old.namelist()]
    at = rng.randrange(len(parts))
    name, part = parts[at]
    kind = rng.choice(["damaged", "exchanged", "double", "renamed", "gone", "nested", "strange"])
    if kind == "damaged":
        parts[at] = (name, rng.choice(BYTES)(rng, part or b"x"))
    elif kind == "exchanged":
        others = [BOMB, OUTSIDE, b"", b"{}", b"[]", b"<a/>", b"null", b"[" * 9999]
        parts[at] = (name, rng.choice(others))
    elif kind == "double":
        parts.append(parts[at])
    elif kind == "renamed":
        parts[at] = (rng.choice(NAMES), part)
    elif kind == "gone":
        del parts[at]
    elif kind == "nested":
        parts.append((rng.choice(["inner.zip", "xl/worksheets/sheet1.xml"]), content))
    else:
        parts += [(rng.choice(NAMES), b"escaped") for _ in range(rng.choice([1, 500]))]
    packed = io.BytesIO()
    method = rng.choice([zipfile.ZIP_DEFLATED] * 3 + [zipfile.ZIP_STORED, zipfile.ZIP_BZIP2])
    with warnings.catch_warnings(), zipfile.ZipFile(packed, "w", method) as new:
        warnings.simplefilter("ignore")  # of names that are there twice
        for each, inside in parts:
            entry = zipfile.ZipInfo(each)
            entry.compress_type = method
            if rng.random() < 0.02:
                entry.external_attr = 0o120777 << 16  # a symbolic link
            new.writestr(entry, inside)
    return packed.getvalue()


def untrue(rng: Rng, content: bytes) -> bytes:
    """A zip that says something else of its parts than they are: lengths, flags, methods."""
    changed = bytearray(content)
    place = content.find(b"PK\x01\x02")
    while place >= 0:
        if rng.random() < 0.3:
            at, size = rng.choice([(8, 2), (10, 2), (16, 4), (20, 4), (24, 4), (28, 2), (42, 4)])
            value = rng.choice([0, 1, 9, 99, 2**15, 2**16 - 1, 2**31, 2**32 - 1]) % 256**size
            changed[place + at : place + at + size] = value.to_bytes(size, "little")
        place = content.find(b"PK\x01\x02", place + 4)
    return bytes(changed)


def bad_zip(rng: Rng, content: bytes) -> bytes:
    if BOMBS and rng.random() < 0.004:
        return rng.choice(BOMBS)
    return rng.choice([repacked] * 5 + [untrue] * 2 + BYTES)(rng, content)


def bad_workbook(rng: Rng) -> bytes:
    text = rng.choice(TEXTS)
    if rng.random() < 0.5:
        return bad_zip(rng, sound_book(rng.choice(TEXTS)))
    text = spiteful(rng, text)
    return workbook(rng, renamed(rng, text) if rng.random() < 0.5 else text)


# Archives.


def bad_archive(rng: Rng) -> bytes:
    content = rng.choice(ARCHIVES)
    if rng.random() < 0.5:
        return bad_zip(rng, content)
    files = archive_form.unpacked_files(content)
    kept = {name: files[name] for name in (*DATA, archive_form.JOURNAL)}
    if rng.random() < 0.4:
        name = rng.choice(list(kept))
        kept[name] = rng.choice(BYTES)(rng, kept[name])
    else:
        kept = forged(rng, kept)
    return archive_form.packed(kept, {}, {"name": "session-x", "title": "x"})


def forged(rng: Rng, files: dict[str, bytes]) -> dict[str, bytes]:
    """Values exchanged in the session and the journal alike, all sums and hashes right."""
    heading, rows = archive_form.csv_rows(files[archive_form.JOURNAL], archive_form.JOURNAL)
    contents = [json.loads(row[6]) for row in rows]
    at = rng.choice([number for number, one in enumerate(contents) if one])
    path = rng.choice(list(_paths(contents[at])))
    value = rng.choice([None, True, 0, -1, 2**70, 1.5, "", "x", [], {}, [[]], {"x": []}, "\ud800"])
    _exchange(contents[at], path, value)
    session = json.loads(files[archive_form.SESSION])
    for one in contents:
        session |= one.get("session", {}) if isinstance(one.get("session", {}), dict) else {}
        session |= one.get("changed", {}) if isinstance(one.get("changed", {}), dict) else {}
    before = rows[0][7]
    for row, one in zip(rows, contents, strict=True):
        row[6], row[7] = json.dumps(one, sort_keys=True, ensure_ascii=True), before
        entry = dict(zip(heading[:-1], [int(row[0]), *row[1:-1]], strict=True))
        before = row[8] = digest_of(entry)
    table = archive_form.Table(columns=tuple(heading), rows=tuple(map(tuple, rows)))
    named = json.dumps(session)
    for reference, name, _ in archive_form.csv_rows(files[archive_form.PEOPLE], "")[1]:
        named = named.replace(json.dumps(reference), json.dumps(name))
    return files | {
        archive_form.SESSION: named.encode(),
        archive_form.JOURNAL: archive_form.csv_bytes(table),
    }


def _paths(plain: Any, start: tuple[Any, ...] = ()) -> Any:
    """The place of every value in plain data."""
    inside = plain.items() if isinstance(plain, dict) else enumerate(plain)
    for key, value in inside:
        yield (*start, key)
        if isinstance(value, (dict, list)):
            yield from _paths(value, (*start, key))


def _exchange(plain: Any, path: tuple[Any, ...], value: Any) -> None:
    for key in path[:-1]:
        plain = plain[key]
    plain[path[-1]] = value


# What they come from.

DATA = (archive_form.SESSION, archive_form.BALLOTS, archive_form.PEOPLE)
TEXTS = [path.read_text(encoding="utf-8") for path in sorted(DEMO.glob("*.csv"))]
ARCHIVES: list[bytes] = []
BOMBS: list[bytes] = []
LINKS: list[str] = []


def prepare() -> None:
    """Sound files to begin with."""
    store = open_store("sqlite://")
    for name, typed in (("suspect_batch", True), ("pressing", True), ("pressing", False)):
        prepared = workflow.read_prepared(DEMO, name)
        prepared |= {} if typed else {"cells": None}
        key = workflow.new_session_id()
        workflow.open_session(store, key, **prepared, who="Zoë", why="typed")
        workflow.agree(store, key, who="Zoë")
        if typed:
            workflow.close(store, key, who="Zoë")
            ARCHIVES.append(archive_session(store, key))
    plan = serving_plan(
        find_kind("PROFILE"), ["Anna", "Bo"], seed=2**128 + 1, samples=["reference", "b"]
    )
    booth_plans.serve(store, key, plan, ballot_lines(plan), who="Zoë")
    exclusions.declare_allergens(store, key, {"reference": "none", "b": "none"}, who="Zoë")
    token = booth_plans.open_booths(store, key, who="Zoë")["Anna"]
    booths.consent(store, token)
    LINKS.append(token)
    ARCHIVES.append(archive_session(store, key))
    store.close()


def prepare_bombs() -> None:
    """As big as is allowed, or bigger, when unpacked."""
    space = b' xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    strings = b"<sst" + space + b"<si><t>a</t></si>" * 2_000_000 + b"</sst>"
    row = b"<row>" + b'<c t="str"><v>a</v></c>' * 200 + b"</row>"
    before, after = b"<worksheet" + space + b"<sheetData>", b"</sheetData></worksheet>"
    bodies = (row * 20_000, b"<row/>" * 5_000_000, b'<row r="999999999"/>')
    sheets = [before + body + after for body in bodies]
    BOMBS.extend([b"\n" * (20 * 2**20), b"a\n" * (10 * 2**20), b"," * (20 * 2**20)])
    BOMBS.append(b"assessor,order\n" + b"a,b,\n" * (4 * 2**20))
    for name, part in (
        ("xl/sharedStrings.xml", strings),
        *(("xl/worksheets/sheet1.xml", sheet) for sheet in (*sheets, bytes(300 * 2**20))),
        ("xl/styles.xml", bytes(150 * 2**20)),
    ):
        BOMBS.append(_with(sound_book(TEXTS[0]), name, part))
    BOMBS.append(_with(ARCHIVES[0], "journal.csv", bytes(200 * 2**20)))
    BOMBS.append(_with(ARCHIVES[0], "session.json", b"[" * (50 * 2**20)))


def _with(content: bytes, name: str, part: bytes) -> bytes:
    packed = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as new,
    ):
        for each in old.namelist():
            if each != name:
                new.writestr(each, old.read(each))
        new.writestr(name, part)
    return packed.getvalue()


# Readers.


def read_as_ballots(rng: Rng, content: bytes) -> None:
    read_ballots(content, protocol=rng.choice([None, *PROTOCOLS.values()]))


def read_as_answers(rng: Rng, content: bytes) -> None:
    read_answers(content, rng.choice([kind for kind in TESTS.values() if not kind.protocol]))


def read_and_judge(rng: Rng, content: bytes) -> None:
    """What the page does with a file: take its cells, judge them, show what is wrong."""
    key = rng.choice([*TESTS])
    cells, _ = cells_of_file(content, find_kind(key).ballot)
    question = workflow.read_prepared(DEMO, "suspect_batch")["question"]
    outcomes.check_ballots(cells, replace(question, protocol=key, settings={}))


class Import:
    """Into a record that has to stay sound, and untouched by what is refused."""

    def __init__(self, url: str):
        self.url, self.store = url, open_store(url)

    def __call__(self, rng: Rng, content: bytes) -> None:
        store = self.store
        before = self._numbers()
        try:
            session = import_archive(store, content, who="Zoë", why="moved")
        except SensoryError:
            assert before == self._numbers()
            raise
        assert store.verify() == []
        use(store, session.id)
        store.close()
        for path in Path(self.url.removeprefix("sqlite:///")).parent.glob("record*"):
            path.unlink()
        self.store = open_store(self.url)

    def _numbers(self) -> list[int]:
        """Of all entries of the journal."""
        keys = ["", *(session.id for session in self.store.sessions(100))]
        return [entry.number for key in keys for entry in self.store.entries(key)]


def use(store: Repository, session_id: str) -> None:
    """What pages and booths do with a session that was imported."""
    for act in (
        lambda: archive_session(store, session_id),
        lambda: workflow.checked_ballots(store, session_id),
        lambda: booth_plans.served_plan(store, session_id),
        lambda: booth_plans.progress(store, session_id),
        *(lambda token=token: booths.visit(store, token) for token in LINKS),
    ):
        try:
            act()
        except SensoryError:
            continue


# One after the other.


LISTENS = [False]
STARTS = ("os.system", "subprocess.Popen", "socket.connect", "os.exec", "pickle.find_class")


def written_outside(folder: Path) -> list[str]:
    """Everything that a reader opens for writing, makes, moves or starts elsewhere."""
    outside: list[str] = []

    def heard(event: str, given: tuple[Any, ...]) -> None:
        if not LISTENS[0]:
            return
        writes = event == "open" and isinstance(given[1], str) and set(given[1]) & set("wax+")
        if event == "open" and isinstance(given[2], int):
            writes = writes or given[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
        if writes or event in ("os.mkdir", "os.rename", "os.symlink", "os.link", "os.chmod"):
            path = str(given[0])
            if not path.startswith((str(folder), "/dev/null")):
                outside.append(f"{event} {path[:200]}")
        if event in STARTS:
            outside.append(f"{event} {str(given)[:200]}")

    sys.addaudithook(heard)
    return outside


def one_case(rng: Rng, readers: list[Callable[[Rng, bytes], None]], count: Counter[str]) -> float:
    """Make a file, give it to every reader; returns the longest of one, in s of a core."""
    make = rng.choice([bad_csv, bad_workbook, bad_archive])
    content, longest = make(rng), 0.0
    for reader in readers if make is bad_archive else readers[:3]:
        start = time.process_time()
        try:
            LISTENS[0] = True
            reader(rng, content)
        except SensoryError as error:
            count[f"{make.__name__}: refused"] += 1
            count["files of this machine in a message"] += "root:x:" in str(error)
        else:
            count[f"{make.__name__}: read"] += 1
        finally:
            LISTENS[0] = False
        longest = max(longest, time.process_time() - start)
    return longest


def run(cases: int, seed: int, folder: Path, minutes: float = math.inf) -> dict[str, Any]:
    """What the first files of a seed came to: all, or those until time is up or Ctrl-C."""
    prepare()
    if cases >= 1_000:  # each takes seconds
        prepare_bombs()
    imports = Import(f"sqlite:///{folder / 'record.sqlite3'}")
    readers = [read_as_ballots, read_as_answers, read_and_judge, imports]
    count: Counter[str] = Counter()
    outside, failed, longest = written_outside(folder), [], (0.0, 0)
    warnings.simplefilter("ignore")
    began = told_at = time.monotonic()
    done = 0
    while done < cases and time.monotonic() - began < 60 * minutes:
        try:
            rng = random.Random(f"{seed} {done}")
            longest = max(longest, (one_case(rng, readers, count), done))
        except KeyboardInterrupt:
            break
        except BaseException as error:
            failed.append(f"case {done}: {type(error).__name__}: {str(error)[:200]}")
        done += 1
        if time.monotonic() - told_at > 30:
            told_at = time.monotonic()
            progress(done, cases, told_at - began, longest, failed)
    told = {"files": done, "failed": failed, "outside": outside}
    told |= {"counts": dict(sorted(count.items()))}
    return told | {"longest": longest, "memory": most_memory()}


def progress(
    done: int, cases: int, seconds: float, longest: tuple[float, int], failed: list[str]
) -> None:
    """Where the long form is: beside what it prints at its end, which is JSON."""
    print(
        f"{done} of {cases} files in {seconds / 60:.1f} min, {time.process_time() / 60:.1f} min of "
        f"a core, the slowest {longest[0]:.1f} s (case {longest[1]}); failed: {failed or 'none'}",
        file=sys.stderr,
        flush=True,
    )


def most_memory() -> int:
    """Most bytes that this program held; `getrusage` would count whoever started it, too."""
    status = Path("/proc/self/status").read_text()
    return next(int(line.split()[1]) for line in status.splitlines() if "VmHWM" in line) * 1024


def test_malformed_files_are_read_or_refused_and_leave_no_trace(tmp_path):
    """In a process of its own, so that its memory and its files can be watched."""
    command = [sys.executable, __file__, str(CASES), str(SEED), str(tmp_path)]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    told = json.loads(done.stdout)
    assert (told["files"], told["failed"], told["outside"]) == (CASES, [], [])
    assert told["counts"]["files of this machine in a message"] == 0
    assert told["memory"] < MOST_MEMORY
    for make in ("bad_csv", "bad_workbook", "bad_archive"):
        assert told["counts"][f"{make}: refused"] > CASES / 10
    for make in ("bad_csv", "bad_workbook"):
        assert told["counts"][f"{make}: read"] > CASES / 100


if __name__ == "__main__":
    import tempfile

    given = [*sys.argv[1:], *("10000", "1", "", "inf")[len(sys.argv[1:]) :]]
    with tempfile.TemporaryDirectory() as made:
        cases, seed, folder, minutes = given
        told = run(int(cases), int(seed), Path(folder or made), float(minutes))
        print(json.dumps(told, indent=1))

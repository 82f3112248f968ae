"""Each thing that can be wrong with a file gets its own sentence, with its place."""

from __future__ import annotations

import ast
import csv
import io
import struct
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from sensory.base.errors import BallotError, BallotWarning
from sensory.catalogue import checking, choice_ballot, choice_cells
from sensory.catalogue.checking import check_rows
from sensory.catalogue.question import Question
from sensory.catalogue.tests import find_kind
from sensory.choices.protocols import DUO_TRIO, PAIRED, TETRAD, THREE_AFC, TRIANGLE, TWO_OUT_OF_FIVE
from sensory.sessions import files, reading, sheets
from sensory.sessions.files import read_cells
from sensory.sessions.reading import read_ballots
from sensory.sessions.sheets import LARGE, USUAL

HEADING = "assessor,order,codes,answer"
SOUND = "P01,ABB,412 837 265,412"
SPLIT = ["assessor", "order", "code_1", "code_2", "code_3", "answer"]
UNREADABLE = "the whole table: This cannot be read as ballots: "


def lines(*rows: str, heading: str = HEADING) -> bytes:
    return "\n".join([heading, *rows, ""]).encode()


def row(protocol_order: str, codes: str, answer: str) -> bytes:
    return lines(f"P01,{protocol_order},{codes},{answer}")


# (name, file, agreed protocol, rule, what the message says)
BAD_TEXT_FILES = [
    ("no bytes", b"", TRIANGLE, "unreadable", UNREADABLE + "an empty file."),
    ("only blanks", b" \r\n\t\n", TRIANGLE, "unreadable", "an empty file"),
    ("byte order mark only", b"\xef\xbb\xbf", TRIANGLE, "no heading", "No heading row was found"),
    ("old workbook", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" * 64, TRIANGLE, "unreadable", "(.xls)"),
    ("binary", bytes(range(256)) * 8, TRIANGLE, "unreadable", "no text but binary data"),
    ("NUL in a cell", row("ABB", "412 8\x0037 265", "412"), TRIANGLE, "unreadable", "binary data"),
    ("UTF-16 cut short", lines(SOUND).decode().encode("utf-16")[:-1], TRIANGLE, "unreadable",
     "text with broken characters"),
    ("zip cut short", b"PK\x03\x04" + bytes(60), TRIANGLE, "unreadable", "cannot be opened"),
    ("picture", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(50), TRIANGLE, "unreadable",
     "binary data"),
    ("300 columns", lines(SOUND, heading=HEADING + ",x" * 296), TRIANGLE, "unreadable",
     "200 columns"),
    ("endless cell", lines(SOUND + "4" * 200_000), TRIANGLE, "unreadable",
     "a CSV file that breaks at line 2"),
    ("quote never closed", lines(SOUND + ',"sharp', "P02,BAB,518 903 276,903,",
     "P03,BBA,771 640 139,139,", heading=HEADING + ",comment"), TRIANGLE, "unreadable", "line"),
    ("prose", b"Dear panel,\nthe cordial was fine.\n", TRIANGLE, "no heading",
     "the whole table: No heading row was found. The first row names the columns"),
    ("one known heading", b"assessor,x,y\nP01,1,2\n", TRIANGLE, "no heading", "No heading row"),
    ("heading only", lines(), TRIANGLE, "no ballots", "There are no ballots. Enter at least one."),
    ("no assessor column", b"order,codes,answer\nABB,412 837 265,412\n", TRIANGLE,
     "missing column", "the whole table: The column assessor is missing."),
    ("no order column", b"assessor,codes,answer\nP01,412 837 265,412\n", TRIANGLE,
     "missing column", "The column order is missing."),
    ("no answer column", b"assessor,order,codes\nP01,ABB,412 837 265\n", TRIANGLE,
     "missing column", "The column answer is missing."),
    ("no code column", b"assessor,order,answer\nP01,ABB,412\n", TRIANGLE, "missing column",
     "The column codes (or code_1, code_2 ...) is missing."),
    ("no protocol column", lines(SOUND), None, "missing column", "The column protocol is missing"),
    ("heading twice", lines(SOUND + ",412", heading=HEADING + ",Response"), TRIANGLE,
     "column twice", "row 1, column Response: There are two columns for answer."),
    ("beyond heading", lines("P01,ABB,412 837 265,412,sharp"), TRIANGLE, "beyond heading",
     "row 2: The row goes on beyond the last heading, with 'sharp'."),
    ("comma in a comment", lines(SOUND + ",sharp, and thin", heading=HEADING + ",comment"),
     TRIANGLE, "beyond heading", "with 'and thin'. Perhaps a separator stands inside a cell"),
    ("no assessor", lines(",ABB,412 837 265,412"), TRIANGLE, "no assessor",
     "row 2, column assessor: The ballot has no assessor."),
    ("second ballot", lines(SOUND, "p01 ,BAB,518 903 276,903"), TRIANGLE, "second ballot",
     "row 3, column assessor: p01 already has a ballot in replicate 1, in row 2."),
    ("second ballot in a replicate", lines(SOUND + ",2", SOUND + ",2", heading=HEADING + ",round"),
     TRIANGLE, "second ballot", "already has a ballot in replicate 2"),
    *(
        (f"replicate {text}", lines(f"{SOUND},{text}", heading=HEADING + ",replicate"), TRIANGLE,
         "bad replicate", f"row 2, column replicate: The replicate '{text}' is no whole number")
        for text in ("0", "-1", "1.5", "two", "1001", "1e3")
    ),
    ("guess mark", lines(SOUND + ",perhaps", heading=HEADING + ",guess"), TRIANGLE,
     "bad guess mark", "row 2, column guess: The guess mark 'perhaps' is not understood."),
    ("row without protocol", lines(SOUND + ",", heading=HEADING + ",protocol"), None,
     "no protocol", "row 2, column protocol: The row does not say which test it is."),
    ("unknown protocol", lines(SOUND + ",quartet", heading=HEADING + ",Method"), None,
     "unknown protocol", "row 2, column Method: 'quartet' is not a known test. Write one of"),
    ("other protocol", lines(SOUND + ",tetrad", heading=HEADING + ",protocol"), TRIANGLE,
     "other protocol", "row 2, column protocol: The row says tetrad, the session is triangle."),
    ("mixed protocols", lines(SOUND + ",triangle", "P02,AB,412 837,412,paired comparison",
     heading=HEADING + ",protocol"), None, "mixed protocols",
     "row 3, column protocol: The session began as triangle, this row is paired comparison."),
    ("order against the target", lines("P01,AAB,412 837 265,265", "P02,BBA,518 903 276,276"),
     THREE_AFC, "order against the target", "row 3, column order: In BBA the odd sample is not B"),
    ("no order", lines("P01,,412 837 265,412"), TRIANGLE, "impossible order",
     "row 2, column order: The serving order is missing."),
    ("all alike", row("AAA", "412 837 265", "412"), TRIANGLE, "impossible order",
     "row 2, column order: 'AAA' is no order of a triangle test. Possible are ABB, BAB"),
    ("too short an order", row("AB", "412 837 265", "412"), TRIANGLE, "impossible order",
     "'AB' is no order"),
    ("other letter", row("ABC", "412 837 265", "412"), TRIANGLE, "impossible order", "'ABC'"),
    ("reference in the wrong place", row("BAA", "412 837", "412"), DUO_TRIO, "impossible order",
     "'BAA' is no order of a duo-trio test"),
    ("letter in a code", row("ABB", "4l2 837 265", "837"), TRIANGLE, "bad code",
     "row 2, column codes: '4l2' is no blinding code. A code is a number"),
    ("formula in a code", row("ABB", "=400+12 837 265", "837"), TRIANGLE, "bad code",
     "It looks like a formula: paste the value instead."),
    ("seven digits", row("ABB", "4120000 837 265", "837"), TRIANGLE, "bad code", "'4120000' is no"),
    ("zero", row("ABB", "000 837 265", "837"), TRIANGLE, "bad code", "'000' is no blinding code"),
    ("half", row("ABB", "412.5 837 265", "837"), TRIANGLE, "bad code", "'412.5' is no blinding"),
    ("too few codes", row("ABB", "412 837", "412"), TRIANGLE, "number of codes",
     "row 2, column codes: There are 2 codes; a triangle test serves 3 coded samples."),
    ("code of the reference too", row("AAB", "412 837 265", "412"), DUO_TRIO, "number of codes",
     "There are 3 codes; a duo-trio test serves 2 coded samples."),
    ("no codes", row("ABB", "", "412"), TRIANGLE, "number of codes", "There are 0 codes"),
    ("gap in the codes", lines("P01,ABB,412,,265,412", heading="assessor,order,code_1,code_2,"
     "code_3,answer"), TRIANGLE, "number of codes", "row 2, column code_1: There are 2 codes"),
    ("codes twice", lines("P01,ABB,412 837 265,412,837,266,412", heading="assessor,order,codes," +
     "code_1,code_2,code_3,answer"), TRIANGLE, "codes twice",
     "row 2, column codes: The codes stand in one cell and in columns of their own, and differ."),
    ("first code column empty", lines("P01,ABB,,412,837,265,412", heading="assessor,order,"
     "code_1,code_2,code_3,code_4,answer"), TRIANGLE, "number of codes", "column code_1"),
    ("superscript", row("ABB", "41² 837 265", "837"), TRIANGLE, "bad code", "is no blinding code"),
    ("codes alike", row("ABB", "412 0412 265", "265"), TRIANGLE, "codes alike",
     "row 2, column codes: Two samples have the same code 412."),
    ("no difference", row("ABB", "412 837 265", "no difference"), TRIANGLE, "answer is no code",
     "row 2, column answer: 'no difference' is no code."),
    ("position as an answer", row("ABB", "412 837 265", "2"), TRIANGLE, "code not served",
     "row 2, column answer: 2 was not among the codes served (412, 837, 265)."),
    ("formula as an answer", row("ABB", "412 837 265", "=C2"), TRIANGLE, "answer is no code",
     "'=C2' is no code. It looks like a formula"),
    ("only a comma as an answer", row("ABB", "412 837 265", '","'), TRIANGLE, "answer is no code",
     "',' is no code"),
    ("two answers", row("ABB", "412 837 265", "412 837"), TRIANGLE, "number of answers",
     "row 2, column answer: The answer names 2 codes; a triangle test asks for one code."),
    ("one of a pair", row("AABB", "412 837 265 190", "412"), TETRAD, "number of answers",
     "The answer names 1 code; a tetrad test asks for 2 different codes."),
    ("the same twice", row("AABB", "412 837 265 190", "412 412"), TETRAD, "answer twice",
     "row 2, column answer: The answer names 412 twice."),
    ("three of five", row("AABBB", "412 837 265 190 544", "412 837 265"), TWO_OUT_OF_FIVE,
     "number of answers", "The answer names 3 codes"),
    ("code not served", row("AB", "412 837", "421"), PAIRED, "code not served",
     "row 2, column answer: 421 was not among the codes served (412, 837)."),
    ("long value is cut", row("ABB", "x" * 500 + " 837 265", "837"), TRIANGLE, "bad code",
     "'" + "x" * 37 + "...' is no blinding code"),
]  # fmt: skip

REMARKS = [
    ("person who left", lines(SOUND, "P02,,,"), "nothing served",
     "row 3, column assessor: Nothing was served or answered. The row is left out"),
    ("no column name", lines("P01,ABB,412 837 265,412,sharp", heading=HEADING + ","),
     "no column name", "row 2: Column 5 has no heading and was not read; it holds 'sharp'."),
    ("no answer", row("ABB", "412 837 265", ""), "no answer",
     "row 2, column answer: No answer was given. The ballot is left out and reported"),
    ("unknown column", lines(SOUND + ",42", heading=HEADING + ",shoe size"), "unknown column",
     "row 1, column shoe size: The column 'shoe size' is not known and was not read."),
    ("wrong claim", lines(SOUND + ",0", heading=HEADING + ",correct"), "correct recomputed",
     "row 2, column correct: The file says '0'; by order and answer the ballot is right."),
    ("orders", lines(SOUND, SOUND.replace("P01", "P02")), "unbalanced orders",
     "the whole table: The orders were not served equally often: ABB 2, BAB 0"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("content", "protocol", "rule", "message"),
    [entry[1:] for entry in BAD_TEXT_FILES],
    ids=[entry[0] for entry in BAD_TEXT_FILES],
)
def test_bad_text_file(content, protocol, rule, message):
    error = refused(content, protocol)
    assert message in str(error)
    assert rule in {fault.rule for fault in error.faults}


@pytest.mark.parametrize(
    ("content", "rule", "message"),
    [entry[1:] for entry in REMARKS],
    ids=[entry[0] for entry in REMARKS],
)
def test_remark(content, rule, message):
    with pytest.warns(BallotWarning) as caught:
        read_ballots(content, protocol=TRIANGLE)
    assert message in str(caught[0].message)
    raw = read_cells(content)
    noticed = (
        *raw.faults,
        *check_rows(raw.rows, find_kind(TRIANGLE), Question(pd_limit=0.30)).remarks,
    )
    assert [fault.rule for fault in noticed] == [rule]


def rules_in_the_code() -> set[str]:
    """Every name of a rule that readers of files and of forced choices give to a fault."""
    names = set()
    for module in (files, sheets, choice_cells, choice_ballot, checking):
        for node in ast.walk(ast.parse(Path(module.__file__).read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            given = [entry.value for entry in node.keywords if entry.arg == "rule"]
            given += node.args[1:2] if getattr(node.func, "attr", "") == "note" else []
            names |= {entry.value for entry in given if isinstance(entry, ast.Constant)}
    return names


def test_every_rule_is_broken_at_least_once_above():
    broken = {entry[3] for entry in BAD_TEXT_FILES} | {entry[2] for entry in REMARKS}
    # Files of one session only reach the screen; see tests/sessions/test_workflow.py.
    # Ballots that are no forced choice have tests of their own: test_method_rows.py.
    # Names that look alike: test_spellings.py.
    elsewhere = {"several sessions", "not ranks", "attribute not agreed", "missing answers"}
    elsewhere |= {"looks like one person"}
    assert rules_in_the_code() - broken == elsewhere | {"constant scorer"}


# Sources that are no bytes of a file.


def refused(source, protocol=TRIANGLE) -> BallotError:
    with pytest.raises(BallotError) as caught:
        read_ballots(source, protocol=protocol)
    return caught.value


@pytest.mark.parametrize(
    ("source", "message"),
    [
        (None, "a NoneType. Give a path, bytes or a binary file."),
        (42, "a int."),
        (["P01", "ABB"], "a list."),
        (io.StringIO("assessor,order"), "a file opened as text. Open it in binary mode ('rb')."),
        (io.BytesIO(b""), "an empty file"),
        ("no such file.csv", "no file at no such file.csv."),
        (Path(__file__).parent, "no file at"),
        ("a" * 5_000, ""),
        ("cordial\0.csv", ""),
    ],
    ids=["None", "number", "list", "text file", "empty file object", "missing file", "folder",
         "endless", "NUL"],
)  # fmt: skip
def test_bad_source(source, message):
    assert UNREADABLE + message in str(refused(source))


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"x" * (USUAL.most_bytes + 1), "it is too large. At most 20 MiB"),
        (lines(*[SOUND] * 60_000), "50,000 rows"),
    ],
    ids=["21 MiB", "60,000 rows"],
)
def test_too_large_for_one_session(content, message):
    with pytest.raises(BallotError, match="too large") as caught:
        read_cells(content)
    assert UNREADABLE in str(caught.value)
    assert message in str(caught.value)


def test_more_rows_than_the_limit_are_refused(monkeypatch):
    monkeypatch.setattr(reading, "LARGE", replace(LARGE, most_rows=3))
    content = lines(*(SOUND.replace("P01", f"P{number:02d}") for number in range(30)))
    assert "3 rows" in str(refused(content))


def test_large_file_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "cordial.csv"
    with path.open("wb") as file:
        file.truncate(100 * USUAL.most_bytes)
    assert "it is too large" in str(refused(path))


# Workbooks.


BALLOT = ["P01", "ABB", 412, 837, 265, 412]
SHEET = "xl/worksheets/sheet1.xml"


def with_code(cell):
    return {"Monday": [SPLIT, ["P01", "ABB", cell, 837, 265, 837]]}


@pytest.mark.parametrize(
    ("sheets", "message"),
    [
        *((with_code(cell), f"sheet Monday, row 2, column code_1: '{cell}' is no blinding code.")
          for cell in ("=400+12", "#N/A", 412.5, True, -412)),
        (with_code("=400+12"), "is no blinding code. It looks like a formula"),
        ({"Monday": [SPLIT, BALLOT], "Tuesday": [SPLIT, BALLOT]},
         "sheet Tuesday, row 2, column assessor: P01 already"),
        ({"Monday": [["cups", 200], ["water", 40]]}, "sheet Monday: No heading row was found"),
        ({"Monday": [SPLIT, BALLOT], "Tuesday": [SPLIT[:-1], BALLOT[:-1]]},
         "sheet Tuesday: The column answer is missing"),
        ({"Monday": [[*SPLIT, "answer"], [*BALLOT, 412]]},
         "sheet Monday, row 1, column answer: There are two"),
        ({"Monday": [[*SPLIT, *range(294)]]}, "200 columns"),
    ],
)  # fmt: skip
def test_bad_workbook(workbook, sheets, message):
    assert message in str(refused(workbook(sheets)))


def test_all_faults_of_a_workbook_name_their_sheets(workbook):
    tuesday = [[], SPLIT, ["P02", "ABB", 412, 837, 265, 999], ["P03", "AAA", 1, 2, 3, 1]]
    monday = [SPLIT, ["P01", "ABB", 412, "4l7", 265, 412]]
    faults = refused(workbook({"Monday": monday, "Tuesday": tuesday})).faults
    assert [(fault.sheet, fault.row, fault.column) for fault in faults] == [
        ("Monday", 2, "code_2"),
        ("Tuesday", 3, "answer"),
        ("Tuesday", 4, "order"),
    ]


def added(rows: bytes):
    """A change of a sheet that holds more rows."""
    return lambda part: part.replace(b"</sheetData>", rows + b"</sheetData>")


CELL = '<row r="{0}"><c r="A{0}" t="inlineStr"><is><t>P{0}</t></is></c></row>'


def multiplied(part: bytes) -> bytes:
    """A sheet whose text is ten times the text before, nine times over."""
    entities = '<!ENTITY a0 "cordial">'
    for n in range(1, 10):
        entities += f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">'
    body = part.split(b"?>", 1)[-1].replace(b"P01", b"&a9;")
    assert b"&a9;" in body
    return f"<!DOCTYPE worksheet [{entities}]>".encode() + body


def halved(part: bytes) -> bytes:
    return part[: len(part) // 2]


@pytest.mark.parametrize(
    ("part", "change", "message"),
    [
        (SHEET, added("".join(CELL.format(n) for n in range(3, 60_001)).encode()), "50,000 rows"),
        ("xl/workbook.xml", halved, "a workbook that cannot be opened"),
        (SHEET, halved, "a workbook that cannot be opened"),
        ("xl/styles.xml", halved, "a workbook that cannot be opened"),
        (SHEET, multiplied, "a workbook that cannot be opened"),
    ],
    ids=["60,000 rows", "damaged book", "damaged sheet", "damaged styles", "multiplied"],
)
def test_workbook_with_a_changed_part(workbook, repacked, part, change, message):
    content = repacked(workbook({"Monday": [SPLIT, BALLOT]}), part, change)
    assert message in str(refused(content))


@pytest.mark.parametrize(
    "rows",
    [b'<row r="999999999"/>', b"<row/>" * 2_001,
     (b"<row>" + b'<c t="str"><v>a</v></c>' * 200 + b"</row>") * 101],
    ids=["a last row that no spreadsheet has", "more empty rows than a spreadsheet has",
         "more cells than any session takes"],
)  # fmt: skip
def test_small_workbook_that_holds_too_much(workbook, repacked, rows, monkeypatch):
    monkeypatch.setattr(sheets, "MOST_CELLS", 20_000)
    monkeypatch.setattr(sheets, "_LAST_ROW", 2_000)
    content = repacked(workbook({"Monday": [SPLIT, BALLOT]}), SHEET, added(rows))
    assert len(content) < 2**16
    assert "it is too large" in str(refused(content))


@pytest.mark.parametrize(
    "rows",
    [b"<row/>" * 2**20, b'<row spans="1:3" r="1048576"/>',
     (b"<row>" + b"<c><v>1</v></c>" * 200 + b"</row>") * 2_501],
    ids=["a million rows", "a last row at a million", "half a million cells"],
)  # fmt: skip
def test_millions_of_rows_or_cells_are_refused_before_a_row_is_read(
    workbook, repacked, rows, monkeypatch
):
    """Reading a million rows took 3 s and more, four million cells 20 s; counting them 0.3 s,
    measured."""
    content = repacked(workbook({"Monday": [SPLIT, BALLOT]}), SHEET, added(rows))
    monkeypatch.setattr("openpyxl.load_workbook", lambda *asked, **more: pytest.fail("was read"))
    assert "delete empty rows below the table" in str(refused(content))


def zipped(**parts: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as file:
        for name, part in parts.items():
            file.writestr(name, part)
    return packed.getvalue()


def test_zips_that_are_no_workbook_or_hold_too_much(workbook):
    sound = workbook({"Monday": [SPLIT, BALLOT]})
    bomb = zipped(**{SHEET: bytes(101 * 2**20), "xl/workbook.xml": b"<workbook/>"})
    assert len(bomb) < USUAL.most_bytes
    texts = io.BytesIO(sound)
    with zipfile.ZipFile(texts, "a", zipfile.ZIP_DEFLATED) as book:
        book.writestr("xl/sharedStrings.xml", b"<sst>" + b"<si><t>a</t></si>" * 250_001)
    for content in (bomb, texts.getvalue()):
        assert "it is too large" in str(refused(content))
    with zipfile.ZipFile(io.BytesIO(sound)) as packed:
        size = packed.getinfo(SHEET).file_size
    forged = sound.replace(struct.pack("<L", size), struct.pack("<L", size // 2))
    assert forged != sound
    cuts = [sound[: int(kept * len(sound))] for kept in (0.3, 0.6, 0.9, 0.99)]
    for content in (forged, *cuts, zipped(**{"cordial.txt": b"sweet"})):
        assert "a workbook that cannot be opened" in str(refused(content))


@pytest.mark.parametrize("filler", [b"\n" * 10**6, b",,,\n" * 10**6], ids=["blank", "commas"])
def test_empty_lines_of_a_text_are_passed_over(filler):
    content = lines(SOUND) + filler + SOUND.replace("P01", "P02").encode()
    with pytest.warns(BallotWarning, match="orders"):
        frame = read_ballots(content, protocol=TRIANGLE)
    assert frame.assessor.tolist() == ["P01", "P02"]
    assert [row.row for row in read_cells(content).rows] == [2, 10**6 + 3]


# Several faults at once.


def test_all_faults_come_in_one_error_in_the_order_of_the_table():
    content = lines(
        SOUND,
        "P02,AAA,412 837 265,999",
        ",BAB,412 4l2 265,265",
        "P01,BBA,412 412 265,265",
        "P05,BAA,412 837 265,",
        heading="Person,order,codes,answer",
    )
    error = refused(content)
    assert [(fault.row, fault.column, fault.rule) for fault in error.faults] == [
        (3, "order", "impossible order"),
        (3, "answer", "code not served"),
        (4, "Person", "no assessor"),
        (4, "codes", "bad code"),
        (5, "codes", "codes alike"),
        (5, "Person", "second ballot"),
    ]
    assert error.faults[1].value == "999"
    assert all(fault.blocking for fault in error.faults)
    assert str(error).startswith("6 errors to fix in the ballots:\n  row 3, column order:")
    assert all(str(fault) in str(error) for fault in error.faults)


def test_long_lists_are_cut_in_the_text_only():
    error = refused(lines(*(f"P{n:03d},ABB,412 837 265,999" for n in range(130))))
    assert len(error.faults) == 130
    assert str(error).startswith("130 errors to fix")
    assert str(error).endswith("... and 80 more (see .faults)")
    assert "row 51," in str(error)
    assert "row 52," not in str(error)


def test_endless_cell_is_refused_whatever_other_libraries_allow():
    """Some set the limit of Python's csv for the whole process."""
    before = csv.field_size_limit(2**31 - 1)
    try:
        assert "a CSV file that breaks at line 2" in str(refused(lines(SOUND + "4" * 200_000)))
    finally:
        csv.field_size_limit(before)

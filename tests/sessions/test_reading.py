"""Every spelling of a sound file reads to the same table."""

from __future__ import annotations

import io
from contextlib import nullcontext
from datetime import date

import openpyxl
import pandas as pd
import pytest

from sensory.base.errors import ArgumentError, BallotError, BallotWarning
from sensory.catalogue.columns import NOTES_SHEET
from sensory.choices.protocols import (
    DUO_TRIO,
    PAIRED,
    PROTOCOLS,
    TETRAD,
    THREE_AFC,
    TRIANGLE,
    TWO_OUT_OF_FIVE,
)
from sensory.sessions.reading import read_ballots
from sensory.sessions.template import template_columns, template_csv, template_xlsx

from .shared import COLUMNS

HEADING = ["assessor", "order", "codes", "answer"]
# Each order once, so that there is nothing to remark; the odd sample is named by the
# first three only.
NAMES = ("Jürgen Weiß", "Änne", "Zoë", "P04", "P05", "P06")
ORDERS = ("ABB", "BAB", "BBA", "AAB", "ABA", "BAA")
CODES = ("412 837 265", "518 903 276", "771 640 139", "205 984 366", "593 418 702", "860 127 554")
ANSWERS = ("412", "903", "139", "205", "593", "554")
CORRECT = [True, True, True, False, False, False]
LINES = [HEADING, *(list(line) for line in zip(NAMES, ORDERS, CODES, ANSWERS, strict=True))]


def single(**cells: str) -> bytes:
    """A CSV of one ballot, a sound triangle where nothing else is said."""
    line = {"assessor": "P01", "order": "ABB", "codes": "412 837 265", "answer": "412", **cells}
    quoted = (f'"{text}"' for text in line.values())
    return f"{','.join(line)}\n{','.join(quoted)}\n".encode()


def assert_reads_as_the_six(frame: pd.DataFrame) -> None:
    assert frame.columns.tolist() == COLUMNS
    assert tuple(frame["assessor"]) == NAMES
    assert tuple(frame["order"]) == ORDERS
    assert tuple(frame["codes"]) == CODES
    assert tuple(frame["answer"]) == ANSWERS
    assert frame["correct"].tolist() == CORRECT
    assert set(frame["protocol"]) == {"TRIANGLE"}
    assert set(frame["replicate"]) == {1}
    assert not frame["guess"].any()


APART = [["assessor", "order", "code_1", "code_2", "code_3", "answer"]]
APART += [[line[0], line[1], *line[2].split(), line[3]] for line in LINES[1:]]


@pytest.mark.parametrize(
    "lines",
    [
        LINES,
        [line[::-1] for line in LINES],
        [["Blackcurrant cordial, less sugar"], [], ["held on", "2026-09-14"], *LINES],
        APART,
    ],
    ids=["plain", "columns backwards", "below a preamble", "one column a code"],
)
def test_layouts_of_a_csv(csv_bytes, lines):
    assert_reads_as_the_six(read_ballots(csv_bytes(lines), protocol=TRIANGLE))


@pytest.mark.parametrize(
    "sheets",
    [
        {"Monday": LINES},
        {"Monday": LINES[:4], "Tuesday": [HEADING, *LINES[4:]]},
        {"Monday": LINES, "Sheet2": []},
        {"Monday": [[], [None, "Cordial"], *([None, None, *line] for line in LINES)]},
    ],
    ids=["plain", "two sheets", "an empty sheet", "away from the corner"],
)
def test_layouts_of_a_workbook(workbook, sheets):
    assert_reads_as_the_six(read_ballots(workbook(sheets), protocol=TRIANGLE))


@pytest.mark.parametrize("delimiter", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
@pytest.mark.parametrize("terminator", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
def test_csv_in_each_encoding_with_each_separator_and_line_ending(
    csv_bytes, encoding, delimiter, terminator
):
    written = {"delimiter": delimiter, "encoding": encoding, "terminator": terminator}
    assert_reads_as_the_six(read_ballots(csv_bytes(LINES, **written), protocol=TRIANGLE))


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_path_text_bytes_and_file_read_alike(csv_bytes, workbook, tmp_path, kind):
    content = csv_bytes(LINES) if kind == "csv" else workbook({"Monday": LINES})
    path = tmp_path / f"cordial.{kind}"
    path.write_bytes(content)
    with path.open("rb") as file:
        for source in (path, str(path), content, bytearray(content), io.BytesIO(content), file):
            assert_reads_as_the_six(read_ballots(source, protocol=TRIANGLE))


def test_column_types(csv_bytes):
    frame = read_ballots(csv_bytes(LINES), protocol=TRIANGLE)
    types = {name: str(kind) for name, kind in frame.dtypes.items()}
    assert types == {
        **dict.fromkeys(COLUMNS, "string"),
        "replicate": "int64",
        "correct": "boolean",
        "guess": "bool",
    }


@pytest.mark.parametrize(
    "spelled",
    ["412", "0412", "000412", "412.0", "412,0", "412.", " 412 ", "４１２", "'412", "412\u00a0"],
)
def test_spellings_of_a_code(spelled):
    frame = read_ballots(single(codes=f"{spelled} 837 265", answer=spelled), protocol=TRIANGLE)
    assert frame.loc[0, "codes"] == "412 837 265"
    assert frame.loc[0, "answer"] == "412"
    assert frame.loc[0, "correct"]


@pytest.mark.parametrize("between", [" ", "  ", ",", ", ", ";", "/", " / ", "|", "+", "&", "\n"])
def test_separators_of_codes_in_one_cell(between):
    frame = read_ballots(single(codes=between.join(["412", "837", "265"])), protocol=TRIANGLE)
    assert frame.loc[0, "codes"] == "412 837 265"


def test_decimal_comma_codes_in_a_semicolon_file():
    content = b"assessor;order;codes;answer\nP01;ABB;412,0 837,0 265,0;412,0\n"
    frame = read_ballots(content, protocol=TRIANGLE)
    assert frame.loc[0, "codes"] == "412 837 265"


@pytest.mark.parametrize("code", [412, 412.0, "412", "0412", "412,0"])
def test_kinds_of_code_cells_in_a_workbook(workbook, code):
    heading = ["assessor", "order", "code_1", "code_2", "code_3", "answer"]
    content = workbook({"Monday": [heading, ["P01", "ABB", code, 837.0, "265", code]]})
    frame = read_ballots(content, protocol=TRIANGLE)
    assert frame.loc[0, "codes"] == "412 837 265"
    assert frame.loc[0, "answer"] == "412"


@pytest.mark.parametrize("order", ["ABB", "abb", " A B B ", "A-B-B", "A,B,B", "A/B/B", "A:B:B"])
def test_spellings_of_an_order(order):
    assert read_ballots(single(order=order), protocol=TRIANGLE).loc[0, "order"] == "ABB"


@pytest.mark.parametrize(
    "heading",
    [
        "ASSESSOR,Order,Codes,Answer",
        " assessor , order , codes , answer ",
        "Person,Serving order,Blinding codes,Response",
        "Assessor name,Sequence,Code,Choice",
        "assessor_code,SERVED,blinding-codes,chosen",
        "Name:,order.,codes,answer",
    ],
)
def test_headings_in_other_spellings(heading):
    content = f"{heading}\nP01,ABB,412 837 265,412\n".encode()
    frame = read_ballots(content, protocol=TRIANGLE)
    assert frame[["assessor", "order", "answer"]].iloc[0].tolist() == ["P01", "ABB", "412"]


def test_heading_in_line_21_is_too_far_down(csv_bytes):
    with pytest.raises(BallotError, match="No heading row"):
        read_ballots(csv_bytes([["note"]] * 20 + LINES), protocol=TRIANGLE)
    assert_reads_as_the_six(read_ballots(csv_bytes([["note"]] * 19 + LINES), protocol=TRIANGLE))


def test_line_breaks_in_cells_are_kept_and_counted():
    content = (
        b"assessor,order,codes,answer,comment\r\n"
        b'P01,ABB,412 837 265,412,"sharp\r\nand thin"\r\n'
        b"\r\n"
        b"P02,BAB,518 903 276,999,\r\n"
    )
    with pytest.raises(BallotError, match="row 5, column answer: 999"):
        read_ballots(content, protocol=TRIANGLE)
    frame = read_ballots(content.replace(b"999", b"903"), protocol=TRIANGLE)
    assert frame.loc[0, "comment"] == "sharp\r\nand thin"


def test_separators_and_quotes_in_comments(csv_bytes):
    text = 'less "berry", more; sugar'
    content = csv_bytes([[*HEADING, "comment"], [*LINES[1], text]])
    assert read_ballots(content, protocol=TRIANGLE).loc[0, "comment"] == text


def test_blank_lines_are_skipped_and_keep_the_row_numbers(workbook):
    lines = [HEADING, [None] * 4, LINES[1], [None] * 4, ["P02", "BAB", "518 903 276", "999"]]
    with pytest.raises(BallotError, match="sheet Monday, row 5, column answer: 999"):
        read_ballots(workbook({"Monday": lines}), protocol=TRIANGLE)


def test_sheet_without_heading_is_remarked_and_left_out(workbook):
    content = workbook({"Monday": LINES, "shopping": [["cups", 200], ["water", 40]]})
    with pytest.warns(BallotWarning, match="sheet shopping: No heading row was found"):
        frame = read_ballots(content, protocol=TRIANGLE)
    assert_reads_as_the_six(frame)


@pytest.mark.parametrize("said", [b"A1:D3", b"A1:B7", b"A1"])
def test_rows_outside_the_extent_that_a_workbook_declares_are_read(workbook, repacked, said):
    def shrink(part: bytes) -> bytes:
        assert b'<dimension ref="A1:D7"' in part
        return part.replace(b'<dimension ref="A1:D7"', b'<dimension ref="' + said + b'"')

    content = repacked(workbook({"Monday": LINES}), "xl/worksheets/sheet1.xml", shrink)
    assert_reads_as_the_six(read_ballots(content, protocol=TRIANGLE))


def test_protocol_column(csv_bytes):
    for spelled in ("triangle", "TRIANGLE", " Triangle "):
        lines = [[*LINES[0], "protocol"], *([*line, spelled] for line in LINES[1:])]
        assert_reads_as_the_six(read_ballots(csv_bytes(lines)))


@pytest.mark.parametrize(
    ("protocol", "order", "codes", "answers"),
    [
        (TRIANGLE, "AAB", "412 837 265", {"412": False, "837": False, "265": True}),
        (TRIANGLE, "BAB", "412 837 265", {"412": False, "837": True, "265": False}),
        (DUO_TRIO, "AAB", "412 837", {"412": True, "837": False}),
        (DUO_TRIO, "ABA", "412 837", {"412": False, "837": True}),
        (DUO_TRIO, "BAB", "412 837", {"412": False, "837": True}),
        (DUO_TRIO, "BBA", "412 837", {"412": True, "837": False}),
        (PAIRED, "AB", "412 837", {"412": False, "837": True}),
        (PAIRED, "BA", "412 837", {"412": True, "837": False}),
        (THREE_AFC, "ABA", "412 837 265", {"412": False, "837": True, "265": False}),
        (TETRAD, "ABAB", "412 837 265 190", {"412 265": True, "190 837": True, "412 837": False}),
        (
            TWO_OUT_OF_FIVE,
            "ABABA",
            "412 837 265 190 544",
            {"837 190": True, "190, 837": True, "412 265": False, "837 265": False},
        ),
    ],
    ids=lambda value: repr(value) if hasattr(value, "guess") else None,
)
def test_answers_of_each_protocol(protocol, order, codes, answers):
    for answer, right in answers.items():
        frame = read_ballots(single(order=order, codes=codes, answer=answer), protocol=protocol)
        assert frame.loc[0, "correct"] == right, answer


def test_two_answers_are_kept_in_the_order_of_serving():
    content = single(order="ABBA", codes="412 837 265 190", answer="190 / 412")
    assert read_ballots(content, protocol=TETRAD).loc[0, "answer"] == "412 190"


def test_target_of_a_paired_comparison():
    content = single(order="AB", codes="412 837", answer="412")
    assert not read_ballots(content, protocol=PAIRED).loc[0, "correct"]
    assert read_ballots(content, protocol=PAIRED, target="A").loc[0, "correct"]


@pytest.mark.parametrize("target", ["C", "a", "", None])
def test_target_must_be_a_letter_of_the_two(target):
    content = single(order="AB", codes="412 837", answer="412")
    with pytest.raises(ArgumentError, match="target must be 'A' or 'B'; got"):
        read_ballots(content, protocol=PAIRED, target=target)


def test_missing_answer_is_kept_without_a_verdict():
    with pytest.warns(BallotWarning, match="row 2, column answer: No answer was given") as caught:
        frame = read_ballots(single(answer=""), protocol=TRIANGLE)
    assert len(caught) == 1
    assert frame["correct"].isna().tolist() == [True]
    assert frame["answer"].isna().tolist() == [True]


@pytest.mark.parametrize(
    ("mark", "guessed"),
    [
        *((yes, True) for yes in ("x", "X", "yes", "1", "TRUE", "ja", "oui", "sí", "guess")),
        *((no, False) for no in ("", "no", "0", "false", "nein", "-", " ")),
    ],
)
def test_guess_marks(mark, guessed):
    frame = read_ballots(single(guess=mark), protocol=TRIANGLE)
    assert frame.loc[0, ["guess", "correct"]].tolist() == [guessed, True]


@pytest.mark.parametrize(
    ("claim", "answer", "remarked"),
    [
        *(("0", "412", True), ("1", "837", True), ("maybe", "412", True)),
        *(("1", "412", False), ("yes", "412", False), ("0", "837", False)),
    ],
)
def test_correct_in_the_file_is_compared_and_not_used(claim, answer, remarked):
    warned = pytest.warns(BallotWarning, match=f"row 2, column correct: The file says '{claim}'")
    with warned if remarked else nullcontext():
        frame = read_ballots(single(answer=answer, correct=claim), protocol=TRIANGLE)
    assert frame.loc[0, "correct"] == (answer == "412")


def test_one_more_of_an_order_is_no_remark(csv_bytes):
    content = csv_bytes([*LINES, ["P07", "ABB", "412 837 265", "412"]])
    assert len(read_ballots(content, protocol=TRIANGLE)) == 7


def test_duo_trio_with_a_constant_reference_is_balanced_within_its_two_orders(csv_bytes):
    lines = [HEADING]
    lines += [[f"P{i}", ("AAB", "ABA")[i % 2], "412 837", "412"] for i in range(8)]
    assert len(read_ballots(csv_bytes(lines), protocol=DUO_TRIO)) == 8


def test_all_remarks_come_in_one_warning(csv_bytes):
    lines = [[*HEADING, "shoe size"], *([f"P{i}", "ABB", "412 837 265", "", "42"] for i in "123")]
    with pytest.warns(BallotWarning) as caught:
        frame = read_ballots(csv_bytes(lines), protocol=TRIANGLE)
    assert frame.columns.tolist() == COLUMNS
    assert len(caught) == 1
    text = str(caught[0].message)
    assert "row 1, column shoe size" in text
    assert "No answer was given" in text
    assert "not served equally often: ABB 3, BAB 0" in text
    assert caught[0].filename == __file__


def test_formula_like_text_is_text():
    frame = read_ballots(single(comment="=1+1", assessor="@P01"), protocol=TRIANGLE)
    assert frame.loc[0, ["comment", "assessor"]].tolist() == ["=1+1", "@P01"]


@pytest.mark.parametrize(
    ("column", "cell", "read"),
    [
        ("comment", "=1+1", "=1+1"),
        ("comment", date(2026, 9, 14), "2026-09-14T00:00:00"),
        ("guess", True, True),
    ],
)
def test_cells_of_a_workbook_that_are_no_text(workbook, column, cell, read):
    content = workbook({"Monday": [[*HEADING, column], [*LINES[1], cell]]})
    assert read_ballots(content, protocol=TRIANGLE).loc[0, column] == read


def test_names_that_other_readers_take_for_missing_are_names(csv_bytes):
    lines = [HEADING, ["NA", *LINES[1][1:]], ["null", *LINES[2][1:]], ["nan", *LINES[3][1:]]]
    frame = read_ballots(csv_bytes(lines), protocol=TRIANGLE)
    assert frame["assessor"].tolist() == ["NA", "null", "nan"]


def test_replicates_and_sessions_are_kept(csv_bytes):
    lines = [[*HEADING, "replicate", "session"]]
    lines += [
        ["P01", "ABB", "412 837 265", "412", "", "S1"],
        ["P01", "BAB", "518 903 276", "518", "2.0", "S1"],
        ["P01", "BBA", "518 903 276", "518", "1", "S2"],
    ]
    frame = read_ballots(csv_bytes(lines), protocol=TRIANGLE)
    assert frame["replicate"].tolist() == [1, 2, 1]
    assert frame["session"].tolist() == ["S1", "S1", "S2"]


def filled_template(protocol) -> bytes:
    """The template, filled in with one ballot an order as its own notes say."""
    book = openpyxl.load_workbook(io.BytesIO(template_xlsx(protocol)))
    sheet, notes = book["ballots"], book[NOTES_SHEET]
    assert notes.cell(1, 1).value == "heading"
    heading = [cell.value for cell in sheet[1]]
    for number, order in enumerate(protocol.order_sets[0]):
        codes = [200 + 10 * number + place for place in range(protocol.coded)]
        cells = {f"code_{place + 1}": code for place, code in enumerate(codes)}
        cells |= {"assessor": f"P{number:02d}", "protocol": protocol.name, "order": order}
        right = sorted(protocol.right_answers(order)[0])
        cells["answer"] = " ".join(str(codes[place]) for place in right)
        sheet.append([cells.get(name) for name in heading])
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_filled_template_reads_back_without_remarks(protocol):
    frame = read_ballots(filled_template(protocol))
    assert tuple(frame["order"]) == protocol.order_sets[0]
    assert set(frame["protocol"]) == {protocol.key}
    assert frame["correct"].all()


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_both_templates_have_the_same_heading(protocol):
    heading = template_csv(protocol).decode("utf-8-sig").strip().split(",")
    sheet = openpyxl.load_workbook(io.BytesIO(template_xlsx(protocol)))["ballots"]
    assert heading == [cell.value for cell in sheet[1]]
    assert heading == [column.name for column in template_columns(protocol)]
    assert sum(name.startswith("code_") for name in heading) == protocol.coded


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_examples_in_the_notes_of_the_template_are_a_sound_ballot(protocol, csv_bytes):
    notes = openpyxl.load_workbook(io.BytesIO(template_xlsx(protocol)))[NOTES_SHEET]
    told = {name: example for name, _, _, example in notes.iter_rows(values_only=True) if example}
    assert told.pop("heading") == "example"
    frame = read_ballots(csv_bytes([list(told), list(told.values())]))
    assert frame.loc[0, "protocol"] == protocol.key


def test_untouched_template_says_that_there_are_no_ballots():
    for content in (template_xlsx(TRIANGLE), template_csv(TRIANGLE)):
        with pytest.raises(BallotError, match="There are no ballots"):
            read_ballots(content)

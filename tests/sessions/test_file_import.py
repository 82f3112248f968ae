"""A messy export is read as it comes: heading row, roles, spellings, reference, report."""

from __future__ import annotations

import io
import random

import openpyxl
import pytest

from sensory.base.errors import ArgumentError, BallotError, BallotWarning
from sensory.sessions.file_import import (
    Merge,
    import_file,
    proposed_merges,
)
from sensory.sessions.file_roles import Role
from sensory.sessions.file_sheets import file_sheets, sheet_named
from sensory.sessions.reading import read_ballots

HEADINGS = ["Datum", "Prüfer", "Probe", "Wiederholung", "süß", "bittr", "Kommentar"]
SAMPLES = ("Referenz", "Charge 1127", "Charge 1128")
PEOPLE = ("Berg, Anna", "Bo Lind", "Cleo Marsh", "Dina Roth", "Emil Saar", "Finn Thal")
SPELLINGS = {0: "Berg, Anna", 1: "Anna Berg", 2: "A. Berg"}


def messy(*, title: bool = True) -> list[list[str]]:
    """Title rows, German headings, decimal commas, three spellings of one assessor."""
    rng = random.Random(8)
    lines = [["Sirupverkostung Linie 2", "", "", "", "", "", ""], ["Auswertung: März"], []]
    lines = [*(lines if title else []), HEADINGS]
    for at, sample in enumerate(SAMPLES):
        for replicate in ("1", "2"):
            for person in PEOPLE:
                who = SPELLINGS[at] if person == PEOPLE[0] else person
                scores = [f"{rng.uniform(3, 7):.1f}".replace(".", ",") for _ in range(2)]
                lines.append(["03.03.2026", who, sample, replicate, *scores, "etwas dünn"])
    return lines


def as_csv(lines: list[list[str]]) -> bytes:
    return "\r\n".join(";".join(line) for line in lines).encode("cp1252")


def as_book(lines: list[list[str]]) -> bytes:
    book = openpyxl.Workbook()
    book.worksheets[0].title = "Notizen"
    book.worksheets[0].append(["nichts hier"])
    sheet = book.create_sheet("Daten")
    for line in lines:
        sheet.append(line)
    if lines[0] != HEADINGS:
        sheet.merge_cells("A1:G1")
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


@pytest.mark.parametrize("written", [as_csv, as_book], ids=["CSV", "XLSX"])
def test_heading_row_and_roles_are_found(written):
    sheet = sheet_named(file_sheets(written(messy())))
    assert sheet.row == 4
    assert [role.value for role in sheet.roles()] == [
        "date", "assessor", "sample", "replicate", "attribute", "attribute", "comment",
    ]  # fmt: skip


def test_spellings_are_proposed_and_taken_only_when_told():
    sheet = sheet_named(file_sheets(as_csv(messy())))
    roles = sheet.roles()
    merges = proposed_merges(sheet, roles)
    assert {(m.role, m.spelling, m.name) for m in merges} == {
        ("assessor", "Anna Berg", "Berg, Anna"),
        ("assessor", "A. Berg", "Berg, Anna"),
    }
    untouched = import_file(sheet, roles)
    assert len({row["assessor"] for row in untouched.checked.rows}) == 8
    merged = import_file(
        sheet, roles, merges=[*merges, Merge(role="attribute", spelling="bittr", name="bitter")]
    )
    assert len({row["assessor"] for row in merged.checked.rows}) == 6
    assert {row["attribute"] for row in merged.checked.rows} == {"süß", "bitter"}


def test_reference_is_one_of_the_samples_and_all_ballots_are_ready():
    """It said '46 ballots read' where 0 were ready and 55 to mend."""
    sheet = sheet_named(file_sheets(as_csv(messy())))
    read = import_file(sheet, sheet.roles(), reference="referenz")
    assert (read.test, read.samples) == ("PROFILE", SAMPLES)
    assert read.settings == {"attributes": "süß; bittr", "reference": "Referenz"}
    assert not read.checked.blocking
    assert (read.report.ballots, read.report.ready) == (36, 36)
    with pytest.raises(ArgumentError, match="one of Referenz, Charge 1127, Charge 1128"):
        import_file(sheet, sheet.roles(), reference="reference")


def test_every_fault_is_there_at_upload():
    lines = messy()
    lines[6][4] = "sechs"
    lines[8][1] = ""
    sheet = sheet_named(file_sheets(as_csv(lines)))
    read = import_file(sheet, sheet.roles())
    assert [(fault.row, fault.column) for fault in read.checked.blocking] == [
        (7, "süß"),
        (9, "assessor"),
    ]
    assert read.report.ready == 34


def test_report_says_what_was_done():
    sheet = sheet_named(file_sheets(as_csv(messy())))
    merge = Merge(role="assessor", spelling="A. Berg", name="Berg, Anna")
    report = import_file(sheet, sheet.roles(), merges=[merge], reference="Referenz").report
    assert report.decimal_commas == 72
    assert report.merged == ((merge, 2),)
    table = report.table()
    assert list(table.columns) == ["step", "item", "result"]
    assert ["column", "Datum", "date"] in table.to_numpy().tolist()
    assert ["merged assessor", "A. Berg", "Berg, Anna, 2 cells"] in table.to_numpy().tolist()


def test_roles_and_heading_row_can_be_corrected():
    lines = messy()
    sheet = sheet_named(file_sheets(as_csv(lines), header=4))
    assert sheet.roles({"bittr": "ignore"})[5] is Role.IGNORE
    with pytest.raises(ArgumentError, match="'salzig' is no heading of the file"):
        sheet.roles({"salzig": "attribute"})
    with pytest.raises(ArgumentError, match="given to more than one column"):
        sheet.roles({"Kommentar": "assessor"})
    with pytest.raises(ArgumentError, match="a role is one of"):
        sheet.roles({"Kommentar": "flavour"})
    with pytest.raises(ArgumentError, match="header: row 3 is empty"):
        file_sheets(as_csv(lines), header=3)
    with pytest.raises(BallotError, match="No column names the assessors"):
        import_file(sheet, sheet.roles({"Prüfer": "ignore"}))


def test_two_people_who_scored_the_same_are_not_proposed():
    text = "assessor;sample;sweet\nAnna;A;5\nAnne;A;6\nAnna;B;5\nAnne;B;6\nBert;A;3\nBertt;B;4"
    sheet = sheet_named(file_sheets(text.encode()))
    proposed = proposed_merges(sheet, sheet.roles())
    assert [(merge.spelling, merge.name) for merge in proposed] == [("Bertt", "Bert")]


def test_misspelt_attribute_of_a_long_table_is_proposed():
    lines = ["assessor;sample;attribute;score", "P01;A;bitter;5", "P01;B;bitter;6", "P02;A;bittr;5"]
    sheet = sheet_named(file_sheets("\n".join([*lines, "P02;B;bitter;4"]).encode()))
    roles = sheet.roles()
    (merge,) = proposed_merges(sheet, roles)
    assert (merge.role, merge.spelling, merge.name) == ("attribute", "bittr", "bitter")
    read = import_file(sheet, roles, merges=[merge])
    assert [row["attribute"] for row in read.checked.rows] == ["bitter"] * 4


def test_misspelt_heading_is_proposed_by_the_attributes_on_record():
    sheet = sheet_named(file_sheets(as_csv(messy())))
    proposed = proposed_merges(sheet, sheet.roles(), ["bitter", "sauer"])
    assert [m.name for m in proposed if m.spelling == "bittr"] == ["bitter"]


def test_merged_columns_that_both_hold_a_score_are_refused():
    text = "assessor;sample;bitter;bittr\nP01;A;5;4\nP01;B;;3"
    sheet = sheet_named(file_sheets(text.encode()))
    merge = Merge(role="attribute", spelling="bittr", name="bitter")
    with pytest.raises(BallotError, match="row 2, column bitter: Two columns"):
        import_file(sheet, sheet.roles(), merges=[merge])


def test_forced_choices_are_read_too():
    text = "Panel\nPrüfer;Reihenfolge;codes;Antwort\nP01;ABB;412 837 265;412\nP02;BAB;518 903 276;"
    sheet = sheet_named(file_sheets(text.encode()))
    read = import_file(sheet, sheet.roles())
    assert read.test == "TRIANGLE"
    assert [ballot.correct for ballot in read.checked.rows] == [True, None]


def test_a_kept_shape_fits_the_next_file_and_survives_its_record():
    sheet = sheet_named(file_sheets(as_csv(messy())))
    shape = import_file(sheet, sheet.roles(), name="weekly export").shape
    assert type(shape).from_dict(shape.to_dict()) == shape
    later = sheet_named(file_sheets(as_book(messy(title=False))))
    assert shape.fits([text for text in later.headings if text])
    assert not shape.fits(["Prüfer", "Probe"])


def test_read_ballots_takes_roles_and_reports():
    content = as_book(messy())
    with pytest.warns(BallotWarning, match="look like one person"):
        read_ballots(
            as_csv([["assessor", "sample", "sweet"], *[["A.B.", "x", "5"], ["AB", "x", "4"]]]),
            roles={},
        )
    frame = read_ballots(
        content,
        sheet="Daten",
        header=4,
        roles={"bittr": "attribute"},
        merges={"attribute": {"bittr": "bitter"}, "assessor": {"A. Berg": "Berg, Anna"}},
        reference="Referenz",
    )
    assert sorted(frame["attribute"].unique()) == ["bitter", "süß"]
    report = frame.attrs["report"]
    assert (report.reference, report.heading_row, report.ready) == ("Referenz", 4, 36)

"""Codes and names as people type them."""

from __future__ import annotations

import pytest

from sensory.base.spelling import normal_code, same_person, split_codes
from sensory.catalogue.choice_ballot import CHOICE, column_of


@pytest.mark.parametrize("code", ["412", "7", "999999", "100"])
def test_code_is_read(code):
    assert normal_code(code) == code


@pytest.mark.parametrize("typed", ["0412", "412.0", "412,00", "412.", " 412\t", "'412", "４１２"])
def test_code_is_read_however_it_is_typed(typed):
    assert normal_code(typed) == "412"


NO_CODES = "0 000 0.0 4l2 O412 412.5 412,5 -412 +412 1000000 4.12e2 =412 ٤١٢ inf nan"


@pytest.mark.parametrize("typed", [*NO_CODES.split(), "", " ", "4 12", "412 837", "no difference"])
def test_no_code(typed):
    assert normal_code(typed) is None


@pytest.mark.parametrize(
    ("cell", "parts"),
    [
        ("", []),
        ("412", ["412"]),
        ("412 837 265", ["412", "837", "265"]),
        ("412,837,265", ["412", "837", "265"]),
        ("412, 837, 265", ["412", "837", "265"]),
        ("412;837/265|190", ["412", "837", "265", "190"]),
        ("412 + 837 & 265", ["412", "837", "265"]),
        ("412,0 837,0", ["412,0", "837,0"]),
        ("412,0; 837,00", ["412,0", "837,00"]),
        ("412.0, 837.0", ["412.0", "837.0"]),
        ("412\n837\n265", ["412", "837", "265"]),
        (",412,,837,", ["412", "837"]),
        (" , ; ", []),
        ("412 or 837", ["412", "or", "837"]),
    ],
)
def test_codes_of_one_cell(cell, parts):
    assert split_codes(cell) == parts


@pytest.mark.parametrize(
    ("name", "same", "others"),
    [
        ("Anna Berg", ["anna berg", "  Anna   Berg ", "ANNA\tBERG"], ["Anna", "Anna B"]),
        ("Weiß", ["WEISS"], []),
        ("P01", ["Ｐ０１"], ["P1"]),
        ("Zoë", ["Zoe\u0308"], ["Zoe"]),
    ],
)
def test_same_and_different_people(name, same, others):
    assert {same_person(other) for other in same} == {same_person(name)}
    assert same_person(name) not in map(same_person, others)


def test_each_heading_stands_for_one_column():
    headings = [text for column in CHOICE.columns for text in (column.name, *column.also)]
    assert len(headings) == len(set(headings))
    for column in CHOICE.columns:
        for text in (column.name, *column.also):
            assert column_of(text) == column.name
            assert column_of(f" {text.replace('_', ' ').upper()}: ") == column.name


@pytest.mark.parametrize("heading", ["", " ", "shoe size", "code_6", "code_0", "answers given"])
def test_unknown_heading(heading):
    assert column_of(heading) is None

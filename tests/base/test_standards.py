"""Editions of the standards, as last looked up."""

from __future__ import annotations

import re

from sensory.base.standards import CHECKED, STANDARDS
from sensory.choices.protocols import PROTOCOLS

EDITIONS = """
ISO 4120:2021, ISO 10399:2026, ISO 5495:2005, ISO 8588:2017, ISO 8587:2006, ISO 16820:2019,
ISO 11132:2021, ISO 8586:2023, ISO 4121:2003, ISO 13299:2016, ISO 13301:2018, ISO 29842:2024,
ISO 20613:2019, ISO 6658:2017, ISO 5492:2008, ASTM E1885-18, ASTM E2610-18, ASTM E2164-24b
"""


def test_editions():
    printed = EDITIONS.replace("\n", " ").strip().split(", ")
    assert sorted(map(str, STANDARDS.values())) == sorted(printed)


def test_each_standard_says_its_subject_and_when_it_was_looked_up():
    assert re.fullmatch(r"20\d\d-(0[1-9]|1[0-2])", CHECKED)
    for number, entry in STANDARDS.items():
        assert entry.number == number
        assert entry.subject
        assert entry.checked == CHECKED


def test_each_protocol_names_a_standard_of_the_table():
    for protocol in PROTOCOLS.values():
        assert protocol.standard is STANDARDS[protocol.standard.number]

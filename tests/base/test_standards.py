"""Editions of the standards: one table, cited as what was looked up and what was not."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from sensory.base.standards import CHECKED, STANDARDS, Standard
from sensory.catalogue.question import Question
from sensory.catalogue.tests import TESTS
from sensory.choices.advice import QUESTIONS, Situation, advise
from sensory.choices.protocols import PROTOCOLS
from sensory.models.charts import RUN_RULES
from sensory.sessions.outcomes import edition

EDITIONS = """
ISO 4120:2021, ISO 10399:2026, ISO 5495:2005 + Cor 1:2006, ISO 8588:2017, ISO 8587:2006,
ISO 16820:2019, ISO 11132:2021, ISO 8586:2023, ISO 4121:2003, ISO 13299:2016, ISO 13301:2018,
ISO 29842:2024, ISO 20613:2019, ISO 6658:2017, ISO 5492:2008 + Amd 1:2016, ISO 16779:2015,
ISO 5725-2:2019, ISO 7870-2, ISO 7870-6, ISO 8258, DIN 10976:2016, ASTM E1885-18, ASTM E2610-18,
ASTM E2164-24b, ASTM E2139-05(2011), ASTM E2262
"""
PACKAGE = Path(__file__).resolve().parents[2] / "sensory"
FILES = sorted(PACKAGE.rglob("*.py"))
TABLE = PACKAGE / "base" / "standards.py"
DATED = re.compile(
    r"\b((?:ISO|DIN) [0-9]+(?:-[0-9])?):([0-9]{4})\b|\b(ASTM E[0-9]+)-([0-9]{2}[a-z]?)"
)
REFERENCE = re.compile(r"^ *\[[0-9]\] (?=.*\b(?:ISO [0-9]|DIN [0-9]|ASTM E))", re.MULTILINE)
OLDER = {("ISO 8586", "2012"): "the only printed example that was read"}


def dated(text):
    """Pairs of number and edition that a text names."""
    return {(a or c, b or d) for a, b, c, d in DATED.findall(text)}


def loose_texts(path):
    """Constants of a file that are text and no docstring."""
    nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    notes = {
        id(node.value)  # a text that stands alone is a docstring
        for node in nodes
        if isinstance(node, ast.Expr)
    }
    return [
        node.value
        for node in nodes
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in notes
    ]


def test_editions():
    printed = EDITIONS.replace("\n", " ").strip().split(", ")
    assert sorted(each.name for each in STANDARDS.values()) == sorted(printed)


def test_each_standard_says_its_subject_and_when_it_was_looked_up():
    assert re.fullmatch(r"20\d\d-(0[1-9]|1[0-2])", CHECKED)
    for number, entry in STANDARDS.items():
        assert entry.number == number
        assert entry.subject
        assert entry.checked == CHECKED


@pytest.mark.parametrize("standard", STANDARDS.values(), ids=STANDARDS)
def test_a_standard_is_cited_as_what_it_is(standard):
    assert str(standard) == f"after {standard.name}"
    assert standard.cited.startswith(f"after {standard.name} (edition ")
    assert ("not looked up" in standard.cited) == (not standard.edition)
    assert "the text was not checked; no conformity is claimed)" in standard.cited
    assert all(f"{amendment} from memory" in standard.cited for amendment in standard.recalled)


def test_amendments_and_doubts_stand_in_the_citation():
    assert STANDARDS["ISO 5495"].cited == (
        "after ISO 5495:2005 + Cor 1:2006 (edition looked up 2026-11; Amd 1:2016 from memory; "
        "one catalogue says replaced, no successor was found; the text was not checked; "
        "no conformity is claimed)"
    )


def test_each_test_is_stamped_out_of_the_table():
    for kind in TESTS.values():
        assert isinstance(kind.standard, Standard)
        assert kind.standard is STANDARDS[kind.standard.number]
        assert edition(Question(protocol=kind.key)) == kind.standard.cited
    for protocol in PROTOCOLS.values():
        assert protocol.standard is STANDARDS[protocol.standard.number]


def test_advice_and_run_rules_name_standards_of_the_table():
    known = {str(each) for each in STANDARDS.values()}
    for question in QUESTIONS:
        assert {
            advice.standard for advice in advise(Situation(question=question, people=12))
        } <= known
    assert {rule.source.removesuffix(", from memory") for rule in RUN_RULES.values()} <= known


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_no_edition_stands_beside_the_table(path):
    """Docstrings name editions of the table; other text takes them out of it."""
    text = path.read_text(encoding="utf-8")
    table = {(each.number, each.edition) for each in STANDARDS.values()}
    assert dated(text) <= table | OLDER.keys()
    for start in REFERENCE.finditer(text):
        assert text[start.end() :].startswith("After "), text[start.end() :][:60]
    if path != TABLE:
        assert not [each for each in loose_texts(path) if dated(each)]


def test_two_standards_are_quoted_for_their_printed_example_only():
    """What ISO 11132 and ISO 8586 say inside was not read, one printed example apart."""
    quotes = [
        line.strip()
        for path in FILES
        if path != TABLE
        for line in path.read_text(encoding="utf-8").splitlines()
        if "ISO 11132" in line or "ISO 8586" in line
    ]
    assert len(quotes) == 4
    for quote in quotes:
        assert "scope" in quote or "printed example" in quote, quote
        assert "clause" not in quote

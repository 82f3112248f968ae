"""Sheets of a serving: what the kitchen needs, what assessors get, and never both together."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from pypdf import PdfReader

from sensory import workflow
from sensory.base.languages import ballot_words, languages
from sensory.report.serving_sheets import (
    ballots_pdf,
    booth_cards_pdf,
    key_pdf,
    labels_pdf,
    preparation_pdf,
)
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan

DEMO = Path(__file__).parents[2] / "demo_data"
PLAN = serving_plan("triangle", ["Anna", "Bo", "Cleo"], seed=4)


def words(content: bytes) -> str:
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.fixture(scope="module")
def prepared():
    return workflow.read_prepared(DEMO, "suspect_batch")


def test_preparation_names_every_cup_in_the_order_of_serving(prepared):
    text = words(preparation_pdf(PLAN, prepared["details"]))
    for name in PLAN.assessors:
        cups = [f"{row.code} {row.sample}" for row in PLAN.rows if row.assessor == name]
        places = [text.index(cup) for cup in cups]
        assert places == sorted(places)
    assert "sulphites" in text
    assert PLAN.digest in text


def test_key_resolves_every_code(prepared):
    text = words(key_pdf(PLAN, prepared["details"]))
    for row in PLAN.key().rows:
        assert f"{row[3]} {row[4]}" in text
    assert "not for assessors" in text


def test_labels_have_every_code_once_and_no_sample():
    text = words(labels_pdf(PLAN))
    for row in PLAN.rows:
        assert text.count(row.code) >= 1
    assert " A " not in text
    assert " B " not in text


@pytest.mark.parametrize("language", languages())
def test_paper_ballots_hold_codes_and_cautions_in_the_language_and_nothing_of_the_key(
    prepared, language
):
    lines = ballot_lines(PLAN)
    content = ballots_pdf(lines, prepared["question"], prepared["details"], language)
    pages = PdfReader(io.BytesIO(content)).pages
    assert len(pages) == len(lines)
    text = words(content)
    said = ballot_words(language)
    assert " ".join(said["asks"]["TRIANGLE"].split()) in text
    assert "sulphites" in text
    for row in PLAN.rows:
        assert row.code in text
    for secret in ("suspect", "EF-0937", *{one.order for one in PLAN.sets}):
        assert secret not in text


def test_ranking_has_one_ballot_an_assessor_and_profile_a_line_an_attribute():
    ranking = workflow.read_prepared(DEMO, "aftertaste")
    plan = serving_plan("ranking", ["Anna", "Bo"], seed=1, samples=["sugar", "b1", "b2"])
    content = ballots_pdf(ballot_lines(plan), ranking["question"], ranking["details"], "en")
    assert len(PdfReader(io.BytesIO(content)).pages) == 2
    assert "aftertaste" in words(content)
    profile = workflow.read_prepared(DEMO, "pressing")
    plan = serving_plan("profile", ["Anna"], seed=1, samples=["reference", "b1"])
    text = words(ballots_pdf(ballot_lines(plan), profile["question"], profile["details"], "de"))
    assert text.count("raspberry") == 2
    assert text.count("sehr stark") == 12


def test_booth_cards_carry_the_link_of_each_assessor():
    links = {"Anna": "http://127.0.0.1:8501/?booth=one", "Bo": "http://127.0.0.1:8501/?booth=two"}
    text = words(booth_cards_pdf(links, "es"))
    for name, link in links.items():
        assert f"Bienvenido/a, {name}." in text
        assert link in text
    assert booth_cards_pdf(links, "es") == booth_cards_pdf(links, "es")


@pytest.mark.parametrize("language", languages())
def test_a_paper_ballot_states_its_own_allergens_and_has_a_box_to_leave_it_out(prepared, language):
    lines = ballot_lines(PLAN)
    held = dict(zip(lines, ("milk", "", "celery; milk"), strict=True))
    content = ballots_pdf(
        lines, prepared["question"], prepared["details"], language, allergens=held
    )
    said = ballot_words(language)
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(content)).pages]
    for page, allergens in zip(pages, held.values(), strict=True):
        stated = " ".join(said["ballot_allergens"].format(allergens=allergens).split())
        assert (stated in page) == bool(allergens)
        assert (said["leave_out"] in page) == bool(allergens)
    assert "sulphites" not in " ".join(pages)


def test_sheets_leave_out_what_is_not_served_and_say_how_much(prepared):
    rows = tuple(row for row in PLAN.rows if row.assessor != "Bo")
    text = words(
        preparation_pdf(
            PLAN, prepared["details"], rows=rows, allergens={"A": "none", "B": "milk; celery"}
        )
    )
    gone = [row.code for row in PLAN.rows if row.assessor == "Bo"]
    labels = words(labels_pdf(PLAN, rows=rows))
    assert not any(code in text or code in labels for code in gone)
    assert "Bo, sitting 1 left out: 3 cups" in text
    assert f"B {sum(row.sample == 'B' for row in rows)} milk; celery" in text
    assert "sulphites" not in text  # what is declared at the serving stands alone
    assert PLAN.digest in text

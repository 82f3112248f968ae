"""Sheets of a serving: what the kitchen needs, what assessors get, and never both together."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from sensory.base.languages import ballot_words, languages
from sensory.catalogue.tests import find_kind
from sensory.report.serving_sheets import (
    ballots_pdf,
    booth_cards_pdf,
    key_pdf,
    labels_pdf,
    preparation_pdf,
)
from sensory.serving.cups import rows_to_serve, to_serve
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import workflow

from .shared import pages_of, text_of

DEMO = Path(__file__).parents[2] / "demo_data"
PLAN = serving_plan("triangle", ["Anna", "Bo", "Cleo"], seed=4)


def papers_of(content):
    """The words of each paper ballot, which begins with its assessor."""
    return re.split(r"(?=\b(?:Anna|Bo|Cleo)\b)", text_of(content))[1:]


@pytest.fixture(scope="module")
def prepared():
    return workflow.read_prepared(DEMO, "suspect_batch")


def test_preparation_names_every_cup_in_the_order_of_serving(prepared):
    text = text_of(preparation_pdf(PLAN, prepared["details"]))
    for name in PLAN.assessors:
        cups = [f"{row.code} {row.sample}" for row in PLAN.rows if row.assessor == name]
        places = [text.index(cup) for cup in cups]
        assert places == sorted(places)
    assert "sulphites" in text
    assert PLAN.digest in text


def test_preparation_is_one_table_with_the_batch_of_each_cup_and_numbered_pages(prepared):
    many = serving_plan("triangle", 24, seed=4)
    pages = pages_of(preparation_pdf(many, prepared["details"]))
    batches = {sample.letter: sample.batch for sample in prepared["details"].samples}
    text = " ".join(pages)
    for row in many.rows:
        assert f"{row.code} {row.sample} {batches[row.sample]}" in text
    for number, page in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in page
        assert "set code sample batch" in page


def test_key_resolves_every_code(prepared):
    text = text_of(key_pdf(PLAN, prepared["details"]))
    for row in PLAN.key().rows:
        assert f"{row[3]} {row[4]}" in text
    assert "not for assessors" in text


def test_labels_have_every_code_once_and_no_sample():
    text = text_of(labels_pdf(PLAN))
    for row in PLAN.rows:
        assert text.count(row.code) >= 1
    assert " A " not in text
    assert " B " not in text


@pytest.mark.parametrize(("sheet", "labels"), [("3 x 7", 21), ("3 x 8", 24), ("4 x 10", 40)])
def test_labels_fill_the_sheet_that_the_plant_uses(sheet, labels):
    plan = serving_plan("triangle", 14, seed=4)  # 42 cups
    first = pages_of(labels_pdf(plan, sheet=sheet))[0]
    assert len(re.findall(r"\b[0-9]{3}\b", first)) == labels
    assert plan.rows[labels - 1].code in first


@pytest.mark.parametrize("language", languages())
def test_paper_ballots_hold_codes_and_cautions_in_the_language_and_nothing_of_the_key(
    prepared, language
):
    lines = ballot_lines(PLAN)
    content = ballots_pdf(lines, prepared["question"], prepared["details"], language)
    assert len(papers_of(content)) == len(lines)
    text = text_of(content)
    assert " ".join(find_kind("TRIANGLE").words[language].asks.split()) in text
    assert "sulphites" in text
    for row in PLAN.rows:
        assert row.code in text
    for secret in ("suspect", "EF-0937", *{one.order for one in PLAN.sets}):
        assert secret not in text


def test_ranking_has_one_ballot_an_assessor_and_profile_a_line_an_attribute():
    ranking = workflow.read_prepared(DEMO, "aftertaste")
    plan = serving_plan("ranking", ["Anna", "Bo"], seed=1, samples=["sugar", "b1", "b2"])
    content = ballots_pdf(ballot_lines(plan), ranking["question"], ranking["details"], "en")
    assert len(papers_of(content)) == 2
    assert "aftertaste" in text_of(content)
    profile = workflow.read_prepared(DEMO, "pressing")
    plan = serving_plan("profile", ["Anna"], seed=1, samples=["reference", "b1"])
    text = text_of(ballots_pdf(ballot_lines(plan), profile["question"], profile["details"], "de"))
    assert text.count("raspberry") == 2
    assert text.count("sehr stark") == 12


def test_booth_cards_carry_the_link_of_each_assessor():
    links = {"Anna": "http://127.0.0.1:8501/?booth=one", "Bo": "http://127.0.0.1:8501/?booth=two"}
    text = text_of(booth_cards_pdf(links, "es"))
    for name, link in links.items():
        assert f"Bienvenido/a, {name}." in text
        assert link in text
    assert booth_cards_pdf(links, "es") == booth_cards_pdf(links, "es")


@pytest.mark.parametrize(
    ("attributes", "per_page"),
    [("", 4), ("a; b; c; d", 2), ("a; b; c; d; e; f; g; h; i; j", 1)],
)
def test_paper_ballots_share_a_page_where_they_have_room(prepared, attributes, per_page):
    question, plan = prepared["question"], serving_plan("triangle", 5, seed=4)
    if attributes:
        question = workflow.read_prepared(DEMO, "pressing")["question"]
        question = replace(question, settings={"attributes": attributes, "reference": "r"})
        plan = serving_plan("profile", 3, seed=1, samples=["r", "b1"])
    lines = dict([*ballot_lines(plan).items()][:5])
    pages = pages_of(ballots_pdf(lines, question, prepared["details"], "en", session="3f2a91"))
    assert len(pages) == -(-5 // per_page)
    assert pages[0].count("Session 3f2a91 · 7 Oct 2026") == per_page
    how = (
        "Put one upright stroke across each line." if attributes else "Put a cross under one sample"
    )
    assert pages[0].count(how) == per_page


def test_a_paper_ballot_without_a_date_names_its_session_alone(prepared):
    """It held a line to write the date on, which nobody who reads ballots asks for."""
    details = replace(prepared["details"], held_on="")
    papers = partial(ballots_pdf, ballot_lines(PLAN), prepared["question"], details, "de")
    text = text_of(papers(session="3f2a91"))
    assert text.count("Sitzung 3f2a91") == 3
    assert "·" not in text
    for none in (text, text_of(papers())):
        assert "Datum" not in none
        assert "___" not in none
    assert "Sitzung" not in text_of(papers())


TWICE = serving_plan(
    "triangle", ["Anna", "Bo"], seed=4, replicates=4, sittings=2, warm_up="plain syrup"
)


@pytest.mark.parametrize(("minutes", "pause"), [(0, "break_after"), (12, "break_at_least")])
@pytest.mark.parametrize("language", languages())
def test_paper_ballots_say_sitting_warm_up_and_break(prepared, language, minutes, pause):
    said = ballot_words(language)
    lines, question, details = ballot_lines(TWICE), prepared["question"], prepared["details"]
    pages = papers_of(
        ballots_pdf(lines, question, details, language, plan=TWICE, break_minutes=minutes)
    )
    assert len(pages) == 8
    warm_ups = [row.code for row in TWICE.rows if not row.set]
    for number, page in enumerate(pages):
        ballot, sitting = number % 4 + 1, number % 4 // 2 + 1
        assert said["ballot_of"].format(number=ballot, all=4) in page
        assert said["sitting_of"].format(number=sitting, all=2) in page
        begins = ballot in (1, 3)
        assert (said["warm_up"] in page) is begins
        assert [code for code in warm_ups if code in page.split()] == (
            [warm_ups[number // 2]] if begins else []
        )
        assert (said[pause].format(minutes=minutes) in page) is (ballot == 2)
        assert "plain syrup" not in page


def test_paper_ballots_of_one_sitting_say_nothing_of_it(prepared):
    lines, question, details = ballot_lines(PLAN), prepared["question"], prepared["details"]
    text = text_of(ballots_pdf(lines, question, details, "en", plan=PLAN))
    assert text == text_of(ballots_pdf(lines, question, details, "en"))
    for word in ("Sitting", "Warm-up", "Break", "Ballot 1"):
        assert word not in text


def test_preparation_labels_and_key_tell_sets_and_warm_up_apart(prepared):
    text = text_of(preparation_pdf(TWICE, prepared["details"]))
    assert text.count("Anna, sitting") == 2
    for number, name in enumerate(("warm-up", "set 1", "set 2"), start=1):
        assert text.index(name) < text.index("Anna, sitting 2"), number
    assert "plain syrup 4" in text  # portions
    labels = text_of(labels_pdf(TWICE))
    assert "Anna · 1 warm-up" in labels
    assert "Anna · 2 warm-up" in labels
    for number in (1, 2, 3, 4):
        for place in (1, 2, 3):
            assert f"Bo · {(number + 1) // 2}.{number}.{place}" in labels
    key = text_of(key_pdf(TWICE, prepared["details"]))
    assert key.count("warm-up") == 4


def test_paper_ballots_of_categories_have_boxes_and_no_line():
    profile = workflow.read_prepared(DEMO, "pressing")
    settings = {"attributes": "sweet; sour", "scale": "categories", "categories": 7.0}
    question = replace(profile["question"], settings=settings | {"low_word": "flat"})
    plan = serving_plan("profile", ["Anna"], seed=1, samples=["reference", "b1"])
    pages = papers_of(
        ballots_pdf(ballot_lines(plan), question, profile["details"], "en", plan=plan)
    )
    assert len(pages) == 2
    for page in pages:
        assert page.count("0 1 2 3 4 5 6") == 2
        assert page.count("flat") == page.count("very strong") == 2
        assert "Choose for each word the number" in page
        assert "Put a cross in one box of each row." in page
        assert "line" not in page


@pytest.mark.parametrize("language", languages())
def test_a_paper_ballot_states_its_own_allergens_and_has_a_box_to_leave_it_out(prepared, language):
    lines = ballot_lines(PLAN)
    held = dict(zip(lines, ("milk", "", "celery; milk"), strict=True))
    content = ballots_pdf(
        lines, prepared["question"], prepared["details"], language, allergens=held
    )
    said = ballot_words(language)
    pages = papers_of(content)
    for page, allergens in zip(pages, held.values(), strict=True):
        stated = " ".join(said["ballot_allergens"].format(allergens=allergens).split())
        assert (stated in page) == bool(allergens)
        assert (said["leave_out"] in page) == bool(allergens)
    assert "sulphites" not in " ".join(pages)


def test_sheets_leave_out_what_is_not_served_and_say_how_much(prepared):
    rows = tuple(row for row in PLAN.rows if row.assessor != "Bo")
    text = text_of(
        preparation_pdf(
            PLAN, prepared["details"], rows=rows, allergens={"A": "none", "B": "milk; celery"}
        )
    )
    gone = [row.code for row in PLAN.rows if row.assessor == "Bo"]
    labels = text_of(labels_pdf(PLAN, rows=rows))
    assert not any(code in text or code in labels for code in gone)
    assert "Bo, sitting 1 left out: 3 cups" in text
    assert f"B {sum(row.sample == 'B' for row in rows)} milk; celery" in text
    assert "sulphites" not in text  # what is declared at the serving stands alone
    assert PLAN.digest in text


@pytest.mark.parametrize("language", languages())
def test_paper_ballots_join_sittings_allergens_and_what_is_left_out(prepared, language):
    """Anna's second ballot is not for her, and Bo has no warm-up sample."""
    said, question, details = ballot_words(language), prepared["question"], prepared["details"]
    lines = ballot_lines(TWICE)
    lines[2]["not served"] = "not this sample"
    rows = rows_to_serve(TWICE, lines, {"Bo": ["plain syrup"]})
    kept = to_serve(lines)
    more = {"plan": TWICE, "rows": rows, "allergens": dict.fromkeys(kept, "milk")}
    pages = papers_of(
        ballots_pdf(kept, question, details, language, warm_up_allergens="celery", **more)
    )
    numbers = [(1, 1), (3, 2), (4, 2), (1, 1), (2, 1), (3, 2), (4, 2)]
    for at, ((number, sitting), page) in enumerate(zip(numbers, pages, strict=True)):
        assert said["ballot_of"].format(number=number, all=4) in page
        assert said["sitting_of"].format(number=sitting, all=2) in page
        assert said["ballot_allergens"].format(allergens="milk") in page
        assert said["leave_out"] in page
        warm = at in (0, 1)
        assert (said["warm_up_allergens"].format(allergens="celery") in page) is warm
        assert (said["warm_up_leave"] in page) is warm
        assert (said["warm_up"] in page) is warm
        assert (said["break_after"] in page) is (at in (0, 4))
    labels = text_of(labels_pdf(TWICE, rows=rows))
    assert "Anna · 1.1.3" in labels
    assert "Anna · 1.2." not in labels
    assert "Anna · 2.3.1" in labels
    assert labels.count("warm-up") == 2
    kitchen = text_of(
        preparation_pdf(TWICE, details, rows=rows, allergens={"plain syrup": "celery"})
    )
    assert "plain syrup 2 celery" in kitchen
    for tray, note in (("Anna, sitting 1", "3 cups"), ("Bo, sitting 1", "1 cup")):
        assert f"{tray} left out: {note} " in kitchen
    assert "Anna, sitting 2 left out" not in kitchen

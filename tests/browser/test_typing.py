"""Six ballots typed from paper, with a reload and a killed server in between."""

from __future__ import annotations

import sqlite3

from playwright.sync_api import expect

from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans

from .served import BY, put

ORDERS = ("ABB", "BAB", "BBA", "AAB", "ABA", "BAA")
ODD = (0, 1, 2, 2, 1, 0)
CODES = ("code_1", "code_2", "code_3")
FIELDS = ("assessor", "order", *CODES, "answer", "guess", "comment", "replicate")


def ballot(number: int) -> list[str]:
    """What is on the paper; all but one name the odd sample. Comments hold page shortcuts."""
    codes = [str(100 + 7 * number + 211 * place) for place in range(3)]
    right = ODD[number] if number != 3 else (ODD[number] + 1) % 3
    return [f"P{number:02d}", ORDERS[number], *codes, codes[right], "", "rc", ""]


def type_ballots(visitor, numbers) -> None:
    keyboard = visitor.page.keyboard
    visitor.page.get_by_label(f"row {numbers[0] + 1}, assessor").click()
    for number in numbers:
        for text in ballot(number):
            keyboard.type(text, delay=15)
            keyboard.press("Enter" if number % 2 else "Tab")


def stored(server) -> dict[tuple[int, str], str]:
    with sqlite3.connect(server.record) as record:
        rows = record.execute(
            "select line, ballot_cells.name, coalesce(people.name, text) from ballot_cells "
            "left join people on text = 'person:' || people.id where session = "
            "(select session from ballot_cells order by ballot_cells.rowid desc limit 1)"
        )
        return {(line, name): text for line, name, text in rows}


def expected(numbers) -> dict[tuple[int, str], str]:
    return {
        (number + 1, name): text
        for number in numbers
        for name, text in zip(FIELDS, ballot(number), strict=True)
        if text
    }


def test_planned_ballots_are_found_by_code_and_enter_goes_down_the_answers(visit, store):
    long = "Adelheid von Hohenfels-Rabenstein the younger"
    here = put(store, "suspect_batch")
    plan = serving_plan("triangle", [long, "Bo", "Cleo"], seed=2**128 + 8)
    booth_plans.serve(store, here, plan, ballot_lines(plan), who=BY)
    codes = {n: [t[c] for c in CODES] for n, t in store.cells(here).items()}
    visitor = visit()
    page = visitor.page
    visitor.goto(f"ballots?session={here}")
    visitor.at("ballots")
    heads = page.locator("thead th").all_inner_texts()
    assert "order" not in heads
    assert not [served.order for served in plan.sets if served.order in visitor.text()]
    name = page.get_by_label("row 1, assessor")
    assert name.evaluate("box => box.scrollWidth <= box.clientWidth")

    expect(page.get_by_label("row 1, answer")).to_be_focused()
    for number in (1, 2):
        page.keyboard.type(codes[number][0], delay=15)
        page.keyboard.press("Enter")
    expect(page.get_by_label("row 3, answer")).to_be_focused()

    finder = page.get_by_label("Code on the ballot")
    finder.fill(codes[3][1])
    page.get_by_text(f"{codes[3][1]} is row 3, Cleo").wait_for()
    finder.press("Enter")
    expect(page.get_by_label("row 3, answer")).to_be_focused()
    page.keyboard.type(codes[3][2], delay=15)
    page.keyboard.press("Enter")
    expect(finder).to_be_focused()
    finder.fill("999999")
    page.get_by_text("No ballot has the code 999999").wait_for()
    visitor.saved()
    answers = [texts["answer"] for _, texts in sorted(store.cells(here).items())]
    assert answers == [codes[1][0], codes[2][0], codes[3][2]]


def test_typed_ballots_survive_reload_and_killed_server(visit, server):
    visitor = visit()
    visitor.begin()
    page = visitor.page
    visitor.wish(Product="Raspberry cordial", Test="triangle")
    visitor.click("start-session")
    visitor.at("question")
    visitor.to("ballots")

    type_ballots(visitor, range(2))
    visitor.saved()
    page.reload()
    visitor.at("ballots")
    visitor.saved()
    assert stored(server) == expected(range(2))
    expect(page.get_by_label("row 2, answer")).to_have_value(ballot(1)[5])
    assert stored(server) == expected(range(2))

    type_ballots(visitor, range(2, 4))
    visitor.saved()
    server.kill()
    type_ballots(visitor, range(4, 5))  # typed while the server is gone
    server.start()
    visitor.saved()
    assert stored(server) == expected(range(5))

    type_ballots(visitor, range(5, 6))
    visitor.saved()
    assert stored(server) == expected(range(6))

"""What a booth shows between ballots: the warm-up sample and the break, in words."""

from __future__ import annotations

import pytest

from sensory.base.languages import ballot_words, languages
from sensory.screens.ballot_view import view_of
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booth_sittings, booths, exclusions

from .pages import ballot as drawn
from .pages import booth, click, keys, put, words


def seated(store, url, language, minutes, warm_up="none"):
    """The booth of Anna after consent, with two triangles in two sittings."""
    put(store, stage="agreed", cells=False, here="0" * 32)
    plan = serving_plan(
        "triangle", ["Anna"], seed=2**128 + 3, replicates=2, sittings=2, warm_up="syrup"
    )
    booth_plans.serve(store, "0" * 32, plan, ballot_lines(plan), language=language,
                      break_minutes=minutes, who="L")  # fmt: skip
    exclusions.declare_allergens(store, "0" * 32, {"syrup": warm_up}, who="L")
    token = booth_plans.open_booths(store, "0" * 32, who="L")["Anna"]
    booths.consent(store, token)
    return token, booth(url, token)


@pytest.mark.parametrize("minutes", [0, 15])
@pytest.mark.parametrize("language", languages())
def test_warm_up_then_ballot_then_break(store, url, language, minutes):
    said = ballot_words(language)
    token, app = seated(store, url, language, minutes)
    assert said["warm_up"] in words(app)
    assert said["warm_up_asks"] in words(app)
    assert said["sitting_of"].format(number=1, all=2) in words(app)
    code = booths.visit(store, token).halt.code
    click(app, f"warm-up-{code}")
    ballot = booths.visit(store, token).ballot
    assert [code for code, _ in drawn(app)["fields"][0]["choices"]] == list(ballot.codes)
    booths.keep(store, token, ballot.line, {ballot.line: {"answer": ballot.codes[0]}})
    after = booths.send(store, token, ballot.line, shown={})
    assert view_of(after) is None  # so that the script has the page run
    assert said["break"] in words(app.run())
    expected = said["break_minutes"].format(minutes=15) if minutes else said["break_leader"]
    assert expected in words(app)
    assert keys(app) == {"booth-unwell"}  # nothing to send, and a way to say so
    if not minutes:
        booth_sittings.start_sitting(store, "0" * 32, 2, who="L")
        assert said["warm_up"] in words(app.run())


@pytest.mark.parametrize("language", languages())
def test_a_warm_up_sample_states_its_allergens_and_can_be_left_out(store, url, language):
    said = ballot_words(language)
    token, app = seated(store, url, language, 0, warm_up="celery")
    assert said["warm_up_allergens"].format(allergens="celery") in words(app)
    code = booths.visit(store, token).halt.code
    assert app.button(key=f"leave-warm-up-{code}").label == said["warm_up_leave"]
    click(app, f"leave-warm-up-{code}")
    ballot = booths.visit(store, token).ballot
    assert said["ballot_allergens"].format(allergens=ballot.allergens) in words(app)
    booths.leave_out(store, token, ballot.line)
    assert said["left_out"].format(numbers=1) in words(app.run())
    assert said["break"] in words(app)

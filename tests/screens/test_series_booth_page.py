"""A candidate at the booth of a screening series, and what the leader sees of it."""

from __future__ import annotations

from datetime import date

import pytest

from sensory.base.languages import ballot_words
from sensory.panel.qualification import begin_series, series_taken
from sensory.panel.register import enter_assessor
from sensory.panel.series import Series
from sensory.panel.series_booth import open_series_booth
from sensory.panel.series_plan import KINDS
from sensory.screens import series_booth
from sensory.screens.app import _booth_page
from sensory.sessions.session import CAUTIONS
from sensory.store.repository import open_store

from .pages import BY, click, fill, keys, run, words
from .test_screening_part import odd


@pytest.fixture
def store(url):
    opened = open_store(url)
    yield opened
    opened.close()


def begun(store, series: Series, language: str = "en"):
    ada = enter_assessor(store, "Ada Holm", panel="day shift", who=BY)
    yes = [caution.key for caution in CAUTIONS]
    taken = begin_series(store, ada, series, KINDS[series].samples, cautions=yes, who=BY)
    return ada, *open_series_booth(store, taken, language=language, who=BY)


def test_triangles_at_a_booth_come_back_to_the_leader(url, store):
    ada, taken, token = begun(store, Series.TRIANGLES)
    booth = run("series_booth", url, None, token)
    assert "What the samples are made of: water; citric acid, 0.6 g in 1 l of water" in words(booth)
    assert booth.button(key="series-start").disabled
    booth = click(fill(booth, series_yes=True), "series-start")
    assert booth.title[0].value == "Set 1"
    assert "Still to be answered: Set 1" in words(click(booth, "series-send-0"))
    fill(booth, series_answer_0=taken.cups[0][1].code)
    booth = click(booth, "series-send-0")
    assert booth.title[0].value == "Set 2"
    assert "sour" not in words(booth)
    leader = fill(run("people", url, None), screening_open=ada.key)
    assert "Booth open: consent given" in words(leader)
    right = int(odd(taken.cups[0]) == taken.cups[0][1].code)
    assert f"{right} of 1 triangle test" in words(leader)
    click(booth, "series-unwell")
    assert "Tasting is stopped" in words(run("series_booth", url, None, token))
    leader = fill(run("people", url, None), screening_open=ada.key)
    assert "felt unwell at the booth" in leader.error[0].value
    (button,) = [key for key in keys(leader) if str(key).startswith("series-booth-")]
    leader = click(leader, button)
    assert leader.code[0].value.startswith("http://127.0.0.1/?booth=s-")
    assert "is not valid" in words(run("series_booth", url, None, token))
    again = leader.code[0].value.partition("booth=")[2]
    assert "Before you taste" in words(run("series_booth", url, None, again))
    assert len(series_taken(store, ada)[0].answers) == 1


def test_a_german_booth_names_german_tastes_and_keeps_what_is_marked(url, store):
    ada, taken, token = begun(store, Series.TASTES, "de")
    booth = click(fill(run("series_booth", url, None, token), series_yes=True), "series-start")
    assert [each.label for each in booth.selectbox] == [
        "süß", "sauer", "salzig", "bitter", "Wasser",
    ]  # fmt: skip
    codes = sorted(cup.code for cup in taken.cups[0])
    fill(booth, series_choice_0=codes[0])
    again = run("series_booth", url, None, token)  # after a reload
    assert again.selectbox[0].value == codes[0]
    assert codes[0] not in again.selectbox[1].options
    assert "sauer, salzig, bitter, Wasser" in words(click(again, "series-send-all"))
    for at in range(1, 5):
        fill(again, **{f"series_choice_{at}": codes[at]})
    assert "Alle Ihre Prüfbögen sind abgeschickt" in words(click(again, "series-send-all"))
    assert series_taken(store, ada)[0].answers == tuple(codes)


def test_who_is_under_18_tastes_once_the_leader_has_the_guardians_consent_on_record(url, store):
    ada, _, token = begun(store, Series.STRENGTHS)
    booth = click(run("series_booth", url, None, token), "series-under-age")
    for said in ("guardian's consent is needed first", "The law of this place decides"):
        assert said in words(booth)
        assert said in words(run("series_booth", url, None, token))  # it stands
    (taken,) = series_taken(store, ada)
    leader = fill(run("people", url, None), screening_open=ada.key)
    assert "a guardian's written consent is on record" in words(leader)
    leader.date_input(key=f"guardian-{taken.key}").set_value(date(2026, 10, 1)).run()
    click(leader, f"guardian-record-{taken.key}")
    assert "consent of 2026-10-01 on record, put there by" in words(leader)
    again = run("series_booth", url, None, token)
    assert [box.label for box in again.checkbox] == [ballot_words("en")["consent_minor"]]
    assert "I am under 18" not in [button.label for button in again.button]
    click(fill(again, series_yes=True), "series-start")
    assert series_taken(store, ada)[0].booth.consented


def test_the_link_of_a_series_leads_to_its_own_page():
    assert _booth_page("s-1.2").func is series_booth.page
    assert _booth_page("1.2").func is not series_booth.page

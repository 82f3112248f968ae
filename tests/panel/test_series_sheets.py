"""A series on paper: the candidate's page gives nothing away, the key stands on its own page."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.languages import ballot_words, languages
from sensory.panel.series import PlannedSample, ScreeningRules, Series, TakenSeries
from sensory.panel.series_plan import KINDS, cups_of
from sensory.panel.series_sheets import series_sheets
from sensory.report.printed import printed
from sensory.sessions.session import CAUTIONS

from ..report.shared import pages_of

STRONG = (Series.STRENGTHS, Series.SCALE)
AT = {"printed_at": "2026-11-28T10:00:00+00:00"}


def taken(series: Series, *answers: str) -> TakenSeries:
    rules, samples = ScreeningRules(), KINDS[series].samples
    return TakenSeries(
        key="k", assessor="a", series=series, started_on="2026-11-28", rules=rules,
        samples=samples, cups=cups_of(series, rules, samples, 5),
        cautions=tuple(caution.key for caution in CAUTIONS), answers=answers,
    )  # fmt: skip


def test_the_next_six_triangles_are_printed_without_what_is_in_them():
    first = taken(Series.TRIANGLES)
    again = taken(Series.TRIANGLES, first.cups[0][0].code, "", first.cups[2][0].code)
    sheets = series_sheets(again, **AT)
    assert [row[0] for row in sheets.rows] == ["2", "4", "5", "6", "7", "8", "9"]
    assert sheets.rows[0][1:] == tuple(cup.code for cup in first.cups[1])
    one, key = pages_of(printed(sheets))
    assert not [row for row in sheets.rows if "sour" in row or "water" in row]
    assert "sour" not in one
    assert "What the samples are made of: water; citric acid, 0.6 g in 1 l of water" in one
    assert f"{first.cups[1][0].code} {first.cups[1][0].sample}" in key
    assert "not for the candidate" in key


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("series", Series)
def test_each_series_has_a_page_in_each_language(series, language):
    here = taken(series)
    sheets = series_sheets(here, language=language, **AT)
    assert "{" not in " ".join(sheets.sentences)
    told = " ".join([*sheets.sentences, *(cell for row in sheets.rows for cell in row)])
    for cup in here.cups[0]:
        assert cup.code in told
    named = ballot_words(language)["series"]["samples"]
    offered = {each.name for each in KINDS[series].samples if series not in STRONG}
    made = {each.made for each in KINDS[series].samples if series is not Series.ODOURS}
    assert offered | made <= set(named)
    assert sheets.who.startswith(ballot_words(language)["series"]["who"])
    if language != "en" and series is not Series.TRIANGLES:
        shown = made if series in STRONG else offered
        assert not [each for each in shown if each in told and named[each] != each]
    if series is Series.ODOURS:
        assert "oil" not in told  # how it is made would name it


def test_a_german_page_names_german_samples_and_keeps_what_the_plant_named():
    here = taken(Series.TASTES)
    own = replace(here, samples=(*here.samples[:4], PlannedSample(name="plain", made="spring")),
                  cups=tuple(tuple(replace(cup, sample="plain") if cup.sample == "water" else cup
                                   for cup in cups) for cups in here.cups))  # fmt: skip
    sheets = series_sheets(own, language="de", **AT)
    labels = [row[0] for row in sheets.rows[1:]]
    assert labels == ["süß", "sauer", "salzig", "bitter", "plain"]
    assert "Saccharose, 16 g in 1 l Wasser" in sheets.sentences[1]
    assert "spring" in sheets.sentences[1]
    assert {row[2] for row in sheets.key} == {
        "sweet (süß)", "sour (sauer)", "salty (salzig)", "bitter", "plain",
    }  # fmt: skip
    page, _ = pages_of(printed(sheets))
    assert "Name oder Code: ____" in page

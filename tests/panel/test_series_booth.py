"""The booth of a screening series: consent first, one set at a time, nothing given away."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import RecordError
from sensory.base.languages import ballot_words, languages
from sensory.panel.qualification import answer_series, begin_series, end_series, series_taken
from sensory.panel.register import enter_assessor
from sensory.panel.series import Series, TakenSeries
from sensory.panel.series_booth import (
    consent_to_series,
    keep_answers,
    offered,
    open_series_booth,
    say_under_age,
    series_visit,
    state_guardian,
    state_of_age,
    stop_series,
)
from sensory.panel.series_plan import KINDS, judged
from sensory.sessions.session import CAUTIONS
from sensory.store.repository import open_store

BY = "A. Leader"


@pytest.fixture
def store(tmp_path):
    opened = open_store(f"sqlite:///{tmp_path / 'record.sqlite3'}")
    yield opened
    opened.close()


def begun(store, series: Series, name: str = "Ada Holm", language: str = "en"):
    ada = enter_assessor(store, name, panel="day shift", who=BY)
    yes = [caution.key for caution in CAUTIONS]
    taken = begin_series(store, ada, series, KINDS[series].samples, cautions=yes, who=BY)
    return ada, *open_series_booth(store, taken, language=language, who=BY)


def odd(cups) -> str:
    samples = [cup.sample for cup in cups]
    return next(cup.code for cup in cups if samples.count(cup.sample) == 1)


def test_triangles_come_one_by_one_until_the_rule_says_enough(store):
    ada, taken, token = begun(store, Series.TRIANGLES, language="de")
    here = series_visit(store, token)
    assert (here.assessor, here.language, here.consented) == ("Ada Holm", "de", False)
    assert "Citronensäure, 0,6 g in 1 l Wasser" in here.told[0]
    with pytest.raises(RecordError, match="Not before the cautions"):
        keep_answers(store, token, {0: taken.cups[0][0].code}, send=True)
    consent_to_series(store, token)
    for at in range(7):
        here = series_visit(store, token)
        assert here.numbers == (at,)
        assert set(here.asked[0].answers) == {cup.code for cup in taken.cups[at]}
        here = keep_answers(store, token, {at: odd(taken.cups[at])}, send=True)
    assert here.done  # seven right of seven: the upper line
    with pytest.raises(RecordError, match="does not wait"):
        keep_answers(store, token, {0: taken.cups[0][0].code}, send=True)
    (now,) = series_taken(store, ada)
    assert now.answers == tuple(odd(cups) for cups in taken.cups[:7])
    assert end_series(store, now, who=BY) == "passed"
    assert series_visit(store, token).closed
    entries = store.noun_entries(now)
    assert [entry.what for entry in entries].count("series answered") == 7
    assert {entry.who for entry in entries if entry.what == "series answered"} == {"Ada Holm"}
    assert store.verify() == []


@pytest.mark.parametrize("series", [Series.TASTES, Series.ODOURS, Series.STRENGTHS])
def test_a_whole_series_is_kept_as_it_is_marked_and_sent_once(store, series):
    ada, taken, token = begun(store, series)
    consent_to_series(store, token)
    here = series_visit(store, token)
    many = len(here.asked)
    assert here.smelling is (series is Series.ODOURS)
    first = here.asked[0].answers[0]
    here = keep_answers(store, token, {0: first})
    assert here.given == (first, *[""] * (many - 1))
    assert first not in offered(here, 1, here.given)
    with pytest.raises(RecordError, match="is given twice"):
        keep_answers(store, token, {1: first})
    with pytest.raises(RecordError, match="Still to be answered: 2"):
        keep_answers(store, token, {}, send=True)
    answers = {at: here.asked[at].answers[at] for at in range(many)}
    assert keep_answers(store, token, answers, send=True).done
    (now,) = series_taken(store, ada)
    assert now.answers == tuple(answers.values())
    assert now.booth.sent
    told = repr(series_visit(store, token)) + repr(here.asked)
    holds = {cup.code: cup.sample for cup in taken.cups[0]}
    assert not [code for code, name in holds.items() if f"{code}: {name}" in told]


def test_strengths_are_scored_at_a_booth_and_judged_by_their_order(store):
    ada, taken, token = begun(store, Series.SCALE)
    consent_to_series(store, token)
    strengths = [each.name for each in taken.samples]
    scores = [str(1 + 2 * strengths.index(cup.sample)) for cup in taken.cups[0]]
    assert len(scores) == 8
    here = keep_answers(store, token, dict(enumerate(scores)))
    assert offered(here, 0, scores) == [str(score) for score in range(11)]
    assert keep_answers(store, token, {}, send=True).done
    (now,) = series_taken(store, ada)
    assert "24 of 24 pairs in order, 22 needed; 60 % of the scale" in judged(now).reason
    assert end_series(store, now, who=BY) == "passed"


def test_who_does_not_want_to_or_feels_unwell_is_asked_nothing_more(store):
    ada, _, token = begun(store, Series.TRIANGLES)
    consent_to_series(store, token, wants=False)
    consent_to_series(store, token)
    assert series_visit(store, token).refused
    with pytest.raises(RecordError, match="Not before the cautions"):
        keep_answers(store, token, {}, send=True)
    (taken,) = series_taken(store, ada)
    again, token = open_series_booth(store, taken, who=BY)
    consent_to_series(store, token)
    stop_series(store, token)
    assert series_visit(store, token).stopped
    with pytest.raises(RecordError, match="Tasting is stopped"):
        keep_answers(store, token, {0: again.cups[0][0].code}, send=True)
    journal = str(store.noun_entries(again))
    assert "stopped by the candidate" in journal
    assert "unwell" not in journal  # of health nothing is kept


def test_a_link_ends_with_the_next_with_the_outcome_and_with_the_name(store):
    ada, taken, token = begun(store, Series.TRIANGLES)
    assert token.partition(".")[2] not in str([each.content for each in store.noun_entries(taken)])
    newer, other = open_series_booth(store, taken, who=BY)
    assert series_visit(store, token) is None
    for wrong in ("", "s-", other[:-1] + "!", other.replace("s-", "")):
        assert series_visit(store, wrong) is None
    on_paper = answer_series(store, newer, [newer.cups[0][0].code], who=BY)
    assert series_visit(store, other).numbers == (1,)
    store.erase_person("Ada Holm", who=BY, why="asked for it")
    assert series_visit(store, other) is None
    end_series(store, on_paper, who=BY, give_up=True)
    with pytest.raises(RecordError, match="outcome of this series is recorded"):
        open_series_booth(store, series_taken(store, ada)[0], who=BY)


def test_a_series_on_paper_is_written_as_it_always_was(store):
    _, taken, _ = begun(store, Series.TRIANGLES)
    plain = replace(taken, booth=None).to_dict()
    assert "booth" not in plain
    assert TakenSeries.from_dict(taken.to_dict()) == taken


@pytest.mark.parametrize("language", languages())
def test_the_words_of_the_booth_are_there_in_each_language(language):
    own = ballot_words(language)["series"]
    keys = (
        "booth_triangles",
        "booth_tastes",
        "booth_odours",
        "booth_ranking",
        "booth_scale",
        "send",
        "set",
    )
    assert all(own[key] for key in (*keys, "no_answer", "choose"))
    if language != "en":
        english = ballot_words("en")["series"]
        assert not [key for key in keys if own[key] == english[key]]


def test_a_minor_waits_for_the_guardian_everywhere_and_the_journal_says_who_recorded_it(store):
    ada, taken, token = begun(store, Series.TASTES)
    say_under_age(store, token)
    say_under_age(store, token)  # twice changes nothing
    taken = series_taken(store, ada)[0]
    here = series_visit(store, token)
    assert (here.minor, here.barred, here.refused) == (True, True, False)
    codes = [cup.code for cup in taken.cups[0]]
    for barred in (
        lambda: consent_to_series(store, token),
        lambda: open_series_booth(store, taken, who=BY),
        lambda: answer_series(store, taken, codes, who=BY),
    ):
        with pytest.raises(RecordError, match="under 18: put the guardian's written consent"):
            barred()
    with pytest.raises(RecordError, match="still to come"):
        state_guardian(store, taken, "2999-01-01", who=BY)
    given = state_guardian(store, taken, "2026-10-01", who=BY)
    entry = store.noun_entries(given)[-1]
    assert (entry.who, entry.why) == (BY, "under 18; guardian's written consent of 2026-10-01")
    consent_to_series(store, token)
    assert not series_visit(store, token).barred
    assert TakenSeries.from_dict(given.to_dict()) == given
    _, other, link = begun(store, Series.ODOURS, "Bo Lind")
    told = state_guardian(store, other, who=BY)  # beforehand, by the leader
    assert series_visit(store, link).barred
    state_of_age(store, told, who=BY)
    assert series_visit(store, link).minor is False
    assert store.verify() == []

"""Shelf life from scores, consumers and choices: dates, limits, and designs that tell nothing.

Engines are held against R in `tests/models/test_shelf_engines.py`, coverage in
`tests/calibration/test_shelf_life.py`.
"""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pandas as pd
import pytest

from sensory import (
    shelf_life_from_choices,
    shelf_life_from_consumers,
    shelf_life_from_scores,
    storage_plan,
)
from sensory.base.errors import ArgumentError

WHEN = {"safety_date": "2027-06-30", "start": "2026-11-28"}
DAYS = [0, 14, 28, 42, 56, 70, 84]
RISING = [0.21, 0.62, 0.55, 1.38, 1.49, 2.31, 2.47]


def scores(values=RISING, times=DAYS, **more):
    return pd.DataFrame({"time": times, "score": values, **more})


def answers(*rows):
    """Consumers by a word of y and n for days 0, 30, 60 ..."""
    return pd.DataFrame(
        [
            {"consumer": f"c{who}", "time": 30 * at, "accepts": word}
            for who, word_row in enumerate(rows)
            for at, word in enumerate(word_row)
            if word in "yn"
        ]
    )


def sessions(correct, times=(30, 60, 90, 120), protocol="triangle", trials=24):
    return pd.DataFrame({"time": times, "protocol": protocol, "correct": correct, "trials": trials})


def test_the_finding_is_a_date_with_its_lower_limit():
    result = shelf_life_from_scores(scores(), limit=2.0, **WHEN)
    assert result.low < result.estimate < result.high
    assert result.date_low == date(2027, 1, 27)  # 28 November and 60 whole days
    assert (result.date_low - result.start).days == math.floor(result.low)
    assert result.date == date(2027, 2, 3)
    assert result.headline() == (
        "Sensory shelf life shown until 27 January 2027 (lower limit, one-sided 95 %)."
    )


@pytest.mark.parametrize("safe", ["2027-01-05", "2026-12-10"])
def test_no_date_is_later_than_that_of_food_safety(safe):
    result = shelf_life_from_scores(scores(), limit=2.0, safety_date=safe, start="2026-11-28")
    assert result.date_low == result.date == date.fromisoformat(safe)
    assert "food safety's date, which comes before" in result.headline()
    assert "later than food safety allows" in result.says()[1]
    assert any("were tasted" in line for line in result.says())


def test_food_safety_is_asked_first_and_has_no_default():
    with pytest.raises(TypeError, match="safety_date"):
        shelf_life_from_scores(scores(), start="2026-11-28", limit=2.0)
    with pytest.raises(ArgumentError, match="date must lie after the start of storage"):
        shelf_life_from_scores(scores(), safety_date="2026-11-28", start="2026-11-28", limit=2)
    with pytest.raises(ArgumentError, match="safety_date must be a date"):
        shelf_life_from_scores(scores(), safety_date="soon", start="2026-11-28", limit=2)


def test_nothing_is_shown_beyond_the_last_tasting():
    result = shelf_life_from_scores(scores(), limit=4.0, **WHEN)
    assert result.low > 84
    assert result.date_low == date(2027, 2, 20)  # 84 days
    assert "(the last tasting; no end is reached" in result.headline()
    assert "later than anybody has tasted" in result.says()[1]


def test_a_score_that_falls_is_the_mirror_of_one_that_rises():
    rising = shelf_life_from_scores(scores(), limit=2.0, **WHEN)
    turned = scores([8 - value for value in RISING])
    falling = shelf_life_from_scores(turned, limit=6.0, worse="lower", **WHEN)
    mine, other = ([each.estimate, each.low, each.high] for each in (falling, rising))
    np.testing.assert_allclose(mine, other)
    assert falling.event == "the mean score reaches 6"


def test_the_reference_tasted_beside_it_is_taken_off():
    beside = scores([value + 3 for value in RISING], reference=3.0)
    apart = shelf_life_from_scores(beside, limit=2.0, **WHEN)
    assert apart.estimate == pytest.approx(
        shelf_life_from_scores(scores(), limit=2.0, **WHEN).estimate
    )
    assert apart.event == "the mean distance from the reference reaches 2"
    with pytest.raises(ArgumentError, match="row 3, reference: it is empty"):
        shelf_life_from_scores(scores(reference=[3, None, 3, 3, 3, 3, 3]), limit=2.0, **WHEN)


def test_scores_of_a_day_become_one_mean():
    each = pd.concat([scores([v + e for v in RISING]) for e in (-0.5, 0, 0.5)])
    result = shelf_life_from_scores(each, limit=2.0, **WHEN)
    assert result.low == pytest.approx(shelf_life_from_scores(scores(), limit=2.0, **WHEN).low)
    assert result.points["answers"].tolist() == [3] * 7


def test_a_slope_that_is_not_clear_has_an_open_end_in_words():
    flat = scores([0.5, 1.3, 0.2, 0.9, 1.4, 0.4, 1.1])
    result = shelf_life_from_scores(flat, limit=2.0, **WHEN)
    assert math.isinf(result.high)
    assert "an open end" in result.says()[1]
    assert any("slope is not clear" in line for line in result.remarks)


def test_scores_that_do_not_move_have_no_estimate_and_last_as_long_as_was_tasted():
    calm = scores([0.5, 0.42, 0.46, 0.44, 0.41, 0.43, 0.4])
    result = shelf_life_from_scores(calm, limit=2.0, **WHEN)
    assert math.isnan(result.estimate)
    assert result.date is None
    assert result.date_low == date(2027, 2, 20)
    assert "There is no best estimate" in result.says()[1]


def test_a_limit_within_the_first_means_shows_no_shelf_life():
    result = shelf_life_from_scores(scores(), limit=0.2, **WHEN)
    assert result.date_low == result.start
    assert result.headline().startswith("No sensory shelf life is shown")


def test_a_bend_is_told():
    bent = scores([0.1, 0.12, 0.09, 0.14, 0.3, 1.2, 2.9])
    assert any(
        "bend away" in line for line in shelf_life_from_scores(bent, limit=2, **WHEN).remarks
    )


@pytest.mark.parametrize(
    ("frame", "words"),
    [
        (scores([1, 2, 3], [30, 30, 30]), "one storage time"),
        (scores([1, 2, 3], [0, 30, 30]), "two storage times only"),
        (scores([1.0] * 7), "do not scatter"),
        (scores(["x", *RISING[1:]]), "row 2, score: write a number; got 'x'"),
        (scores(times=[-1, *DAYS[1:]]), "row 2, time: days of storage lie between 0"),
        (scores(batch=["A"] * 3 + ["B"] * 4), r"hold more than one batch \(A, B\)"),
        (scores().drop(columns="score"), "lack the column score"),
        (scores().iloc[:0], "empty"),
    ],
)
def test_scores_that_tell_nothing_get_a_sentence(frame, words):
    with pytest.raises(ArgumentError, match=words):
        shelf_life_from_scores(frame, limit=2.0, **WHEN)


def test_a_table_of_a_file_names_the_rows_of_the_file():
    with pytest.raises(ArgumentError, match="row 11, score: write a number"):
        shelf_life_from_scores(scores(["x", *RISING[1:]], row=range(11, 18)), limit=2.0, **WHEN)


STUDY = ("yyyyn", "yyynn", "yyyyy", "yynnn", "yyyyn", "yyynn", "ynnnn", "yyyny")


def test_consumers_reject_from_a_time_between_two_samples():
    result = shelf_life_from_consumers(answers(*STUDY), share=0.5, **WHEN)
    assert result.event == "50 % of consumers reject"
    assert 45 < result.low < result.estimate < result.high
    days = result.fits[result.fits["quantity"].str.match("days, [WlL]")]
    assert (result.low, result.high) == (days["low"].min(), days["high"].max())
    names = {"Weibull", "lognormal", "log-logistic"}
    assert sum(name in " ".join(result.says()) for name in names) == 3
    taken = result.fits[result.fits["quantity"].str.contains("taken")]
    assert taken["estimate"].item() == result.estimate
    best = result.fits[result.fits["quantity"].str.startswith("log-likelihood")]
    top = best.loc[best["estimate"].idxmax(), "quantity"].removeprefix("log-likelihood, ")
    assert top in taken["quantity"].item()


def test_a_distribution_may_be_agreed_before():
    result = shelf_life_from_consumers(answers(*STUDY), share=0.5, distribution="lognormal", **WHEN)
    assert "lognormal distribution, as agreed" in " ".join(result.basis)
    assert result.low == result.fits.set_index("quantity").loc["days, lognormal (taken)", "low"]
    with pytest.raises(ArgumentError, match="distribution must be one of"):
        shelf_life_from_consumers(answers(*STUDY), share=0.5, distribution="normal", **WHEN)


def test_answers_to_and_fro_and_fresh_rejections_follow_the_stated_rule():
    result = shelf_life_from_consumers(answers(*STUDY, "nyyyn", "yynyn"), share=0.5, **WHEN)
    said = " ".join(result.remarks)
    assert "1 consumer rejects the fresh sample and is left out." in said
    assert "2 consumers accept an older sample after rejecting a younger one." in said
    # by hand: last acceptance before the first rejection, first rejection behind the last one
    same = shelf_life_from_consumers(answers(*STUDY, "yy..n"), share=0.5, **WHEN)
    assert result.estimate == pytest.approx(same.estimate)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (("yyyy",) * 9, "None of 9 consumers rejected"),
        (("ynnn",) * 9, r"All of 9 consumers rejected the product at the first stored sample"),
        (("yynn",) * 9, "may have begun to reject at one time"),
        (("yyny",) + ("yyyy",) * 8, "None of 9 consumers rejected"),
        (("yynn",), "Only 1 consumer"),
        (("nnnn",) * 9, "Only 0 consumers"),
        ((".y", ".n", ".y"), "one storage time"),
        ((".y",) * 4 + (".n",) * 6 + ("..y",) * 6 + ("..n",) * 4, "does not rise"),
    ],
)
def test_consumers_who_tell_nothing_get_a_sentence(rows, words):
    with pytest.raises(ArgumentError, match=words):
        shelf_life_from_consumers(answers(*rows), share=0.5, **WHEN)


def test_each_consumer_may_taste_one_sample_only():
    rows = [".y"] * 9 + [".n"] * 1 + ["..y"] * 6 + ["..n"] * 4 + ["...y"] * 2 + ["...n"] * 8
    result = shelf_life_from_consumers(answers(*rows), share=0.5, **WHEN)
    assert 55 < result.estimate < 80
    # without a distribution: 10, 40 and 80 % at the samples, so half is reached between 60 and 90
    between = result.fits[result.fits["quantity"].str.startswith("days, without")]["estimate"]
    assert between.tolist() == [60, 90]
    assert result.points["estimate"].tolist() == pytest.approx([10, 40, 80])


def test_a_consumer_who_answers_twice_is_named():
    twice = pd.concat([answers(*STUDY), answers("yy")])
    with pytest.raises(ArgumentError, match="c0 answered twice at 0 days"):
        shelf_life_from_consumers(twice, share=0.5, **WHEN)
    with pytest.raises(ArgumentError, match=r"row 2, accepts: write yes \(accepted\)"):
        shelf_life_from_consumers(
            answers(*STUDY).replace({"accepts": {"y": "perhaps"}}), share=0.5, **WHEN
        )


def test_choices_give_the_time_at_which_dprime_reaches_the_limit():
    result = shelf_life_from_choices(sessions([9, 13, 15, 18]), dprime_limit=1.5, **WHEN)
    slope = result.fits.set_index("quantity").loc["d-prime in 30 days", "estimate"] / 30
    assert result.estimate == pytest.approx(1.5 / slope)
    assert result.low < result.estimate < result.high
    doubled = shelf_life_from_choices(sessions([9, 13, 15, 18]), dprime_limit=3, **WHEN)
    assert doubled.estimate == pytest.approx(2 * result.estimate)


def test_choices_at_guessing_leave_the_end_open():
    result = shelf_life_from_choices(sessions([7, 8, 8, 7]), dprime_limit=1.5, **WHEN)
    assert math.isinf(result.estimate)
    assert math.isinf(result.high)
    assert result.date is None
    assert result.date_low == date(2027, 3, 28)  # the last tasting, 120 days
    assert "no change was seen" in result.says()[1]


@pytest.mark.parametrize(
    ("frame", "words"),
    [
        (sessions([8], (30,)), "one storage time"),
        (sessions([24, 24, 24, 24]), "Every answer after the start of storage is right"),
        (sessions([9, 13, 15, 25]), "row 5: correct must not exceed trials"),
        (sessions([9, 13, 15, 18], protocol="paired"), "asks for an attribute"),
        (sessions([9, 13, 15, 18], protocol="smelling"), "protocol"),
    ],
)
def test_choices_that_tell_nothing_get_a_sentence(frame, words):
    with pytest.raises(ArgumentError, match=words):
        shelf_life_from_choices(frame, dprime_limit=1.5, **WHEN)


@pytest.mark.parametrize(
    "result",
    [
        shelf_life_from_scores(scores(), limit=2.0, **WHEN),
        shelf_life_from_consumers(answers(*STUDY), share=0.5, **WHEN),
        shelf_life_from_choices(sessions([7, 8, 8, 24]), dprime_limit=1.5, **WHEN),
        storage_plan(safety_date="2027-06-30", start="2026-11-30", expected_days=90, assessors=10),
        storage_plan("reversed", safety_date="2027-06-30", start="2026-11-30", expected_days=90,
                     assessors=10),
    ],
    ids=["scores", "consumers", "choices", "basic", "reversed"],
)  # fmt: skip
def test_every_result_has_its_picture_and_its_table(result):
    assert "<svg" in result.plot().svg()
    assert len(result.table())
    assert result.says()
    assert str(result.summary())


def test_a_basic_plan_ends_a_quarter_beyond_the_expected_life():
    plan = storage_plan(
        safety_date="2027-06-30", start="2026-11-30", expected_days=90, assessors=10
    )
    days = [time.days for time in plan.times]
    assert (days[0], days[-1]) == (0, 112)
    assert all(np.diff(days)[1:] <= np.diff(days)[:-1])
    assert {time.put_away for time in plan.times} == {date(2026, 11, 30)}
    assert plan.times[-1].pulled == date(2027, 3, 22)
    assert plan.stored == plan.references == 7 * 11


def test_a_reversed_plan_tastes_all_on_one_day():
    plan = storage_plan(
        "reversed", safety_date="2027-06-30", start="2026-11-30", expected_days=90, assessors=10
    )
    assert plan.sessions == (date(2027, 3, 22),)
    assert all((time.pulled - time.put_away).days == time.days for time in plan.times)
    assert min(time.put_away for time in plan.times) == date(2026, 11, 30)
    assert (plan.stored, plan.references) == (77, 11)


@pytest.mark.parametrize("design", ["basic", "reversed"])
def test_nothing_is_planned_that_food_safety_does_not_allow(design):
    plan = storage_plan(
        design, safety_date="2027-01-31", start="2026-11-30", expected_days=90, assessors=10
    )
    assert max(time.days for time in plan.times) == 62
    assert max(time.pulled for time in plan.times) <= date(2027, 1, 31)
    assert "will not be seen" in " ".join(plan.remarks)
    with pytest.raises(ArgumentError, match="too few"):
        storage_plan(
            design, safety_date="2026-12-01", start="2026-11-30", expected_days=90, assessors=10
        )

"""The charts of release, read back from what is handed to the drawing program."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, binomtest

from sensory.choices.protocols import TRIANGLE
from sensory.release.batch_trend import ProductTrend, line_title, trend_of_batches
from sensory.release.rule import ReleaseRule
from sensory.release.trend_words import EWMA_WORDS
from sensory.report.figure_parts import GREY
from sensory.report.trend_drawn import drawn_trend
from sensory.report.trend_figures import characteristic_figure, trend_figure, trend_words


@pytest.fixture(scope="module")
def records(year):
    """A year in which RC-021, of the second line, is far off."""
    made = year()
    far = replace(made[21].latest, differences={"difference": (3.0, 0.25)})
    made[21] = replace(made[21], tastings=(far,))
    return made


@pytest.fixture(scope="module")
def scores(records, year):
    return trend_of_batches(records, year.scores)


@pytest.fixture(scope="module")
def choices(year):
    return trend_of_batches(year(rule=year.choices), year.choices)


@pytest.fixture(scope="module")
def score_chart(scores):
    return trend_figure(scores)


@pytest.fixture(scope="module")
def choice_chart(choices):
    return trend_figure(choices)


def test_rows_of_a_line_are_those_of_its_table(scores):
    """The second route is pandas' own, cell by cell."""
    drawn = drawn_trend(scores)
    assert len(drawn.rows) > 1
    for table, rows in ((drawn.points, drawn.rows), (drawn.change, drawn.steps)):
        for line, part in table.groupby("line", sort=False):
            pairs = zip(rows[line], part.to_dict("records"), strict=True)
            assert all(repr(ours) == repr(theirs) for ours, theirs in pairs)
        assert sum(map(len, rows.values())) == len(table)


def datasets(chart):
    """All rows of a chart, whichever layer they belong to."""
    return [row for rows in chart["datasets"].values() for row in rows]


def drawn_batches(chart):
    return {row["batch"]: row for row in datasets(chart) if "batch" in row}


def every(node, key):
    """All values of a key, at any depth."""
    if isinstance(node, dict):
        for name, value in node.items():
            if name == key:
                yield value
            if name != "datasets":
                yield from every(value, key)
    elif isinstance(node, list):
        for one in node:
            yield from every(one, key)


def alone(trend):
    """Batches with a signal that is not one of the weighted mean, from the table of signals."""
    told = trend.result.signals
    return set(told.loc[told["signal"] != EWMA_WORDS, "batch"])


def test_every_batch_is_drawn_with_its_own_limits(score_chart, records):
    drawn = drawn_batches(score_chart)
    assert len(drawn) == 40
    for one in records:
        estimate, se = one.latest.differences["difference"]
        row = drawn[one.name]
        assert row["y"] == pytest.approx(estimate)
        assert row["low"] == pytest.approx(estimate - 1.959964 * se, abs=1e-5)  # normal, 95 %
        assert row["high"] == pytest.approx(estimate + 1.959964 * se, abs=1e-5)


def test_what_stands_out_has_another_shape_and_its_number(scores, score_chart):
    odd = alone(scores)
    drawn = drawn_batches(score_chart)
    assert "RC-021" in odd
    assert {name for name, row in drawn.items() if row["state"] == "signal"} == odd
    shown = {name for name, row in drawn.items() if row["label"]}
    assert shown
    assert shown <= odd
    scales = [one for one in every(score_chart, "shape") if isinstance(one, dict)]
    assert {tuple(one["scale"]["range"]) for one in scales if "scale" in one} == {
        ("circle", "triangle-up")
    }


def test_panels_share_their_axes_and_are_named_by_line(score_chart):
    made = score_chart
    assert len(made["vconcat"]) == 2
    assert made["vconcat"][0]["title"]["text"].startswith("Line 1: level moves from")
    assert made["vconcat"][1]["title"]["text"] == "Line 2"
    domains = {tuple(one["domain"]) for one in every(made, "scale") if one and "domain" in one}
    numbers = {one for one in domains if not isinstance(one[0], str)}
    assert len(numbers) == 2  # one of days, one of heights


def test_agreed_limit_has_a_rule_of_its_own(score_chart, choice_chart):
    for chart, at, words in (
        (score_chart, 1.5, "agreed limit 1.5"),
        (choice_chart, 1 / 3 + 2 / 3 * 0.3, "agreed limit: 30 % notice"),
    ):
        rows = [row for row in datasets(chart) if row.get("what") == words]
        assert len(rows) == 4  # from end to end of two panels
        assert [row["y"] for row in rows] == pytest.approx([at] * 4)
        scale = next(one["scale"] for one in every(chart, "strokeDash") if isinstance(one, dict))
        dashes = dict(zip(scale["domain"], map(tuple, scale["range"]), strict=True))
        assert Counter(dashes.values())[dashes[words]] == 1


def test_band_lies_where_the_level_steps(scores, score_chart):
    """The first line steps with its first batch after 0.65 of 40, RC-028."""
    chart = score_chart
    (band,) = [row for row in datasets(chart) if "to" in row]
    at = {name: row["at"] for name, row in drawn_batches(chart).items()}
    found = scores.result.change.query("clear").iloc[0]
    assert band["to"] == at[found["last"]]
    assert band["at"] < at[found["first"]] <= band["to"]
    assert band["at"] <= at["RC-028"] <= band["to"]


def test_choices_have_exact_limits_and_a_range_that_parts_usual_from_unusual(choices, choice_chart):
    chart = choice_chart
    points = choices.result.points
    drawn = drawn_batches(chart)
    for row in points.to_dict("records")[::7]:
        exact = binomtest(row["correct"], 66).proportion_ci(0.95, method="exact")
        mine = drawn[row["batch"]]
        assert (mine["low"], mine["high"]) == pytest.approx((exact.low, exact.high), rel=1e-9)
    edges = [row["y"] for row in datasets(chart) if row.get("part") == "upper"]
    centre = points["centre"].iloc[0]
    highest = max(k for k in range(67) if binom.sf(k - 1, 66, centre) > 0.00135)
    assert edges[0] == pytest.approx((highest + 0.5) / 66, abs=1e-9)


def test_many_batches_stay_readable(year):
    trend = trend_of_batches(year(120, lines=("A", "B", "C")), year.scores)
    made = trend_figure(trend)
    assert [one["title"]["text"][:6] for one in made["vconcat"]] == ["Line A", "Line B", "Line C"]
    for rows in made["datasets"].values():
        named = sorted(row["at"] for row in rows if row.get("label"))
        room = 0.1 * (max(row["at"] for row in rows) - min(row["at"] for row in rows))
        assert len(named) <= 6
        assert all(np.diff(named) >= room)
    ticks = [one["values"] for one in every(made, "axis") if one and "values" in one]
    assert ticks
    assert max(map(len, ticks)) <= 9


def test_most_keeps_the_line_with_something_to_see(year):
    trend = trend_of_batches(year(40, lines=("A", "B", "C", "D")), year.scores)
    made = trend_figure(trend, most=1)
    assert [one["title"]["text"][:6] for one in made["vconcat"]] == ["Line A"]


def test_texts_are_grey_enough_for_a_dark_page(score_chart):
    made = score_chart
    marks = [one for one in every(made, "mark") if isinstance(one, dict)]
    colours = {one["color"] for one in marks if one["type"] == "text"}
    colours |= set(every(made, "labelColor")) | set(every(made, "titleColor"))
    assert colours == {GREY}


def test_no_chart_says_why(year):
    trend = trend_of_batches(year(2), year.scores)
    assert trend_figure(trend) is None
    assert "Fewer than 3 batches" in trend_words(trend)
    assert trend_figure(ProductTrend(result=None, attribute="", remarks=())) is None


def test_words_tell_what_the_chart_shows(scores):
    said = trend_words(scores)
    odd = alone(scores)
    assert odd == {"RC-021"}
    points = scores.result.points
    mean_only = points[(points["signals"] == EWMA_WORDS) & (points["line"] == "line 1")]["batch"]
    mean = scores.result.lines["estimate"].iloc[0]
    for text in (
        "Chart of 40 batches",
        f"Line 1: 20 batches; on average they lie {mean:.2f} points above",
        f"unusual at {len(mean_only)} more, last at {mean_only.iloc[-1]}.",
        "The level moves from",
        "Line 2: 20 batches",
        "1 stands out from what is usual: RC-021.",
        "No clear change.",
    ):
        assert text in said, text


def test_lines_without_a_name_are_all_batches(year):
    unnamed = [replace(one, batch=replace(one.batch, line="")) for one in year()]
    trend = trend_of_batches(unnamed, year.scores)
    (panel,) = trend_figure(trend)["vconcat"]
    assert panel["title"]["text"].startswith("All batches")
    assert "Line" not in trend_words(trend)
    assert trend.says()[0].startswith("No line named: 40 batches")
    assert trend_of_batches(year(), year.scores).says()[0].startswith("Line 1: 20 batches")
    assert [line_title(name) for name in ("B", "Line 3")] == ["Line B", "Line 3"]


def test_profile_draws_the_margin_on_both_sides(year):
    rule = ReleaseRule(test="PROFILE", margins={"sweet": 0.8}, assessors=12)
    rows = []
    for one in year(12, lines=("A",)):
        pair = one.latest.differences["difference"]
        tasting = replace(one.latest, test="PROFILE", differences={"sweet": pair})
        rows.append(replace(one, tastings=(tasting,)))
    chart = trend_figure(trend_of_batches(rows, rule))
    marks = {row["y"] for row in datasets(chart) if row.get("what") == "agreed limit 0.8"}
    assert marks == {-0.8, 0.8}


def test_characteristic_is_binomial(year):
    """66 triangles, limit 30 %: similar up to the largest count with a tail of 5 % or less,
    unless so few are correct that guessing gives it with a chance of 0.001 or less."""
    rows = [row for row in datasets(characteristic_figure(year.choices)) if "chance" in row]
    passes = {row["truth"]: row["chance"] for row in rows if row["what"] == "release"}
    most = max(k for k in range(67) if binom.cdf(k, 66, 8 / 15) <= 0.05)
    few = max(k for k in range(67) if binom.cdf(k, 66, 1 / 3) <= 0.001)  # shows nothing
    for truth, chance in list(passes.items())[::10]:
        pc = float(TRIANGLE.pc_at(truth))
        passed = binom.cdf(most, 66, pc) - binom.cdf(few, 66, pc)
        assert chance == pytest.approx(passed, rel=1e-9)
    totals = Counter()
    for row in rows:
        totals[row["truth"]] += row["chance"]
    assert list(totals.values()) == pytest.approx(np.ones(81))


def test_characteristic_marks_the_limit_and_is_none_where_no_formula_knows_it(year):
    marks = [row for row in datasets(characteristic_figure(year.scores)) if "text" in row]
    assert {(row["truth"], row["text"]) for row in marks} == {(1.5, "agreed limit 1.5 points")}
    assert characteristic_figure(replace(year.scores, scatter=None)) is None
    profile = ReleaseRule(test="PROFILE", margins={"sweet": 0.8}, assessors=12)
    assert characteristic_figure(profile) is None

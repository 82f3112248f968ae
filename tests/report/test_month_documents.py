"""The month of a product: two pages, right numbers, whatever the texts and however long."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from scipy.stats import binom

from sensory.release.batch_records import Complaint
from sensory.release.batch_trend import ProductTrend, trend_of_batches
from sensory.release.batches import Disposition
from sensory.release.month import MonthReport
from sensory.release.reference_state import reference_state
from sensory.release.references import Bridge, Reference
from sensory.report.month_documents import month_pdf, month_words
from sensory.report.month_figures import months_figure, months_words

from .shared import OURS, fonts_of, pages_of

HOSTILE = '#panic("x") *bold* $x$ <tag> @ref \\'
NO_TREND = ProductTrend(result=None, attribute="", remarks=())


def reference():
    bridge = Bridge(
        reference="R2", to="R1", held_on="2026-01-05", finding="SIMILAR", estimate=0.2, se=0.08
    )
    own = Reference(
        name="R2", product="Rhubarb cordial", kind="STORED_STABLE", made_on="2026-01-02",
        usable_until="2026-06-20", storage="4 °C", bridged_to_previous=bridge,
        bridged_to_first=bridge,
    )  # fmt: skip
    return reference_state(own, "2026-05-31", limit=0.6)


def report(records, rule, *, trend=None, references=None):
    return MonthReport(
        product="Rhubarb cordial",
        month="2026-05",
        rule=rule,
        batches=tuple(one for one in records if one.batch.made_on >= "2026-05"),
        before=tuple(one for one in records if one.batch.made_on < "2026-05"),
        trend=trend or trend_of_batches(records, rule),
        references=(reference(),) if references is None else references,
        printed_at="2026-06-01T08:00:00.000+00:00",
        version="1.2.3",
    )


@pytest.fixture(scope="module")
def month(year):
    return report(year(60), year.scores)


@pytest.fixture(scope="module")
def content(month):
    return month_pdf(month)


def test_two_pages_for_somebody_who_does_not_compute(month, content):
    first, second = pages_of(content)
    for text in ("Rhubarb cordial, May 2026", month.headline(), "What became of the batches"):
        assert text in first
    for record, why in month.noteworthy():
        assert f"{record.name} {record.batch.made_on} {record.batch.line} {why}" in first
    for text in (
        "Line 1: 30 batches", "The level moves from", "agreed limit 1.5", "Jun 2025",
        "R2, stored so that change is minimal, is 149 days old. ",
        "It may be used for 20 more days.", "It lies +0.20 from R1, the first",
        "What the release rule can and cannot see", *month.risks(), "Release of food stays with",
    ):  # fmt: skip
        assert text.strip() in second.replace("• ", ""), text
    assert "standard deviation" not in first + second
    assert "1.2.3" in first


def test_numbers_are_those_of_the_records(month, content):
    ended = {Disposition.RELEASE: "Released", Disposition.REJECT: "Rejected"}
    now, then = (
        Counter(
            ended[record.decision.disposition]
            for record in records
            if record.decision and record.decision.disposition in ended
        )
        for records in (month.batches, month.before)
    )
    months = len({one.batch.made_on[:7] for one in month.before})
    first, second = pages_of(content)
    assert months == 12 - 1
    for name in ended.values():
        assert f"{name} {now[name]} {then[name] / months:.1f}" in first
    waiting = sum(one.decision is None for one in month.batches)
    assert waiting == 2
    held = len(month.before) - sum(then.values())
    assert f"Waiting {waiting} {held / months:.1f}" in first
    for line in ("line 1", "line 2"):
        mine = [one for one in month.batches if one.batch.line == line]
        good = sum(one.latest.finding.value == "SIMILAR" for one in mine)
        # beyond the limit, with the limit open, undecided, not tasted
        assert f"{line} {len(mine)} {good} 0 {len(mine) - good} 0 0" in first
    assert f"{len(month.batches)} tastings of this month's batches" in second
    assert f"there were {len(month.before) / months:.1f} a month" in second


def test_bars_count_every_batch_of_the_year(month):
    rows = [row for rows in months_figure(month)["datasets"].values() for row in rows]
    drawn = Counter()
    for row in rows:
        drawn[row["month"]] += row["batches"]
    assert drawn == Counter(one.batch.made_on[:7] for one in (*month.before, *month.batches))
    assert len(month.by_month().rows) == 12
    assert month.by_month().rows[0][0] == "2025-06"
    assert f"2025-07: {drawn['2025-07']} released" in months_words(month)
    assert months_figure(replace(month, before=())) is None


def test_the_same_form_gives_the_same_bytes_in_our_font(month, content):
    assert month_pdf(month) == content
    assert fonts_of(content) == OURS


def test_sixty_batches_with_long_hostile_reasons_keep_to_two_pages(year):
    decision = replace(
        year(3)[0].decisions[0],
        disposition=Disposition.REJECT,
        recommended=Disposition.RELEASE,
        reason=f"{HOSTILE} {'a reason without an end ' * 60}",
    )
    records = [replace(record, decisions=(decision,)) for record in year(60, days=30)]
    made = report(records, year.scores)
    assert len(made.noteworthy()) == 60
    pages = pages_of(month_pdf(made))
    assert len(pages) == 2
    assert HOSTILE in pages[0]
    shown = sum(f"RC-{at:03} 2026" in pages[0] for at in range(60))
    assert f"and {60 - shown} more batches, on record" in pages[0]
    assert shown >= 6
    assert "decided: reject (recommended: release)" in pages[0]


def test_many_lines_with_hostile_names_keep_to_two_pages(year):
    names = tuple(f"{at} {HOSTILE} {'W' * 60}" for at in range(20))
    pages = pages_of(month_pdf(report(year(60, lines=names, days=30), year.scores)))
    assert len(pages) == 2
    assert HOSTILE in pages[0]
    assert "more lines, on record" in pages[0]
    assert "Not shown here, with less to see: 17 lines." in pages[1]


def test_the_worst_of_texts_keep_to_two_pages(year):
    """Everything that somebody can type is long and unbroken."""
    long = f"{HOSTILE} {'W' * 300}"
    lines = tuple(f"{at} {long}" for at in range(12))
    records = [
        replace(
            one,
            batch=replace(one.batch, number=f"{one.name} {long}"),
            clearance=None,
            decisions=tuple(replace(own, reason=long * 5) for own in one.decisions),
        )
        for one in [*year(30, days=360, until="2026-04-30"), *year(36, lines=lines, days=30)]
    ]
    state = replace(reference(), problems=(long,) * 30)
    made = replace(report(records, year.scores, references=(state,)), product=long)
    trend = replace(made.trend, remarks=(long * 5,) * 2)
    pages = pages_of(month_pdf(replace(made, trend=trend)))
    assert len(pages) == 2
    assert "more lines, on record" in pages[0]
    assert "more, on record" in pages[1]


def test_nothing_made_no_trend_and_no_reference(year):
    pages = pages_of(month_pdf(report([], year.choices, trend=NO_TREND, references=())))
    assert len(pages) == 2
    for text in ("No batch was made.", "months before: none", "What needs attention Nothing."):
        assert text in pages[0]
    for text in ("There is no chart yet", "No reference was in use.", "0 tastings"):
        assert text in pages[1]


def test_a_quiet_month_says_so(year):
    records = [one for one in year(12, days=30)[:-2] if one.latest.finding.value == "SIMILAR"]
    words = month_words(report(records, year.scores, trend=NO_TREND))
    assert words["remarks"] == ["Every batch was released as recommended."]
    assert words["attention"]["rows"] == []
    assert not words["with_months"]


def test_the_weightiest_come_first(year):
    model = year(12, days=30)
    refused = replace(model[0].clearance, food_safe=False)
    departs = replace(model[1].decisions[0], recommended=Disposition.HOLD, reason="by experience")
    records = [
        replace(model[2], decisions=()),
        replace(model[1], recommended=Disposition.HOLD, decisions=(departs,)),
        replace(model[0], clearance=refused, decisions=(), tastings=(), recommended=None),
    ]
    found = report(records, year.scores, trend=NO_TREND).noteworthy()
    assert [one.name for one, _ in found] == ["RC-000", "RC-001", "RC-002"]
    assert found[0][1] == "waits for decision: food safety has not cleared it"
    assert found[1][1] == "decided: release (recommended: hold); by experience"


def test_complaints_of_the_month_are_named_whenever_the_batch_was_made(year):
    old, new, *rest = reversed(year(24))
    old, new = rest[-1], new
    first = Complaint(text="bitter", received_on="2026-05-09", after=1)
    both = (replace(old, complaints=(first,)), replace(new, complaints=(first,), decisions=()))
    made = replace(report(both, year.scores, trend=NO_TREND), complained=both)
    words = month_words(made)
    assert f"2 complaints came in: on {old.name}, {new.name}." in words["remarks"]
    assert [row[0] for row in words["attention"]["rows"]] == [old.name, new.name]
    assert all("complaint of 2026-05-09: bitter" in row[-1] for row in words["attention"]["rows"])


def test_risks_are_binomial(year):
    """66 triangles: released up to 28 correct, see `test_trend_figures`."""
    said = report([], year.choices, trend=NO_TREND).risks()[1]
    chances = [round(100 * binom.cdf(28, 66, 1 / 3 + 2 / 3 * pd)) for pd in (0.0, 0.15, 0.30)]
    none, half, full = chances
    assert f"for {none} of 100 unchanged batches, for {half} of 100 half way" in said
    assert f"for {full} of 100 at the limit" in said
    without = report([], replace(year.scores, scatter=None), trend=NO_TREND).risks()
    assert not any("half way" in one for one in without)

"""What counts against a finding stands in its headline, and a profile is told in sentences."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from sensory.base.findings import Finding
from sensory.catalogue.outcome import AssessorLine, AssessorPoint, Counts, Outcome
from sensory.catalogue.question import Question
from sensory.report.documents import session_words
from sensory.sessions import workflow
from sensory.sessions.finding import session_report
from sensory.sessions.headline import agreed_action, headline
from sensory.sessions.in_short import limits_in_short, moved_in_words, panel_in_short

DEMO = Path(__file__).parents[2] / "demo_data"


def closed(store, name, answers=None, **question):
    """A session of the demonstration, closed; of its ballots so many, all wrong, if asked."""
    prepared = workflow.read_prepared(DEMO, name)
    prepared["question"] = replace(prepared["question"], **question)
    if answers is not None:
        kept = dict(list(prepared["cells"].items())[:answers])
        prepared["cells"] = {line: cells | {"answer": wrong(cells)} for line, cells in kept.items()}
    workflow.open_session(store, "s1", **prepared, who="t", why="t")
    workflow.agree(store, "s1", who="A. Leader")
    workflow.close(store, "s1", who="A. Leader")
    return session_report(store, "s1", version="1")


def wrong(cells):
    """A code of a triangle that is not the odd sample's."""
    order = cells["order"]
    odd = next(at for at in range(3) if order.count(order[at]) == 1)
    codes = [cells[f"code_{number}"] for number in (1, 2, 3)]
    return codes[(odd + 1) % 3]


def test_none_correct_of_four_with_six_planned_says_both_in_the_headline(store):
    report = closed(store, "suspect_batch", 4, assessors=6, pd_limit=0.6, beta=0.2,
                    if_similar="Release")  # fmt: skip
    head = report.headline
    assert head.finding is Finding.SIMILAR
    assert head.action == "Release"
    # 4 triangles: guessing gives 4/3 on average
    assert head.words == (
        f"{Finding.SIMILAR.sentence} But: only 4 of 6 planned ballots were answered; "
        "0 of 4 correct is fewer than guessing gives (1.3)."
    )
    assert session_words(report)["sentence"] == head.words


def outcome_of(correct, trials, *, missing=0, finding=Finding.SIMILAR):
    counts = Counts(
        answers=trials, assessors=trials, correct=correct, trials=trials, missing=missing
    )
    return Outcome(
        test="TRIANGLE", finding=finding, sentence=finding.sentence, because="", counts=counts,
        alpha=0.05,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("outcome", "planned", "doubts"),
    [
        (outcome_of(22, 66), 66, ()),
        (outcome_of(21, 66), 66, ("21 of 66 correct is fewer than guessing gives (22)",)),
        (outcome_of(30, 66), 60, ()),
        (outcome_of(30, 65, missing=1), 65, ("1 ballot without an answer",)),
        (outcome_of(30, 65, missing=1), 66, ("only 65 of 66 planned ballots were answered",)),
    ],
)
def test_doubts(outcome, planned, doubts):
    shown = headline(outcome, Question(assessors=planned))
    assert shown.doubts == doubts
    assert (shown.words == outcome.sentence) is not bool(doubts)


def test_what_was_agreed_goes_with_the_finding():
    asked = Question(if_different="hold", if_similar="release", if_undecided="again")
    told = {finding: agreed_action(finding, asked) for finding in Finding}
    assert told == {
        Finding.DIFFERENT: "hold",
        Finding.BEYOND_LIMIT: "hold",
        Finding.SIMILAR: "release",
        Finding.DIFFERENT_WITHIN_LIMIT: "release",
        Finding.UNDECIDED: "again",
    }
    assert agreed_action(Finding.BEYOND_LIMIT, replace(asked, if_beyond="scrap")) == "scrap"


def test_a_profile_says_each_attribute_that_moved_and_the_rest_in_a_sentence(store):
    report = closed(store, "pressing")
    outcome = report.outcome
    lines = moved_in_words(outcome)
    moved = [each for each in outcome.comparisons if each.p is not None and each.p <= outcome.alpha]
    samples = {each.sample for each in outcome.comparisons}
    assert moved
    turned = [line for line in outcome.panel_lines if line.turned]
    assert turned
    assert len(lines) <= len(moved) + len(samples) + len(turned)
    assert lines[-1] == f"{turned[-1].assessor} scored {turned[-1].attribute} the other way round."
    for each in moved:
        (line,) = (line for line in lines if line.startswith(f"'{each.attribute}'")
                   and each.sample in line)  # fmt: skip
        way = "higher" if each.estimate > 0 else "lower"
        assert f"{abs(each.estimate):.2f} {way} in {each.sample}" in line
    for each in outcome.comparisons:
        assert any(each.attribute in line and each.sample in line for line in lines)
    assert report.headline.doubts == ()  # 60 ballots of 10 assessors, as planned
    assert report.reasons == lines
    assert len(report.limits()) <= 3
    assert all(any(full.startswith(line) for full in report.cannot_tell())
               for line in report.limits())  # fmt: skip


def test_the_last_limit_stays_when_there_are_many():
    assert limits_in_short(["One. More.", "Two."]) == ("One.", "Two.")
    assert limits_in_short(["One.", "Two.", "Three.", "Four.", "Last."])[-1] == "Last."


def test_assessors_who_need_a_look_come_with_their_attributes_only():
    def line(name, attribute, **marks):
        return AssessorLine(
            assessor=name, attribute=attribute, means={"a": 1.0, "b": 2.0}, share=0.1, **marks
        )

    def point(name, flags):
        return AssessorPoint(
            assessor=name, attribute="sour", agreement=-0.9, slope=-1.0, flags=flags
        )

    outcome = replace(
        outcome_of(0, 0),
        panel=(point("P4", 1), point("P40", 0)),
        panel_lines=(line("P4", "sour", turned=True), line("P4", "sweet"), line("P40", "sour")),
        panel_says=("P4 scored sour the other way round.", "P40 came late."),
    )
    short = panel_in_short(outcome)
    assert short.look == ("P4",)
    assert short.says == ("P4 scored sour the other way round.",)
    assert short.others == ("P40 came late.",)
    assert {each.attribute for each in short.pictured.panel_lines} == {"sour"}

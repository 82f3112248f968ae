"""Every attempt on one batch is counted and said with its true risk."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from scipy.stats import binom

from sensory.report.documents import session_words
from sensory.sessions import workflow
from sensory.sessions.attempts import IN_TWO, attempts_in_words, planned_second
from sensory.sessions.finding import session_report

from .shared import agreed

DEMO = Path(__file__).parents[2] / "demo_data"


def session(store, *, batch="EF-0937", close=True):
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    reference, compared = prepared["details"].samples
    samples = (reference, replace(compared, batch=batch))
    prepared["details"] = replace(prepared["details"], samples=samples)
    session_id = workflow.new_session_id()
    workflow.open_session(store, session_id, **prepared, who="t", why="t")
    workflow.agree(store, session_id, who="A. Leader")
    if close:
        workflow.close(store, session_id, who="A. Leader")
    return session_id


def told(store, session_id):
    return session_report(store, session_id, version="1").attempts


def test_first_attempt_says_nothing(store):
    assert told(store, session(store)) == ()


def test_second_attempt_is_marked_with_its_true_risk(store):
    session(store)
    (line,) = told(store, session(store, batch=" ef-0937 "))
    assert "This is attempt 2 at batch" in line
    assert "Beyond limit, 18 of 24 correct" in line
    # all answers of both; p by scipy
    assert "Together 36 of 48 correct, p < 0.001 for a difference" in line
    assert binom.sf(35, 48, 1 / 3) < 0.001
    assert "No second tasting of the same question after a difference" in line
    # similar up to 8 of 24 at pd 0.30 and beta 0.05 (a scan), so twice as often or nearly
    pc = 1 / 3 + 2 / 3 * 0.30
    similar = max(x for x in range(25) if binom.cdf(x, 24, pc) <= 0.05)
    once = binom.cdf(similar, 24, pc)
    assert f"{100 * (1 - (1 - once) ** 2):.1f} %, not {100 * once:.1f} %" in line


def test_aborted_attempts_count(store):
    session(store, close=False)
    session(store, close=False)
    (line,) = told(store, session(store))
    assert "attempt 3" in line
    assert line.count("agreed and never closed") == 2


def test_other_batches_and_batches_without_a_number_do_not_count(store):
    session(store, batch="EF-0001")
    session(store, batch="")
    assert told(store, session(store)) == ()
    assert told(store, session(store, batch="")) == ()


def test_the_attempt_is_in_what_the_session_cannot_tell_and_in_the_report(store):
    session(store)
    summary = session_report(store, session(store), version="1")
    assert summary.attempts[0] == summary.cannot_tell()[0]
    assert summary.attempts[0] in session_words(summary)["cannot_tell"]


def test_a_test_that_passes_no_batch_speaks_of_differences(store):
    """A threshold, and words that were ticked: neither shows similarity."""
    for name in ("taint", "words"):
        first, second = (store.session(agreed(store, name)) for _ in range(2))
        (line,) = attempts_in_words(second, [first], {}, trials=72)
        assert line.endswith("find a difference where there is none more often than alpha says.")


def test_the_second_tasting_of_a_plan_is_no_further_attempt(store):
    first, second = (store.session(session(store)) for _ in range(2))
    planned = [
        replace(one, question=replace(one.question, retest_rule=IN_TWO)) for one in (first, second)
    ]
    assert planned_second(planned[1], planned[:1])
    assert not planned_second(second, [first])
    assert not planned_second(planned[1], planned)
    (said,) = attempts_in_words(planned[1], planned[:1], {}, 48)
    assert "second tasting of a plan in two" in said

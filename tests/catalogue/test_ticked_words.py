"""Words to tick: from the question to the finding, with the numbers of the table they came from."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import replace
from itertools import permutations

import pandas as pd
import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.base.findings import Finding
from sensory.base.languages import ballot_words
from sensory.catalogue.checking import check_lines
from sensory.catalogue.question import Question
from sensory.catalogue.tests import find_kind
from sensory.catalogue.typed_lists import MOST_WORDS, NO_WORD, in_own_order
from sensory.panel.candidate_words import ticked_lists
from sensory.ratings.ticked import ticked_words
from sensory.report.documents import session_pdf
from sensory.report.serving_sheets import ballots_pdf
from sensory.sessions import booth_plans, booths, workflow
from sensory.sessions.booth_answers import Turn, answer
from sensory.sessions.booth_ballots import still_open
from sensory.sessions.filling import fill_sittings
from sensory.sessions.finding import session_report
from sensory.sessions.tick_file import read_ticks
from sensory.store.archive import archive_session, import_archive
from sensory.store.repository import open_store

from ..report.shared import pages_of
from ..sessions.shared import BY, DEMO, planned, waiting

TICKED = find_kind("ticked words")
WORDS = "sweet; sour; jammy; cooked"


@pytest.fixture
def store():
    opened = open_store("sqlite://")
    yield opened
    opened.close()


def asked(words=WORDS, **settings):
    return Question(protocol=TICKED.key, settings={"words": words, **settings})


def checked(*ticked, words=WORDS):
    cells = {
        row: {"assessor": f"P{row}", "sample": "A", "ticked": text}
        for row, text in enumerate(ticked, start=1)
    }
    return check_lines(cells, TICKED, asked(words))


def test_ticks_are_read_as_the_agreed_words_and_none_is_an_answer():
    ballots = checked("Jammy; SWEET ;jammy", NO_WORD, "")
    assert [row["ticked"] for row in ballots.rows] == [("jammy", "sweet"), ()]
    assert (ballots.missing, ballots.blocking) == (1, ())
    wrong = checked("jammy; tinny", f"{NO_WORD}; sweet").blocking
    assert [fault.row for fault in wrong] == [1, 2]
    assert "'tinny': not among the agreed words" in wrong[0].problem


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("jammy; Jammy", "'Jammy' stands twice"),
        ("jammy; sample", "'sample' cannot be a word to tick"),
        (f"jammy; {NO_WORD}", "cannot be a word to tick"),
        ("; ".join(f"w{n}" for n in range(MOST_WORDS + 1)), "at most 60 words"),
        ("x" * 1001, "of 1000 letters together"),
    ],
)
def test_lists_that_cannot_be_ticked_are_refused(words, says):
    with pytest.raises(ArgumentError, match=says):
        TICKED.check({"words": words})
    assert TICKED.missing(asked("")) == ["Words to tick, separated by semicolons?"]


def test_every_order_of_the_words_is_as_likely():
    """Second route: chi-square of 6 orders over 6,000 ballots; 20.5 is its 99.9 % point, 5 df."""
    drawn = Counter(
        tuple(in_own_order("abc", row, str(code))) for row in range(10) for code in range(200, 800)
    )
    expected = drawn.total() / 6
    assert set(drawn) == set(permutations("abc"))
    assert sum((count - expected) ** 2 / expected for count in drawn.values()) < 20.5


def table_of(rows, words):
    """A list as people keep it elsewhere: a column a word, x where it was ticked."""
    lines = [",".join(("assessor", "sample", *words))]
    for row in rows:
        ticks = ["x" if word in row["ticked"] else "" for word in words]
        lines.append(",".join((row["assessor"], row["sample"].replace(",", ""), *ticks)))
    return read_ticks("\n".join(lines).encode())


def test_the_finding_is_that_of_the_same_list_from_a_file(store):
    """Counts by hand from the rows; Q and pairs as `ticked_words` has them of a file."""
    opened = workflow.read_prepared(DEMO, "words")
    cells = opened.pop("cells")
    workflow.open_session(store, "s", **opened, cells=cells, who=BY, why="test")
    workflow.agree(store, "s", who=BY)
    workflow.close(store, "s", who=BY)
    outcome = session_report(store, "s", version="0").outcome
    rows = workflow.checked_ballots(store, "s").rows
    words = find_kind(TICKED).listed(opened["question"].settings, "words")
    result = ticked_words(table_of(rows, words))
    assert outcome.finding is Finding.DIFFERENT
    assert outcome.sentence == f"The samples differ in: {', '.join(result.tell_apart)}."
    assert {"jammy", "cooked"} <= set(result.tell_apart)
    counts, tests, pairs = (named.table for named in outcome.tables)
    of_word = {row[0]: row[1:4] for row in counts.rows}
    for word in words:
        for sample, ticks in zip(counts.columns[1:4], of_word[word], strict=True):
            assert ticks == sum(word in r["ticked"] for r in rows if r["sample"] == sample)
    assert [row[2] for row in tests.rows] == result.tests["statistic"].tolist()
    assert [row[5] for row in pairs.rows] == result.pairs["p"].tolist()
    assert "no test: flowery" in " ".join(outcome.cannot_tell)
    assert outcome.figure.shares
    assert len(outcome.figure.spans) == 3 * 5  # the words that tell most
    assert session_pdf(session_report(store, "s", version="0")).startswith(b"%PDF")


def test_nothing_is_found_where_all_tick_alike(store):
    rows = [
        {"assessor": f"P{n}", "sample": s, "ticked": ("sweet",)} for n in range(9) for s in "AB"
    ]
    outcome = TICKED.read(rows, asked("sweet; sour"))
    assert outcome.finding is Finding.UNDECIDED
    assert "no test: sweet, sour" in " ".join(outcome.cannot_tell)
    assert not TICKED.similarity


def test_a_booth_takes_ticks_and_says_what_contradicts_itself(store):
    session_id, plan = planned(store, TICKED.key)
    session = store.session(session_id)
    cells = store.cells(session_id)
    papers = ballots_pdf(cells, session.question, session.details, "de", plan=plan)
    tokens = booth_plans.open_booths(store, session_id, who=BY)
    booths.consent(store, tokens["Bo"])
    ballot = waiting(store, tokens["Bo"])
    (ticks,) = ballot.asked
    words = [stored for stored, _ in ticks.choices]
    assert words[-1] == NO_WORD
    assert sorted(words[:-1]) == sorted(TICKED.listed(session.question.settings, "words"))
    assert still_open(ballot) == [ticks.label]
    ended = ballot_words("de")["no_word"]
    lists = [part for page in pages_of(papers) for part in page.split(ended)]
    paper = next(part for part in lists if ballot.codes[0] in part).partition(ballot.codes[0])[2]
    order = [paper.index(word) for word in words[:-1]]
    assert order == sorted(order)  # on paper as at the booth

    turns = itertools.count(1)

    def give(text):
        return answer(
            store, tokens["Bo"], ballot.line, (ballot.line, "ticked"), text,
            [waiting(store, tokens["Bo"]).asked[0].given], Turn("window", next(turns)),
        )  # fmt: skip

    assert give("; ".join(words[:2])).open == ()
    assert give("; ".join([words[0], NO_WORD])).open == (ticks.label,)
    with pytest.raises(RecordError, match="Still to be answered"):
        booths.send(store, tokens["Bo"], ballot.line, shown={})
    with pytest.raises(RecordError, match="does not offer the answer 'tinny'"):
        give("tinny")
    assert give(NO_WORD).open == ()
    booths.send(store, tokens["Bo"], ballot.line, shown={ballot.line: {"ticked": NO_WORD}})
    assert waiting(store, tokens["Bo"]).number == 2


def test_the_words_of_two_sessions_are_candidates_with_assessors_as_units(store, tmp_path):
    """Closed lists come back from the record, after an archive and an erasure too."""
    prepared = workflow.read_prepared(DEMO, "words")
    for name, words in (("one", None), ("two", "jammy; cooked; tinny")):
        given = dict(prepared)
        if words:
            settings = {**prepared["question"].settings, "words": words}
            given["question"] = replace(prepared["question"], settings=settings)
            given["cells"] = {
                row: {
                    **texts,
                    "ticked": "; ".join(w for w in texts["ticked"].split("; ") if w in words)
                    or NO_WORD,
                }
                for row, texts in prepared["cells"].items()
            }
        workflow.open_session(store, name, **given, who=BY, why="test")
        workflow.agree(store, name, who=BY)
        workflow.close(store, name, who=BY)
    (group,) = ticked_lists(store.sittings(), "raspberry cordial")
    assert set(group.ticks.columns) == {"session", "assessor", "sample", "jammy", "cooked"}
    assert set(group.left_out) >= {"sweet", "tinny"}
    both = ticked_words(group.ticks)
    rows = workflow.checked_ballots(store, "one").rows
    once = ticked_words(table_of(rows, ["jammy", "cooked"]))
    pd.testing.assert_series_equal(both.tests["statistic"], once.tests["statistic"])
    assert (both.sessions, both.assessors) == (2, 16)
    assert ticked_lists(store.sittings(), "quince cordial") == []
    other = open_store("sqlite://")
    import_archive(other, archive_session(store, "one"), who=BY, why="moved")
    assert fill_sittings(other, who=BY) == 1
    (kept,) = ticked_lists(other.sittings(), "raspberry cordial")
    assert ticked_words(kept.ticks).tests.equals(
        ticked_words(ticked_lists([store.sitting("one")], "raspberry")[0].ticks).tests
    )
    other.close()
    store.erase_person("P05", who=BY, why="asked")
    assert "P05" not in repr(store.sitting("one"))
    assert ticked_words(ticked_lists(store.sittings(), "raspberry")[0].ticks).assessors == 16
    assert store.verify() == []

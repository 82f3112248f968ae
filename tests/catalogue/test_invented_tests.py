"""A test of the catalogue is one entry: two are invented here and run through the whole house."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np
import openpyxl
import pytest

from sensory import read_answers, read_ballots
from sensory.base.errors import BallotError
from sensory.base.findings import Finding
from sensory.base.languages import languages
from sensory.base.results import Interval, Table
from sensory.base.standards import STANDARDS
from sensory.catalogue.columns import (
    ASSESSOR,
    CODE,
    COMMENT,
    REPLICATE,
    SAMPLE,
    Column,
    columns_once,
)
from sensory.catalogue.forced_choice import forced_choice
from sensory.catalogue.kind import ReleaseTerms, ServingRules, TestKind, Words, register
from sensory.catalogue.outcome import Comparison, Counts, Figure, NamedTable, Outcome, Span
from sensory.catalogue.scales import FROM_ZERO, Setting
from sensory.catalogue.tests import TESTS, find_kind, kinds
from sensory.choices.protocols import Protocol
from sensory.models.links import Link
from sensory.release import tastings
from sensory.release.batch_desk import batch_file, decide
from sensory.release.batches import Disposition
from sensory.release.rule import ReleaseRule
from sensory.report.batch_documents import batch_pdf
from sensory.report.documents import session_pdf
from sensory.report.serving_sheets import ballots_pdf
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, workflow
from sensory.sessions.file_kinds import kind_of_file
from sensory.sessions.finding import session_report
from sensory.sessions.template import template_csv, template_xlsx
from sensory.store.repository import Repository

from ..release.shared import desk_with, made
from ..sessions.shared import DEMO, declare, finish
from ..sessions.shared import agreed as agreed_session
from ..shared import ALL_YES

PEOPLE = [f"P{number:02d}" for number in range(1, 13)]

# A forced choice: four samples, one of them the other one.


def _odd(served: str, _target: str) -> tuple[frozenset[int], ...]:
    return (frozenset({served.index(min("AB", key=served.count))}),)


QUARTET = forced_choice(
    Protocol(
        key="QUARTET",
        name="quartet",
        guess=Fraction(1, 4),
        order_sets=(("AAAB", "AABA", "ABAA", "BAAA"),),
        asks="Three of the four samples are alike. Which one is different?",
        right=_odd,
        link=Link(
            0.25,
            lambda d: 1 - 0.75 * np.exp(-d * d / 4),
            lambda d: 0.375 * d * np.exp(-d * d / 4),
        ),
        standard=STANDARDS["ISO 6658"],
        standard_note="invented",
    ),
    words={
        "en": Words(asks="Three of the four are alike. Which is not?"),
        "de": Words(asks="Drei der vier sind gleich. Welche nicht?"),
        "es": Words(asks="Tres de las cuatro son iguales. ¿Cuál no?"),
        "fr": Words(asks="Trois des quatre sont identiques. Lequel ne l'est pas ?"),
    },
)

# A rating: how long each sample lingers, in seconds, on an agreed scale.


def read_lingering(rows, question) -> Outcome:
    """The mean of each sample less that of the first one named in the plan, against a limit."""
    first, *others = LINGERING.listed(question.settings, "samples")
    limit = float(LINGERING.setting(question.settings, "limit"))
    base = np.mean([row["score"] for row in rows if row["sample"] == first])
    comparisons = []
    for name in others:
        mean = float(np.mean([row["score"] for row in rows if row["sample"] == name]) - base)
        within = abs(mean) + 0.5 <= limit
        comparisons.append(
            Comparison(
                sample=name,
                attribute="score",
                finding=Finding.SIMILAR if within else Finding.UNDECIDED,
                estimate=mean,
                se=0.25,
                limits=Interval(low=mean - 0.5, high=mean + 0.5, level=0.95),
                p=1.0,
                upper=abs(mean) + 0.5,
                margin=limit,
            )
        )
    finding = comparisons[0].finding
    return Outcome(
        test=LINGERING.key,
        finding=finding,
        sentence=finding.sentence,
        because=f"{len(rows)} times were taken.",
        counts=Counts(answers=len(rows), assessors=len({row["assessor"] for row in rows})),
        alpha=question.alpha,
        beta=question.beta,
        limit=limit,
        margins={"score": limit},
        tables=(NamedTable("Times", Table(columns=("answers",), rows=((len(rows),),))),),
        figure=Figure(
            axis="seconds beyond the first sample",
            spans=tuple(
                Span(label=each.sample, estimate=each.estimate, limits=each.limits)
                for each in comparisons
            ),
        ),
        comparisons=tuple(comparisons),
        cannot_tell=("It is invented.",),
        smallest_differences={"score": 0.5},
    )


LINGERING = TestKind(
    key="LINGERING",
    name="lingering",
    standard="a method of the house",
    asks="How long does the taste last?",
    words={
        "en": Words(asks="How long does it last?"),
        "de": Words(asks="Wie lange hält es an?"),
        "es": Words(asks="¿Cuánto dura?"),
        "fr": Words(asks="Combien de temps cela dure-t-il ?"),
    },
    letters="Samples by name.",
    ballot=columns_once(
        ASSESSOR,
        SAMPLE,
        CODE,
        Column(
            name="score",
            required=True,
            cell="score",
            answer=True,
            also=("seconds",),
            meaning="Seconds until it is gone.",
            example="7",
        ),
        Column(name="stopwatch", meaning="Which watch was used."),
        REPLICATE,
        COMMENT,
    ),
    serving=ServingRules(splittable=True),
    read=read_lingering,
    settings=(
        Setting(key="samples", kind="text", default="", label="Samples", needed=True),
        Setting(key="limit", kind="number", default=2.0, low=0.01, label="Limit, seconds"),
        *FROM_ZERO,
    ),
    answer="score",
    release=ReleaseTerms(
        by="points",
        settings=lambda limit, margins, batch: {
            "samples": f"reference; {batch}",
            "limit": limit,
        },
    ),
)
ENTRIES = (QUARTET, LINGERING)
SAMPLES = {"LINGERING": ["reference", "new press"]}
SETTINGS = {"LINGERING": {"samples": "reference; new press", "scale_high": 30.0}}


@pytest.fixture(autouse=True)
def invented() -> Iterator[None]:
    with register(QUARTET), register(LINGERING):
        yield
    assert "QUARTET" not in TESTS
    assert "LINGERING" not in TESTS


@pytest.fixture
def store(opens, tmp_path) -> Iterator[Repository]:
    opened = opens(f"sqlite:///{tmp_path / 'r.sqlite3'}")
    yield opened
    assert opened.verify() == []


def question_of(kind: TestKind) -> dict[str, object]:
    return {"protocol": kind.key, "settings": SETTINGS.get(kind.key, {})}


def served(store: Repository, kind: TestKind, language: str = "en") -> dict[str, str]:
    """An agreed session that is served at booths: the token of each assessor, and its id."""
    session_id = agreed_session(store, "suspect_batch", **question_of(kind))
    tokens = at_booths(store, kind, session_id, SAMPLES.get(kind.key), language)
    return {**tokens, "": session_id}


def at_booths(
    store: Repository,
    kind: TestKind,
    session_id: str,
    samples: list[str] | None,
    language: str = "en",
) -> dict[str, str]:
    """The token of each assessor of an agreed session."""
    plan = serving_plan(kind.name, PEOPLE, seed=2**128 + 5, samples=samples)
    lines = ballot_lines(plan)
    booth_plans.serve(store, session_id, plan, lines, language=language, who="A. Leader")
    declare(store, session_id, "none")
    return booth_plans.open_booths(store, session_id, who="A. Leader")


def tasted(store: Repository, kind: TestKind) -> str:
    """A closed session of the test."""
    tokens = served(store, kind)
    session_id = tokens.pop("")
    for token in tokens.values():
        finish(store, token)
    workflow.close(store, session_id, who="A. Leader")
    return session_id


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("kind", ENTRIES, ids=repr)
def test_the_booth_asks_in_its_own_words(store, kind, language):
    tokens = served(store, kind, language)
    booths.consent(store, tokens["P01"])
    ballot = booths.visit(store, tokens["P01"]).ballot
    assert ballot.asks == kind.words[language].asks
    assert len(ballot.codes) == (4 if kind is QUARTET else 1)


@pytest.mark.parametrize("kind", ENTRIES, ids=repr)
def test_every_answer_is_counted_once_closed(store, kind):
    session_id = tasted(store, kind)
    checked = workflow.checked_ballots(store, session_id)
    assert checked.faults == ()
    assert checked.ready == len(checked.rows) == (12 if kind is QUARTET else 24)
    assert store.session(session_id).closed


def test_the_pages_list_the_entries_and_forced_choices_stand_together():
    keys = [kind.key for kind in kinds()]
    assert keys.index("QUARTET") < keys.index("A_NOT_A") < keys.index("LINGERING")
    assert find_kind("Quartet").protocol.coded == 4


def test_a_plan_serves_every_order_of_the_forced_choice_equally_often():
    plan = serving_plan(QUARTET, PEOPLE, seed=1)
    counts = Counter(each.order for each in plan.sets)
    assert counts == dict.fromkeys(QUARTET.serving.orders, 3)


@pytest.mark.parametrize("kind", ENTRIES, ids=repr)
def test_ballots_on_paper_and_the_template_are_its_own(kind):
    plan = serving_plan(kind, ["Anna", "Bo"], seed=1, samples=SAMPLES.get(kind.key))
    prepared = workflow.read_prepared(DEMO, "suspect_batch")
    question = replace(prepared["question"], **question_of(kind))
    assert ballots_pdf(ballot_lines(plan), question, prepared["details"], "de").startswith(b"%PDF")
    heading = template_csv(kind).decode("utf-8-sig").strip().split(",")
    sheet = openpyxl.load_workbook(io.BytesIO(template_xlsx(kind)))["ballots"]
    assert heading == [cell.value for cell in sheet[1]]
    assert ("code_4" in heading, "code_5" in heading) == (kind is QUARTET, False)
    assert ("stopwatch" in heading) is (kind is LINGERING)


def test_a_file_of_the_forced_choice_is_read_and_checked():
    text = "assessor,protocol,order,codes,answer\nP01,quartet,ABAA,412 837 265 694,{}\n"
    good = text.format("837").encode()
    assert kind_of_file(good) == "QUARTET"
    assert read_ballots(good).correct.tolist() == [True]
    assert read_ballots(text.format("694").encode(), protocol=QUARTET.protocol).correct.sum() == 0
    with pytest.raises(BallotError, match="a quartet test asks for one code"):
        read_ballots(text.format("412 837").encode())
    with pytest.raises(BallotError, match="'ABBA' is no order of a quartet test"):
        read_ballots(good.replace(b"ABAA", b"ABBA"))


def test_a_file_of_the_rating_is_read_and_checked():
    text = b"assessor,sample,seconds,stopwatch\nP01,reference,7.5,red\nP01,new press,9,red\n"
    frame = read_answers(text, LINGERING, samples="reference; new press")
    assert frame.score.tolist() == [7.5, 9.0]
    with pytest.raises(BallotError, match="90 lies off the scale of 0 to 10"):
        read_answers(text.replace(b",9,", b",90,"), LINGERING)


@pytest.mark.parametrize("kind", ENTRIES, ids=repr)
def test_its_finding_is_kept_and_printed(store, kind):
    report = session_report(store, tasted(store, kind), version="0")
    counts = report.outcome.counts
    assert report.outcome.test == kind.key
    assert (counts.answers, counts.assessors) == (12 if kind is QUARTET else 24, 12)
    assert set(counts.orders) == (set(QUARTET.serving.orders) if kind is QUARTET else set())
    assert session_pdf(report).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("kind", "limit", "words"),
    [
        (QUARTET, 0.4, "in a quartet test"),
        (LINGERING, 2.5, "by lingering"),
    ],
    ids=repr,
)
def test_a_batch_is_tasted_and_decided_under_a_rule_with_the_test(kind, limit, words):
    rule = ReleaseRule(test=kind.key, limit=limit, assessors=12, decides="release officer")
    assert words in rule.words()[0]
    store = desk_with(rule)
    made(store, "SC-1")
    session = tastings.open_tasting(store, "SC-1", who="Mira")
    question = session.question
    assert question.protocol == kind.key
    assert question.pd_limit == (limit if kind is QUARTET else None)
    workflow.describe(store, session.id, cautions=ALL_YES, who="A. Leader")
    workflow.agree(store, session.id, who="A. Leader")
    samples = None if kind.protocol else ["reference", "SC-1"]
    for token in at_booths(store, kind, session.id, samples).values():
        finish(store, token)
    tastings.close_and_note(store, session.id, who="A. Leader")
    file = batch_file(store, "SC-1")
    tasting = file.record.latest
    shown = Finding.SIMILAR if kind is LINGERING else session_finding_of(store, session.id)
    assert (tasting.finding, tasting.trials) == (shown, 12 if kind is QUARTET else None)
    assert file.finding.finding is shown
    assert file.finding.disposition is rule.at(shown)
    decide(store, "SC-1", Disposition.HOLD, by="Mira", role="release officer", reason="to be seen")
    assert batch_pdf(batch_file(store, "SC-1")).startswith(b"%PDF")
    assert store.verify() == []
    store.close()


def session_finding_of(store: Repository, session_id: str) -> Finding:
    return session_report(store, session_id, version="0").outcome.finding

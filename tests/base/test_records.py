"""The nouns of the job: words of the findings, digests, to and from plain data."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from datetime import datetime, timedelta

import pytest

from sensory.base.errors import RecordError
from sensory.base.findings import FINDINGS, WORST_FIRST, Finding, findings_of
from sensory.base.records import digest_of, utc_now
from sensory.catalogue.attributes import DefinedAttribute, Vocabulary
from sensory.catalogue.question import Question
from sensory.catalogue.training import Training
from sensory.sessions.session import CAUTIONS, Sample, SessionDetails, StoredSession

QUESTION = Question(
    pd_limit=0.30,
    what_changed="Sugar reduced by 4 %.",
    decision="Whether the new recipe replaces the old one.",
    if_different="Keep the old recipe.",
    if_similar="Change the recipe.",
    if_undecided="Plan one larger session.",
    attribute="sourness",
    exclusion_rule="Colds.",
    retest_rule="None.",
)
DETAILS = SessionDetails(
    title="Blackcurrant cordial, less sugar",
    samples=(Sample(letter="A", batch="BC-0811"), Sample(letter="B", allergens="sulphites")),
    held_on="2026-09-14",
    leader="Änne",
)
OTHER_VALUE = {str: "something else", float: 0.123, int: 67, bool: True, dict: {"grades": "a; b"}}
SOUR = DefinedAttribute(attribute="sour", definition="as citric acid in water")
LATER = {
    "vocabulary": Vocabulary(product="cordial", since="2026-05-04", attributes=(SOUR,)),
    "training": Training(product="cordial"),
}


def test_sentences_of_the_findings():
    # those of the design notes of this project, section 3: no outside check
    assert {finding.name: finding.sentence for finding in Finding} == {
        "DIFFERENT": "A difference is perceptible; whether it is within the agreed limit is open.",
        "SIMILAR": "Any difference is below the agreed limit.",
        "DIFFERENT_WITHIN_LIMIT": "A difference is perceptible, and it is below the agreed limit.",
        "BEYOND_LIMIT": "The difference is larger than the agreed limit.",
        "UNDECIDED": "Inconclusive: this session cannot tell.",
    }


def test_a_named_attribute_stands_in_every_sentence_about_a_difference():
    about = {finding.name: finding.says("sweetness") for finding in Finding}
    assert about.pop("UNDECIDED") == Finding.UNDECIDED.sentence
    assert all("difference in sweetness" in words for words in about.values())
    assert Finding.DIFFERENT.says(limit=False) == "A difference is perceptible."


def test_findings_of_claims_in_arrays():
    found = findings_of([0, 0, 1, 1, 1, 1], [0, 1, 0, 1, 0, 1], [0, 0, 0, 0, 1, 1])
    assert [finding.name for finding in found] == [
        *("UNDECIDED", "SIMILAR", "DIFFERENT", "DIFFERENT_WITHIN_LIMIT", "BEYOND_LIMIT"),
        "DIFFERENT",  # both sides of the limit at once: neither counts
    ]
    assert set(WORST_FIRST) == set(Finding)


def test_findings_are_plain_text_of_their_name():
    assert [str(finding) for finding in Finding] == [finding.name for finding in Finding]
    assert json.dumps(Finding.SIMILAR) == '"SIMILAR"'
    assert Finding.DIFFERENT_WITHIN_LIMIT.heading == "Different within limit"
    assert Finding.UNDECIDED.heading == "Undecided"


@pytest.mark.parametrize(
    ("different", "similar", "name"),
    [
        (False, False, "UNDECIDED"),
        (False, True, "SIMILAR"),
        (True, False, "DIFFERENT"),
        (True, True, "DIFFERENT_WITHIN_LIMIT"),
    ],
)
def test_finding_from_the_two_tests(different, similar, name):
    assert FINDINGS[2 * different + similar].name == name


def test_cautions():
    assert [caution.key for caution in CAUTIONS] == [
        "cleared",
        "allergens",
        "consent",
        "swallowing",
        "amounts",
    ]
    assert all(caution.asks.endswith("?") and caution.advice for caution in CAUTIONS)


def test_digest_is_the_sha256_of_sorted_json():
    spelled = '{"a":[1,2],"b":"Änne"}'
    assert digest_of({"b": "Änne", "a": [1, 2]}) == hashlib.sha256(spelled.encode()).hexdigest()


def test_digest_of_a_question_does_not_move_between_versions():
    plain = json.dumps(QUESTION.to_dict(), sort_keys=True, separators=(",", ":"))
    assert QUESTION.digest == hashlib.sha256(plain.encode()).hexdigest()
    assert (
        Question(pd_limit=0.30).digest
        == "16180b8ffdadb422a308c51e95f3cc8282fae5a3e2e222fe3f053210fb693b1a"
    )


def test_digest_is_the_same_for_equal_questions():
    assert dataclasses.replace(QUESTION).digest == QUESTION.digest
    assert Question.from_dict(json.loads(json.dumps(QUESTION.to_dict()))).digest == QUESTION.digest


@pytest.mark.parametrize("name", [entry.name for entry in dataclasses.fields(Question)])
def test_digest_changes_with_each_field(name):
    old = getattr(QUESTION, name)
    new = LATER.get(name) or OTHER_VALUE[type(old)]
    assert new != old
    assert dataclasses.replace(QUESTION, **{name: new}).digest != QUESTION.digest


@pytest.mark.parametrize("record", [QUESTION, Sample(letter="B", name="new recipe"), DETAILS])
def test_round_trip_through_json(record):
    plain = json.loads(json.dumps(record.to_dict()))
    assert type(record).from_dict(plain) == record


def test_samples_come_back_as_samples():
    back = SessionDetails.from_dict(json.loads(json.dumps(DETAILS.to_dict())))
    assert back.samples == DETAILS.samples
    assert all(isinstance(sample, Sample) for sample in back.samples)


def test_no_samples_stay_no_samples():
    details = SessionDetails(samples=())
    assert SessionDetails.from_dict(details.to_dict()).samples == ()


def test_samples_left_unsaid_are_the_usual_two():
    assert [sample.letter for sample in SessionDetails.from_dict({}).samples] == ["A", "B"]


@pytest.mark.parametrize(
    ("kind", "plain"),
    [
        (Question, {"pdlimit": 0.3, "alpha": 0.05}),
        (Sample, {"letter": "A", "colour": "red"}),
        (SessionDetails, {"titel": "cordial"}),
        (SessionDetails, {"samples": [{"letter": "A", "colour": "red"}]}),
    ],
)
def test_unknown_fields_are_refused(kind, plain):
    with pytest.raises(RecordError, match=r"has no field (pdlimit|colour|titel); its fields are "):
        kind.from_dict(plain)


@pytest.mark.parametrize("record", [QUESTION, DETAILS, Sample(letter="A")])
def test_records_are_frozen(record):
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(record, dataclasses.fields(record)[0].name, "x")


def test_stages_of_a_session():
    session = StoredSession(
        id="s", created_at=utc_now(), details=DETAILS, question=QUESTION, cautions={}
    )
    agreed = dataclasses.replace(session, agreed_at=utc_now())
    closed = dataclasses.replace(agreed, closed_at=utc_now())
    assert [each.stage for each in (session, agreed, closed)] == [
        "question not agreed",
        "ballots open",
        "finding shown",
    ]
    assert [each.agreed for each in (session, agreed, closed)] == [False, True, True]
    assert [each.closed for each in (session, agreed, closed)] == [False, False, True]


def test_time_is_utc_to_the_millisecond():
    now = datetime.fromisoformat(utc_now())
    assert now.utcoffset() == timedelta(0)
    assert now.microsecond % 1000 == 0

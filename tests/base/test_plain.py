"""Nouns as plain data and back: what release 0.1.0 wrote stays as it was, letter by letter."""

from __future__ import annotations

import gzip
import json
import math
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensory.base.errors import RecordError
from sensory.base.plain import LEFT_OUT_EMPTY, Plain
from sensory.catalogue.question import Question
from sensory.release.batch_records import BatchRecord
from sensory.release.rule import ReleaseRule
from sensory.sessions.serving import Serving
from sensory.sessions.session import SessionDetails
from sensory.store.nouns import KINDS

KEPT = Path(__file__).parents[1] / "store" / "release_0_1_0.record.gz"

# Kinds that 0.1.0 did not know.
LATER = {
    *("plant", "assessor", "sitting", "file shape", "screening series", "screening rules"),
    *("study", "vocabulary", "training", "training rule"),
}


class Colour(StrEnum):
    RED = "RED"
    PALE = "PALE"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sip(Plain):
    cup: str
    amount: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tray(Plain):
    name: str
    sips: tuple[Sip, ...] = ()
    colour: Colour | None = None
    places: int = 0
    warm: bool = False
    spans: dict[str, tuple[float, float]] = field(default_factory=dict)
    extra: dict[str, str] = field(default_factory=dict, metadata=LEFT_OUT_EMPTY)


numbers = st.integers(-(2**60), 2**60) | st.floats(allow_nan=False, allow_infinity=True)
sips = st.builds(Sip, cup=st.text(), amount=numbers)
trays = st.builds(
    Tray,
    name=st.text(),
    sips=st.lists(sips, max_size=3).map(tuple),
    colour=st.none() | st.sampled_from(Colour),
    places=st.integers(),
    warm=st.booleans(),
    spans=st.dictionaries(st.text(), st.tuples(numbers, numbers), max_size=3),
    extra=st.dictionaries(st.text(), st.text(), max_size=2),
)


@given(trays)
def test_any_record_comes_back_from_json_with_its_numbers_exact(tray):
    again = Tray.from_dict(json.loads(json.dumps(tray.to_dict())))
    assert again == tray
    assert [type(sip.amount) for sip in again.sips] == [type(sip.amount) for sip in tray.sips]
    assert json.dumps(again.to_dict()) == json.dumps(tray.to_dict())


def test_what_is_no_finite_number_is_written_as_text():
    plain = Tray(name="a", spans={"b": (float("-inf"), float("nan"))}).to_dict()
    assert plain["spans"] == {"b": ["-inf", "nan"]}
    low, high = Tray.from_dict(plain).spans["b"]
    assert low == float("-inf")
    assert math.isnan(high)


def test_a_field_that_is_left_out_when_empty():
    assert "extra" not in Tray(name="a").to_dict()
    assert Tray(name="a", extra={"b": "c"}).to_dict()["extra"] == {"b": "c"}


@pytest.mark.parametrize(
    ("plain", "says"),
    [
        ({"name": 3}, "name of Tray must be a text; got 3."),
        ({"name": "a", "places": 2.0}, "places of Tray must be a whole number; got 2.0."),
        ({"name": "a", "places": True}, "places of Tray must be a whole number; got True."),
        ({"name": "a", "warm": 1}, "warm of Tray must be true or false; got 1."),
        ({"name": "a", "colour": "BLUE"}, "colour of Tray must be one of RED, PALE; got 'BLUE'."),
        ({"name": "a", "sips": "ab"}, "sips of Tray must be a list; got 'ab'."),
        ({"name": "a", "sips": ["b"]}, "Sip needs a mapping of its fields; got 'b'."),
        ({"name": "a", "sips": [{}]}, "Sip needs cup."),
        ({"name": "a", "sips": [{"cup": "b", "amount": "1"}]}, "amount of Sip must be a number"),
        ({"name": "a", "sips": [{"cup": "b", "lid": 1}]}, "Sip has no field lid; its fields are"),
        ({"name": "a", "spans": [1]}, r"spans of Tray must be a mapping; got \[1\]."),
        ({"name": "a", "spans": {"b": [1]}}, r"spans of Tray must be a list of 2; got \[1\]."),
        ([], r"Tray needs a mapping of its fields; got \[\]."),
    ],
)
def test_what_is_refused(plain, says):
    with pytest.raises(RecordError, match=f"^{says}"):
        Tray.from_dict(plain)


# What release 0.1.0 wrote.


@pytest.fixture(scope="module")
def kept(tmp_path_factory) -> Iterator[sqlite3.Connection]:
    file = tmp_path_factory.mktemp("kept") / "panel.sqlite3"
    file.write_bytes(gzip.decompress(KEPT.read_bytes()))
    with closing(sqlite3.connect(file)) as connection:
        yield connection


def texts(connection: sqlite3.Connection, query: str) -> list[str]:
    return [text for (text,) in connection.execute(query)]


def test_details_and_questions_of_0_1_0_are_written_as_they_were(kept):
    for column, kind in (("details", SessionDetails), ("question", Question)):
        written = texts(kept, f"SELECT {column} FROM sessions")
        assert len(written) == 34
        assert [
            json.dumps(kind.from_dict(json.loads(text)).to_dict()) for text in written
        ] == written


def test_agreed_questions_of_0_1_0_keep_their_digest(kept):
    agreed = kept.execute("SELECT question, digest FROM sessions WHERE digest IS NOT NULL")
    pairs = [(Question.from_dict(json.loads(text)).digest, digest) for text, digest in agreed]
    assert len(pairs) > 20
    assert all(again == before for again, before in pairs)


def test_servings_of_0_1_0_are_written_as_they_were(kept):
    written = texts(kept, "SELECT serving FROM sessions WHERE serving IS NOT NULL")
    servings = [json.loads(text) for text in written if text != "null"]
    assert len(servings) > 5
    for plain in servings:
        serving = Serving.from_dict(plain)
        assert serving.to_dict() == plain
        assert json.dumps(serving.plan.to_dict()) == json.dumps(plain["plan"])
        assert serving.design == serving.plan.design
        assert serving.seats == serving.plan.assessors
        cups = tuple(cup for seat in serving.seats for cup in serving.cups(seat))
        assert cups == serving.plan.rows


def test_products_references_and_batches_of_0_1_0_are_written_as_they_were(kept):
    written = kept.execute("SELECT kind, content FROM register").fetchall()
    assert {kind for kind, _ in written} == set(KINDS) - LATER
    for kind, text in written:
        noun = KINDS[kind].from_dict(json.loads(text))
        assert json.dumps(noun.to_dict()) == text
        rule = noun.rule if isinstance(noun, BatchRecord) else None
        if rule:
            again = ReleaseRule.from_dict(rule).to_dict()
            assert again["dispositions"].pop("BEYOND_LIMIT") == rule["dispositions"]["DIFFERENT"]
            assert json.dumps(again) == json.dumps(rule)  # of what there was then

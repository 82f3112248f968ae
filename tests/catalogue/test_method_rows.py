"""Ballots that are no forced choice: every bad cell is named, nothing is dropped in silence."""

from __future__ import annotations

import pytest

from sensory.base.errors import ArgumentError, BallotError, BallotWarning
from sensory.catalogue.checking import check_lines
from sensory.catalogue.graded import SURENESS
from sensory.catalogue.question import Question
from sensory.catalogue.ranked import RANKING
from sensory.catalogue.rated import PROFILE
from sensory.catalogue.tests import TESTS, find_kind
from sensory.catalogue.yes_no import A_NOT_A, SAME_DIFFERENT
from sensory.sessions.file_kinds import kind_of_file, settings_of_file
from sensory.sessions.lines import cells_of_file
from sensory.sessions.reading import read_answers
from sensory.sessions.template import template_csv, template_xlsx

METHODS = [kind for kind in TESTS.values() if not kind.protocol]
A_CELLS = {
    2: {"assessor": "P01", "sample": "A", "code": "412", "answer": "A"},
    3: {"assessor": "P01", "sample": "B", "code": "837", "answer": "not A"},
    4: {"assessor": "P02", "sample": "A", "code": "265", "answer": "not A"},
}


def checked(cells, method=A_NOT_A, **settings):
    return check_lines(
        cells, method, Question(pd_limit=0.30, protocol=method.key, settings=settings)
    )


def test_answers_come_back_as_they_were_given():
    found = checked(A_CELLS)
    assert found.faults == ()
    assert found.ready == 3
    assert [(row["assessor"], row["sample"], row["answer"]) for row in found.rows] == [
        ("P01", "A", "A"),
        ("P01", "B", "not A"),
        ("P02", "A", "not A"),
    ]
    assert {row["replicate"] for row in found.rows} == {1}


@pytest.mark.parametrize(
    ("said", "stored"),
    [("a", "A"), ("Yes", "A"), ("NOT a", "not A"), ("no", "not A"), ("ｎｏ", "not A")],
)
def test_other_spellings_of_an_answer(said, stored):
    cells = {2: {**A_CELLS[2], "answer": said}}
    assert checked(cells).rows[0]["answer"] == stored


@pytest.mark.parametrize(
    ("change", "rule", "column"),
    [
        ({"answer": "maybe"}, "unknown answer", "answer"),
        ({"answer": "=A1"}, "unknown answer", "answer"),
        ({"sample": "C"}, "unknown sample", "sample"),
        ({"sample": ""}, "empty", "sample"),
        ({"assessor": " "}, "empty", "assessor"),
        ({"replicate": "0"}, "bad replicate", "replicate"),
        ({"replicate": "one"}, "bad replicate", "replicate"),
        ({"replicate": "1"}, "answer twice", "assessor"),
    ],
)
def test_bad_cell_is_named_by_row_and_column(change, rule, column):
    line = {"assessor": "p01 ", "sample": "A", "code": "999", "answer": "A", **change}
    found = checked({**A_CELLS, 9: line})
    (fault,) = found.blocking
    assert (fault.row, fault.column, fault.rule) == (9, column, rule)
    assert found.ready >= 2


def test_missing_answer_is_left_out_and_reported():
    found = checked({**A_CELLS, 5: {**A_CELLS[2], "assessor": "P03", "answer": ""}})
    assert not found.blocking
    assert (len(found.rows), found.ready, found.missing) == (3, 4, 1)
    assert [fault.rule for fault in found.remarks] == ["no answer", "missing answers"]
    assert "never counted as wrong" in found.remarks[1].problem


def test_missing_column_is_one_fault():
    found = checked({2: {"assessor": "P01", "answer": "A"}})
    (fault,) = found.faults
    assert fault.problem == "The column sample is missing."
    assert found.ready == 0


def test_one_person_and_one_product_in_two_spellings_are_one():
    cells = {
        2: {"assessor": "Anna Berg", "sample": "Filtered", "answer": "surely A"},
        3: {"assessor": "anna  berg", "sample": "filtered", "answer": "4", "replicate": "2"},
    }
    found = checked(cells, SURENESS)
    assert {(row["assessor"], row["sample"]) for row in found.rows} == {("Anna Berg", "Filtered")}
    assert [row["answer"] for row in found.rows] == [1, 4]


def test_pairs():
    cells = {
        2: {"assessor": "P01", "pair": "ab", "answer": "Different"},
        3: {"assessor": "P02", "pair": "AC", "answer": "same"},
    }
    found = checked(cells, SAME_DIFFERENT)
    assert found.rows[0]["pair"] == "AB"
    assert found.blocking[0].problem == "'AC' is none of AA, AB, BA, BB."


@pytest.mark.parametrize("method", METHODS, ids=lambda one: one.key)
def test_template_is_recognised_as_its_method(method):
    headings = find_kind(method.key).ballot
    columns = template_csv(method).decode("utf-8-sig").strip().split(",")
    assert [headings.known(name) for name in columns] == columns
    example = {rule.name: rule.example for rule in headings.columns}
    if method is PROFILE:
        columns, example = [*columns, "sweet"], {**example, "sweet": "4"}
    text = "\n".join([",".join(columns), ",".join(f'"{example[name]}"' for name in columns)])
    assert kind_of_file(text.encode()) == method.key
    cells, remarks = cells_of_file(text.encode(), headings)
    assert not remarks
    assert not checked(cells, method).blocking
    assert template_xlsx(method).startswith(b"PK")


def test_forced_choice_file_is_still_one():
    text = b"assessor,order,code_1,code_2,code_3,answer\nP01,ABB,1,2,3,1"
    assert kind_of_file(text) == "TRIANGLE"
    assert find_kind("TRIANGLE").ballot.known("order") == "order"
    assert Question(pd_limit=0.30).protocol == "TRIANGLE"


PROFILE_CELLS = {
    2: {"assessor": "P01", "sample": "reference", "sweet": "5,5", "sour": "3", "replicate": "1"},
    3: {"assessor": "P01", "sample": "batch", "sweet": "6", "sour": "", "replicate": "1"},
}


def test_wide_profile_becomes_one_row_a_score_and_counts_what_is_missing():
    found = checked(PROFILE_CELLS, PROFILE, attributes="sweet; sour")
    assert not found.blocking
    assert [(row["sample"], row["attribute"], row["score"]) for row in found.rows] == [
        ("reference", "sweet", 5.5),
        ("reference", "sour", 3.0),
        ("batch", "sweet", 6.0),
    ]
    assert found.missing == 1


TWO = {"attributes": "sweet; sour"}


def long(names, scores, **more):
    """A profile with one line an attribute."""
    pairs = zip(names, scores, strict=True)
    return {
        n: {"assessor": "P01", "sample": "batch", "attribute": name, "score": score, **more}
        for n, (name, score) in enumerate(pairs, start=2)
    }


def test_long_profile_is_the_same():
    cells = long(("sweet", "sour"), ("6", "2.5"))
    found = checked(cells, PROFILE, **TWO)
    assert not found.blocking
    read = [(row["attribute"], row["score"]) for row in found.rows]
    assert read == [("sweet", 6.0), ("sour", 2.5)]
    twice = checked({**cells, 9: cells[2]}, PROFILE, **TWO)
    assert [fault.rule for fault in twice.blocking] == ["answer twice"]


GRADE = {"assessor": "P01", "sample": "A"}
PLANNED = TWO | {"samples": "reference; batch"}


@pytest.mark.parametrize(
    ("kind", "line", "change", "settings", "rule"),
    [
        (PROFILE, PROFILE_CELLS[2], {"sweet": "11"}, PLANNED, "off the scale"),
        (PROFILE, PROFILE_CELLS[2], {"sweet": "-0.1"}, PLANNED, "off the scale"),
        (PROFILE, PROFILE_CELLS[2], {"sweet": "lots"}, PLANNED, "no number"),
        (PROFILE, PROFILE_CELLS[2], {"sweet": "1e2"}, PLANNED, "no number"),
        (PROFILE, PROFILE_CELLS[2], {"sample": "batch 9"}, PLANNED, "not in the plan"),
        (PROFILE, PROFILE_CELLS[2], {"sweet": "55"}, TWO | {"scale_high": 100.0}, None),
        *((RANKING, GRADE, {"rank": rank}, {}, "no rank") for rank in ("0", "first", "1.3", "-1")),
        *((SURENESS, GRADE, {"answer": grade}, {"grades": "same; unsure; no"}, "unknown grade")
          for grade in ("5", "0", "sure", "1.5")),
    ],
)  # fmt: skip
def test_bad_cells_of_other_kinds_are_named(kind, line, change, settings, rule):
    faults = checked({2: {**line, **change}}, kind, **settings).blocking
    named = [(fault.row, fault.column, fault.rule) for fault in faults]
    assert named == ([(2, next(iter(change)), rule)] if rule else [])
    assert all(settings.get("grades", "") in fault.advice for fault in faults)


@pytest.mark.parametrize(
    ("cells", "rule", "problem"),
    [
        ({2: {**PROFILE_CELLS[2], "colour": "4"}}, "attribute not agreed", "not read: colour"),
        ({n: {"assessor": "P01", "sample": f"s{n}", "sweet": "5", "sour": str(n)}
          for n in (2, 3, 4)}, "constant scorer", "P01 gave sweet the same score, 3 times"),
    ],
)  # fmt: skip
def test_remarks_on_a_profile(cells, rule, problem):
    found = checked(cells, PROFILE, **TWO)
    assert {row["attribute"] for row in found.rows} == {"sweet", "sour"}
    assert rule in [fault.rule for fault in found.remarks]
    assert problem in found.remarks[0].problem


def test_nothing_typed_yet_is_no_fault():
    assert checked({}).faults == ()
    assert checked({2: {"assessor": " "}}).faults == ()


def test_attributes_of_a_file_are_its_settings():
    assert settings_of_file("PROFILE", PROFILE_CELLS) == {"attributes": "sweet; sour"}
    assert settings_of_file("A_NOT_A", A_CELLS) == {}
    assert settings_of_file("TRIANGLE", {}) == {}


@pytest.mark.parametrize(
    ("headings", "method"),
    [
        ("assessor,sample,sweet,sour", "PROFILE"),
        ("Person,Product,Replicate,Attribute,Score", "PROFILE"),
        ("Taster,Drink,Sweet", None),
        ("assessor,sample,session,order,date,sweet", "PROFILE"),
        ("assessor,sample,replicate,rank", "RANKING"),
        ("person,product,round,attribute,score", "PROFILE"),
        ("assessor,sample,score", "DIFFERENCE_FROM_CONTROL"),
        ("assessor,sample,rank", "RANKING"),
    ],
)
def test_kind_of_file_by_its_headings(headings, method):
    words = {"sample": "reference", "product": "reference", "attribute": "sweet"}
    cells = [
        words.get(name, "P01" if name in ("assessor", "person") else "1")
        for name in headings.lower().split(",")
    ]
    text = f"{headings}\n{','.join(cells)}".encode()
    assert kind_of_file(text) == (method or "TRIANGLE")


def test_read_answers_names_the_row_of_the_file():
    text = b"\n".join([b"assessor;sample;sweet", b"P01;reference;5,5", b"", b"P01;batch;12"])
    with pytest.raises(BallotError) as caught:
        read_answers(text, PROFILE)
    (fault,) = caught.value.faults
    assert (fault.row, fault.column, fault.rule) == (4, "sweet", "off the scale")
    frame = read_answers(text, PROFILE, scale_high=20.0)
    assert frame["score"].tolist() == [5.5, 12.0]


def test_read_answers_warns_of_what_is_missing():
    text = b"assessor,sample,rank\nP1,a,1\nP1,b,2.0\nP2,a,1"
    assert read_answers(text, RANKING)["rank"].tolist() == [1.0, 2.0, 1.0]
    with pytest.warns(BallotWarning, match="1 answer missing"):
        read_answers(b"assessor,sample,score\nP1,a,\nP1,b,3", TESTS["DIFFERENCE_FROM_CONTROL"])
    with pytest.raises(ArgumentError, match="ranking has no setting 'scale'"):
        read_answers(text, RANKING, scale=3)


@pytest.mark.parametrize(
    ("text", "attributes"),
    [
        (b"assessor;sample;replicate;round;score\nP1;a;1;4;5\nP1;b;1;6;7", ["round", "score"]),
        (b"assessor;sample;session;order;date;sweet\nP1;a;s1;2;2026-11-03;4", ["sweet"]),
    ],
    ids=["a mouthfeel called round", "circumstances"],
)
def test_what_is_an_attribute_of_a_profile(text, attributes):
    cells, _ = cells_of_file(text, find_kind("PROFILE").ballot)
    assert settings_of_file("PROFILE", cells) == {"attributes": "; ".join(attributes)}
    frame = read_answers(text, PROFILE)
    assert sorted(set(frame["attribute"])) == attributes
    assert set(frame["replicate"]) == {1}


def test_spellings_of_an_attribute_are_one_the_agreed_one():
    cells = long(("sweet", "Sweet", " SWEET"), "444")
    for line, texts in cells.items():
        texts["assessor"] = f"P{line}"
    for settings, attribute in (({"attributes": "Sweet"}, "Sweet"), ({}, "sweet")):
        rows = checked(cells, PROFILE, **settings).rows
        assert {row["attribute"] for row in rows} == {attribute}


def test_ranks_of_one_person_have_to_be_ranks():
    def ranks(*given):
        return {
            n: {"assessor": "P1", "sample": f"s{n}", "rank": rank}
            for n, rank in enumerate(given, start=2)
        }

    for good in (("1", "2", "3"), ("1.5", "1,5", "3"), ("2", "2", "2")):
        assert not checked(ranks(*good), RANKING).blocking
    for bad in (("1", "1", "3"), ("1", "3"), ("2", "3", "4")):
        (fault,) = checked(ranks(*bad), RANKING).blocking
        assert (fault.rule, fault.row) == ("not ranks", len(bad) + 1)
    twice = checked({**ranks("1", "2"), 9: ranks("1")[2]}, RANKING).blocking
    assert "Take one of them out" in next(f.advice for f in twice if f.rule == "answer twice")

"""Whatever comes in: a sound table or one BallotError; however it is spelled: the same table."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from dataclasses import dataclass, replace
from typing import Any

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensory.base.errors import BallotError
from sensory.catalogue.checking import check_rows
from sensory.catalogue.choice_ballot import CHOICE, tally
from sensory.catalogue.question import Question
from sensory.catalogue.tests import find_kind
from sensory.choices.protocols import PROTOCOLS, TRIANGLE, Protocol
from sensory.sessions.files import read_cells
from sensory.sessions.reading import read_ballots

from .shared import COLUMNS

HEADINGS = [text for column in CHOICE.columns for text in (column.name, *column.also)]

fixed = settings(derandomize=True, deadline=None, max_examples=150)
fewer = settings(fixed, max_examples=60)


def right_by_hand(protocol: str, order: str, codes: list[str], answer: list[str], target: str):
    """Whether an answer is right, worked out from the letters alone."""
    coded = order[len(order) - len(codes) :]
    chosen = [letter for letter, code in zip(coded, codes, strict=True) if code in answer]
    if protocol == "PAIRED":
        return chosen == [target]
    if protocol == "DUO_TRIO":
        return chosen == [order[0]]
    if protocol == "TETRAD":
        return chosen in (["A", "A"], ["B", "B"])
    rare = "A" if coded.count("A") < coded.count("B") else "B"
    return chosen == [rare] * coded.count(rare)


def read_quietly(source: bytes, **options: Any) -> pd.DataFrame:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return read_ballots(source, **options)


def assert_refused_or_sound(source: bytes, protocol: Protocol | None = TRIANGLE) -> None:
    faults, frame = (), None
    try:
        frame = read_quietly(source, protocol=protocol)
    except BallotError as error:
        faults = error.faults
    if frame is None:
        assert faults
        assert all(fault.blocking and fault.problem and fault.advice for fault in faults)
        return
    assert frame.columns.tolist() == COLUMNS
    assert len(frame) > 0
    for line in frame.to_dict("records"):
        codes = line["codes"].split()
        if pd.isna(line["answer"]):
            assert pd.isna(line["correct"])
            continue
        answer = line["answer"].split()
        assert line["correct"] == right_by_hand(line["protocol"], line["order"], codes, answer, "B")


SOUND_CSV = (
    b"assessor,order,codes,answer,guess,comment\n"
    b"P01,ABB,412 837 265,412,,sharp\n"
    b"P02,BAB,518 903 276,276,x,\n"
    b'P03,BBA,771 640 139,139,,"less berry, flat"\n'
)


def _sound_workbook() -> bytes:
    book = openpyxl.Workbook()
    for line in csv.reader(io.StringIO(SOUND_CSV.decode())):
        book.worksheets[0].append(line)
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()


SOUND_XLSX = _sound_workbook()


def mutated(content: bytes, edits: list[tuple[float, int, bytes]]) -> bytes:
    """The bytes with slices replaced: (where as a share, how many to cut, what to put there)."""
    for share, cut, new in edits:
        at = int(share * len(content))
        content = content[:at] + new + content[at + cut :]
    return content


def edits(most_cut: int, text: st.SearchStrategy[bytes]) -> st.SearchStrategy[list[Any]]:
    edit = st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, most_cut), text)
    return st.lists(edit, min_size=1, max_size=4)


def test_the_unchanged_examples_are_sound():
    for content in (SOUND_CSV, SOUND_XLSX):
        assert read_quietly(content, protocol=TRIANGLE)["correct"].tolist() == [True, False, True]


@fixed
@given(
    start=st.sampled_from([b"", b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"\xff\xfe", b"\xef\xbb\xbf"]),
    rest=st.binary(max_size=600),
)
def test_arbitrary_bytes(start, rest):
    assert_refused_or_sound(start + rest)
    assert_refused_or_sound(start + rest, protocol=None)


words = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
    st.sampled_from(["ABB", "BAB", "412 837 265", "412", "837", "265", "triangle", "x", "", "1"]),
)


@fixed
@given(
    heading=st.lists(st.one_of(st.sampled_from(HEADINGS), words), max_size=9),
    rows=st.lists(st.lists(words, max_size=9), max_size=8),
    delimiter=st.sampled_from([",", ";", "\t"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le"]),
)
def test_arbitrary_tables_of_text(heading, rows, delimiter, encoding):
    text = "\n".join(delimiter.join(line) for line in [heading, *rows])
    assert_refused_or_sound(text.encode(encoding))
    assert_refused_or_sound(text.encode(encoding), protocol=None)


@fixed
@given(rows=st.lists(st.tuples(words, words, words, words, words), max_size=8))
def test_arbitrary_cells_under_a_sound_heading(rows):
    text = io.StringIO()
    csv.writer(text).writerows([["assessor", "order", "codes", "answer", "guess"], *rows])
    assert_refused_or_sound(text.getvalue().encode())


@settings(fixed, max_examples=400)
@given(changes=edits(20, st.one_of(st.binary(max_size=4), st.sampled_from([b'"', b",", b"\n"]))))
def test_mutated_csv(changes):
    assert_refused_or_sound(mutated(SOUND_CSV, changes))


@fixed
@given(changes=edits(200, st.binary(max_size=20)))
def test_mutated_workbook(changes):
    assert_refused_or_sound(mutated(SOUND_XLSX, changes))


@fixed
@given(
    changes=edits(60, st.one_of(st.binary(max_size=6), st.sampled_from([b"<", b">", b'"', b"9"]))),
    part=st.sampled_from(zipfile.ZipFile(io.BytesIO(SOUND_XLSX)).namelist()),
)
def test_workbook_with_a_mutated_part(changes, part):
    packed = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(SOUND_XLSX)) as old,
        zipfile.ZipFile(packed, "w") as new,
    ):
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, mutated(content, changes) if name == part else content)
    assert_refused_or_sound(packed.getvalue())


# Sound tables: what was meant, and a way of writing it down.


@dataclass(frozen=True)
class Meant:
    """A ballot as it was meant."""

    assessor: str
    order: str
    codes: tuple[str, ...]
    answer: tuple[str, ...]
    guess: bool
    comment: str


letters = st.text("abcxyz ÄÖäöüßéñ,;'\"\n", max_size=12)


@st.composite
def sessions(draw: Any) -> tuple[Protocol, list[Meant]]:
    """A protocol and the ballots of a session."""
    protocol = draw(st.sampled_from(list(PROTOCOLS.values())))
    sets = protocol.order_sets[:1] if protocol.asks_attribute else protocol.order_sets
    orders = draw(st.sampled_from(sets))
    coded, picks = protocol.coded, protocol.picks
    numbers = st.lists(st.integers(100, 999), min_size=coded, max_size=coded, unique=True)
    places = st.sets(st.integers(0, coded - 1), min_size=picks, max_size=picks)
    kept = []
    for number in range(draw(st.integers(1, 10))):
        codes = tuple(str(code) for code in draw(numbers))
        chosen = draw(places)
        answered = draw(st.integers(0, 9)) > 0
        kept.append(
            Meant(
                assessor=f"Änne {number:02d}",
                order=draw(st.sampled_from(orders)),
                codes=codes,
                answer=tuple(codes[place] for place in sorted(chosen)) if answered else (),
                guess=draw(st.booleans()),
                comment=draw(letters).strip(),
            )
        )
    return protocol, kept


SPELLED_CODES = ["{}", "0{}", "{}.0", "{},0", " {} ", "'{}"]
SPELLED_HEADINGS = {
    "assessor": ["assessor", "Person", "ASSESSOR_NAME"],
    "order": ["order", "Serving order", "sequence"],
    "codes": ["codes", "Blinding codes"],
    "answer": ["answer", "Response", "chosen"],
    "guess": ["guess", "Guessed"],
    "comment": ["comment", "Remarks"],
}


@st.composite
def spellings(draw: Any) -> dict[str, Any]:
    """One of many ways to write a table down."""
    return {
        "workbook": draw(st.booleans()),
        "delimiter": draw(st.sampled_from([",", ";", "\t"])),
        "encoding": draw(
            st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
        ),
        "terminator": draw(st.sampled_from(["\n", "\r\n"])),
        "code": draw(st.sampled_from(SPELLED_CODES)),
        "between": draw(st.sampled_from([" ", " / ", "; ", " , "])),
        "apart": draw(st.booleans()),
        "columns": draw(st.permutations(list(SPELLED_HEADINGS))),
        "headings": {name: draw(st.sampled_from(also)) for name, also in SPELLED_HEADINGS.items()},
        "guess": draw(st.sampled_from(["x", "yes", "1", "TRUE"])),
        "lower": draw(st.booleans()),
        "preamble": draw(st.integers(0, 3)),
    }


def written(ballots: list[Meant], way: dict[str, Any]) -> bytes:
    """The ballots in that spelling, as the bytes of a file."""
    lines = [["Elderflower cordial"]] * way["preamble"] + [_heading(ballots, way)]
    lines += [_line(ballot, way) for ballot in ballots]
    if way["workbook"]:
        book = openpyxl.Workbook()
        for line in lines:
            book.worksheets[0].append(line)
        packed = io.BytesIO()
        book.save(packed)
        return packed.getvalue()
    text = io.StringIO()
    csv.writer(text, delimiter=way["delimiter"], lineterminator=way["terminator"]).writerows(lines)
    return text.getvalue().encode(way["encoding"])


def _heading(ballots: list[Meant], way: dict[str, Any]) -> list[str]:
    heading = []
    for name in way["columns"]:
        apart = name == "codes" and way["apart"]
        numbered = [f"Code {place + 1}" for place in range(len(ballots[0].codes))]
        heading += numbered if apart else [way["headings"][name]]
    return heading


def _line(ballot: Meant, way: dict[str, Any]) -> list[str]:
    codes = [way["code"].format(code) for code in ballot.codes]
    answer = [way["code"].format(code) for code in ballot.answer]
    cells = {
        "assessor": ballot.assessor,
        "order": ballot.order.lower() if way["lower"] else ballot.order,
        "codes": way["between"].join(codes),
        "answer": way["between"].join(answer),
        "guess": way["guess"] if ballot.guess else "",
        "comment": ballot.comment,
    }
    line = []
    for name in way["columns"]:
        line += codes if name == "codes" and way["apart"] else [cells[name]]
    return line


def expected_rows(protocol: Protocol, ballots: list[Meant], target: str) -> list[list[Any]]:
    rows = []
    for ballot in ballots:
        codes, answer = list(ballot.codes), list(ballot.answer)
        right = right_by_hand(protocol.key, ballot.order, codes, answer, target)
        given = [" ".join(answer) or None, right if answer else None, ballot.guess, ballot.comment]
        served = [protocol.key, ballot.order, " ".join(codes)]
        rows.append(["", ballot.assessor, 1, *served, *given])
    return rows


@settings(fixed, max_examples=250)
@given(session=sessions(), way=spellings(), target=st.sampled_from(["A", "B"]))
def test_sound_table_in_any_spelling_is_read_as_it_was_meant(session, way, target):
    target = target if session[0].reversible else "B"
    protocol, ballots = session
    frame = read_quietly(written(ballots, way), protocol=protocol, target=target)
    frame["comment"] = frame["comment"].str.replace("\r\n", "\n")
    read = frame.astype(object).where(frame.notna(), None).to_numpy().tolist()
    assert read == expected_rows(protocol, ballots, target)


@fewer
@given(session=sessions(), way=spellings(), order=st.randoms(use_true_random=False))
def test_order_of_the_rows_does_not_change_the_counts(session, way, order):
    protocol, ballots = session
    shuffled = list(ballots)
    order.shuffle(shuffled)
    counts = []
    for each in (ballots, shuffled):
        checked = check_rows(
            read_cells(written(each, way)).rows, find_kind(protocol), Question(pd_limit=0.30)
        )
        assert not checked.blocking
        counted = tally(checked.rows)
        counts.append(replace(counted, by_assessor=tuple(sorted(counted.by_assessor))))
    assert counts[0] == counts[1]
    assert counts[0].trials == sum(bool(ballot.answer) for ballot in ballots)


@pytest.mark.parametrize("protocol", PROTOCOLS.values(), ids=repr)
def test_share_of_right_answers_over_all_possible_ones_is_the_guess_probability(protocol):
    """The recomputation by hand, held against the exact chance of a guess."""
    places = range(protocol.coded)
    pairs = [{i, j} for i in places for j in places if i < j]
    codes = [str(100 + place) for place in places]
    for order in protocol.orders:
        possible = [{i} for i in places] if protocol.picks == 1 else pairs
        right = sum(
            right_by_hand(protocol.key, order, codes, [codes[i] for i in chosen], "B")
            for chosen in possible
        )
        assert right * protocol.guess.denominator == len(possible) * protocol.guess.numerator

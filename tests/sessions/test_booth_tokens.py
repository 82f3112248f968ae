"""Links of the booths: each opens its own ballots, and whatever is no link opens nothing."""

from __future__ import annotations

import random
import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sensory.base.errors import RecordError
from sensory.sessions import booth_plans, booths, workflow
from sensory.store.repository import open_store

from .shared import BY, answered, at_booths, finish, lines_of, waiting

PEOPLE = ("Anna", "Bo", "Cleo", "Dan")
SECRET = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_"


def served(store, seed):
    """A session at booths: its id, its plan, its links."""
    return at_booths(store, "PROFILE", PEOPLE, seed=2**128 + seed)


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    opened = open_store(f"sqlite:///{tmp_path_factory.mktemp('tokens') / 'r.sqlite3'}")
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def sessions(store):
    """Two sessions at the same time, with the same people."""
    return served(store, 1), served(store, 2)


def writes(store, token):
    """Whatever a booth can write by its link."""
    return (
        lambda: booths.consent(store, token),
        lambda: booths.keep(store, token, 1, {1: {"sweet": "5.00"}}),
        lambda: booths.send(store, token, 1, shown={}),
    )


def shut(store, token):
    """Nothing opens, nothing is told beyond 'not valid', nothing is written."""
    before = len(store.entries(""))
    assert booths.visit(store, token) is None
    assert not booths.late(store, token)
    for act in writes(store, token):
        with pytest.raises(RecordError, match=r"^This link is not valid, or no longer\.$"):
            act()
    assert len(store.entries("")) == before


def test_a_link_opens_the_ballots_of_its_own_assessor_and_no_others(store):
    session_id, plan, tokens = served(store, 3)
    opened = {name: [] for name in tokens}
    cells = store.cells(session_id)
    for name, token in tokens.items():
        booths.consent(store, token)
        assert booths.visit(store, token).assessor == name
        while (ballot := waiting(store, token)) is not None:
            assert {cells[asked.line]["assessor"] for asked in ballot.asked} == {name}
            opened[name] += answered(store, token)
    expected = {name: [row.code for row in plan.rows if row.assessor == name] for name in PEOPLE}
    assert opened == expected


def test_the_lines_of_another_booth_and_of_another_session_stay_shut(store):
    (session_id, _, mine), (other_id, _, others) = served(store, 4), served(store, 5)
    booths.consent(store, mine["Anna"])
    booths.consent(store, others["Anna"])
    own = waiting(store, mine["Anna"]).line
    before = store.cells(session_id), store.cells(other_id)
    foreign = min(lines_of(store, session_id))
    for line, changed in ((foreign, foreign), (own, foreign), (own, 10**9), (-1, -1)):
        with pytest.raises(RecordError):
            booths.keep(store, mine["Anna"], line, {changed: {"sweet": "5.00"}})
    for line in (foreign, 10**9, -1, own):
        with pytest.raises(RecordError):
            booths.send(store, mine["Anna"], line, shown={})
    assert (store.cells(session_id), store.cells(other_id)) == before


def test_a_secret_is_good_for_the_session_that_gave_it(store, sessions):
    (session_id, _, mine), (other_id, _, _) = sessions
    shut(store, f"{other_id}.{mine['Anna'].split('.')[1]}")
    shut(store, f"{'0' * 32}.{mine['Anna'].split('.')[1]}")  # a session nobody knows
    assert booths.visit(store, mine["Anna"]).assessor == "Anna"
    assert mine["Anna"].startswith(session_id)


def test_every_letter_of_a_link_counts(store, sessions):
    token = sessions[0][2]["Anna"]
    rng = random.Random(20)
    places = [at for at in range(len(token)) if token[at] != "."]
    for at in rng.sample(places, 20):
        letters = "0123456789abcdef" if at < token.index(".") else SECRET
        other = rng.choice(letters.replace(token[at], ""))
        shut(store, token[:at] + other + token[at + 1 :])
    for wrong in (token[:-1], token + "A", token.upper(), token + "\n", " " + token, token * 2):
        shut(store, wrong)


def test_replaced_links_are_shut_and_what_was_kept_by_them_stays(store):
    session_id, _, old = served(store, 6)
    booths.consent(store, old["Anna"])
    ballot = waiting(store, old["Anna"])
    booths.keep(store, old["Anna"], ballot.line, {ballot.asked[0].line: {"sweet": "3.00"}})
    new = booth_plans.open_booths(store, session_id, who=BY)
    for token in old.values():
        shut(store, token)
    again = booths.visit(store, new["Anna"])
    assert (again.assessor, again.consented) == ("Anna", True)
    assert {asked.name: asked.given for asked in again.ballot.asked}["sweet"] == "3.00"


def test_a_link_of_a_closed_session_writes_nothing(store):
    session_id, _, tokens = served(store, 7)
    for name in PEOPLE[:3]:
        finish(store, tokens[name])
    workflow.close(store, session_id, who=BY)
    before, entries = store.cells(session_id), len(store.entries(session_id))
    for token in tokens.values():
        assert booths.visit(store, token).closed
        for act in writes(store, token):
            with pytest.raises(RecordError, match="This session is closed"):
                act()
    assert store.cells(session_id) == before
    assert len(store.entries(session_id)) == entries


SHAPED = st.from_regex(re.compile(r"[0-9a-f]{30,34}[.:/][A-Za-z0-9_\-]{30,34}", re.ASCII))
ANY = st.one_of(
    st.text(max_size=80),
    st.text(st.characters(min_codepoint=0xD800, max_codepoint=0xDFFF), max_size=4),
    st.binary(max_size=80).map(lambda raw: raw.decode("latin-1")),
    SHAPED,
)


@given(ANY)
@example("")
@example("x")
@example("0" * 32)
@example(f"{'0' * 32}.{'a' * 32}")
@example("a.b.c")
@example("../../../../etc/passwd")
@example("..%2f..%2frecord.sqlite3")
@example("' or '1'='1' --")
@example("\0" * 65)
@example("٣" * 32 + "." + "a" * 32)
@example("a" * 1_000_000)
@example(f"{'a' * 32}." + "b" * 1_000_000)
@example("\ud800.\udfff")
def test_what_is_no_link_opens_nothing(store, sessions, token):
    shut(store, token)

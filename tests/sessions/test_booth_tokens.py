"""Links of the booths: each opens its own ballots, and whatever is no link opens nothing."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sensory.base.errors import RecordError
from sensory.catalogue.tests import find_kind
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import booth_plans, booths, exclusions, workflow
from sensory.sessions.allergens import served_samples
from sensory.store.repository import open_store

DEMO = Path(__file__).parents[2] / "demo_data"
PEOPLE = ("Anna", "Bo", "Cleo", "Dan")
SECRET = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_"


def served(store, seed):
    """A session at booths: its id, its plan, its links."""
    prepared = workflow.read_prepared(DEMO, "pressing")
    del prepared["cells"]
    session = workflow.open_session(
        store, workflow.new_session_id(), **prepared, who="test", why="test"
    )
    workflow.agree(store, session.id, who="A. Leader")
    samples = ["reference", "new press", "old press, warm"]
    plan = serving_plan(find_kind("PROFILE"), list(PEOPLE), seed=seed, samples=samples)
    booth_plans.serve(store, session.id, plan, ballot_lines(plan), who="A. Leader")
    declared = dict.fromkeys(served_samples(store.session(session.id)), "sulphites")
    exclusions.declare_allergens(store, session.id, declared, who="A. Leader")
    return session.id, plan, booth_plans.open_booths(store, session.id, who="A. Leader")


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    opened = open_store(f"sqlite:///{tmp_path_factory.mktemp('tokens') / 'r.sqlite3'}")
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def sessions(store):
    """Two sessions at the same time, with the same people."""
    return served(store, 1), served(store, 2)


def shut(store, token):
    """Nothing opens, nothing is said beyond 'not valid', nothing is written."""
    before = len(store.entries(""))
    assert booths.visit(store, token) is None
    assert not booths.late(store, token)
    for act in (
        lambda: booths.consent(store, token),
        lambda: booths.keep(store, token, 1, {1: {"sweet": "5.00"}}),
        lambda: booths.send(store, token, 1),
    ):
        with pytest.raises(RecordError) as caught:
            act()
        assert str(caught.value) == "This link is not valid, or no longer."
    assert len(store.entries("")) == before


def test_a_link_opens_the_ballots_of_its_own_assessor_and_no_others(store):
    session_id, plan, tokens = served(store, 3)
    opened = {}
    for name, token in tokens.items():
        booths.consent(store, token)
        here = booths.visit(store, token)
        assert here.assessor == name
        opened[name] = []
        while here.ballot is not None:
            opened[name] += here.ballot.codes
            lines = {one.line for one in here.ballot.asked}
            cells = store.cells(session_id)
            assert {cells[line]["assessor"] for line in lines} == {name}
            given_now = {one.line: {} for one in here.ballot.asked}
            for one in here.ballot.asked:
                given_now[one.line][one.name] = "5.00"
            booths.keep(store, token, here.ballot.line, given_now)
            booths.send(store, token, here.ballot.line)
            here = booths.visit(store, token)
    expected = {name: [row.code for row in plan.rows if row.assessor == name] for name in PEOPLE}
    assert opened == expected


def test_the_lines_of_another_booth_and_of_another_session_stay_shut(store):
    (one, _, mine), (two, _, others) = served(store, 4), served(store, 5)
    booths.consent(store, mine["Anna"])
    booths.consent(store, others["Anna"])
    ballot = booths.visit(store, mine["Anna"]).ballot
    before = store.cells(one), store.cells(two)
    foreign = next(line for line, texts in before[0].items() if texts["assessor"] == "Bo")
    for line, changes in (
        (foreign, {foreign: {"sweet": "5.00"}}),
        (ballot.line, {foreign: {"sweet": "5.00"}}),
        (ballot.line, {10**9: {"sweet": "5.00"}}),
        (-1, {-1: {"sweet": "5.00"}}),
    ):
        with pytest.raises(RecordError):
            booths.keep(store, mine["Anna"], line, changes)
    for line in (foreign, 10**9, -1, ballot.line):
        with pytest.raises(RecordError):
            booths.send(store, mine["Anna"], line)
    assert (store.cells(one), store.cells(two)) == before


def test_a_secret_is_good_for_the_session_that_gave_it(store, sessions):
    (one, _, mine), (two, _, _) = sessions
    shut(store, f"{two}.{mine['Anna'].split('.')[1]}")
    shut(store, f"{'0' * 32}.{mine['Anna'].split('.')[1]}")  # a session nobody knows
    assert booths.visit(store, mine["Anna"]).assessor == "Anna"
    assert mine["Anna"].startswith(one)


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
    ballot = booths.visit(store, old["Anna"]).ballot
    booths.keep(store, old["Anna"], ballot.line, {ballot.asked[0].line: {"sweet": "3.00"}})
    new = booth_plans.open_booths(store, session_id, who="A. Leader")
    for token in old.values():
        shut(store, token)
    again = booths.visit(store, new["Anna"])
    assert again.consented
    assert {one.name: one.given for one in again.ballot.asked}["sweet"] == "3.00"


def test_a_link_of_a_closed_session_writes_nothing(store):
    session_id, _, tokens = served(store, 7)
    for name in PEOPLE[:3]:
        booths.consent(store, tokens[name])
        while (ballot := booths.visit(store, tokens[name]).ballot) is not None:
            changes = {}
            for one in ballot.asked:
                changes.setdefault(one.line, {})[one.name] = f"{len(name)}.00"
            booths.keep(store, tokens[name], ballot.line, changes)
            booths.send(store, tokens[name], ballot.line)
    workflow.close(store, session_id, who="A. Leader")
    before, entries = store.cells(session_id), len(store.entries(session_id))
    for token in tokens.values():
        here = booths.visit(store, token)
        assert here.closed
        for act in (
            lambda token=token: booths.consent(store, token),
            lambda token=token: booths.keep(store, token, 1, {1: {"sweet": "5.00"}}),
            lambda token=token: booths.send(store, token, 1),
        ):
            with pytest.raises(RecordError, match="This session is closed"):
                act()
    assert store.cells(session_id) == before
    assert len(store.entries(session_id)) == entries


def test_neither_the_record_nor_an_error_repeats_a_token(store, sessions):
    secrets = [token.split(".")[1] for _, _, tokens in sessions for token in tokens.values()]
    kept = repr(store.sessions(100)) + repr(store.entries("")) + repr(sessions[0][1])
    assert not [secret for secret in secrets if secret in kept]


SHAPED = st.from_regex(re.compile(r"[0-9a-f]{30,34}[.:/][A-Za-z0-9_\-]{30,34}", re.ASCII))
ANY = st.one_of(
    st.text(max_size=80),
    st.text(st.characters(min_codepoint=0xD800, max_codepoint=0xDFFF), max_size=4),
    st.binary(max_size=80).map(lambda raw: raw.decode("latin-1")),
    SHAPED,
)


@given(ANY)
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

"""A use case killed between any two statements is done or not begun, and can be done again."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa

from sensory.base.errors import RecordError
from sensory.choices.protocols import TRIANGLE
from sensory.release import (
    complaint_desk,
    plant_desk,
    product_desk,
    reference_desk,
    tastings,
)
from sensory.release.batch_records import BatchRecord
from sensory.release.batches import Batch
from sensory.release.references import Bridge, Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.serving.ballot_line import NOT_SERVED
from sensory.serving.lines import ballot_lines
from sensory.serving.planning import serving_plan
from sensory.sessions import allergens, booth_plans, booths, exclusions, served, workflow
from sensory.sessions.session import CAUTIONS
from sensory.store.repository import Repository, open_store

ROOT = Path(__file__).parents[2]
ALL_YES = {caution.key: True for caution in CAUTIONS}
ID, BATCH, WHO = "a" * 32, "SC-1", "Mira Lund"
PLAN = serving_plan("triangle", ["Ada", "Bo", "Cem", "Dana"], seed=2**128 + 3)


class Killed(BaseException):
    """No error that anything may catch."""


def opened(store: Repository) -> None:
    plain = workflow.read_prepared(ROOT / "demo_data", "suspect_batch") | {"cells": {}}
    workflow.open_session(store, ID, **plain, who=WHO, why="planned")
    workflow.agree(store, ID, who=WHO)


def serve(store: Repository) -> None:
    booth_plans.serve(store, ID, PLAN, ballot_lines(PLAN), who=WHO)


def planned(store: Repository) -> None:
    opened(store)
    serve(store)
    exclusions.declare_allergens(store, ID, dict.fromkeys(served_samples(store), "none"), who=WHO)
    with store.action(who=WHO) as act:
        act.write_lines(ID, {1: {"comment": "sweet"}}, why="a ballot was tasted")
    served.confirm_served(store, ID, who=WHO)


def served_samples(store: Repository) -> list[str]:
    return list(allergens.served_samples(store.session(ID)))


def cleared(store: Repository) -> None:
    rule = ReleaseRule(test="TRIANGLE", limit=0.4, assessors=6, decides="release officer")
    product_desk.enter_product(store, "Sloe cordial", who=WHO)
    product_desk.agree_rule(store, "Sloe cordial", rule, who=WHO, why="management")
    batch = Batch(number=BATCH, product="Sloe cordial", made_on="2026-03-04", line="line 1")
    product_desk.enter_batch(store, batch, who=WHO)
    reference = Reference(
        name="S1",
        product="Sloe cordial",
        kind=ReferenceKind.STORED_STABLE,
        made_on="2026-01-02",
        usable_until="2036-12-31",
        storage="4 °C, dark",
    )
    reference_desk.take_over(store, reference, who=WHO, why="approved recipe")
    clear(store)


def clear(store: Repository) -> None:
    product_desk.clear_batch(
        store, BATCH, food_safe=True, allergens=("nuts",), by="Otto", on="2026-03-05", who=WHO
    )


def tasted(store: Repository) -> None:
    """An agreed tasting of the batch with its ballots."""
    cleared(store)
    session = tastings.open_tasting(store, BATCH, who=WHO)
    workflow.describe(store, session.id, cautions=ALL_YES, who=WHO)
    workflow.agree(store, session.id, who=WHO)
    lines = {
        line: {
            "assessor": f"P{line}",
            "order": order,
            "codes": f"{line}01 {line}02 {line}03",
            "answer": f"{line}0{1 + place}",
        }
        for line, (order, place) in enumerate(
            zip(TRIANGLE.orders, (0, 0, 0, 1, 1, 2), strict=True), start=2
        )
    }
    workflow.enter_cells(store, session.id, lines, who=WHO)


def tasting(store: Repository) -> str:
    return store.noun(BatchRecord, BATCH).tastings[-1].session


def close(store: Repository) -> None:
    workflow.close(store, tasting(store), who=WHO)


def noted(store: Repository) -> None:
    tasted(store)
    tastings.close_and_note(store, tasting(store), who=WHO)


def complained(store: Repository) -> None:
    tasted(store)
    complaint_desk.record_complaint(store, BATCH, "stale", received_on="2026-03-06", who=WHO)


def second() -> Reference:
    """S2 takes over, since nothing of S1 is left."""
    decided = {"decided_by": "Nora", "role": "release officer", "reason": "S1 broke"}
    step = Bridge(reference="S2", to="S1", held_on="2026-03-01", **decided)
    return Reference(
        name="S2",
        product="Sloe cordial",
        kind=ReferenceKind.FRESHLY_MADE,
        made_on="2026-02-02",
        usable_until="2036-12-31",
        bridged_to_previous=step,
        bridged_to_first=step,
    )


USE_CASES: dict[str, tuple[Callable[[Repository], None], Callable[[Repository], object]]] = {
    "serve": (opened, serve),
    "add_late": (planned, lambda store: booth_plans.add_late(store, ID, "Eve", who=WHO)),
    "did_not_come": (planned, lambda store: booth_plans.did_not_come(store, ID, "Bo", who=WHO)),
    "exclude": (
        planned,
        lambda store: exclusions.exclude(store, ID, "Bo", served_samples(store)[:1], who=WHO),
    ),
    "open_tasting": (cleared, lambda store: tastings.open_tasting(store, BATCH, who=WHO)),
    "close": (tasted, close),
    "close_and_note": (
        tasted,
        lambda store: tastings.close_and_note(store, tasting(store), who=WHO),
    ),
}
"""What has to be there before, and what is killed."""
OTHERS = {
    "declare_allergens": (
        planned,
        lambda store: exclusions.declare_allergens(
            store, ID, {served_samples(store)[0]: "nuts"}, who=WHO
        ),
    ),
    "not_today": (planned, lambda store: exclusions.not_today(store, ID, "Bo", who=WHO)),
    "open_booths": (planned, lambda store: booth_plans.open_booths(store, ID, who=WHO)),
    "not_served": (
        planned,
        lambda store: served.not_served(
            store, ID, min(store.cells(ID)), "spilled", why="a knock", who=WHO
        ),
    ),
    "reopen_and_note": (
        noted,
        lambda store: tastings.reopen_and_note(
            store, tasting(store), who=WHO, why="ballots were exchanged"
        ),
    ),
    "give_up": (
        tasted,
        lambda store: tastings.give_up(store, BATCH, tasting(store), who=WHO, why="a fire drill"),
    ),
    "record_complaint": (
        tasted,
        lambda store: complaint_desk.record_complaint(
            store, BATCH, "stale", received_on="2026-03-06", who=WHO
        ),
    ),
    "look_into": (
        complained,
        lambda store: complaint_desk.look_into(
            store, BATCH, 1, owner="Karim", cause="line", action="cleaned", who=WHO
        ),
    ),
    "take_over": (
        cleared,
        lambda store: reference_desk.take_over(store, second(), who=WHO, why="S1 broke"),
    ),
    "open_comparison": (
        cleared,
        lambda store: reference_desk.open_comparison(store, "Sloe cordial", "S2", "S1", who=WHO),
    ),
    "agree_causes": (
        cleared,
        lambda store: plant_desk.agree_causes(store, ["line", "water"], who=WHO, why="a well"),
    ),
    "same_material": (
        cleared,
        lambda store: plant_desk.same_material(store, "acid", "E330", by="Karim", who=WHO),
    ),
    "agree": (
        cleared,
        lambda store: product_desk.agree_rule(
            store,
            "Sloe cordial",
            ReleaseRule(test="TRIANGLE", limit=0.3, assessors=6, decides="release officer"),
            who=WHO,
            why="management",
        ),
    ),
}


def contents(store: Repository) -> list[list[tuple[object, ...]]]:
    """All rows of all tables."""
    with store._engine.connect() as connection:
        names = sorted(set(sa.inspect(connection).get_table_names()) - {"alembic_version"})
        rows = {
            name: sorted(map(tuple, connection.execute(sa.text(f"SELECT * FROM {name}"))), key=str)
            for name in names
        }
    return list(rows.values())


@contextmanager
def killing(store: Repository, at: int) -> Iterator[list[str]]:
    """Statements of writing transactions are counted, and the one of this number never runs."""
    done: list[str] = []

    def before(connection, _cursor, statement, *_rest) -> None:
        if connection.get_execution_options().get("write"):
            if len(done) == at:
                raise Killed
            done.append(statement)

    sa.event.listen(store._engine, "before_cursor_execute", before)
    try:
        yield done
    finally:
        sa.event.remove(store._engine, "before_cursor_execute", before)


@pytest.mark.parametrize("name", USE_CASES)
def test_killed_before_any_statement_it_is_not_begun_and_can_be_done(name, any_url):
    prepare, act = USE_CASES[name]
    store = open_store(any_url)
    prepare(store)
    before, number = contents(store), 0
    assert store.verify() == []  # and so it is of the same rows each time below
    while True:
        try:
            with killing(store, number):
                act(store)
        except Killed:
            assert contents(store) == before, f"statement {number} of {name}"
            number += 1
            continue
        break
    assert number > 4
    assert contents(store) != before
    assert store.verify() == []
    assert_gone_on(name, store)
    store.close()


def assert_gone_on(name: str, store: Repository) -> None:
    """What comes after the use case can be done."""
    if name in ("serve", "add_late", "did_not_come", "exclude"):
        if name == "serve":
            samples = served_samples(store)
            exclusions.declare_allergens(store, ID, dict.fromkeys(samples, "none"), who=WHO)
        tokens = booth_plans.open_booths(store, ID, who=WHO)
        there = {"serve": 4, "add_late": 5, "did_not_come": 3, "exclude": 4}[name]
        assert len(tokens) == there
        booths.consent(store, tokens["Ada"])
        assert booths.visit(store, tokens["Ada"]).ballot is not None
    if name == "exclude":
        marks = [texts.get(NOT_SERVED) for texts in store.cells(ID).values()]
        assert any(marks)
    if name == "open_tasting":
        assert store.session(tasting(store)).stage == "question not agreed"
    if name.startswith("close"):
        assert store.session(tasting(store)).closed
        tastings.note(store, [store.session(tasting(store))], who=WHO)
        assert store.noun(BatchRecord, BATCH).tastings[-1].finding is not None


KILLER = """
import os, signal, sys
import sqlalchemy as sa
sys.path.insert(0, sys.argv[1])
import test_whole_actions as cases
from sensory.store.repository import open_store

def run(url, name, number):
    store, done = open_store(url), []
    @sa.event.listens_for(store._engine, "before_cursor_execute")
    def before(connection, *_rest):
        if connection.get_execution_options().get("write"):
            if len(done) == number:
                os.kill(os.getpid(), signal.SIGKILL)
            done.append(1)
    cases.USE_CASES[name][1](store)

for line in sys.stdin:
    url, name, number = line.split()
    child = os.fork()
    if not child:
        run(url, name, int(number))
        os._exit(0)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""
"""Starts once, and for each line of its input a process that is killed before a statement."""


@pytest.fixture(scope="module")
def killer() -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-c", KILLER, str(Path(__file__).parent)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    pipe = subprocess.PIPE
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stdin=pipe, stdout=pipe, text=True
    ) as started:
        yield started


@pytest.mark.parametrize("name", USE_CASES)
def test_process_killed_at_a_statement_leaves_the_action_not_begun(name, sqlite_url, killer):
    prepare, act = USE_CASES[name]
    store = open_store(sqlite_url)
    prepare(store)
    before = contents(store)
    with killing(store, 10**6) as done, pytest.raises(Undone), undone(store):
        act(store)
    for number in (len(done) // 2, len(done) - 1):
        print(sqlite_url, name, number, file=killer.stdin, flush=True)
        assert killer.stdout.readline() == "-9\n"
        assert contents(store) == before
        assert store.verify() == []
    act(store)
    assert_gone_on(name, store)
    assert store.verify() == []
    store.close()


class Undone(Exception):
    """Raised where an action would have been written down."""


@contextmanager
def undone(store: Repository) -> Iterator[None]:
    def refuse(_connection) -> None:
        raise Undone

    sa.event.listen(store._engine, "commit", refuse)
    try:
        yield
    finally:
        sa.event.remove(store._engine, "commit", refuse)


@pytest.mark.parametrize("name", [*USE_CASES, *OTHERS])
def test_a_use_case_is_one_action(name, sqlite_url):
    prepare, act = (USE_CASES | OTHERS)[name]
    store = open_store(sqlite_url)
    prepare(store)
    begun: list[str] = []

    def begin(connection) -> None:
        if connection.get_execution_options().get("write"):
            begun.append("begin")

    sa.event.listen(store._engine, "begin", begin)
    sa.event.listen(store._engine, "commit", lambda _: begun.append("commit"))
    before = contents(store)
    act(store)
    assert begun == ["begin", "commit"]
    assert contents(store) != before
    store.close()


def test_what_was_computed_from_other_ballots_is_not_written(sqlite_url, monkeypatch):
    """Somebody corrects an answer between the reading of the ballots and the closing."""
    store = open_store(sqlite_url)
    tasted(store)
    line = min(store.cells(tasting(store)))
    check = workflow.check_ballots

    def meanwhile(cells, question):
        workflow.enter_cells(store, tasting(store), {line: {"comment": "flat"}}, who="Bo")
        return check(cells, question)

    monkeypatch.setattr(workflow, "check_ballots", meanwhile)
    with pytest.raises(RecordError, match="another window"):
        tastings.close_and_note(store, tasting(store), who=WHO)
    assert not store.session(tasting(store)).closed
    assert store.noun(BatchRecord, BATCH).tastings[-1].finding is None
    assert store.verify() == []
    store.close()


def test_part_of_an_action_is_undone_with_it(sqlite_url):
    store = open_store(sqlite_url)

    def both_or_none() -> None:
        with store.action(who=WHO) as act:
            opened(act)
            assert act.session(ID).agreed
            serve(act)
            serve(act)  # has ballots by now

    with pytest.raises(RecordError, match="has ballots already"):
        both_or_none()
    assert store.sessions() == []
    assert store.verify() == []
    store.close()

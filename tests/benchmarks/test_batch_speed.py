"""CPU times of board, batch page and trend with 10,000 batches and 1,000,000 ballots; asserts no
time. Board, month and find-by-number are to take at most 1.5 times as long as with 100 batches;
both records take turns, since a busy machine is twice as quick in one minute as in the next.
Measured: 0.9, 1.0 and 0.9 times.

The first hundred batches are those of one year, with all that are open; those that come later are
of the years before and after it. So board, month and search show the same at each size, and a ratio
is that of the record, not of what is shown.

Every batch has one closed session of 100 triangles. Printed beside them: scipy's exact binomial
test on the same counts, one call a batch, as a measure of the machine.
Run with: python -m pytest -q -s --override-ini addopts= --import-mode=importlib
tests/benchmarks/test_batch_speed.py
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from time import perf_counter

import pytest
from scipy.stats import binomtest

from sensory.base.findings import Finding
from sensory.catalogue.question import Question
from sensory.choices.forced_choice import choice_test
from sensory.choices.protocols import TRIANGLE
from sensory.release import batch_desk, product_desk, reference_desk
from sensory.release.batch_records import BatchRecord, Decision, Tasting
from sensory.release.batches import Batch, Clearance, Disposition, RawLot
from sensory.release.references import Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.sessions.session import Sample, SessionDetails, StoredSession
from sensory.store.nouns import id_of
from sensory.store.repository import Repository, open_store

from ..release.shared import triangles
from ..shared import ALL_YES, ANSWERS, add, put_noun
from .shared import cpu_of, to_be_filled

BATCHES, BALLOTS = 10_000, 100
SIZES = (100, 1_000, BATCHES)
FLAT = {"board of open batches", "find by number", "the month"}
PRODUCTS = 5
WHO = {"who": "Änne Weiß", "why": "typed"}
RULE = ReleaseRule(test="TRIANGLE", limit=0.3, assessors=BALLOTS)
FIRST, YEAR, AFTER = date(2001, 1, 1), date(2011, 1, 1), date(2012, 1, 1)


def product(number: int) -> str:
    return f"Cordial {number % PRODUCTS}"


def made_on(number: int) -> date:
    """The first hundred in one year, the others in ten before and twelve after it."""
    if number < SIZES[0]:
        return YEAR + timedelta(days=number * 365 // SIZES[0])
    day = FIRST + timedelta(days=number * 8000 // BATCHES)
    return day if day < YEAR else AFTER + (day - YEAR)


def correct_of(number: int) -> int:
    return 28 + number * 7 % 12


def session(number: int, on: str) -> StoredSession:
    question = Question(**ANSWERS, pd_limit=0.3, assessors=BALLOTS)
    return StoredSession(
        id=f"s{number}",
        created_at=f"{on}T08:00:00+00:00",
        details=SessionDetails(
            title=f"{product(number)}, batch B-{number:05}",
            held_on=on,
            samples=(Sample(letter="A"), Sample(letter="B", batch=f"B-{number:05}")),
        ),
        question=question,
        cautions=ALL_YES,
        agreed_at=f"{on}T08:10:00+00:00",
        agreed_by="Änne Weiß",
        digest=question.digest,
        closed_at=f"{on}T09:00:00+00:00",
    )


def batch(number: int, on: str) -> BatchRecord:
    result = choice_test(TRIANGLE, correct_of(number), BALLOTS, pd_limit=0.3)
    finding = Finding(result.finding)
    name = f"B-{number:05}"
    passed = finding in (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT)
    done = Decision(
        disposition=Disposition.RELEASE if passed else Disposition.REJECT,
        decided_by="Nora Sand",
        role="the authorised person of the plant",
        decided_at=on,
        reason="by the rule",
    )
    return BatchRecord(
        batch=Batch(
            number=name,
            product=product(number),
            made_on=on,
            line=f"line {number % 2 + 1}",
            raw_lots=(
                RawLot(material="sweetener", lot=f"SW-{number // 25}"),
                RawLot(material="concentrate", lot=f"FC-{number // 40}"),
            ),
        ),
        clearance=Clearance(
            batch=name,
            food_safe=True,
            food_safe_by="Otto Brandt",
            food_safe_on=on,
            allergens=(),
            allergens_by="Otto Brandt",
            allergens_on=on,
        ),
        reference="R",
        tastings=(
            Tasting(
                session=f"s{number}",
                test="TRIANGLE",
                sample=name,
                held_on=on,
                finding=finding,
                correct=correct_of(number),
                trials=BALLOTS,
            ),
        ),
        recommended=done.disposition,
        decisions=() if number < SIZES[0] and number % 5 == 0 else (done,),
    )


def begun(store: Repository) -> None:
    for number in range(PRODUCTS):
        name = product(number)
        product_desk.enter_product(store, name, who="Mira")
        product_desk.agree_rule(store, name, RULE, who="Mira", why="management")
    reference = Reference(
        name="R",
        product=product(0),
        kind=ReferenceKind.STORED_STABLE,
        made_on="2000-06-01",
        usable_until="2090-01-01",
        storage="4 °C",
    )
    reference_desk.take_over(store, reference, who="Mira", why="approved")


@pytest.fixture(scope="module")
def grown(tmp_path_factory: pytest.TempPathFactory) -> dict[int, dict[str, float]]:
    """Milliseconds by number of batches and by action; by 0 the ratios of what takes turns."""
    path = tmp_path_factory.mktemp("record") / "panel.sqlite3"
    store = to_be_filled(path)
    begun(store)
    found: dict[int, dict[str, float]] = {}
    done, start = 0, perf_counter()
    for size in SIZES:
        for number in range(done, size):
            on = made_on(number).isoformat()
            add(store, session(number, on), triangles(correct_of(number), BALLOTS), **WHO)
            put_noun(store, batch(number, on), expect=None, what="batch entered", **WHO)
        done = size
        store._engine.dispose()
        if size == SIZES[0]:
            shutil.copy(path, small_of(path))
        found[size] = measured(open_store(f"sqlite:///{path}"))
    print(
        f"\nfilled and measured in {perf_counter() - start:.0f} s, {path.stat().st_size >> 20} MiB"
    )
    found[0] = by_turns(open_store(f"sqlite:///{small_of(path)}"), open_store(f"sqlite:///{path}"))
    return found


def small_of(path: Path) -> Path:
    return path.with_name("small.sqlite3")


def by_turns(small: Repository, large: Repository) -> dict[str, float]:
    """How many times as long the larger record takes, by action."""
    of_small, of_large = actions_on(small), actions_on(large)
    ratios = {}
    for name in FLAT:
        pair = of_small[name][1], of_large[name][1]
        turns = [[cpu_of(1, action) for action in pair] for _ in range(40)]
        before, after = map(min, zip(*turns, strict=True))
        ratios[name] = after / before
    return ratios


def measured(store: Repository) -> dict[str, float]:
    return {key: 1000 * cpu_of(*asked) for key, asked in actions_on(store).items()}


def actions_on(store: Repository) -> dict[str, tuple[int, Callable[[], object]]]:
    """By name how often each is measured, and what is done."""
    middle = SIZES[0] - PRODUCTS + 1
    name = f"B-{middle:05}"
    month = made_on(middle).isoformat()[:7]
    record = product_desk.the_batch(store, name)
    latest = store.batches(product=product(1), most=400)
    return {
        "board of open batches": (5, lambda: batch_desk.board(store)),
        "find by number": (5, lambda: store.seek(name)),
        "find by lot": (5, lambda: store.seek(f"SW-{middle // 25}")),
        "batches of a lot": (5, lambda: store.linked("lot", f"SW-{middle // 25}")),
        "all about a batch": (5, lambda: batch_desk.batch_file(store, name)),
        "verify a batch": (5, lambda: store.verify(_id(record))),
        "write a batch": (5, lambda: _written(store, name)),
        "trend of 400": (3, lambda: batch_desk.product_trend(store, product(1))),
        "the month": (3, lambda: batch_desk.month_report(store, product(1), month)),
        "binomtest, 400 calls": (3, lambda: _by_scipy(latest)),
    }


def _id(record: BatchRecord) -> str:
    return id_of("batch", record.name)


def _written(store: Repository, name: str) -> None:
    now = product_desk.the_batch(store, name)
    amount = (now.batch.amount or 0) + 1
    new = replace(now, batch=replace(now.batch, amount=amount, unit="kg"))
    put_noun(store, new, expect=now, what="changed", **WHO)


def _by_scipy(records: list[BatchRecord]) -> None:
    for one in records:
        tasting = one.tastings[0]
        binomtest(tasting.correct, tasting.trials, 1 / 3, alternative="greater")


def test_growth(grown: dict[int, dict[str, float]]) -> None:
    print(f"\n{'milliseconds':>24}" + "".join(f"{size:>10} batches" for size in SIZES) + "  ratio")
    by_turns = grown[0]
    for name in grown[BATCHES]:
        ratio = by_turns.get(name, grown[BATCHES][name] / grown[SIZES[0]][name])
        mark = "  RED" if by_turns.get(name, 0) > 1.5 else ""
        times = "".join(f"{grown[size][name]:>18.1f}" for size in SIZES)
        print(f"{name:>24}{times}{ratio:>7.1f}{mark}")
    assert set(grown) == {0, *SIZES}
    assert set(by_turns) == FLAT

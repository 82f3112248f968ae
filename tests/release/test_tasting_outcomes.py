"""Tastings read from the outcomes that their sessions left, faulty scores included."""

from __future__ import annotations

import gzip
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sensory.base.errors import ArgumentError
from sensory.base.findings import Finding
from sensory.catalogue import frames, rated, rated_read
from sensory.release import batch_desk, product_desk, tastings
from sensory.release.batch_questions import question_of
from sensory.release.batches import AttributeLimit, Disposition
from sensory.release.rule import ReleaseRule
from sensory.sessions import workflow
from sensory.sessions.finding import session_report
from sensory.store.repository import Repository

from .shared import PRODUCT, ROLE, agreed, desk_with, held, made, with_product

MARGINS = {"sweet": 1.2345678, "sour": 1.5, "off note": 1.0}
PROFILED = ReleaseRule(test="PROFILE", margins=MARGINS, assessors=10, decides=ROLE)
CONTROLLED = ReleaseRule(test="DIFFERENCE_FROM_CONTROL", limit=1.5, assessors=10, decides=ROLE)


class Counting(Repository):
    """A record that counts how often ballots are read."""

    read: Counter[str] = Counter()

    def cells(self, session_id: str) -> dict[int, dict[str, str]]:
        self.read[session_id] += 1
        return super().cells(session_id)


@pytest.fixture
def store(opens) -> Iterator[Repository]:
    plain = opens()
    yield Counting(plain._engine)
    assert plain.verify() == []


def with_batch(store: Repository, rule: ReleaseRule) -> None:
    with_product(store, rule)
    made(store, "SC-1")


def profiles(*, people: int = 10, sour: float = 0.0, off: bool = True) -> dict[int, dict[str, str]]:
    """A profile in two replicates; every off note is 0, or none was scored."""
    rng, cells = np.random.default_rng(3), {}
    lines = [(p, s, r) for p in range(people) for s in ("reference", "SC-1") for r in (1, 2)]
    for line, (person, sample, replicate) in enumerate(lines, start=2):
        moved = sour if sample == "SC-1" else 0.0
        cells[line] = {
            "assessor": f"P{person + 1}",
            "sample": sample,
            "replicate": str(replicate),
            "sweet": f"{5 + 0.1 * person + rng.normal(0, 0.3):.2f}",
            "sour": f"{4 + 0.1 * person + moved + rng.normal(0, 0.3):.2f}",
        }
        if off:
            cells[line]["off note"] = "0"
    return cells


def controls(score: object) -> dict[int, dict[str, str]]:
    """A score for each of ten people and both samples."""
    lines = [(p, s) for p in range(10) for s in ("blind reference", "SC-1")]
    return {
        line: {"assessor": f"P{person + 1}", "sample": sample, "score": str(score)}
        for line, (person, sample) in enumerate(lines, start=2)
    }


@pytest.mark.parametrize(
    ("sour", "off", "finding", "disposition", "told"),
    [
        (0.0, True, Finding.UNDECIDED, Disposition.HOLD, "off note (every score was 0"),
        (0.0, False, Finding.UNDECIDED, Disposition.HOLD, "off note (never scored)"),
        (3.0, True, Finding.BEYOND_LIMIT, Disposition.REJECT, "sour +"),
    ],
)
def test_an_attribute_that_cannot_be_tested_is_undecided_and_the_batch_decidable(
    store, sour: float, off: bool, finding: Finding, disposition: Disposition, told: str
):
    with_batch(store, PROFILED)
    held(store, "SC-1", profiles(sour=sour, off=off))
    file = batch_desk.batch_file(store, "SC-1")
    assert file.record.latest.finding is file.finding.finding is finding
    assert set(file.record.latest.differences) == {"sweet", "sour"}
    assert file.finding.disposition is disposition
    assert any(told in reason for reason in file.finding.reasons)
    decided = batch_desk.decide(
        store, "SC-1", Disposition.HOLD, by="Nora", role=ROLE, reason="more to see"
    )
    assert decided.decision is not None


@pytest.mark.parametrize(
    ("rule", "cells", "why"),
    [
        (PROFILED, profiles(people=1), "Nothing can be computed"),
        (CONTROLLED, controls(0), "Nothing can be computed"),
    ],
)
def test_scores_that_give_nothing_leave_the_batch_decidable(
    store, rule: ReleaseRule, cells: dict[int, dict[str, str]], why: str
):
    with_batch(store, rule)
    held(store, "SC-1", cells)
    file = batch_desk.batch_file(store, "SC-1")
    assert file.finding.finding is Finding.UNDECIDED
    assert file.finding.disposition is Disposition.HOLD
    assert any(why in reason for reason in file.finding.reasons)


def test_a_margin_of_the_rule_stays_its_number(store):
    with_batch(store, PROFILED)
    record = product_desk.the_batch(store, "SC-1")
    question = question_of(replace(record, reference="S1"), PROFILED)
    assert rated.PROFILE.margins(question.settings) == MARGINS
    session_id = held(store, "SC-1", profiles()).id
    assert store.session(session_id).question.settings["margins"]["sweet"] == 1.2345678
    file = batch_desk.batch_file(store, "SC-1")
    assert (file.why_none, file.finding is not None) == ("", True)
    typed = question.settings | {"margins": "sweet 1,2; sour 1.5"}
    assert rated.PROFILE.margins(typed) == {"sweet": 1.2, "sour": 1.5}
    with pytest.raises(ArgumentError, match="margin 'bitter 1' must be one of the attributes"):
        rated.PROFILE.margins(question.settings | {"margins": {"bitter": 1.0}})


def test_closing_reads_ballots_once_and_the_page_of_the_batch_none(store, monkeypatch):
    with_batch(store, PROFILED)
    session_id = agreed(store, "SC-1").id
    workflow.enter_cells(store, session_id, profiles(), who="Mira")
    fits: Counter[str] = Counter()
    for name, module in (("profile", rated_read), ("scorecard_of", frames)):
        real = getattr(module, name)

        def counted(*given, name=name, real=real, **more):
            fits[name] += 1
            return real(*given, **more)

        monkeypatch.setattr(module, name, counted)
    cells = profiles()
    rng = np.random.default_rng(8)
    changed = {line: {"off note": f"{rng.uniform(0, 1):.2f}"} for line in cells}
    workflow.enter_cells(store, session_id, changed, who="Mira")
    store.read.clear()
    tastings.close_and_note(store, session_id, who="Mira")
    assert store.read == {session_id: 1}
    assert fits == {"profile": 1, "scorecard_of": 1}
    batch_desk.up_to_date(store, "SC-1", who="Mira")
    batch_desk.batch_file(store, "SC-1")
    batch_desk.product_trend(store, PRODUCT)
    batch_desk.month_report(store, PRODUCT, "2026-03")
    assert store.read == {session_id: 1}


def test_a_name_is_erased_from_what_was_kept_too(store):
    with_batch(store, PROFILED)
    session_id = held(store, "SC-1", profiles(sour=3.0)).id
    before = session_report(store, session_id, version="1").outcome
    assert "P10" in str(before.panel)
    store.erase_person("P10", who="Mira", why="asked for it")
    assert "P10" not in str(store.outcome(session_id))
    after = session_report(store, session_id, version="1").outcome
    assert len(after.panel) == len(before.panel)
    assert {point.assessor for point in after.panel} >= {"erased 1", "P1"}


def test_a_record_without_outcomes_reads_its_ballots(store, monkeypatch):
    with_batch(store, PROFILED)
    session_id = held(store, "SC-1", profiles(sour=3.0)).id
    kept = batch_desk.batch_file(store, "SC-1").finding
    monkeypatch.setattr(type(store), "outcome", lambda *_: None)
    read = batch_desk.batch_file(store, "SC-1").finding
    assert kept is not None
    assert read is not None
    assert (kept.reasons, kept.finding) == (read.reasons, read.finding)
    assert session_report(store, session_id, version="1").outcome.finding is Finding.BEYOND_LIMIT


def test_the_batch_that_release_0_1_0_left_waiting_becomes_decidable(opens, tmp_path: Path) -> None:
    packed = Path(__file__).parents[1] / "store" / "release_0_1_0.record.gz"
    (tmp_path / "old.sqlite3").write_bytes(gzip.decompress(packed.read_bytes()))
    old = opens(f"sqlite:///{tmp_path / 'old.sqlite3'}")
    batch_desk.up_to_date(old, "SC-1", who="Mira")
    file = batch_desk.batch_file(old, "SC-1")
    assert file.finding.finding is Finding.UNDECIDED
    assert any("every score was 0" in reason for reason in file.finding.reasons)
    assert old.verify() == []


def test_a_mean_outside_the_range_of_the_product_is_said():
    """Six assessors, batch at 7.0 in sweet and 3.0 in sour, reference at 6.8 and 3.2."""
    rule = ReleaseRule(test="PROFILE", margins={"sweet": 1.0, "sour": 1.0}, assessors=6)
    store = desk_with(rule)
    ranges = (
        AttributeLimit(attribute="Sweet", high=5.0),
        AttributeLimit(attribute="sour", low=2.0, high=4.0),
    )
    product_desk.tolerate(store, PRODUCT, ranges, who="Mira", why="after the taste of May")
    made(store, "SC-1")
    session = agreed(store, "SC-1")
    rng, cells = np.random.default_rng(4), {}
    for person in range(6):
        for sample, sweet, sour in (("SC-1", 7.0, 3.0), ("reference", 6.8, 3.2)):
            for replicate in (1, 2):
                cells[len(cells) + 2] = {
                    "assessor": f"P{person}",
                    "sample": sample,
                    "replicate": str(replicate),
                    "sweet": f"{sweet + rng.normal(0, 0.3):.1f}",
                    "sour": f"{sour + rng.normal(0, 0.3):.1f}",
                }
    mean = np.mean([float(c["sweet"]) for c in cells.values() if c["sample"] == "SC-1"])
    workflow.enter_cells(store, session.id, cells, who="Mira")
    tastings.close_and_note(store, session.id, who="Mira")
    file = batch_desk.batch_file(store, "SC-1")
    reasons = file.finding.reasons
    (told,) = [reason for reason in reasons if "range" in reason]
    assert told.startswith(f"sweet: the mean of SC-1 is {mean:.2f}, above its range (up to 5); its")
    assert told.endswith("lie wholly outside.")
    store.close()

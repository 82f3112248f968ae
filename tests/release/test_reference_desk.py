"""References take over through a tasting on record, or by a decision that stays visible."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sensory.base.errors import RecordError
from sensory.base.findings import Finding
from sensory.release import batch_desk, product_desk, reference_desk
from sensory.release.batches import AttributeLimit
from sensory.release.references import Bridge, Reference, ReferenceKind
from sensory.report.batch_documents import batch_words
from sensory.sessions import workflow
from sensory.sessions.session import StoredSession
from sensory.store.repository import Repository

from ..shared import ALL_YES, CARE
from .shared import BY, PRODUCT, ROLE, Cells, held, made, triangles

DECIDED = {"decided_by": "Nora Sand", "role": ROLE, "reason": "none of S1 is left."}
TWO = (AttributeLimit(attribute="sweet", margin=1.0), AttributeLimit(attribute="stale", margin=0.8))


def reference(name: str, made_on: str = "2026-01-02", **more: object) -> Reference:
    fresh = {"kind": ReferenceKind.FRESHLY_MADE, "usable_until": "2036-12-31"}
    return Reference(name=name, product=PRODUCT, made_on=made_on, **fresh, **more)


def held_session(store: Repository, session: StoredSession, cells: Cells, on: str) -> str:
    details = replace(session.details, held_on=on, leader="Mira", care=CARE)
    workflow.describe(store, session.id, details=details, cautions=ALL_YES, who="Mira")
    workflow.agree(store, session.id, who="Mira")
    workflow.enter_cells(store, session.id, cells, who="Mira")
    workflow.close(store, session.id, who="Mira")
    return session.id


def compared(
    store: Repository,
    cells: Cells,
    newer: str = "S2",
    older: str = "S1",
    on: str = "2026-03-01",
    **more: str,
) -> str:
    """The session in which two references were tasted beside each other."""
    session = reference_desk.open_comparison(store, PRODUCT, newer, older, who="Mira", **more)
    return held_session(store, session, cells, on)


def profiles(newer: str, stale: float, seed: int) -> Cells:
    """Ten assessors, two cups of each, the newer one so much staler."""
    rng, cells = np.random.default_rng(seed), {}
    for person in range(10):
        own = rng.normal(4, 0.5, 2)
        for replicate in (1, 2):
            for place, sample in enumerate(("reference", newer)):
                scores = own + rng.normal(0, 0.3, 2) + np.array([0.0, stale]) * place
                line = 2 + len(cells)
                cells[line] = {
                    "assessor": f"P{person}", "sample": sample, "replicate": str(replicate),
                    "code": str(100 + line),
                    "sweet": f"{scores[0]:.1f}", "stale": f"{scores[1]:.1f}",
                }  # fmt: skip
    return cells


def mean_difference(cells: Cells, newer: str) -> float:
    scores = {
        named: [float(cell["stale"]) for cell in cells.values() if cell["sample"] == named]
        for named in ("reference", newer)
    }
    return float(np.mean(scores[newer]) - np.mean(scores["reference"]))


def second(read: Bridge | None, **decided: str) -> Reference:
    step = replace(read, **decided) if read else None
    return reference("S2", "2026-02-20", bridged_to_previous=step, bridged_to_first=step)


def take_over(store: Repository, new: Reference) -> None:
    reference_desk.take_over(store, new, who="Mira", why="approved")


def in_use(store: Repository) -> str:
    return product_desk.the_product(store, PRODUCT).in_use


def test_a_typed_finding_is_refused(store):
    for finding in (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT):
        typed = Bridge(reference="S2", to="S1", held_on="2026-03-01", finding=finding)
        with pytest.raises(RecordError, match=r"against S1 was typed\. Name the closed session"):
            take_over(store, second(typed))
        with pytest.raises(RecordError, match="against S1 was typed"):
            take_over(store, second(typed, **DECIDED))
    invented = replace(typed, session="f" * 32, shown="triangle: 12 of 36 correct")
    with pytest.raises(RecordError, match="There is no such session on record"):
        take_over(store, second(invented))
    with pytest.raises(RecordError, match="needs a bridge to S1, the one before"):
        take_over(store, second(None))
    assert (in_use(store), store.noun(Reference, "S2")) == ("S1", None)


@pytest.mark.parametrize(
    ("correct", "finding", "similar"),
    [
        # As in test_batch_desk: different from 18 of 36 on, similar up to 16 at 40 %.
        (12, Finding.SIMILAR, True),
        (16, Finding.SIMILAR, True),
        (17, Finding.UNDECIDED, False),
        (18, Finding.DIFFERENT, False),
        (30, Finding.BEYOND_LIMIT, False),
    ],
)
def test_a_tasting_on_record_decides_whether_it_takes_over(
    store, correct: int, finding: Finding, similar: bool
):
    session = compared(store, triangles(correct, 36))
    read = reference_desk.tasted_bridge(store, session, "S2", "S1")
    assert (read.finding, read.held_on, read.session) == (finding, "2026-03-01", session)
    assert f"{correct} of 36 correct, limit 40%" in read.shown
    if similar:
        take_over(store, second(read))
        assert store.noun(Reference, "S2").took_over() == ()
        return
    with pytest.raises(RecordError, match="Only release officer can decide"):
        take_over(store, second(read))
    with pytest.raises(RecordError, match="names release officer to decide; got night shift"):
        take_over(store, second(read, **{**DECIDED, "role": "night shift"}))
    assert in_use(store) == "S1"
    take_over(store, second(read, **DECIDED))
    (told,) = store.noun(Reference, "S2").took_over()
    assert "took over all the same, decided by Nora Sand, release officer: none of S1" in told


def test_a_bridge_says_what_its_session_showed(store):
    read = reference_desk.tasted_bridge(store, compared(store, triangles(18, 36)), "S2", "S1")
    for change in (
        {"finding": Finding.SIMILAR},
        {"held_on": "2026-03-02"},
        {"shown": "triangle: 12 of 36 correct"},
        {"estimate": 0.0, "se": 0.1},
    ):
        with pytest.raises(RecordError, match="does not say what its session showed"):
            take_over(store, second(read, **change, **DECIDED))


def test_other_sessions_are_no_bridge(store):
    session = reference_desk.open_comparison(store, PRODUCT, "S2", "S1", who="Mira")
    with pytest.raises(RecordError, match="is not closed yet"):
        reference_desk.tasted_bridge(store, session.id, "S2", "S1")
    first_session = held_session(store, session, triangles(12, 36), "2026-03-01")
    with pytest.raises(RecordError, match="does not name S3 among its samples"):
        reference_desk.tasted_bridge(store, session.id, "S3", "S1")
    with pytest.raises(RecordError, match="There is no reference 'S0' on record"):
        reference_desk.tasted_bridge(store, session.id, "S2", "S0")
    made(store, "SC-1")
    tasted = held(store, "SC-1", triangles(12, 36))
    with pytest.raises(RecordError, match="does not name S2 among its samples"):
        reference_desk.tasted_bridge(store, tasted.id, "S2", "S1")
    # The batch itself may become the reference: then its tasting is the bridge.
    own = reference_desk.tasted_bridge(store, tasted.id, "S2", "S1", batch="SC-1")
    assert own.finding is Finding.SIMILAR
    other_way = replace(tasted.details.samples[0], letter="B")
    turned = (replace(tasted.details.samples[1], letter="A"), other_way)
    session = reference_desk.open_comparison(store, PRODUCT, "S2", "S1", who="Mira")
    swapped = replace(session, details=replace(session.details, samples=turned))
    held_session(store, swapped, triangles(12, 36), "2026-03-01")
    with pytest.raises(RecordError, match="does not have S1 as its sample A"):
        reference_desk.tasted_bridge(store, session.id, "S2", "S1", batch="SC-1")
    listed = reference_desk.bridging_sessions(store, "S2", "S1", batch="SC-1")
    assert {each.id for each in listed} == {own.session, first_session}


def test_a_wider_limit_than_the_products_is_no_bridge(store):
    session = reference_desk.open_comparison(store, PRODUCT, "S2", "S1", who="Mira")
    wide = replace(session.question, pd_limit=0.6)
    workflow.describe(store, session.id, question=wide, who="Mira")
    held_session(store, session, triangles(18, 36), "2026-03-01")
    with pytest.raises(RecordError, match="allows 60% distinguishers, the release rule 40%"):
        reference_desk.tasted_bridge(store, session.id, "S2", "S1")


def test_the_exception_is_a_decision_of_the_named_role(store):
    bare = Bridge(reference="S2", to="S1", held_on="2026-03-01", reason="S1 broke")
    with pytest.raises(RecordError, match="Only release officer can decide"):
        take_over(store, second(bare))
    with pytest.raises(RecordError, match="name and role of who decided together"):
        replace(bare, decided_by="Nora Sand")
    take_over(store, second(bare, **DECIDED))
    assert in_use(store) == "S2"


def test_without_a_rule_nobody_is_entitled_to_the_exception(opens):
    store = opens()
    product_desk.enter_product(store, PRODUCT, who="Mira")
    take_over(store, reference("S1"))
    own = Bridge(reference="S1", to="S0", held_on="2026-03-01", **DECIDED)
    with pytest.raises(RecordError, match="S2 needs a bridge to S1"):
        take_over(store, second(None))
    with pytest.raises(RecordError, match="has no release rule: agree one first"):
        take_over(store, second(replace(own, reference="S2", to="S1")))


def test_the_first_reference_needs_no_bridge_and_takes_none(opens):
    store = opens()
    product_desk.enter_product(store, PRODUCT, who="Mira")
    own = Bridge(reference="S1", to="S0", held_on="2026-03-01", **DECIDED)
    with pytest.raises(RecordError, match="there is nothing to bridge"):
        take_over(store, reference("S1", bridged_to_previous=own, bridged_to_first=own))


def test_the_exception_stands_on_every_batch_its_file_and_the_trend(store):
    """Batches tasted before keep their reference and say nothing of it."""
    made(store, "SC-0")
    held(store, "SC-0", triangles(12, 36))
    bare = Bridge(reference="S2", to="S1", held_on="2026-03-01", **DECIDED)
    take_over(store, second(bare))
    for number in ("SC-1", "SC-2", "SC-3"):
        made(store, number)
        held(store, number, triangles(13, 36))
    told = (
        "Not tasted beside S1. S2 took over all the same on 2026-03-01, decided by Nora Sand, "
        "release officer: none of S1 is left."
    )
    for number in ("SC-1", "SC-2", "SC-3"):
        file = batch_desk.batch_file(store, number)
        assert f"Reference: {told}" in file.finding.reasons
        words = batch_words(file)
        assert f"Reference: {told}" in words["reasons"]
    assert not [
        line for line in batch_desk.batch_file(store, "SC-0").finding.reasons if told in line
    ]
    trend = batch_desk.product_trend(store, PRODUCT)
    assert f"3 batches were tasted against S2. {told}" in trend.says()
    month = batch_desk.month_report(store, PRODUCT, "2026-03")
    assert told in month.says()


def test_a_profile_gives_the_steps_of_the_drift(store):
    """Second route: means of the scores, taken from the ballots by hand."""
    product_desk.tolerate(store, PRODUCT, TWO, who="Mira", why="consumers")
    profiled = {"test": "PROFILE"}
    cells = profiles("S2", 0.2, 1)
    session = compared(store, cells, **profiled)
    read = reference_desk.tasted_bridge(store, session, "S2", "S1", attribute="stale")
    assert read.finding in (Finding.SIMILAR, Finding.DIFFERENT_WITHIN_LIMIT)
    assert read.estimate == pytest.approx(mean_difference(cells, "S2"), abs=1e-9)
    take_over(store, second(read))
    near = profiles("S3", 0.1, 2)
    session = compared(store, near, "S3", "S2", "2026-05-01", **profiled)
    step = reference_desk.tasted_bridge(store, session, "S3", "S2", attribute="stale")
    first = Bridge(reference="S3", to="S1", held_on="2026-05-01", **DECIDED)
    third = reference("S3", "2026-04-20", bridged_to_previous=step, bridged_to_first=first)
    take_over(store, third)
    state = product_desk.state_of_reference(store, "S3", "2026-05-20")
    by_hand = mean_difference(cells, "S2") + mean_difference(near, "S3")
    assert state.drift.estimate == pytest.approx(by_hand, abs=1e-9)
    assert state.drift.se == pytest.approx(np.hypot(read.se, step.se))
    assert [line for line in state.says() if line.startswith("Not tasted beside S1.")]
    again = compared(store, profiles("S4", 0.1, 3), "S4", "S3", "2026-06-01", **profiled)
    sweet = reference_desk.tasted_bridge(store, again, "S4", "S3", attribute="sweet")
    other = replace(first, reference="S4")
    fourth = reference("S4", "2026-05-20", bridged_to_previous=sweet, bridged_to_first=other)
    with pytest.raises(RecordError, match="followed in stale; steps in sweet could not be added"):
        take_over(store, fourth)
    with pytest.raises(RecordError, match="no estimate of bitter; it has those of sweet, stale"):
        reference_desk.tasted_bridge(store, session, "S3", "S2", attribute="bitter")


def test_a_reference_is_compared_again_in_a_session_on_record(store):
    product_desk.tolerate(store, PRODUCT, TWO, who="Mira", why="consumers")
    read = reference_desk.tasted_bridge(
        store, compared(store, profiles("S2", 0.1, 1), test="PROFILE"), "S2", "S1",
        attribute="stale",
    )  # fmt: skip
    take_over(store, second(read))
    typed = Bridge(reference="S2", to="S1", held_on="2026-06-01", finding=Finding.SIMILAR)
    with pytest.raises(RecordError, match="Name the session in which S2 was compared again"):
        reference_desk.compare_again(store, typed, who="Mira", why="half a year")
    cells = profiles("S2", 1.6, 5)
    session = compared(store, cells, on="2026-06-01", test="PROFILE")
    again = reference_desk.tasted_bridge(store, session, "S2", "S1", attribute="stale")
    assert again.finding is Finding.BEYOND_LIMIT
    kept = reference_desk.compare_again(store, again, who="Mira", why="half a year")
    assert kept.later == (again,)
    state = product_desk.state_of_reference(store, "S2", "2026-06-02")
    assert state.drift.estimate == pytest.approx(mean_difference(cells, "S2"), abs=1e-9)
    assert (state.took_over, again.words() in state.problems) == ((), True)
    with pytest.raises(RecordError, match="no reference 'S9' on record"):
        reference_desk.compare_again(store, replace(again, reference="S9"), who="M", why="x")


def test_an_overall_difference_has_no_direction(store):
    session = compared(store, triangles(12, 36))
    with pytest.raises(RecordError, match="is a triangle, whose difference has no direction"):
        reference_desk.tasted_bridge(store, session, "S2", "S1", attribute="stale")


def test_a_comparison_needs_a_name_and_margins(store):
    with pytest.raises(RecordError, match="Name the new reference first"):
        reference_desk.open_comparison(store, PRODUCT, " ", "S1", who="Mira")
    with pytest.raises(RecordError, match="has no margins yet"):
        reference_desk.open_comparison(store, PRODUCT, "S2", "S1", test="PROFILE", who="Mira")


def test_who_decided_on_a_reference_can_be_erased(store):
    bare = Bridge(reference="S2", to="S1", held_on="2026-03-01", **DECIDED)
    take_over(store, second(bare))
    assert store.erase_person("Nora Sand", who="Mira", why="asked").remains == ()
    kept = store.noun(Reference, "S2")
    assert kept.bridged_to_first.decided_by == kept.bridged_to_previous.decided_by == "erased 1"
    assert BY["by"] not in " ".join(kept.took_over())


def test_the_stock_of_a_reference_is_counted_by_hand(opens):
    store = opens()
    product_desk.enter_product(store, PRODUCT, who="Mira")
    take_over(store, reference("S1", stock=48, needed=24))
    state = product_desk.state_of_reference(store, "S1", "2026-02-01")
    assert (state.tastings_left, state.usable) == (2, True)
    reference_desk.count_stock(store, "s1", 20, who="Mira")
    state = product_desk.state_of_reference(store, "S1", "2026-02-01")
    assert (state.tastings_left, state.usable) == (0, False)
    with pytest.raises(RecordError, match="There is no reference 'S9'"):
        reference_desk.count_stock(store, "S9", 20, who="Mira")
    with pytest.raises(RecordError, match="must not be negative"):
        reference_desk.count_stock(store, "S1", -1, who="Mira")

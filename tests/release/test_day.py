"""What waits for whom, what runs, what to look at; one field over the record; new sessions."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import ndtr

from sensory.base.errors import RecordError
from sensory.release import complaint_desk, day, look_up, new_sessions, plant_desk, product_desk
from sensory.release.batches import RawLot
from sensory.release.new_sessions import Wish, start_session
from sensory.release.plant import Defaults
from sensory.sessions import workflow
from sensory.sessions.session import SessionDetails
from sensory.sessions.steps import Way

from .shared import PRODUCT, ROLE, held, made, triangles

WISH = {
    "product": PRODUCT, "batches": ("SC-1",), "reference": "S1", "test": "TRIANGLE",
    "people": 24, "decides": ROLE,
}  # fmt: skip


def test_what_waits_for_whom_since_when(store):
    made(store, "SC-1", cleared=False)
    made(store, "SC-2")
    made(store, "SC-3")
    held(store, "SC-3", triangles(12, 36))
    made(store, "SC-4")
    complaint_desk.record_complaint(store, "SC-4", "rubber", received_on="2026-03-10", who="Mira")
    told = [(each.record.name, each.whom, each.since) for each in day.waiting(store)]
    assert told == [
        ("SC-4", "food safety", "2026-03-10"),
        ("SC-3", ROLE, "2026-03-09"),
        ("SC-2", "panel leader", "2026-03-05"),
        ("SC-1", "food safety", "2026-03-04"),
    ]
    steps = {each.record.name: each.step for each in day.waiting(store)}
    assert steps["SC-3"] == "decision"
    assert steps["SC-2"] == "tasting"


def test_open_sessions_run_with_what_they_wait_for(store):
    made(store, "SC-1")
    session = start_session(store, Wish(**WISH), who="Mira")
    ((runs,), more) = day.running(store)
    assert more == 0
    assert (runs.session.id, runs.step) == (session.id, "question")
    assert runs.words == "triangle, agree the question"
    made(store, "SC-2")
    held(store, "SC-2", triangles(12, 36))
    assert len(day.running(store)[0]) == 1


def test_references_show_their_age_and_those_that_end_come_first(store):
    (state,) = day.references_in_use(store, "2026-11-20")
    assert (state.reference.name, state.age_days) == ("S1", 322)
    assert not day.needs_a_look(state)
    assert day.needs_a_look(day.references_in_use(store, "2036-12-20")[0])


def test_signals_of_the_newest_batches_are_named(store):
    for number in range(1, 12):
        made(store, f"SC-{number:02}", made_on=f"2026-03-{number:02}")
        held(store, f"SC-{number:02}", triangles(32 if number == 11 else 12, 36))
    (signal, *_), _ = day.open_signals(store)
    assert (signal.product, signal.batch) == (PRODUCT, "SC-11")


def test_one_field_finds_batch_lot_session_and_assessor(store):
    made(store, "SC-1", raw_lots=(RawLot(material="sweetener", lot="SW-118"),))
    session = held(store, "SC-1", triangles(12, 36))

    def found(text):
        return {hit.kind: hit for hit in look_up.look_up(store, text)[0]}

    by_lot = found("sw-118")
    assert (by_lot["lot"].name, by_lot["batch"].batch) == ("SW-118", "SC-1")
    assert by_lot["lot"].about == "sweetener, lot SW-118: 1 batch"
    assert found("sc-1")["session"].session == session.id
    assert found("p36")["assessor"].session == session.id
    assert found("p36")["assessor"].about == "in 1 session"
    assert found("nothing of the kind") == {}
    assert look_up.look_up(store, " ") == ([], [])


def test_the_record_offers_what_can_be_chosen(store):
    made(store, "SC-1")
    offered = new_sessions.choices(store, PRODUCT)
    assert offered.products == (PRODUCT,)
    assert (offered.batches, offered.references) == (("SC-1",), ("S1",))
    assert (offered.deciders[0], offered.test) == (ROLE, "TRIANGLE")


def test_by_the_test_of_the_rule_a_new_session_is_the_tasting_of_the_batch(store):
    made(store, "SC-1")
    session = start_session(store, Wish(**WISH), who="Mira")
    (tasting,) = product_desk.the_batch(store, "SC-1").tastings
    assert tasting.session == session.id
    assert session.question.pd_limit == 0.4  # of the rule
    assert [sample.batch for sample in session.details.samples] == ["", "SC-1"]


def test_by_another_test_the_session_is_put_beside_it_with_names_and_defaults(store):
    made(store, "SC-1")
    defaults = Defaults(alpha=0.1, dprime_limit=1.0, if_different="hold", decides="QA")
    plant_desk.keep_defaults(store, defaults, who="Mira")
    session = start_session(store, Wish(**WISH | {"test": "DUO_TRIO"}), who="Mira")
    details, question = session.details, session.question
    assert [sample.name for sample in details.samples] == ["S1", f"{PRODUCT} SC-1"]
    assert (details.decides, details.way) == (ROLE, "paper")
    assert (question.alpha, question.if_different) == (0.1, "hold")
    # The product's own limit goes before the plant's: 40 % in a triangle are 60 % correct, carried
    # by the integrals of both decision rules.
    same = brentq(lambda d: triangle_correct(d) - 0.6, 0.5, 4)
    assert question.pd_limit == pytest.approx(2 * duo_trio_correct(same) - 1, abs=1e-5)
    assert product_desk.the_batch(store, "SC-1").tastings[0].session == session.id


def test_a_product_without_a_limit_takes_that_of_the_plant(store):
    plant_desk.keep_defaults(store, Defaults(dprime_limit=1.0), who="Mira")
    wish = Wish(**WISH | {"test": "DUO_TRIO", "batches": ("x 1",), "product": "new"})
    # d-prime 1 in a duo-trio is 58.2 % correct (Ennis 1993, from memory): pd = 2 * .582 - 1
    limit = start_session(store, wish, who="Mira").question.pd_limit
    assert limit == pytest.approx(0.165, abs=0.001)


def triangle_correct(d):
    root = math.sqrt(3)
    return 2 * quad(
        lambda z: (ndtr(-z * root + d * math.sqrt(2 / 3)) + ndtr(-z * root - d * math.sqrt(2 / 3)))
        * math.exp(-z * z / 2) / math.sqrt(2 * math.pi), 0, 12
    )[0]  # fmt: skip


def duo_trio_correct(d):
    one, two = ndtr(d / math.sqrt(2)), ndtr(d / math.sqrt(6))
    return 1 - one - two + 2 * one * two


def test_several_samples_are_named_in_the_settings_with_their_reference(store):
    wish = Wish(**WISH | {"test": "PROFILE", "batches": ("x 1", "x 2"), "product": "new"})
    settings = start_session(store, wish, who="Mira").question.settings
    assert settings == {"reference": "S1", "samples": "S1; x 1; x 2"}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"decides": " "}, "role that decides"),
        ({"batches": ()}, "batch"),
        ({"batches": ("a", "b")}, "one batch with the reference"),
        ({"batches": ("s1",)}, "with itself"),
        ({"batches": ("SC-9",)}, "food safety has cleared"),
    ],
)
def test_what_is_missing_or_may_not_be_tasted_is_refused_by_name(store, change, words):
    made(store, "SC-9", cleared=False)
    with pytest.raises(RecordError, match=words):
        start_session(store, Wish(**WISH | change), who="Mira")
    assert store.sessions() == []


def test_samples_attributes_and_reference_of_a_file_are_those_that_are_there(store):
    cells = {
        row: {"assessor": "P1", "sample": name, "replicate": "1", "quince": "4", "sour": "2"}
        for row, name in enumerate(("Referenz", "Charge 1127"), start=2)
    }
    wish = {"test": "PROFILE", "batches": ("Charge 1127",), "reference": "Referenz"}
    session = start_session(store, Wish(**WISH | wish, way=Way.FILE), cells=cells, who="Mira")
    assert session.question.settings == {
        "reference": "Referenz",
        "samples": "Referenz; Charge 1127",
        "attributes": "quince; sour",
    }
    gasket = wish | {"test": "DIFFERENCE_FROM_CONTROL"}
    session = start_session(store, Wish(**WISH | gasket, way=Way.FILE), cells=cells, who="Mira")
    assert session.question.settings["control"] == "Referenz"


def test_defaults_are_kept_and_an_impossible_one_is_refused(store):
    kept = Defaults(languages=("de", "en"), labels="4 x 10")
    plant_desk.keep_defaults(store, kept, who="Mira")
    assert plant_desk.the_plant(store).defaults == kept
    for wrong in ({"labels": "2 x 2"}, {"languages": ("xx",)}, {"dprime_limit": 0.0}):
        with pytest.raises(RecordError):
            Defaults(**wrong)


def test_a_session_of_a_file_keeps_its_ballots_and_its_way(store):
    wish = Wish(**WISH | {"batches": ("trial",), "way": Way.FILE})
    cells = triangles(3, 6)
    session = start_session(store, wish, cells=cells, remarks="one remark", who="Mira")
    assert len(store.cells(session.id)) == 6
    assert session.details.way == "file"
    assert session.details.file_remarks == "one remark"
    assert SessionDetails.from_dict(session.details.to_dict()) == session.details
    assert workflow.checked_ballots(store, session.id).ready == 6

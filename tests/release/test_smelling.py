"""A batch under suspicion is not tasted; it is smelled where food safety allows that by name."""

from __future__ import annotations

import pytest

from sensory.base.errors import RecordError
from sensory.release import batch_desk, complaint_desk, product_desk, smelling, tastings
from sensory.release.batches import Clearance, Disposition
from sensory.sessions import missing

from .shared import BY, clear, made

ALLOWED = {"by": "Ida Brandt", "on": "2026-03-06", "who": "Mira"}
NOT_CLEARED = {"food_safe": False, "by": "Ida Brandt", "on": "2026-03-05", "who": "Mira"}


@pytest.fixture
def suspected(store):
    """A record with a batch in which a chemical taint is suspected."""
    made(store, "SC-1")
    product_desk.clear_batch(store, "SC-1", **NOT_CLEARED, suspected="chemical taint")
    return store


def test_a_suspected_batch_is_not_tasted(suspected):
    record = product_desk.the_batch(suspected, "SC-1")
    assert record.waits_for == "food safety: chemical taint suspected, not tasted"
    with pytest.raises(RecordError, match="not tasted before food safety has cleared it"):
        tastings.open_tasting(suspected, "SC-1", who="Mira")


def test_smelling_is_not_offered_before_it_is_allowed_by_name(suspected):
    with pytest.raises(RecordError, match="only where food safety allows it, by name"):
        smelling.open_smelling(suspected, "SC-1", who="Mira")
    with pytest.raises(RecordError, match="the name is missing"):
        smelling.allow_smelling(suspected, "SC-1", by=" ", on="2026-03-06", who="Mira")
    smelling.allow_smelling(suspected, "SC-1", **ALLOWED)
    session = smelling.open_smelling(suspected, "SC-1", who="Mira")
    care = session.details.care
    assert care.smelling_only
    assert (care.smelling_by, care.cleared_by) == ("Ida Brandt", "")
    assert session.details.title.endswith("smelled only")


def test_smelling_is_no_tasting_and_no_release_rests_on_it(suspected):
    smelling.allow_smelling(suspected, "SC-1", **ALLOWED)
    session = smelling.open_smelling(suspected, "SC-1", who="Mira")
    record = product_desk.the_batch(suspected, "SC-1")
    assert record.tastings == ()
    assert record.smelled == (session.id,)
    with pytest.raises(RecordError, match="smelled only: it is no tasting"):
        tastings.attach(suspected, "SC-1", session.id, who="Mira")
    with pytest.raises(RecordError, match="blocked"):
        batch_desk.decide(suspected, "SC-1", Disposition.RELEASE, **BY, reason="it smells right")


def test_a_suspicion_is_lifted_by_evidence_only(suspected):
    with pytest.raises(RecordError, match="say what the clearance rests on"):
        clear(suspected, "SC-1")
    cleared = {**NOT_CLEARED, "food_safe": True}
    product_desk.clear_batch(suspected, "SC-1", **cleared, evidence="residue test passed")
    session = tastings.open_tasting(suspected, "SC-1", who="Mira")
    care = session.details.care
    assert (care.cleared_by, care.cleared_on) == ("Ida Brandt", "2026-03-05")
    assert (care.evidence, care.suspected) == ("residue test passed", "")


def test_a_complaint_with_a_suspicion_stops_smelling_and_tasting(suspected):
    smelling.allow_smelling(suspected, "SC-1", **ALLOWED)
    session = smelling.open_smelling(suspected, "SC-1", who="Mira")
    complaint_desk.record_complaint(
        suspected, "SC-1", "glass", received_on="2026-03-07", suspected="foreign matter", who="Mira"
    )
    clearance = product_desk.the_batch(suspected, "SC-1").clearance
    assert (clearance.suspected, clearance.smelling_by) == ("foreign matter", "")
    assert suspected.session(session.id).cautions["cleared"] is False
    assert suspected.verify() == []


def test_a_complaint_without_clearance_keeps_its_suspicion(store):
    made(store, "SC-2", cleared=False)
    complaint_desk.record_complaint(
        store, "SC-2", "glass", received_on="2026-03-07", suspected="foreign matter", who="Mira"
    )
    assert product_desk.the_batch(store, "SC-2").clearance.suspected == "foreign matter"


def test_a_cleared_suspicion_is_refused(store):
    made(store, "SC-3")
    cleared = {**NOT_CLEARED, "food_safe": True}
    with pytest.raises(RecordError, match="cannot be cleared while chemical taint is suspected"):
        product_desk.clear_batch(store, "SC-3", **cleared, suspected="chemical taint")
    with pytest.raises(RecordError, match="not under suspicion"):
        smelling.allow_smelling(store, "SC-3", **ALLOWED)


@pytest.mark.parametrize(
    ("given", "match"),
    [
        ({"suspected": "bad mood"}, "suspected must be one of"),
        ({"smelling_by": "Ida", "smelling_on": "2026-03-06"}, "nothing is smelled only"),
        ({"suspected": "foreign matter", "smelling_by": "Ida"}, "must be a date"),
    ],
)
def test_impossible_clearances_are_refused(given, match):
    with pytest.raises(RecordError, match=match):
        Clearance(batch="SC-4", **given)


def test_who_cleared_the_batch_is_in_its_tasting_and_can_be_agreed(store):
    made(store, "SC-5")
    session = tastings.open_tasting(store, "SC-5", who="Mira")
    assert session.details.care.missing() == []
    assert session.details.care.cleared_by == "Otto Brandt"
    assert missing.unmet_cautions(session)  # the others are asked before this tasting

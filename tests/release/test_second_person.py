"""Who may agree, clear, decide and complain; and a decision that a second person confirms."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.catalogue.question import Question
from sensory.release import batch_desk, complaint_desk, product_desk, reference_desk, smelling
from sensory.release.batch_file import BatchFile
from sensory.release.batch_records import DONE, ON_HOLD, OPEN
from sensory.release.batches import Disposition
from sensory.release.references import Bridge, Reference, ReferenceKind
from sensory.release.rule import ReleaseRule
from sensory.release.second_person import confirm, take_back
from sensory.sessions import workflow
from sensory.sessions.care import Care
from sensory.sessions.session import SessionDetails
from sensory.sessions.signing import PASSCODE, TYPED, Person, Right
from sensory.sessions.staff import change_person, enter_person
from sensory.store.repository import Repository

from .shared import ONE, PRODUCT, ROLE, agreed, desk_with, held, made, triangles

RELEASE, HOLD = Disposition.RELEASE, Disposition.HOLD
TWO = replace(ONE, second_person=True)
PEOPLE = {
    "Mira": (("panel leader",), (Right.AGREE,)),
    "Otto Brandt": (("food safety",), (Right.CLEAR,)),
    "Nora Sand": ((ROLE,), (Right.DECIDE,)),
    "Karim Aziz": (("head of quality", ROLE.upper()), (Right.DECIDE, Right.AGREE)),
    "Zoë Weiß": (("deputy",), (Right.DECIDE,)),
}


def signed(desk: Repository) -> Repository:
    for name, (roles, may) in PEOPLE.items():
        enter_person(desk, Person(name=name, roles=roles, may=may), who="Mira")
    return desk


def tasted(rule: ReleaseRule) -> Repository:
    """A batch with a finding of similarity, on which nothing is decided."""
    desk = signed(desk_with(rule))
    made(desk, "SC-1")
    held(desk, "SC-1", triangles(12, 36))
    return desk


@pytest.fixture
def desk():
    opened = tasted(TWO)
    yield opened
    opened.close()


def decide(desk: Repository, by: str, disposition: Disposition = RELEASE):
    reason = {"role": ROLE, "reason": "similar", "how": PASSCODE}
    return batch_desk.decide(desk, "SC-1", disposition, by=by, **reason)


def last(desk: Repository):
    return desk.noun_entries(product_desk.the_batch(desk, "SC-1"))[-1]


def test_each_sign_off_carries_name_role_and_proof():
    desk = tasted(ONE)
    record = decide(desk, "nora  sand")
    assert record.decision.signers == f"Nora Sand, {ROLE}"
    assert last(desk).content["signed"] == {"by": "Nora Sand", "role": ROLE, "how": PASSCODE}
    clearance = record.clearance
    assert (clearance.food_safe_by, clearance.food_safe_role) == ("Otto Brandt", "food safety")
    session = desk.session(record.tastings[0].session)
    assert (session.agreed_by, session.agreed_role) == ("Mira", "panel leader")
    (entry,) = [entry for entry in desk.entries(session.id) if entry.what == "agreed"]
    assert entry.content["signed"] == {"by": "Mira", "role": "panel leader", "how": TYPED}
    complained = complaint_desk.record_complaint(
        desk, "SC-1", "smells of rubber", received_on="2026-03-20", who="Otto Brandt"
    )
    complaint = complained.complaints[0]
    assert (complaint.recorded_by, complaint.recorded_role) == ("Otto Brandt", "food safety")
    file = batch_desk.batch_file(desk, "SC-1")
    assert f"Nora Sand, {ROLE} (signed in with a passcode)" in str(file.events().rows)
    assert desk.verify() == []
    for name in PEOPLE:
        assert f"'{name}'" not in str(_chained(desk))


def _chained(desk: Repository) -> list[object]:
    import sqlalchemy as sa

    from sensory.store import tables

    with desk._engine.connect() as connection:
        return [
            row
            for table in (tables.journal, tables.register, tables.sessions)
            for row in connection.execute(sa.select(table)).all()
        ]


@pytest.mark.parametrize("by", ["Mira", "Otto Brandt"])
def test_who_may_not_decide_is_refused_and_nothing_is_written(by):
    desk = tasted(ONE)
    before = len(desk.noun_entries(product_desk.the_batch(desk, "SC-1")))
    with pytest.raises(RecordError, match=f"{by} may not decide on batches"):
        decide(desk, by)
    with pytest.raises(RecordError, match="not among the people who sign"):
        decide(desk, "A. Stranger")
    with pytest.raises(RecordError, match="names release officer to sign; Zoë Weiß is deputy"):
        decide(desk, "Zoë Weiß")
    assert len(desk.noun_entries(product_desk.the_batch(desk, "SC-1"))) == before
    assert decide(desk, "Karim Aziz").decision.role == ROLE.upper()


def test_who_may_not_clear_agree_or_complain_is_refused():
    desk = signed(desk_with(ONE))
    made(desk, "SC-1", cleared=False)
    clear = {"food_safe": True, "allergens": (), "on": "2026-03-05", "who": "Mira"}
    with pytest.raises(RecordError, match="Nora Sand may not clear batches"):
        product_desk.clear_batch(desk, "SC-1", by="Nora Sand", **clear)
    product_desk.clear_batch(desk, "SC-1", by="Otto Brandt", **clear)
    for act in (
        lambda: product_desk.agree_rule(desk, PRODUCT, TWO, who="Nora Sand", why="safer"),
        lambda: product_desk.tolerate(desk, PRODUCT, (), who="Nora Sand", why="none"),
    ):
        with pytest.raises(RecordError, match="Nora Sand may not agree questions and rules"):
            act()
    with pytest.raises(RecordError, match="not among the people"):
        complaint_desk.record_complaint(
            desk, "SC-1", "rubber", received_on="2026-03-20", who="A. Stranger"
        )
    assert product_desk.the_batch(desk, "SC-1").complaints == ()


def test_question_is_agreed_by_who_may():
    desk = signed(desk_with(ONE))
    made(desk, "SC-1")
    mira = next(person for person in desk.people() if person.name == "Mira")
    change_person(desk, mira, replace(mira, may=()), who="Mira")
    with pytest.raises(RecordError, match="Mira may not agree questions"):
        agreed(desk, "SC-1")
    (session,) = desk.sessions()
    assert not session.agreed
    assert workflow.agree(desk, session.id, who="Karim Aziz").agreed_role == "head of quality"


def test_session_without_a_batch_is_cleared_by_who_may():
    desk = signed(desk_with(ONE))
    asked = {"details": SessionDetails(), "question": Question(protocol="TRIANGLE")}
    workflow.open_session(desk, "s1", **asked, who="Mira", why="by hand")

    def cleared(by: str, **care: str):
        there = desk.session("s1").details
        new = Care(cleared_by=by, cleared_on="2026-03-05", **care)
        details = replace(there, care=new)
        return workflow.describe(desk, "s1", details=details, who=by, how=PASSCODE).details.care

    before = len(desk.entries("s1"))
    with pytest.raises(RecordError, match="Nora Sand may not clear batches"):
        cleared("Nora Sand")
    with pytest.raises(RecordError, match="not among the people who sign"):
        cleared("A. Stranger")
    assert len(desk.entries("s1")) == before
    care = cleared("otto brandt")
    assert (care.cleared_by, care.cleared_role) == ("Otto Brandt", "food safety")
    signature = {"by": "Otto Brandt", "role": "food safety", "how": PASSCODE}
    assert desk.entries("s1")[-1].content["signed"] == signature
    workflow.describe(desk, "s1", details=SessionDetails(title="x", care=care), who="Mira")
    assert "signed" not in desk.entries("s1")[-1].content  # nobody cleared it anew
    smelled = Care(suspected="foreign matter", smelling_by="Mira", smelling_on="2026-03-05")
    with pytest.raises(RecordError, match="Mira may not clear batches"):
        workflow.describe(desk, "s1", details=SessionDetails(care=smelled), who="Mira")
    assert desk.session("s1").details.care == care
    assert desk.verify() == []


def test_smelling_is_allowed_by_who_may_clear():
    desk = signed(desk_with(ONE))
    made(desk, "SC-1", cleared=False)
    stated = {"by": "Otto Brandt", "on": "2026-03-05", "who": "Mira", "how": PASSCODE}
    product_desk.clear_batch(
        desk, "SC-1", food_safe=False, allergens=(), suspected="chemical taint", **stated
    )
    with pytest.raises(RecordError, match="Nora Sand may not clear batches"):
        smelling.allow_smelling(desk, "SC-1", **(stated | {"by": "Nora Sand"}))
    record = smelling.allow_smelling(desk, "SC-1", **stated)
    assert (record.clearance.smelling_by, record.clearance.smelling_role) == (
        "Otto Brandt",
        "food safety",
    )
    assert last(desk).content["signed"]["how"] == PASSCODE
    session = smelling.open_smelling(desk, "SC-1", who="Mira")
    assert session.details.care.smelling_role == "food safety"


def test_complaint_is_closed_by_who_signs():
    desk = tasted(ONE)
    complained = {"received_on": "2026-03-20", "who": "Mira", "owner": "Karim Aziz"}
    complaint_desk.record_complaint(desk, "SC-1", "smells of rubber", **complained)
    known = {"owner": "Karim Aziz", "cause": "line", "action": "cleaned", "who": "Mira"}
    complaint_desk.look_into(desk, "SC-1", 1, **known)
    again = {"food_safe": True, "by": "Otto Brandt", "on": "2026-03-21", "who": "Mira"}
    product_desk.clear_batch(desk, "SC-1", **again)
    decide(desk, "Nora Sand")
    with pytest.raises(RecordError, match="not among the people who sign"):
        complaint_desk.close_complaint(desk, "SC-1", 1, by="A. Stranger", who="Mira")
    closed = {"by": "karim aziz", "who": "Karim Aziz", "how": PASSCODE}
    (complaint,) = complaint_desk.close_complaint(desk, "SC-1", 1, **closed).complaints
    assert (complaint.closed_by, complaint.closed_role) == ("Karim Aziz", "head of quality")
    assert last(desk).content["signed"]["by"] == "Karim Aziz"
    (row,) = batch_desk.batch_file(desk, "SC-1").complaints().rows
    assert row[2] == "Mira, panel leader"
    assert row[-1].endswith("Karim Aziz, head of quality")


def test_exception_of_a_reference_is_decided_by_who_may():
    desk = signed(desk_with(ONE))

    def taken_over(before: str, first: str) -> Reference:
        steps = (
            Bridge(reference="S2", to="S1", held_on="2026-06-01", reason="S1 is used up",
                   decided_by=by, role=ROLE)
            for by in (before, first)
        )  # fmt: skip
        both = dict(zip(("bridged_to_previous", "bridged_to_first"), steps, strict=True))
        new = Reference(name="S2", product=PRODUCT, kind=ReferenceKind.FRESHLY_MADE,
                        made_on="2026-05-30", usable_until="2036-12-31", **both)  # fmt: skip
        reference_desk.take_over(desk, new, who="Mira", why="S1 ages", how=PASSCODE)
        return desk.noun(Reference, "S2")

    for by, match in (
        ("Mira", "Mira may not decide on batches"),
        ("A. Stranger", "not among the people who sign"),
        ("Zoë Weiß", "names release officer to sign; Zoë Weiß is deputy"),
    ):
        with pytest.raises(RecordError, match=match):
            taken_over(by, by)
    with pytest.raises(RecordError, match="decided by one person; got Nora Sand and Karim Aziz"):
        taken_over("Nora Sand", "Karim Aziz")
    assert product_desk.the_product(desk, PRODUCT).in_use == "S1"
    kept = taken_over("nora sand", "Nora Sand")
    assert {(each.decided_by, each.role) for each in kept.bridges} == {("Nora Sand", ROLE)}
    signature = {"by": "Nora Sand", "role": ROLE, "how": PASSCODE}
    assert desk.noun_entries(kept)[-1].content["signed"] == signature
    assert desk.verify() == []


def test_who_is_out_of_use_signs_nothing():
    desk = tasted(ONE)
    nora = next(person for person in desk.people() if person.name == "Nora Sand")
    change_person(desk, nora, replace(nora, active=False), who="Mira")
    with pytest.raises(RecordError, match="not among the people who sign"):
        decide(desk, "Nora Sand")


def test_two_people_decide_where_the_rule_asks_for_it(desk):
    first = decide(desk, "Nora Sand")
    assert (first.decision, first.proposed.decided_by) == (None, "Nora Sand")
    assert (first.state, first.waits_for) == (OPEN, "a second person to confirm the decision")
    assert last(desk).what == "proposed release"
    with pytest.raises(RecordError, match="another person has to confirm"):
        confirm(desk, "SC-1", by=" nora SAND")
    with pytest.raises(RecordError, match="Mira may not decide"):
        confirm(desk, "SC-1", by="Mira")
    assert product_desk.the_batch(desk, "SC-1") == first
    done = confirm(desk, "SC-1", by="Karim Aziz", how=PASSCODE)
    assert (done.state, done.proposed) == (DONE, None)
    assert done.decision.signers == (f"Nora Sand, {ROLE}; confirmed by Karim Aziz, {ROLE.upper()}")
    assert last(desk).what == "decided release"
    assert last(desk).content["signed"]["by"] == "Karim Aziz"
    assert desk.verify() == []
    with pytest.raises(RecordError, match="No decision on SC-1 waits"):
        confirm(desk, "SC-1", by="Karim Aziz")


def test_second_person_sends_it_back_with_a_reason(desk):
    decide(desk, "Nora Sand")
    with pytest.raises(RecordError, match="why the decision is not confirmed"):
        take_back(desk, "SC-1", by="Karim Aziz", reason=" ")
    back = take_back(desk, "SC-1", by="Karim Aziz", reason="look at the line first")
    assert (back.proposed, back.decisions, back.waits_for) == (None, (), "decision")
    assert (last(desk).what, last(desk).why) == ("not confirmed", "look at the line first")


def test_first_person_may_decide_otherwise_before_it_is_confirmed(desk):
    decide(desk, "Nora Sand")
    assert decide(desk, "Nora Sand", HOLD).proposed.disposition is HOLD
    assert confirm(desk, "SC-1", by="Karim Aziz").waits_for == ON_HOLD


def test_release_is_not_confirmed_when_something_stands_against_it_by_then(desk):
    decide(desk, "Nora Sand")
    stated = {"on": "2026-03-10", "who": "Mira"}
    product_desk.clear_batch(desk, "SC-1", food_safe=False, by="Otto Brandt", **stated)
    with pytest.raises(RecordError, match="decide anew"):
        confirm(desk, "SC-1", by="Karim Aziz")
    assert product_desk.the_batch(desk, "SC-1").decisions == ()


def test_complaint_drops_what_was_not_confirmed(desk):
    decide(desk, "Nora Sand")
    complained = {"received_on": "2026-03-20", "who": "Mira"}
    record = complaint_desk.record_complaint(desk, "SC-1", "smells of rubber", **complained)
    assert record.proposed is None
    with pytest.raises(RecordError, match="No decision on SC-1 waits"):
        confirm(desk, "SC-1", by="Karim Aziz")


def test_batch_keeps_the_rule_of_its_tasting():
    """A rule of one person stays so for batches that were tasted under it."""
    desk = tasted(ONE)
    product_desk.agree_rule(desk, PRODUCT, TWO, who="Mira", why="safer")
    assert decide(desk, "Nora Sand").state == DONE


def test_older_rules_ask_for_one_person():
    plain = ONE.to_dict()
    assert "second_person" not in plain
    assert ReleaseRule.from_dict(plain).second_person is False
    assert ReleaseRule.from_dict(TWO.to_dict()).second_person is True
    assert TWO.words()[-1].endswith("A second person confirms each decision.")
    with pytest.raises(ArgumentError, match="second_person must be True or False"):
        replace(ONE, second_person="yes")


def test_names_are_erased_from_sign_offs_too(desk):
    decide(desk, "Nora Sand")
    confirm(desk, "SC-1", by="Karim Aziz")
    karim = next(person for person in desk.people() if person.name == "Karim Aziz")
    change_person(desk, karim, replace(karim, active=False), who="Mira")
    desk.erase_person("Karim Aziz", who="Mira", why="asked")
    file: BatchFile = batch_desk.batch_file(desk, "SC-1")
    assert "confirmed by erased 1" in file.record.decision.signers
    assert last(desk).content["signed"]["by"] == "erased 1"
    assert desk.verify() == []

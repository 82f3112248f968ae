"""Who may agree, clear, decide and complain; and a decision that a second person confirms."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sensory.base.errors import ArgumentError, RecordError
from sensory.release import batch_desk, product_desk
from sensory.release.batch_file import BatchFile
from sensory.release.batch_records import DONE, OPEN
from sensory.release.batches import Disposition
from sensory.release.rule import ReleaseRule
from sensory.release.second_person import confirm, take_back
from sensory.sessions import workflow
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
    complained = product_desk.record_complaint(
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
        product_desk.record_complaint(
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
    assert confirm(desk, "SC-1", by="Karim Aziz").waits_for == "decision; it is held"


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
    record = product_desk.record_complaint(desk, "SC-1", "smells of rubber", **complained)
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

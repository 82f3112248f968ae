"""The page People on one machine and in the network mode, and forms in which somebody signs."""

from __future__ import annotations

import pytest
from streamlit.testing.v1 import AppTest

from sensory.screens import access
from sensory.screens.passcode import Keeper
from sensory.screens.places import login
from sensory.sessions.signing import PASSCODE, Person, Right
from sensory.sessions.staff import active_people, enter_person
from sensory.store.repository import open_store

from . import pages
from .pages import click, fill, keys, put, run, sound, submit, words

NAMED = pages.SCRIPT.replace(
    "demo=Path({demo!r}))",
    "demo=Path({demo!r}), how={how!r}, person=next((each for each in "
    "open_store({url!r}).people() if each.name == {person!r}), None))",
)


@pytest.fixture
def keeper(tmp_path, monkeypatch):
    """The network mode, with one who manages people."""
    keeper = Keeper(tmp_path / "record.access.json")
    monkeypatch.setattr(access, "_KEEPERS", [keeper])
    return keeper


@pytest.fixture
def store(url):
    opened = open_store(url)
    yield opened
    opened.close()


def entered(store, keeper, name: str, *may: Right, given: bool = False) -> Person:
    new = Person(name=name, roles=("release officer",), may=may)
    person = enter_person(store, new, who="Mira")
    if keeper:
        keeper.set_passcode(person.key, f"{name} cordial", given=given)
    return person


def shown_to(person: str, page: str, url: str, session: str = "") -> AppTest:
    """A page as it is shown to somebody who has signed in."""
    asked = {"session": session} if session else {}
    script = NAMED.format(
        page=page,
        url=url,
        demo=str(pages.DEMO),
        asked=asked,
        arguments=(),
        person=person,
        how=PASSCODE,
    )
    return sound(AppTest.from_string(script, default_timeout=60).run())


def names(store) -> list[str]:
    return [person.name for person in active_people(store)]


def test_one_machine_says_that_names_are_not_proven_and_adds_changes_and_removes(url, store):
    app = run("people", url, None)
    assert "names are typed, not proven" in words(app)
    assert "Nobody is on record yet" in words(app)
    submit(app, "person-add", person_name="Nora Sand")
    assert "Type the name and the role" in words(app)
    typed = {"person_name": "Nora Sand", "person_roles": "release officer, QA"}
    submit(app, "person-add", **typed, person_may_decide=True)
    (nora,) = active_people(store)
    assert (nora.roles, nora.may) == (("release officer", "QA"), (Right.DECIDE,))
    assert app.text_input(key="person-name").value == ""
    fill(app, person_chosen=nora.key)
    submit(app, "person-save", **{f"change-{nora.key}-may-clear": True})
    assert active_people(store)[0].may == (Right.CLEAR, Right.DECIDE)
    fill(app, person_chosen=nora.key)
    click(app, "person-out")
    assert names(store) == []
    assert not [field for field in app.text_input if field.proto.type == 1]  # no passcode here


def test_first_name_that_agrees_is_put_on_record_and_others_are_refused(url, store):
    session = put(store)
    app = run("question", url)
    assert "names are typed, not proven" in words(app)
    click(app, "agree")
    (leader,) = active_people(store)
    assert (leader.name, leader.may) == (session.details.leader, (Right.AGREE,))
    assert store.session("s1").agreed_role == "panel leader"
    entered(store, None, "Nora Sand", Right.DECIDE)
    put(store, here="s2")
    app = fill(run("question", url, "s2"), q_leader_s2="Nora Sand")
    click(app, "agree")
    assert "Nora Sand may not agree questions and rules" in words(app)
    assert not store.session("s2").agreed


def test_who_signed_in_signs_whatever_leader_is_named(url, store, keeper):
    entered(store, keeper, "Nora Sand", Right.AGREE)
    put(store)
    app = shown_to("Nora Sand", "question", url, "s1")
    assert "You sign as Nora Sand, release officer" in words(app).replace("**", "")
    click(app, "agree")
    entry = store.entries("s1")[-1]
    assert (entry.who, store.session("s1").agreed_by) == ("Nora Sand", "Nora Sand")
    assert entry.content["signed"]["how"] == PASSCODE


@pytest.mark.parametrize(
    ("may", "given", "why"),
    [
        ((Right.DECIDE,), False, "You may not agree questions and rules"),
        ((Right.AGREE,), True, "Somebody else chose your passcode"),
    ],
)
def test_who_may_not_sign_is_told_why_and_has_no_button(url, store, keeper, may, given, why):
    entered(store, keeper, "Nora Sand", *may, given=given)
    put(store)
    app = shown_to("Nora Sand", "question", url, "s1")
    assert why in words(app)
    assert app.button(key="agree").disabled


def test_who_manages_people_adds_one_who_chooses_another_passcode(url, store, keeper):
    entered(store, keeper, "Mira Lund", Right.MANAGE)
    app = shown_to("Mira Lund", "people", url)
    typed = {"person_name": "Otto Brandt", "person_roles": "food safety", "person_may_clear": True}
    submit(app, "person-add", **typed, person_passcode="short")
    assert "8 to 200 characters; got 5" in words(app)
    assert names(store) == ["Mira Lund"]
    submit(app, "person-add", **typed, person_passcode="first cordial")
    otto = active_people(store)[1]
    assert keeper.right(otto.key, "first cordial")
    assert keeper.given(otto.key)
    assert [(entry.who, entry.what) for entry in store.entries("")[-2:]] == [
        ("Mira Lund", "person entered"),
        ("Mira Lund", "passcode given"),
    ]
    app = shown_to("Otto Brandt", "people", url)
    assert "Choose your own before you sign" in words(app)
    assert "person-add" not in keys(app)
    cookie = keeper.cookie(otto.key)
    new = {"own_new": "own cordial", "own_again": "own cordial"}
    submit(app, "own-change", own_old="a wrong one", **new)
    assert "The present passcode is another one" in words(app)
    submit(app, "own-change", own_old="first cordial", **new)
    assert keeper.right(otto.key, "own cordial")
    assert not keeper.given(otto.key)
    assert keeper.signed_in(cookie) is None  # every sign-in has ended
    entry = store.entries("")[-1]
    assert (entry.who, entry.what) == ("Otto Brandt", "passcode changed")
    assert "cordial" not in str(store.entries(""))
    assert store.verify() == []


def test_wrong_present_passcodes_make_the_next_try_wait(url, store, keeper, monkeypatch):
    from sensory.screens import people
    from sensory.screens.patience import Patience

    monkeypatch.setattr(people, "_tries", Patience(lambda: 100.0))
    entered(store, keeper, "Otto Brandt", Right.CLEAR)
    app = shown_to("Otto Brandt", "people", url)
    for guess in range(4):
        new = {"own_new": "own cordial", "own_again": "own cordial"}
        submit(app, "own-change", own_old=f"guess number {guess}", **new)
    assert "Too many wrong tries" in words(app)


def test_last_who_manages_people_and_can_sign_in_stays(url, store, keeper):
    mira = entered(store, keeper, "Mira Lund", Right.MANAGE)
    entered(store, None, "Otto Brandt", Right.MANAGE)  # has no passcode
    app = shown_to("Mira Lund", "people", url)
    fill(app, person_chosen=mira.key)
    click(app, "person-out")
    assert "the last who may manage people" in words(app)
    submit(app, "person-save", **{f"change-{mira.key}-may-manage": False})
    assert "the last who may manage people" in words(app)
    assert active_people(store)[0].may == (Right.MANAGE,)
    assert keeper.right(mira.key, "Mira Lund cordial")


def test_who_is_removed_is_signed_out(url, store, keeper):
    entered(store, keeper, "Mira Lund", Right.MANAGE)
    otto = entered(store, keeper, "Otto Brandt", Right.CLEAR)
    cookie = keeper.cookie(otto.key)
    app = shown_to("Mira Lund", "people", url)
    fill(app, person_chosen=otto.key)
    click(app, "person-out")
    assert names(store) == ["Mira Lund"]
    assert keeper.signed_in(cookie) is None


def test_every_entry_names_somebody_signed_in_or_the_login_of_the_machine(url, store, keeper):
    entered(store, keeper, "Nora Sand", Right.AGREE)
    for app in (run("new", url, None), shown_to("Nora Sand", "new", url)):
        named = {"new_product_text": "sloe cordial", "new_reference_0_text": "R 1"}
        fill(app, new_batches=["SC-1"], **named)
        click(app, "start-session")
    who = [store.entries(session.id)[0].who for session in store.sessions()[::-1]]
    assert who == [login(), "Nora Sand"]
    assert login().endswith("login of this machine")


def test_login_is_said_not_to_be_known_where_the_machine_has_none(monkeypatch):
    def unknown() -> str:
        raise OSError("no such user")

    monkeypatch.setattr("getpass.getuser", unknown)
    assert login() == "login of this machine"

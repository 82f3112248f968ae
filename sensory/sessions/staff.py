"""People who sign: which roles they hold, and what each may agree, clear, decide or manage.

Why so
------
A sign-off is refused from a name that is not among these people, or may not do it. As long as
nobody is on record, any name is taken: a record that only Python writes needs no list. Whether a
name was typed or proven by a sign-in stands in the journal beside it (`Signature.how`).
People are never removed from the list, only put out of use: the journal names them.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from ..base.errors import RecordError
from ..base.spelling import same_person
from .signing import INVENTED, TYPED, Person, Right, Signature
from .store import Action, Store


def active_people(store: Store) -> list[Person]:
    """The people who sign, by name."""
    return [person for person in store.people() if person.active]


def who_is(people: Sequence[Person], name: str) -> Person | None:
    """The person of a name, however it is spelt."""
    return next((each for each in people if same_person(each.name) == same_person(name)), None)


def signature(
    store: Store, name: str, right: Right | None, *, role: str = "", how: str = TYPED
) -> Signature:
    """The signature of a person who may do it.

    Parameters
    ----------
    right : Right or None
        What is signed; None where everybody on record may.
    role : str
        The role that is asked for, where a rule names one.
    how : str
        `TYPED`, or how the identity was proven. `INVENTED` is for demo data only, whose people
        are not on record.

    Raises RecordError without a name, and, where people are on record, for somebody who is not
    among them, may not do it, or does not hold the role.
    """
    if not name.strip():
        raise RecordError("Say who signs: the name is empty.")
    signer = " ".join(name.split())
    known = active_people(store)
    if not known or how == INVENTED:
        return Signature(by=signer, role=role, how=how)
    person = who_is(known, signer)
    if person is None:
        raise RecordError(
            f"{signer} is not among the people who sign. Add the name on the page Panel."
        )
    if right is not None and right not in person.may:
        raise RecordError(f"{person.name} may not {right.words}. Who may stands on the page Panel.")
    held = person.role_for(role)
    if held is None:
        raise RecordError(
            f"The rule names {role} to sign; {person.name} is {', '.join(person.roles)}."
        )
    return Signature(by=person.name, role=held, how=how)


def enter_person(store: Store, person: Person, *, who: str) -> Person:
    """Put somebody on record who signs from now on, or again.

    Raises RecordError where the name is among them already.
    """
    with store.action(who=who, why=_reason(person)) as act:
        there = who_is(act.people(), person.name)
        if there is not None and there.active:
            raise RecordError(f"{there.name} is on record already: change the entry there.")
        if there is not None:
            return act.put_person(
                replace(person, key=there.key, name=there.name),
                expect=there,
                what="person entered again",
            )
        return act.put_person(replace(person, key=""), expect=None, what="person entered")


def change_person(
    store: Store, old: Person, new: Person, *, who: str, able: Collection[str] | None = None
) -> Person:
    """Change roles and rights of a person, or put the person out of use.

    `able` are the keys of those who can sign in, where that is needed to manage people.

    Raises RecordError where afterwards nobody could manage people any more who could before, or
    the entry was changed meanwhile.
    """
    with store.action(who=who, why=_reason(new)) as act:
        people = act.people()
        left = [new if person.key == old.key else person for person in people]
        if managers(people, able) and not managers(left, able):
            raise RecordError(
                f"{old.name} is the last who may manage people. Give that right to somebody else "
                "who can sign in first."
            )
        what = "person changed" if new.active else "person put out of use"
        return act.put_person(replace(new, name=old.name, key=old.key), expect=old, what=what)


def managers(people: Sequence[Person], able: Collection[str] | None = None) -> list[Person]:
    """Those who may manage people, and can sign in where that is needed."""
    return [
        person
        for person in people
        if person.active and Right.MANAGE in person.may and (able is None or person.key in able)
    ]


def appoint(store: Store, name: str, *, named_by: str, signs: bool) -> Person:
    """Have a person manage people, who is put on record if need be.

    `signs` says whether a new person may agree questions as well: not where the name is that of
    an office.
    """
    there = who_is(active_people(store), name)
    if there is None:
        rights = (Right.AGREE, Right.MANAGE) if signs else (Right.MANAGE,)
        role = "panel leader" if signs else "administrator"
        return enter_person(store, Person(name=name, roles=(role,), may=rights), who=named_by)
    if Right.MANAGE in there.may:
        return there
    return change_person(store, there, replace(there, may=(*there.may, Right.MANAGE)), who=named_by)


def note_passcode(act: Action, person: Person, *, own: bool) -> None:
    """Leave an entry that a passcode was set, by its person or by somebody else; nothing of it."""
    act.note_person(person, what="passcode changed" if own else "passcode given")


IN, OUT, REFUSED = "signed in", "signed out", "sign-in refused"


def note_door(store: Store, what: str, key: str, why: str) -> None:
    """Leave an entry that somebody came in, went, or was refused; nothing of what was typed.

    `key` is that of the person on record, empty where nobody of that name is.
    """
    with store.action(who="sign-in", why=why) as whole:
        person = next((each for each in whole.people() if each.key == key), None)
        came = person is not None and what != REFUSED
        with whole.action(who=person.name if person and came else "sign-in", why=why) as act:
            act.note_person(person, what=what)


def _reason(person: Person) -> str:
    """What the journal says of an entry in words; no name, which could not be erased."""
    if not person.active:
        return "signs no longer"
    rights = ", ".join(right.words for right in person.may) or "nothing"
    return f"{', '.join(person.roles)}; may {rights}"

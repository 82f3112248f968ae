"""Use cases of the register: who belongs to which panel, as what, qualified for what.

Why so
------
One person is one entry, however the name is spelt and in however many panels. The reason in the
journal never holds a name, which could not be erased from there.
"""

from __future__ import annotations

import typing
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import TypeVar

from ..base.errors import RecordError
from ..base.records import utc_now
from ..base.spelling import key_of, same_person, tidy_name
from ..catalogue.attributes import Vocabulary
from ..sessions.regulars import regular_assessors
from ..sessions.search import ALL
from ..sessions.session import JournalEntry
from ..sessions.sitting import Sitting
from ..sessions.store import Action, Store
from ..sessions.trained import TrainingSitting
from .assessors import Assessor, Membership, Qualification, Role, new_key
from .series import ScreeningRules, TakenSeries
from .training_rule import TrainingRule

AnyNoun = TypeVar(
    "AnyNoun", Assessor, TakenSeries, ScreeningRules, Vocabulary, TrainingSitting, TrainingRule
)
MOST = ALL
"""Nothing of the panel is cut."""


class PanelDesk(Store, typing.Protocol):
    """What the panel needs of a record, beside what sessions need."""

    def action(
        self, *, who: str, why: str = "", role: str = ""
    ) -> AbstractContextManager[PanelAction]: ...
    def noun(self, kind: type[AnyNoun], name: str) -> AnyNoun | None: ...
    def nouns(self, kind: type[AnyNoun], product: str = "", most: int = 1000) -> list[AnyNoun]: ...
    def noun_entries(self, noun: AnyNoun) -> list[JournalEntry]: ...
    def sittings(self, *, since: str = "", until: str = "") -> list[Sitting]: ...
    def sitting_months(self) -> list[str]: ...


class PanelAction(PanelDesk, Action, typing.Protocol):
    """One use case of the panel at work."""

    def action(
        self, *, who: str, why: str = "", role: str = ""
    ) -> AbstractContextManager[PanelAction]: ...
    def put_noun(
        self, noun: AnyNoun, *, expect: AnyNoun | None, what: str, why: str = ""
    ) -> None: ...


def the_register(desk: PanelDesk, panel: str = "", *, gone: bool = False) -> list[Assessor]:
    """The assessors by name, of one panel where it is named.

    Those who left or were erased are listed with `gone` only.
    """
    there = [
        each
        for each in desk.nouns(Assessor, most=MOST)
        if (gone or not each.left) and (not panel or _belongs(each, panel, gone))
    ]
    return sorted(there, key=lambda each: each.person.casefold())


def _belongs(assessor: Assessor, panel: str, gone: bool) -> bool:
    role = assessor.role_in(panel)
    return role is not None and (gone or role is not Role.LEFT)


def panels_of(assessors: Sequence[Assessor]) -> list[str]:
    """The panels by name, each once, in the spelling that came first."""
    names: dict[str, str] = {}
    for assessor in assessors:
        for member in assessor.panels:
            names.setdefault(key_of(member.panel), member.panel)
    return sorted(names.values(), key=str.casefold)


def who_is_it(assessors: Sequence[Assessor], name: str) -> Assessor | None:
    """The entry of a name, however it is spelt."""
    wanted = same_person(name)
    return next((each for each in assessors if same_person(each.person) == wanted), None)


def enter_assessor(
    desk: PanelDesk,
    name: str,
    *,
    panel: str,
    role: Role = Role.CANDIDATE,
    languages: Sequence[str] = (),
    entered_on: str = "",
    who: str,
) -> Assessor:
    """Put somebody into the register.

    Parameters
    ----------
    entered_on : str
        Date of entry, ISO 8601; today where it is not given.

    Raises RecordError for an empty name, or one that is in the register already.
    """
    with desk.action(who=who, why=f"{role} of {panel}") as act:
        return _entered(
            act, act.nouns(Assessor, most=MOST), name, panel, role, languages, entered_on
        )


def take_regulars(desk: PanelDesk, *, panel: str, who: str) -> int:
    """Put those who came to the latest sessions and are not in the register into it; how many."""
    names = regular_assessors(desk)
    with desk.action(who=who, why=f"regular assessors of {panel}") as act:
        there = act.nouns(Assessor, most=MOST)
        new = [name for name in names if who_is_it(there, name) is None]
        for name in new:
            _entered(act, there, name, panel, Role.ASSESSOR, (), "")
        return len(new)


def _entered(
    act: PanelAction,
    there: Sequence[Assessor],
    name: str,
    panel: str,
    role: Role,
    languages: Sequence[str],
    entered_on: str,
) -> Assessor:
    known = who_is_it(there, name)
    if known is not None:
        raise RecordError(f"{known.person} is in the register already: change the entry there.")
    new = Assessor(
        key=new_key(),
        person=tidy_name(name),
        entered_on=entered_on or utc_now()[:10],
        panels=(Membership(panel=" ".join(panel.split()), role=role),),
        languages=tuple(languages),
    )
    act.put_noun(new, expect=None, what="assessor entered")
    return new


def change_assessor(desk: PanelDesk, old: Assessor, new: Assessor, *, who: str) -> Assessor:
    """Change an entry: panels and roles, languages, qualifications, what is not served.

    Key, name and entry date stay as they are.

    Raises RecordError where the entry was changed meanwhile.
    """
    kept = replace(new, key=old.key, person=old.person, entered_on=old.entered_on)
    roles = "; ".join(f"{each.role} of {each.panel}" for each in kept.panels)
    with desk.action(who=who, why=roles) as act:
        act.put_noun(kept, expect=old, what="assessor changed")
    return kept


def qualify(
    desk: PanelDesk,
    assessor: Assessor,
    product: str,
    *,
    since: str,
    until: str = "",
    attributes: Sequence[str] = (),
    who: str,
) -> Assessor:
    """Qualify somebody for a product from a date on, in the place of an earlier qualification.

    `attributes` are those on which training has shown it.

    Raises RecordError for a date that cannot be, or where the entry was changed meanwhile.
    """
    new = Qualification(
        product=" ".join(product.split()), since=since, until=until, attributes=tuple(attributes)
    )
    others = (each for each in assessor.qualified if key_of(each.product) != key_of(product))
    changed = replace(assessor, qualified=(*others, new))
    with desk.action(who=who, why=f"qualified for {new.product}") as act:
        act.put_noun(changed, expect=assessor, what="assessor qualified")
    return changed

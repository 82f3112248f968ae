"""How many servings each person gets, in this session and on its day.

A serving is a cup that is poured: warm-up samples and labelled references count, cups that are
not served do not. Sessions of one day belong together, whoever leads them; a person is known by
the name, however it is spelled.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from ..base.spelling import same_person
from ..serving.cups import rows_to_serve
from .booth_plans import people_of, served_plan
from .care import UNITS, Care
from .exclusions import excluded_samples
from .search import ALL
from .session import StoredSession
from .store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Servings:
    """What one person gets: cups of this session, cups of the day, and what these hold together.

    `amounts`: by name of the substance, with its unit; only where all of its sessions state one.
    `above`: whether the day goes above the highest number that this session agreed.
    """

    assessor: str
    here: int
    today: int
    amounts: tuple[tuple[str, str], ...] = ()
    above: bool = False


def day_of(session: StoredSession) -> str:
    """The day of a session: when it was held, else when its question was agreed, or opened."""
    return session.details.held_on or (session.agreed_at or session.created_at)[:10]


def servings_of_the_day(store: Store, session_id: str) -> list[Servings]:
    """The servings of everybody in the plan of a session, and of the other plans of its day."""
    session = store.session(session_id)
    day, care = day_of(session), session.details.care
    here = poured_cups(store, session)
    together: Counter[str] = Counter()
    amounts: dict[str, Counter[str]] = {}
    others = [
        other
        for other in store.sessions(ALL, held=(day, day))
        if other.serving and day_of(other) == day and other.id != session.id
    ]
    for held in (session, *others):
        for name, cups in poured_cups(store, held).items():
            person = same_person(name)
            together[person] += cups
            amounts.setdefault(person, Counter()).update(_amounts(held.details.care, cups))
    return [
        Servings(
            assessor=name,
            here=here.get(name, 0),
            today=together[same_person(name)],
            amounts=tuple((what, f"{much:g}") for what, much in amounts[same_person(name)].items()),
            above=care.most is not None and together[same_person(name)] > care.most,
        )
        for name in people_of(store, session_id)
        if same_person(name) in amounts
    ]


def poured_cups(store: Store, session: StoredSession) -> dict[str, int]:
    """Cups to pour by name."""
    plan = served_plan(store, session.id)
    if plan is None:
        return {}
    poured = rows_to_serve(plan, store.cells(session.id), excluded_samples(store, session.id))
    return {
        **dict.fromkeys(plan.assessors, 0),
        **Counter(row.assessor for row in poured),
    }


def _amounts(care: Care, cups: int) -> dict[str, float]:
    return {
        f"{substance.called}, {UNITS[substance.kind]}": substance.amount * cups
        for substance in care.contains
        if substance.amount is not None
    }

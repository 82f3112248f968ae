"""Whom to invite to a session: those who are qualified for the product, and rested.

Why so
------
What rests on whom is counted from the plans and ballots on record, whoever leads the sessions, so
nothing has to be kept beside them. The numbers at which somebody is tired are conventions of the
plant: arguments with a default, without a source. A sample that is not for somebody takes the
person off the list of that session without a word of why.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from ..base.checks import one_count
from ..base.results import several
from ..base.spelling import key_of, same_person
from ..serving.ballot_line import NOT_COME, lines_by_assessor, lines_from
from ..sessions.care import ALCOHOL
from ..sessions.search import ALL
from ..sessions.servings import day_of, poured_cups
from ..sessions.session import StoredSession
from ..sessions.store import Store
from .assessors import SERVING_ROLES, Assessor, Role

MOST_SITTINGS, MOST_ALCOHOL = 5, 6
"""Sittings a week and servings with alcohol a day that nobody goes beyond, as long as the plant
has agreed no others: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Invitee:
    """Somebody who could be invited, or why not.

    `role`: in the panel asked for.
    `sittings`: in the week of the session, this session left out.
    `alcohol`: servings with alcohol on its day, in other sessions.
    `reasons`: why the person is not proposed; empty for those who are.
    """

    assessor: Assessor
    role: Role
    sittings: int
    alcohol: int
    reasons: tuple[str, ...] = ()

    @property
    def proposed(self) -> bool:
        """Whether nothing speaks against inviting the person."""
        return not self.reasons


def invitees(
    store: Store,
    session_id: str,
    assessors: Sequence[Assessor],
    *,
    panel: str,
    product: str = "",
    roles: Collection[Role] = SERVING_ROLES,
    most_sittings: int = MOST_SITTINGS,
    most_alcohol: int = MOST_ALCOHOL,
) -> list[Invitee]:
    """The members of a panel, those to be invited first, the most rested of them in front.

    Parameters
    ----------
    assessors : sequence of Assessor
        The register.
    product : str
        For which they have to be qualified on the day of the session; with an empty name nobody
        is asked for a qualification.
    roles : collection of Role
        That may take part.
    most_sittings, most_alcohol : int
        Sittings in the week and servings with alcohol on the day, beyond which nobody is
        proposed; this session counts as a sitting.

    Raises ArgumentError for a number that is none or below 1, RecordError for no such session.
    """
    week = one_count("most_sittings", most_sittings, at_least=1)
    drinks = one_count("most_alcohol", most_alcohol, at_least=1)
    session = store.session(session_id)
    sittings, alcohol = _load(store, session)
    served = {key_of(name) for name in (product, *_served(session)) if name.strip()}
    listed = []
    for assessor in assessors:
        role = assessor.role_in(panel)
        if role is None or role is Role.LEFT or assessor.erased:
            continue
        person = same_person(assessor.person)
        reasons = [] if role in roles else [f"is {role}"]
        if product and not assessor.qualified_for(product, day_of(session)):
            reasons.append(f"not qualified for {product} on {day_of(session)}")
        if served & set(map(key_of, assessor.not_these)):
            reasons.append("not this sample")
        if sittings[person] >= week:
            reasons.append(f"{several(sittings[person], 'sitting')} this week already")
        if _has_alcohol(session) and alcohol[person] >= drinks:
            reasons.append(f"{several(alcohol[person], 'serving')} with alcohol today already")
        listed.append(
            Invitee(
                assessor=assessor,
                role=role,
                sittings=sittings[person],
                alcohol=alcohol[person],
                reasons=tuple(reasons),
            )
        )
    return sorted(listed, key=_rested_first)


def _rested_first(invitee: Invitee) -> tuple[bool, int, int, str]:
    rested = (invitee.sittings, invitee.alcohol)
    return (not invitee.proposed, *rested, invitee.assessor.person.casefold())


def _served(session: StoredSession) -> Iterable[str]:
    """Names and batches of the samples, as the question and the description have them."""
    for sample in session.details.samples:
        yield sample.name
        yield sample.batch
    yield from str(session.question.settings.get("samples", "")).split(";")


def _has_alcohol(session: StoredSession) -> bool:
    return any(substance.kind == ALCOHOL for substance in session.details.care.contains)


def _load(store: Store, session: StoredSession) -> tuple[Counter[str], Counter[str]]:
    """By person the sittings of the week, and the servings with alcohol of the day."""
    day = day_of(session)
    monday = date.fromisoformat(day) - timedelta(days=date.fromisoformat(day).weekday())
    first, last = (f"{monday + timedelta(days=days)}" for days in (0, 6))
    sittings: Counter[str] = Counter()
    alcohol: Counter[str] = Counter()
    for other in store.sessions(ALL, held=(first, last)):
        held = day_of(other)
        if other.id == session.id or not first <= held <= last:
            continue
        lines = lines_by_assessor(lines_from(store.cells(other.id)))
        there = {
            same_person(name)
            for name, mine in lines.items()
            if not all(line.not_served == NOT_COME or line.excused for line in mine)
        }
        sittings.update(there - {""})
        if held == day and _has_alcohol(other):
            alcohol.update(_cups_by_person(store, other))
    return sittings, alcohol


def _cups_by_person(store: Store, session: StoredSession) -> Counter[str]:
    """Cups by person: of the plan, or a cup a row where ballots were typed without a plan."""
    poured: Counter[str] = Counter()
    for name, cups in poured_cups(store, session).items():
        poured[same_person(name)] += cups
    if not poured:
        for line in lines_from(store.cells(session.id)):
            poured[same_person(line.assessor)] += len(line.codes) or 1
    return poured

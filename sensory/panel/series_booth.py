"""The booth of a screening series: a link for the candidate, answers that come back into it.

Why so
------
It is a booth as every other: a link of which the record keeps a hash, cautions and consent before
the first sample, answers kept as they are given, and nothing of what is in the cups. What was sent
is not shown again. It says nothing of right or wrong, nor of the rule: a candidate who knows how it
stands answers otherwise. Of a refusal no reason is asked and none kept.

Who is under 18 tastes nothing before a guardian's written consent is on record: its day, and by the
journal who put it there. The form with its names stays on paper. Age is not kept; of age again is
what the leader says.
"""

from __future__ import annotations

import hmac
import re
import secrets
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from ..base.errors import RecordError, UnreachableError
from ..base.languages import ballot_words
from ..base.records import utc_now
from ..sessions.booth_plans import hash_of
from ..sessions.care import Care, told_before
from ..sessions.signing import BOOTH
from .assessors import Assessor
from .register import PanelAction, PanelDesk
from .series import NO_ANSWER, Series, SeriesBooth, TakenSeries
from .series_plan import Asked, checked_answers, due, questions

PREFIX = "s-"
"""How the link of a series begins: that of a session begins with its number."""
_TOKEN = re.compile(r"s-([0-9a-f]{32})\.([A-Za-z0-9_-]{32})")


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesVisit:
    """What a valid link shows.

    `told`: what is read before consent. `smelling`: whether samples are smelled only.
    `minor`, `barred`: under 18; and without a guardian's consent on record.
    `closed`, `done`, `stopped`, `refused`, `consented`: the outcome is recorded; nothing more is
        asked; felt unwell; does not want to taste today; wants to.
    `numbers`, `asked`, `given`: the questions that wait: their places in the series, their words
        and answers so far; one set of triangles, or all of another series.
    """

    assessor: str
    series: Series
    language: str
    told: tuple[str, ...]
    smelling: bool
    minor: bool
    barred: bool
    closed: bool
    done: bool
    stopped: bool
    refused: bool
    consented: bool
    numbers: tuple[int, ...]
    asked: tuple[Asked, ...]
    given: tuple[str, ...]


def open_series_booth(
    desk: PanelDesk, taken: TakenSeries, *, language: str = "en", who: str
) -> tuple[TakenSeries, str]:
    """A new link for a series; an older one ends. Answers so far stay.

    Returns the series and the token of the link, which is kept nowhere.

    Raises RecordError where the outcome is recorded, the series was changed meanwhile, or a
    guardian's consent is needed; ArgumentError for an unknown language.
    """
    ballot_words(language)
    if not taken.open:
        raise RecordError("The outcome of this series is recorded: nothing more is asked.")
    taken.check_guardian()
    token = f"{PREFIX}{taken.key}.{secrets.token_urlsafe(24)}"
    new = replace(taken, booth=SeriesBooth(token=hash_of(token), language=language))
    with desk.action(who=who, why=str(taken.series)) as act:
        act.put_noun(new, expect=taken, what="booth opened")
    return new, token


def series_visit(desk: PanelDesk, token: str) -> SeriesVisit | None:
    """What a link shows; None where it is not valid. UnreachableError while the record is away."""
    at = _place(desk, token)
    return _shown(*at) if at else None


def consent_to_series(desk: PanelDesk, token: str, *, wants: bool = True) -> None:
    """Record that the candidate read the cautions and wants to taste, or not today.

    Raises RecordError for a link that is not valid, a series that is ended or stopped, or a minor
    without a guardian's consent on record.
    """
    with _at(desk, token) as (act, taken, booth):
        if booth.consented or booth.refused:
            return
        if wants:
            taken.check_guardian()
        now = replace(booth, **{"consented" if wants else "refused": utc_now()})
        _put(act, taken, replace(taken, booth=now), "consent given" if wants else "not today")


def say_under_age(desk: PanelDesk, token: str) -> None:
    """Say at the booth, before consent, that one is under 18; a consent on record stands.

    Raises RecordError as `consent_to_series`.
    """
    with _at(desk, token) as (act, taken, booth):
        if not (taken.minor or booth.consented):
            _put(act, taken, replace(taken, minor=utc_now()), "under 18, said at the booth")


def state_guardian(
    desk: PanelDesk, taken: TakenSeries, consent_on: str = "", *, who: str
) -> TakenSeries:
    """State that the candidate is under 18, and of which day the guardian's consent on paper is.

    Raises RecordError where the outcome is recorded, the series was changed meanwhile, or for a day
    to come.
    """
    if consent_on > utc_now()[:10]:
        raise RecordError(f"The guardian's consent cannot be of {consent_on}, still to come.")
    new = replace(taken, minor=taken.minor or utc_now(), guardian_on=consent_on)
    why = f"guardian's written consent of {consent_on}" if consent_on else "no guardian's consent"
    return _stated(desk, taken, new, f"under 18; {why}", who)


def state_of_age(desk: PanelDesk, taken: TakenSeries, *, who: str) -> TakenSeries:
    """Take back that the candidate is under 18. Raises RecordError as `state_guardian`."""
    return _stated(desk, taken, replace(taken, minor="", guardian_on=""), "of age", who)


def _stated(
    desk: PanelDesk, taken: TakenSeries, new: TakenSeries, why: str, who: str
) -> TakenSeries:
    if not taken.open:
        raise RecordError("The outcome of this series is recorded: nothing more is stated.")
    with desk.action(who=who, why=why) as act:
        _put(act, taken, new, "minor")
    return new


def keep_answers(
    desk: PanelDesk, token: str, answers: dict[int, str], *, send: bool = False
) -> SeriesVisit:
    """Keep answers by their places in the series; with `send` they are shown no more.

    Returns what the link shows now.

    Raises RecordError before consent, for a question that does not wait or an answer that it does
    not have, for a name or code given twice, or where something is open that is to be sent.
    """
    with _at(desk, token) as (act, taken, booth):
        if not booth.consented:
            raise RecordError("Not before the cautions are read and consent is given.")
        taken.check_guardian()
        waiting = _waiting(taken, booth)
        if strange := [at for at in answers if at not in waiting]:
            raise RecordError(f"Question {strange[0] + 1} of this series does not wait.")
        given = [*taken.answers, *[""] * (len(questions(taken)) - len(taken.answers))]
        for at, answer in answers.items():
            given[at] = answer
        new = replace(taken, answers=checked_answers(taken, _without_end(given)))
        if send:
            if missing := [at + 1 for at in waiting if not given[at]]:
                raise RecordError(f"Still to be answered: {', '.join(map(str, missing))}.")
            if taken.series is not Series.TRIANGLES:
                new = replace(new, booth=replace(booth, sent=utc_now()))
        if new != taken:
            _put(act, taken, new, "series answered")
    return _shown(new, _person(desk, new))


def stop_series(desk: PanelDesk, token: str) -> None:
    """Record that the candidate feels unwell: nothing more is asked through this link.

    Raises RecordError for a link that is not valid, or a series that is ended.
    """
    with _at(desk, token) as (act, taken, booth):
        new = replace(taken, booth=replace(booth, stopped=utc_now()))
        _put(act, taken, new, "stopped by the candidate")


def _place(desk: PanelDesk, token: str) -> tuple[TakenSeries, Assessor] | None:
    match = _TOKEN.fullmatch(token or "")
    if not match:
        return None
    try:
        taken = desk.noun(TakenSeries, match.group(1))
    except UnreachableError:
        raise
    except RecordError:
        return None
    if taken is None or taken.booth is None:
        return None
    if not hmac.compare_digest(taken.booth.token, hash_of(token)):
        return None
    person = desk.noun(Assessor, taken.assessor)
    return (taken, person) if person is not None and not person.erased else None


def _person(desk: PanelDesk, taken: TakenSeries) -> Assessor:
    person = desk.noun(Assessor, taken.assessor)
    if person is None:
        raise RecordError("Whoever takes this series is no longer in the register.")
    return person


@contextmanager
def _at(desk: PanelDesk, token: str) -> Iterator[tuple[PanelAction, TakenSeries, SeriesBooth]]:
    """An action of the candidate at the booth to which a link leads."""
    with desk.action(who="") as whole:
        at = _place(whole, token)
        if at is None or at[0].booth is None:
            raise RecordError("This link is not valid, or no longer.")
        (taken, person), booth = at, at[0].booth
        if not taken.open:
            raise RecordError("This series is closed.")
        if booth.stopped:
            raise RecordError("Tasting is stopped: the panel leader comes.")
        with whole.action(who=person.person, role=BOOTH) as act:
            yield act, taken, booth


def _put(act: PanelAction, taken: TakenSeries, new: TakenSeries, what: str) -> None:
    act.put_noun(new, expect=taken, what=what)


def _waiting(taken: TakenSeries, booth: SeriesBooth) -> list[int]:
    """Places of the questions that wait: the next triangle, or all of a series that is judged as
    a whole until it is sent."""
    if taken.series is not Series.TRIANGLES:
        return [] if booth.sent else list(range(len(questions(taken))))
    known = {at for at, each in enumerate(taken.answers) if each}
    return [at for at in range(due(taken)) if at not in known][:1]


def _shown(taken: TakenSeries, person: Assessor) -> SeriesVisit:
    booth = taken.booth or SeriesBooth(token="", language="en")
    words = ballot_words(booth.language)
    smelling = taken.series is Series.ODOURS
    waiting = _waiting(taken, booth) if taken.open else []
    asked, given = questions(taken), [*taken.answers, *[""] * len(questions(taken))]
    told = [words["caution_general"], words["caution_smell_only"]]
    if not smelling:
        named: dict[str, str] = words["series"]["samples"]
        made = dict.fromkeys(named.get(each.made, each.made) for each in taken.samples)
        told = [
            words["series"]["contains"].format(made="; ".join(made)),
            *told_before(Care(), words),
        ]
    return SeriesVisit(
        assessor=person.person,
        series=taken.series,
        language=booth.language,
        told=tuple(told),
        smelling=smelling,
        minor=bool(taken.minor),
        barred=taken.waits_for_guardian,
        closed=not taken.open,
        done=not waiting,
        stopped=bool(booth.stopped),
        refused=bool(booth.refused),
        consented=bool(booth.consented),
        numbers=tuple(waiting),
        asked=tuple(asked[at] for at in waiting),
        given=tuple(given[at] for at in waiting),
    )


def _without_end(given: Sequence[str]) -> list[str]:
    """Answers without the empty ones at their end."""
    last = max((at for at, each in enumerate(given, 1) if each), default=0)
    return list(given[:last])


def offered(visit: SeriesVisit, at: int, given: Sequence[str]) -> list[str]:
    """The answers that are free for a question: but for scores each may be given once, 'no answer'
    always."""
    if visit.series is Series.SCALE:
        return list(visit.asked[at].answers)
    taken = {each for place, each in enumerate(given) if place != at and each != NO_ANSWER}
    return [each for each in visit.asked[at].answers if each not in taken]

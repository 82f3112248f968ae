"""Use cases of screening: a series is begun, answered and ended, and a role is decided.

Why so
------
The rule says what the answers show; a person decides on the role, for a series is never all that
is known of somebody. Each try counts: whoever may try until it works passes some day, so the risk
with the number of tries stands beside a further one, those that were given up included. Who needs
attention by the history is proposed for training, not put out of the panel: history is no test of
its own that was agreed with the person.
"""

from __future__ import annotations

import secrets
from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from ..base.errors import RecordError
from ..base.records import utc_now
from ..base.spelling import key_of
from ..serving.chance import new_seed
from .assessors import SERVING_ROLES, Assessor, Membership, Role, RoleDecision
from .attention import Attention
from .register import MOST, PanelDesk, who_is_it
from .screening_rules import Verdict
from .series import RULES, Ending, PlannedSample, ScreeningRules, Series, TakenSeries
from .series_plan import checked_answers, cups_of, judged, rule_of

_ENDS = {Verdict.PASS: Ending.PASSED, Verdict.FAIL: Ending.NOT_PASSED}


def the_screening_rules(desk: PanelDesk) -> ScreeningRules:
    """The plant's numbers; the usual ones as long as nobody changed them."""
    return desk.noun(ScreeningRules, RULES) or ScreeningRules()


def keep_screening_rules(desk: PanelDesk, rules: ScreeningRules, *, who: str) -> ScreeningRules:
    """Change the plant's numbers; series that have begun keep theirs."""
    with desk.action(who=who, why="rules of screening") as act:
        there = act.noun(ScreeningRules, RULES)
        if rules != (there or ScreeningRules()):
            act.put_noun(rules, expect=there, what="rules of screening")
    return rules


def series_taken(desk: PanelDesk, assessor: Assessor) -> list[TakenSeries]:
    """The series of an assessor by day, the open ones too."""
    return desk.nouns(TakenSeries, assessor.key, MOST)


def begin_series(
    desk: PanelDesk,
    assessor: Assessor,
    series: Series,
    samples: Sequence[PlannedSample],
    *,
    cautions: Sequence[str],
    who: str,
    seed: int | None = None,
) -> TakenSeries:
    """Begin a series of somebody in the register, by the plant's numbers of this day.

    Parameters
    ----------
    samples : sequence of PlannedSample
        For a ranking the weakest first.
    cautions : sequence of str
        Keys of the cautions answered with yes; see `sessions.session.CAUTIONS`.
    seed : int, optional
        Of the orders and codes; one that nobody can guess where it is not given.

    Raises RecordError where a caution is not answered with yes, the samples do not fit, the person
    left or was erased, or a series of the kind is open.
    """
    with desk.action(who=who, why=str(series)) as act:
        here = act.noun(Assessor, assessor.key)
        if here is None or here.left:
            raise RecordError("Only somebody who belongs to a panel takes a series.")
        if any(each.open and each.series is series for each in series_taken(act, here)):
            raise RecordError(f"A series of {series} is open: end it before the next begins.")
        rules = the_screening_rules(act)
        rule_of(series, rules, samples)
        new = TakenSeries(
            key=secrets.token_hex(16),
            assessor=here.key,
            series=series,
            started_on=utc_now()[:10],
            rules=rules,
            samples=tuple(samples),
            cups=cups_of(series, rules, samples, new_seed() if seed is None else seed),
            cautions=tuple(cautions),
        )
        act.put_noun(new, expect=None, what="series begun")
    return new


def answer_series(
    desk: PanelDesk, taken: TakenSeries, answers: Sequence[str], *, who: str
) -> TakenSeries:
    """Write the answers of a series in the place of those before.

    Raises RecordError for an answer that cannot be, where the outcome is recorded already, the
    series was changed meanwhile, or a guardian's consent is needed.
    """
    if not taken.open:
        raise RecordError("The outcome of this series is recorded: its answers stand.")
    taken.check_guardian()
    new = replace(taken, answers=checked_answers(taken, answers))
    with desk.action(who=who, why=str(taken.series)) as act:
        act.put_noun(new, expect=taken, what="series answered")
    return new


def end_series(desk: PanelDesk, taken: TakenSeries, *, who: str, give_up: bool = False) -> Ending:
    """Record how a series ended: by its rule, or as given up.

    Raises RecordError while the rule asks for more answers, or where the series is changed or
    ended already.
    """
    if not taken.open:
        raise RecordError("The outcome of this series is recorded already.")
    judgement = judged(taken)
    ending = _ENDS.get(judgement.verdict) if judgement else None
    if give_up:
        ending = ending or Ending.GIVEN_UP
    if ending is None:
        raise RecordError("The series is not decided: serve and enter the next set.")
    new = replace(taken, ending=ending, ended_on=utc_now()[:10])
    with desk.action(who=who, why=f"{taken.series}: {ending}") as act:
        act.put_noun(new, expect=taken, what="series ended")
    return ending


def decide_role(
    desk: PanelDesk,
    assessor: Assessor,
    panel: str,
    role: Role,
    *,
    requalify_by: str = "",
    who: str,
) -> Assessor:
    """Give somebody a role in a panel, with the day by which to screen again.

    Parameters
    ----------
    requalify_by : str
        Day, ISO 8601; kept for assessors and experts only.

    Raises RecordError for a day that cannot be, a panel to which the person does not belong, or
    where the entry was changed meanwhile.
    """
    before = assessor.role_in(panel)
    if before is None:
        raise RecordError(f"The person does not belong to {panel}: enter that in the register.")
    decision = RoleDecision(
        panel=panel,
        role=role,
        before=before,
        decided_on=utc_now()[:10],
        decided_by=who,
        requalify_by=requalify_by if role in SERVING_ROLES else "",
    )
    panels = tuple(
        Membership(panel=each.panel, role=role) if key_of(each.panel) == key_of(panel) else each
        for each in assessor.panels
    )
    new = replace(assessor, panels=panels, decisions=(*assessor.decisions, decision))
    with desk.action(who=who, why=f"{role} of {panel}") as act:
        act.put_noun(new, expect=assessor, what="role decided")
    return new


def months_later(day: str, months: int) -> str:
    """The same day so many months later, or the last of its month.

    >>> months_later("2026-08-31", 6), months_later("2026-11-28", 12)
    ('2027-02-28', '2027-11-28')
    """
    start = date.fromisoformat(day)
    year, month = divmod(start.year * 12 + start.month - 1 + months, 12)
    last = monthrange(year, month + 1)[1]
    return date(year, month + 1, min(start.day, last)).isoformat()


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """That somebody should be trained or screened again, and why.

    `reasons`: from the history; empty where only the day is due.
    `requalify_by`: day, ISO 8601; empty where none was set.
    `overdue`: whether that day is past.
    """

    assessor: Assessor
    reasons: tuple[str, ...]
    requalify_by: str
    overdue: bool

    def says(self) -> str:
        """The proposal in a sentence."""
        name = self.assessor.person
        when = "no day is set for the next screening"
        if self.requalify_by:
            when = f"screen again by {self.requalify_by}"
            when = f"the next screening was due by {self.requalify_by}" if self.overdue else when
        if self.reasons:
            return f"{name}: retraining proposed ({', '.join(self.reasons)}); {when}."
        return f"{name}: {when}."


def proposals(
    register: Sequence[Assessor], seen: Attention, day: str, *, within: int = 30
) -> list[Proposal]:
    """Who should be trained or screened again, those with reasons first.

    Parameters
    ----------
    seen : Attention
        Who needs attention; somebody with a reason is proposed for training.
    day : str
        Today, ISO 8601.
    within : int
        Days before the next screening from which on it is told.
    """
    reasons: dict[str, list[str]] = {}
    for row in seen.reasons.to_dict("records"):
        member = who_is_it(register, str(row["assessor"]))
        if member is not None:
            words = " in ".join(filter(None, (str(row["reason"]), str(row["attribute"]))))
            reasons.setdefault(member.key, []).append(words)
    told = []
    for member in register:
        if member.left:
            continue
        by, why = member.requalify_by, tuple(reasons.get(member.key, ()))
        soon = by and (date.fromisoformat(by) - date.fromisoformat(day)).days <= within
        if why or soon:
            told.append(
                Proposal(
                    assessor=member, reasons=why, requalify_by=by, overdue=bool(by) and by < day
                )
            )
    return sorted(told, key=lambda each: (not each.reasons, each.requalify_by or "9999"))

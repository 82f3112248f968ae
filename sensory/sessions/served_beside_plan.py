"""What was served beside what was planned: the plan's lines against the ballots on record."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from ..serving.marks import (
    CONSENT,
    DEPARTURE,
    LEFT,
    NOT_COME,
    NOT_SERVED,
    NOT_TODAY,
    SENT,
    WARM_UP,
    codes_of,
    planned_cells,
)
from ..serving.plan import ServingPlan
from .afterwards import NO_ANSWER
from .serving import seats_of
from .session import StoredSession

Cells = Mapping[int, Mapping[str, str]]
COLUMNS = ("order", "pair", "sample")
"""Where a ballot line says what was served."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """What the report states of a serving with a plan.

    Attributes
    ----------
    came : str
        How many assessors were planned, and how many came as far as their ballots show.
    confirmed : str
        Whether it was confirmed that all, or all else, was served as planned, and when.
    departures : tuple of str
        Each departure: planned, served, and its reason.
    allergens : dict of str to str
        What was declared at the serving, by sample.
    """

    came: str
    confirmed: str
    departures: tuple[str, ...]
    allergens: dict[str, str]

    @property
    def lines(self) -> tuple[str, ...]:
        """All of it, a line each."""
        return (self.came, self.confirmed, *self.departures)


def served_beside_plan(session: StoredSession, cells: Cells) -> Served | None:
    """Compare the plan's lines with the ballots; None where no plan is on record.

    Persons are not named: a line goes by its row, and what an assessor is not served by its
    number only.
    """
    if not session.serving:
        return None
    plan = session.serving.plan
    people = list(dict.fromkeys(texts.get("assessor", "") for _, texts in sorted(cells.items())))
    seats = seats_of(people)
    departures = (*_otherwise(plan, cells, seats), *_not_served(cells))
    confirmed = session.serving.confirmed
    what = "all else" if departures else "all"
    return Served(
        came=_came(plan, cells, seats),
        confirmed=f"{what.capitalize()} was served as planned, confirmed {_minute(confirmed.at)}."
        if confirmed
        else f"It is not confirmed that {what} was served as planned.",
        departures=departures,
        allergens=session.serving.allergens,
    )


def same_serving(column: str, one: str, other: str) -> bool:
    """Whether two texts of a column say the same.

    >>> same_serving("order", "a-b b", "ABB"), same_serving("sample", "Batch  1", "batch 1")
    (True, True)
    """
    if column == "sample":
        return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()
    return re.sub(r"[\W_]+", "", one).upper() == re.sub(r"[\W_]+", "", other).upper()


def _came(plan: ServingPlan, cells: Cells, seats: Mapping[str, str]) -> str:
    first = dict(reversed([(seat, what) for what, seat in plan.changes]))
    last = {seat: what for what, seat in plan.changes}
    late = sum(what == "late" for what in last.values())
    absent = sum(what == "without" and first[seat] == "without" for seat, what in last.items())
    new = sum(first[seat] == "late" for seat in last if seat in plan.assessors)
    planned = len(plan.assessors) - new + absent
    parts = [f"{planned} assessor{'s' * (planned != 1)} planned"]
    parts += [f"{absent} {NOT_COME}"] if absent else []
    parts += [f"{late} came late"] if late else []
    said, there = ", ".join(parts), set(plan.assessors)
    begun = {seats[name] for name in came(cells)} & there
    if not begun:
        return f"{said}: who came is not known yet."
    excused = there & {
        seats[texts.get("assessor", "")]
        for texts in cells.values()
        if texts.get(NOT_SERVED) == NOT_TODAY or texts.get(CONSENT, "").startswith(NOT_TODAY)
    }
    counts = [f"{len(begun)} came"]
    counts += [f"{len(excused & begun)} of them {NOT_TODAY}"] if excused & begun else []
    counts += [f"{len(excused - begun)} {NOT_TODAY}"] if excused - begun else []
    silent = len(there - begun - excused)
    counts += [f"{silent} without an answer"] if silent else []
    return f"{said}: {', '.join(counts)}."


def came(cells: Cells) -> set[str]:
    """Names of those who came: they consented at a booth, left a ballot out, or have an answer.

    Parameters
    ----------
    cells : mapping of int to mapping of str to str
        Ballot lines of a serving plan.

    Examples
    --------
    >>> sorted(came({1: {"assessor": "Anna", "code": "412", "score": "3"},
    ...              2: {"assessor": "Bo", "code": "837", "comment": "late"},
    ...              3: {"assessor": "Cleo", "code": "265", "consent": "2026-09-14T10:31"}}))
    ['Anna', 'Cleo']
    """
    return {
        texts.get("assessor", "")
        for texts in cells.values()
        if any(text and name not in NO_ANSWER for name, text in texts.items())
        or any(texts.get(mark) for mark in (SENT, WARM_UP, LEFT))
        or (texts.get(CONSENT) and not texts[CONSENT].startswith(NOT_TODAY))
    }


def _otherwise(plan: ServingPlan, cells: Cells, seats: Mapping[str, str]) -> Iterator[str]:
    """Lines whose order or sample is not the planned one, and lines without their match."""
    planned, met = planned_cells(plan), set()
    for line, texts in sorted(cells.items()):
        key = (seats.get(texts.get("assessor", ""), ""), codes_of(texts))
        if texts.get(NOT_SERVED):
            met.add(key)
            continue
        if key not in planned:
            yield f"Row {line}: not in the plan{_reason(texts)}."
            continue
        met.add(key)
        for column in COLUMNS:
            was, now = planned[key].get(column, ""), texts.get(column, "")
            if not same_serving(column, was, now):
                served = f"served {now}" if now else "no record of what was served"
                yield f"Row {line}: planned {was}, {served}{_reason(texts)}."
    if lost := len(planned.keys() - met):
        yield f"Planned and not among the ballots: {lost} line{'s' if lost > 1 else ''}."


def _reason(texts: Mapping[str, str]) -> str:
    return f" ({texts[DEPARTURE]})" if texts.get(DEPARTURE) else " (no reason stated)"


def _not_served(cells: Cells) -> Iterator[str]:
    reasons: dict[str, list[str]] = {}
    for line, texts in sorted(cells.items()):
        if (why := texts.get(NOT_SERVED, "")) and why != NOT_COME:
            reasons.setdefault(why, []).append(str(line))
    for why, lines in reasons.items():
        yield f"Planned and not served ({why}): row{'s' * (len(lines) > 1)} {', '.join(lines)}."


def _minute(at: str) -> str:
    return f"{at[:16].replace('T', ' ')} UTC"

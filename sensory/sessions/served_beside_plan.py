"""What was served beside what was planned: the plan's lines against the ballots on record.

Why so
------
What was served stands in the ballot lines, what was planned in the plan; the report compares them
by codes and names rows, no persons. A line that is not served has its reason in the cell `not
served` and leaves the check with a remark. `without` takes an absent assessor out of the plan;
their lines stay, so that seats do not move, and `check_seats` keeps typing from moving them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from ..catalogue.columns import Cells
from ..serving.ballot_line import (
    NOT_COME,
    NOT_TODAY,
    SERVED_COLUMNS,
    BallotLine,
    lines_from,
    rows_not_served,
)
from ..serving.cups import planned_lines
from ..serving.plan import ServingPlan
from .serving import seats_of
from .session import StoredSession


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """What the report states of a serving with a plan.

    `came`: how many assessors were planned, and how many came as far as their ballots show.
    `confirmed`: whether it was confirmed that all, or all else, was served as planned, and when.
    `departures`: each departure: planned, served, and its reason.
    `allergens`: what was declared at the serving, by sample.
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
    lines = lines_from(cells)
    seats = seats_of(dict.fromkeys(line.assessor for line in lines))
    reasons = rows_not_served(line for line in lines if line.not_served != NOT_COME)
    left = (f"Planned and not served ({why}): {rows}." for why, rows in reasons.items())
    departures = (*_otherwise(plan, lines, seats), *left)
    confirmed = session.serving.confirmed
    what = "all else" if departures else "all"
    return Served(
        came=_came(plan, lines, seats),
        confirmed=f"{what.capitalize()} was served as planned, confirmed {_minute(confirmed.at)}."
        if confirmed
        else f"It is not confirmed that {what} was served as planned.",
        departures=departures,
        allergens=session.serving.allergens,
    )


def same_serving(column: str, text: str, other: str) -> bool:
    """Whether two texts of a column say the same.

    >>> same_serving("order", "a-b b", "ABB"), same_serving("sample", "Batch  1", "batch 1")
    (True, True)
    """
    if column == "sample":
        return " ".join(text.split()).casefold() == " ".join(other.split()).casefold()
    return re.sub(r"[\W_]+", "", text).upper() == re.sub(r"[\W_]+", "", other).upper()


def _came(plan: ServingPlan, lines: Sequence[BallotLine], seats: Mapping[str, str]) -> str:
    first = dict(reversed([(seat, what) for what, seat in plan.changes]))
    last = {seat: what for what, seat in plan.changes}
    late = sum(what == "late" for what in last.values())
    absent = sum(what == "without" and first[seat] == "without" for seat, what in last.items())
    new = sum(first[seat] == "late" for seat in last if seat in plan.assessors)
    planned = len(plan.assessors) - new + absent
    parts = [f"{planned} assessor{'s' * (planned != 1)} planned"]
    parts += [f"{absent} {NOT_COME}"] if absent else []
    parts += [f"{late} came late"] if late else []
    planned_words, there = ", ".join(parts), set(plan.assessors)
    begun = {seats[name] for name in _have_come(lines)} & there
    if not begun:
        return f"{planned_words}: who came is not known yet."
    excused = there & {seats[line.assessor] for line in lines if line.excused}
    counts = [f"{len(begun)} came"]
    counts += [f"{len(excused & begun)} of them {NOT_TODAY}"] if excused & begun else []
    counts += [f"{len(excused - begun)} {NOT_TODAY}"] if excused - begun else []
    silent = len(there - begun - excused)
    counts += [f"{silent} without an answer"] if silent else []
    return f"{planned_words}: {', '.join(counts)}."


def came(cells: Cells) -> set[str]:
    """Names of those who came: they consented at a booth, left a ballot out, or have an answer.

    `cells`: ballot lines of a serving plan.

    >>> sorted(came({1: {"assessor": "Anna", "code": "412", "score": "3"},
    ...              2: {"assessor": "Bo", "code": "837", "comment": "late"},
    ...              3: {"assessor": "Cleo", "code": "265", "consent": "2026-09-14T10:31"}}))
    ['Anna', 'Cleo']
    """
    return _have_come(lines_from(cells))


def _have_come(lines: Sequence[BallotLine]) -> set[str]:
    return {
        line.assessor
        for line in lines
        if line.answers or line.sent or line.warm_up or line.left_out or line.consented
    }


def _otherwise(
    plan: ServingPlan, lines: Sequence[BallotLine], seats: Mapping[str, str]
) -> Iterator[str]:
    """Rows whose order or sample is not the planned one, and rows without their match."""
    planned, met = planned_lines(plan), set()
    for line in lines:
        key = (seats[line.assessor], line.codes)
        if line.not_served:
            met.add(key)
            continue
        reason = line.departure or "no reason stated"
        if key not in planned:
            yield f"Row {line.row}: not in the plan ({reason})."
            continue
        met.add(key)
        for column in SERVED_COLUMNS:
            was, now = planned[key].text(column), line.text(column)
            if not same_serving(column, was, now):
                served = f"served {now}" if now else "no record of what was served"
                yield f"Row {line.row}: planned {was}, {served} ({reason})."
    if lost := len(planned.keys() - met):
        yield f"Planned and not among the ballots: {lost} line{'s' if lost > 1 else ''}."


def _minute(at: str) -> str:
    return f"{at[:16].replace('T', ' ')} UTC"

"""What became of planned cups: which cups a row holds, and which are to be poured."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from ..base.errors import RecordError
from ..catalogue.columns import Cells
from .ballot_line import NOT_SERVED, BallotLine, lines_from
from .layout import ServingRow
from .lines import ballot_lines
from .plan import ServingPlan

SEAT = "seat "
"""A seat and its number stand in a plan on record in the place of a name."""


def to_serve(lines: Cells) -> dict[int, dict[str, str]]:
    """The stored rows without those that are not served."""
    return {line: dict(texts) for line, texts in lines.items() if not texts.get(NOT_SERVED)}


def check_seats(before: Cells, changes: Cells) -> None:
    """Refuse a change of ballot lines that moves a seat of the plan.

    Seats count the assessors in the order of their lines. So a name may be spelled otherwise,
    and lines may be added; but no assessor may lose all lines or come between others.

    Raises RecordError.

    >>> lines = {1: {"assessor": "Anna"}, 2: {"assessor": "Bo"}}
    >>> check_seats(lines, {1: {"assessor": "Anne"}, 3: {"assessor": "Cleo"}})
    >>> check_seats(lines, {1: {"assessor": ""}})  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    sensory.base.errors.RecordError: Rows of the serving plan keep their assessors: ...
    """
    after = {
        line: {**before.get(line, {}), **changes.get(line, {})} for line in {*before, *changes}
    }
    was, now = _seats(before), _seats(after)
    kept = all(now.get(line, seat) == seat for line, seat in was.items())
    if not (kept and set(was.values()) <= set(now.values())):
        raise RecordError(
            "Rows of the serving plan keep their assessors: write the name again. Who did not "
            "come, and what was not served, is said on the page Serving."
        )


def _seats(lines: Cells) -> dict[int, int]:
    people = {line: texts.get("assessor", "") for line, texts in sorted(lines.items())}
    order = list(dict.fromkeys(name for name in people.values() if name))
    return {line: order.index(name) for line, name in people.items() if name}


def samples_by_line(
    rows: Iterable[ServingRow], lines: Iterable[BallotLine]
) -> dict[int, frozenset[str]]:
    """The samples that each row puts before its assessor, labelled ones included.

    `rows`: cups of one assessor.
    `lines`: of the same assessor; they are found by their codes.
    """
    sets: dict[tuple[int, int], list[ServingRow]] = {}
    place: dict[str, tuple[int, int]] = {}
    for row in rows:
        if row.set:
            at = (row.replicate, row.set)
            sets.setdefault(at, []).append(row)
            if row.code:
                place[row.code] = at
    samples = {}
    for line in lines:
        codes = line.codes
        cups = [row for at in {place[code] for code in codes if code in place} for row in sets[at]]
        samples[line.row] = frozenset(
            row.sample for row in cups if not row.code or row.code in codes
        )
    return samples


def planned_lines(plan: ServingPlan) -> dict[tuple[str, tuple[str, ...]], BallotLine]:
    """The planned row of each assessor and codes, whatever the design.

    >>> from sensory.serving.planning import serving_plan
    >>> plan = serving_plan("triangle", ["Anna"], seed=7)
    >>> planned_lines(plan)["Anna", plan.sets[0].codes].order == plan.sets[0].order
    True
    """
    design = plan.design
    return {
        (line.assessor, line.codes): line
        for number in range(1, design.sets + 1)
        for replicate in range(1, design.replicates + 1)
        for line in lines_from(ballot_lines(plan, set_number=number, replicate=replicate))
    }


def rows_to_serve(
    plan: ServingPlan, cells: Cells, excluded: Mapping[str, Collection[str]]
) -> tuple[ServingRow, ...]:
    """The cups of a plan that are to be poured.

    `cells`: rows on record; cups of rows that are not served are left out, with the labelled
        reference where nothing else of the set is left, and the warm-up where nothing else of the
        sitting is.
    `excluded`: samples that are not for an assessor; they are no warm-up either.
    """
    out = {
        (line.assessor, code)
        for line in lines_from(cells)
        if line.not_served
        for code in line.codes
    }
    poured = [row for row in plan.rows if row.scored and (row.assessor, row.code) not in out]
    sets = {(row.assessor, row.replicate, row.set) for row in poured}
    sittings = {(row.assessor, row.sitting) for row in poured}

    def kept(row: ServingRow) -> bool:
        if row.scored:
            return (row.assessor, row.code) not in out
        if row.set:
            return (row.assessor, row.replicate, row.set) in sets
        wanted = row.sample not in excluded.get(row.assessor, ())
        return wanted and (row.assessor, row.sitting) in sittings

    return tuple(row for row in plan.rows if kept(row))

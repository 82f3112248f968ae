"""What became of planned cups: marks beside ballot lines, and which cups a line holds."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from ..base.errors import RecordError
from .layout import ServingRow
from .lines import ballot_lines
from .plan import ServingPlan

SEAT = "seat "
"""A seat and its number stand in a plan on record in the place of a name."""
SENT, CONSENT, LATE = "sent", "consent", "late"
"""Columns of a ballot from a booth: when it was sent, and when its assessor consented; and the
name under which answered ballots stand that were not sent before the session was closed."""
WARM_UP = "warm-up tasted"
"""Column of the first ballot that waits in a sitting: when its warm-up sample had been tasted."""
BOOTH_MARKS = frozenset({SENT, CONSENT, WARM_UP})
"""Columns that a booth adds to those of a ballot; no answers."""
NOT_SERVED, DEPARTURE, LEFT = "not served", "departure", "left out"
SERVING_MARKS = frozenset({NOT_SERVED, DEPARTURE, LEFT})
"""Columns of a ballot line: why it was not served, why something else was served than planned,
and when the assessor left it out at the booth."""
NOT_THIS_SAMPLE, NOT_TODAY, NOT_COME = "not this sample", "not today", "did not come"
"""All that is kept of why a ballot is not for an assessor. The consent of somebody who does
not taste begins with 'not today'."""

Lines = Mapping[int, Mapping[str, str]]
_MOST_CODES = 5


def codes_of(texts: Mapping[str, str]) -> tuple[str, ...]:
    """The codes of a ballot line, first served first.

    >>> codes_of({"codes": "412 837"}), codes_of({"code_1": "265", "code_2": "694"})
    (('412', '837'), ('265', '694'))
    """
    single = [code for name in ("code", "codes") for code in texts.get(name, "").split()]
    places = (texts.get(f"code_{place}", "") for place in range(1, _MOST_CODES + 1))
    return (*single, *(code for code in places if code))


def to_serve(lines: Lines) -> dict[int, dict[str, str]]:
    """The lines without those that are not served."""
    return {line: dict(texts) for line, texts in lines.items() if not texts.get(NOT_SERVED)}


def check_seats(before: Lines, changes: Lines) -> None:
    """Refuse a change of ballot lines that moves a seat of the plan.

    Seats count the assessors in the order of their lines. So a name may be spelled otherwise,
    and lines may be added; but no assessor may lose all lines or come between others.

    Raises RecordError.

    Examples
    --------
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
            "come, and what was not served, is said on the page Serve."
        )


def _seats(lines: Lines) -> dict[int, int]:
    people = {line: texts.get("assessor", "") for line, texts in sorted(lines.items())}
    order = list(dict.fromkeys(name for name in people.values() if name))
    return {line: order.index(name) for line, name in people.items() if name}


def samples_by_line(rows: Iterable[ServingRow], lines: Lines) -> dict[int, frozenset[str]]:
    """The samples that each ballot line puts before its assessor, labelled ones included.

    Parameters
    ----------
    rows : iterable of ServingRow
        Cups of one assessor.
    lines : mapping of int to mapping of str to str
        Ballot lines of the same assessor; they are found by their codes.
    """
    sets: dict[tuple[int, int], list[ServingRow]] = {}
    place: dict[str, tuple[int, int]] = {}
    for row in rows:
        if row.set:
            at = (row.replicate, row.set)
            sets.setdefault(at, []).append(row)
            if row.code:
                place[row.code] = at
    found = {}
    for line, texts in lines.items():
        codes = codes_of(texts)
        cups = [row for at in {place[code] for code in codes if code in place} for row in sets[at]]
        found[line] = frozenset(row.sample for row in cups if not row.code or row.code in codes)
    return found


def planned_cells(plan: ServingPlan) -> dict[tuple[str, tuple[str, ...]], dict[str, str]]:
    """The planned ballot line of each assessor and codes, whatever the design.

    Examples
    --------
    >>> from sensory.serving.planning import serving_plan
    >>> plan = serving_plan("triangle", ["Anna"], seed=7)
    >>> planned_cells(plan)["Anna", plan.sets[0].codes]["order"] == plan.sets[0].order
    True
    """
    design = plan.design
    return {
        (texts["assessor"], codes_of(texts)): texts
        for number in range(1, design.sets + 1)
        for replicate in range(1, design.replicates + 1)
        for texts in ballot_lines(plan, set_number=number, replicate=replicate).values()
    }


def rows_to_serve(
    plan: ServingPlan, lines: Lines, excluded: Mapping[str, Collection[str]]
) -> tuple[ServingRow, ...]:
    """The cups of a plan that are to be poured.

    Parameters
    ----------
    lines : mapping of int to mapping of str to str
        Ballot lines on record; cups of lines that are not served are left out, with the
        labelled reference where nothing else of the set is left, and the warm-up where
        nothing else of the sitting is.
    excluded : mapping of str to collection of str
        Samples that are not for an assessor; they are no warm-up either.
    """
    out = {
        (texts.get("assessor", ""), code)
        for texts in lines.values()
        if texts.get(NOT_SERVED)
        for code in codes_of(texts)
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

"""Gradings at the line of a prepared year: a product, its defects, and many batches a day.

`gradings.json` holds the product, its rule, its reference, and each day with its batches;
`gradings.csv` the grades, one a row with ``held_on assessor sample code answer defect comment``.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

from ..catalogue.defects import typed_defects
from ..sessions.care import Care
from ..sessions.signing import INVENTED
from .batch_desk import decide
from .batches import Batch, Disposition
from .new_sessions import Wish, start_session
from .prepared_ballots import Event, Moment, Plain, ballots_of, held_session
from .product_desk import (
    Desk,
    agree_defects,
    agree_rule,
    clear_batch,
    enter_batch,
    enter_product,
    the_batch,
)
from .reference_desk import take_over
from .references import Reference
from .rule import ReleaseRule
from .tastings import close_and_note

_FOOD_SAFETY = "food safety"


def prepared_gradings(folder: Path) -> Plain:
    """All but the grades."""
    plain: Plain = json.loads((folder / "gradings.json").read_text(encoding="utf-8"))
    return plain


def put_gradings(desk: Desk, folder: Path, *, who: str) -> Iterator[Event]:
    """Enter the product with its rule, and tell what happened on which day."""
    year = prepared_gradings(folder)
    name, rule = str(year["product"]), ReleaseRule.from_dict(year["rule"])
    enter_product(desk, name, who=who)
    agree_rule(desk, name, rule, who=who, why=year["agreed_because"], how=INVENTED)
    listed = typed_defects(year["defects"])
    agree_defects(desk, name, listed, who=who, why=year["defects_because"], how=INVENTED)
    reference = Reference.from_dict(year["reference"])
    take = partial(take_over, desk, reference, who=who, why="first reference", how=INVENTED)
    yield year["taken_over"], Moment.REFERENCE, take
    grades = ballots_of(folder / "gradings.csv", ("held_on",))
    for entry in year["gradings"]:
        day = entry["held_on"]
        for plain in entry["batches"]:
            batch = Batch.from_dict({**plain, "product": name})
            yield batch.made_on, Moment.MADE, partial(enter_batch, desk, batch, who=who)
            clear = partial(_cleared, desk, batch.number, year, day, who=who)
            yield day, Moment.CLEARED, clear
        graded = partial(_graded, desk, year, rule, entry, grades[(day,)], who=who)
        yield day, Moment.TASTED, graded
        yield day, Moment.DECIDED, partial(_decided, desk, year, entry)


def _cleared(desk: Desk, number: str, year: Plain, day: str, *, who: str) -> None:
    allergens = tuple(year["allergens"])
    clear_batch(
        desk, number, food_safe=True, allergens=allergens, by=_FOOD_SAFETY, on=day, who=who,
        how=INVENTED,
    )  # fmt: skip


def _graded(
    desk: Desk,
    year: Plain,
    rule: ReleaseRule,
    entry: Plain,
    cells: dict[int, dict[str, str]],
    *,
    who: str,
) -> None:
    """All batches of a day in one session, from its opening to its end."""
    wish = Wish(
        product=year["product"],
        batches=tuple(batch["number"] for batch in entry["batches"]),
        reference=year["reference"]["name"],
        test=rule.test,
        people=rule.assessors,
        decides=rule.decides,
    )
    session = start_session(desk, wish, who=who)
    question = replace(session.question, **year["question"])
    care = Care(cleared_by=_FOOD_SAFETY, cleared_on=entry["held_on"])
    told = {**year["tasting_room"], "held_on": entry["held_on"], "care": care}
    held_session(desk, session, told, cells, question=question, who=who)
    close_and_note(desk, session.id, who=who)


def _decided(desk: Desk, year: Plain, entry: Plain) -> None:
    """Each batch as it is recommended, but for those that the file decides otherwise."""
    for batch in entry["batches"]:
        record = the_batch(desk, batch["number"])
        usual = {"disposition": record.recommended, "reason": "As recommended."}
        told = {**year["decides"], **year["decided"].get(record.name, usual)}
        what = Disposition(told.pop("disposition"))
        decide(desk, record.name, what, **told, on=entry["held_on"], how=INVENTED)

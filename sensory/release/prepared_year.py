"""A prepared year of batches put on record through the use cases, day by day.

`year.json` holds the product, its rule, references, batches and decisions; `year.csv` the
ballots of batches, one score a row with ``batch tasting assessor sample code score comment``;
`references.csv` those in which references were compared, one cup a row with ``comparison assessor
sample replicate code`` and a column for each attribute. Of gradings at another line see
`prepared_gradings`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from ..base.errors import RecordError
from ..sessions.care import Care
from ..sessions.signing import INVENTED
from .batch_desk import decide
from .batch_records import BatchRecord, ProductRecord
from .batches import AttributeLimit, Batch, Disposition
from .prepared_ballots import Ballots, Event, Moment, Plain, ballots_of, held_session
from .prepared_gradings import prepared_gradings, put_gradings
from .product_desk import (
    Desk,
    agree_rule,
    clear_batch,
    enter_batch,
    enter_product,
)
from .reference_desk import compare_again, open_comparison, take_over, tasted_bridge
from .references import Bridge, Reference
from .rule import ReleaseRule
from .tastings import close_and_note, give_up, open_tasting

_OF_BATCH, _OF_COMPARISON = ("batch", "tasting"), ("comparison",)


def load_year(
    desk: Desk, folder: Path, *, who: str, progress: Callable[[str, float], None] | None = None
) -> str:
    """Put a prepared year on record, as if each thing had been done on its day.

    The journal has the times at which it was written; dates of making, tasting and deciding
    are those of the files.

    `progress` is told the day that has been put on record, ISO 8601, and the share of all that
    happened until then, from 0 to 1.

    `folder` holds ``year.json``, ``year.csv``, ``references.csv`` and the two files of gradings;
    decisions are those of the people that the files name. Returns the name of the product that is
    no line grading's.

    Raises RecordError when the product, a reference or a batch of that name is on record. Whatever
    goes wrong, nothing is written.
    """
    year = json.loads((folder / "year.json").read_text(encoding="utf-8"))
    ballots = ballots_of(folder / "year.csv", _OF_BATCH)
    compared = ballots_of(folder / "references.csv", _OF_COMPARISON)
    name = str(year["product"]["name"])
    limits = tuple(AttributeLimit.from_dict(limit) for limit in year["product"]["attributes"])
    with desk.action(who=who) as act:
        _check_new(act, year, prepared_gradings(folder))
        enter_product(act, name, attributes=limits, who=who)
        agree_rule(
            act,
            name,
            ReleaseRule.from_dict(year["rule"]),
            drift_limit=year["drift_limit"],
            who=who,
            why=f"{year['agreed_because']} ({year['agreed_on']})",
            how=INVENTED,
        )
        events = [
            *_of_references(act, year, compared, who),
            *_of_batches(act, year, ballots, who),
            *put_gradings(act, folder, who=who),
        ]
        for done, (day, _, happens) in enumerate(sorted(events, key=lambda each: each[:2]), 1):
            happens()
            if progress is not None:
                progress(day, done / len(events))
    return name


def _check_new(desk: Desk, year: Plain, graded: Plain) -> None:
    """Refuse before anything is written."""
    for name in (year["product"]["name"], graded["product"]):
        if desk.noun(ProductRecord, name) is not None:
            raise RecordError(
                f"{name} is on record already, so the prepared year was not loaded. It is there "
                "to be looked at; for a fresh copy start with an empty record."
            )
    references = [entry["reference"]["name"] for entry in year["references"]]
    references.append(graded["reference"]["name"])
    batches = [entry["batch"]["number"] for entry in year["batches"]]
    batches += [batch["number"] for day in graded["gradings"] for batch in day["batches"]]
    there = [reference for reference in references if desk.noun(Reference, reference)]
    there += [number for number in batches if desk.noun(BatchRecord, number)]
    if there:
        raise RecordError(
            f"The prepared year was not loaded, since its names are taken: {', '.join(there[:5])} "
            "are on record."
        )


def _of_references(desk: Desk, year: Plain, ballots: Ballots, who: str) -> Iterator[Event]:
    """Comparisons, and what follows from them; `sessions` fills while they are held."""
    sessions: dict[str, str] = {}
    for entry in year["comparisons"]:
        cells = ballots[(entry["name"],)]
        compare = partial(_compared, desk, year, entry, cells, sessions, who=who)
        yield entry["held_on"], Moment.COMPARED, compare
    for entry in year["references"]:
        act = partial(_taken_over, desk, entry, sessions, who=who)
        yield entry["taken_over"], Moment.REFERENCE, act
    for entry in year["compared_again"]:
        again = partial(_again, desk, entry, sessions, who=who)
        yield entry["on"], Moment.REFERENCE, again


def _compared(
    desk: Desk,
    year: Plain,
    entry: Plain,
    cells: dict[int, dict[str, str]],
    sessions: dict[str, str],
    *,
    who: str,
) -> None:
    """A tasting of two references beside each other, from its opening to its end."""
    product, name, to = year["product"]["name"], entry["reference"], entry["to"]
    asked = {"batch": entry["batch"], "test": entry["test"]}
    session = open_comparison(desk, product, name, to, **asked, who=who)
    care = Care(cleared_by=entry["cleared_by"], cleared_on=entry["held_on"])
    told = {**year["tasting_room"], "held_on": entry["held_on"], "care": care}
    held_session(desk, session, told, cells, who=who)
    close_and_note(desk, session.id, who=who)
    sessions[entry["name"]] = session.id


def _taken_over(desk: Desk, entry: Plain, sessions: Mapping[str, str], *, who: str) -> None:
    reference = Reference.from_dict(entry["reference"])
    bridges: dict[str, Any] = {
        f"bridged_to_{which}": _bridge(desk, reference.name, reference.batch, told, sessions)
        for which, told in entry.get("bridges", {}).items()
    }
    new = replace(reference, **bridges)
    take_over(desk, new, who=who, why=entry["why"], how=INVENTED)


def _again(desk: Desk, entry: Plain, sessions: Mapping[str, str], *, who: str) -> None:
    bridge = _bridge(desk, entry["reference"], "", entry, sessions)
    compare_again(desk, bridge, who=who, why=entry["why"])


def _bridge(
    desk: Desk, reference: str, batch: str, told: Plain, sessions: Mapping[str, str]
) -> Bridge:
    session, attribute = sessions[told["comparison"]], told["attribute"]
    read = tasted_bridge(desk, session, reference, told["to"], batch=batch, attribute=attribute)
    return replace(read, **told.get("decided", {}))


def _of_batches(desk: Desk, year: Plain, ballots: Ballots, who: str) -> Iterator[Event]:
    for entry in year["batches"]:
        batch = Batch.from_dict(entry["batch"])
        yield batch.made_on, Moment.MADE, partial(enter_batch, desk, batch, who=who)
        if clearance := entry["clearance"]:
            clearance = {**clearance, "allergens": tuple(clearance["allergens"])}
            clear = partial(clear_batch, desk, batch.number, **clearance, who=who, how=INVENTED)
            yield clearance["on"], Moment.CLEARED, clear
        for at, held in enumerate(entry["tastings"], start=1):
            cells = ballots.get((batch.number, str(at)), {})
            told = {**year["tasting_room"], **held}
            taste = partial(_tasted, desk, batch.number, told, cells, who=who)
            yield held["held_on"], Moment.TASTED, taste
        for decision in entry["decisions"]:
            yield decision["on"], Moment.DECIDED, partial(_decided, desk, batch.number, decision)


def _tasted(
    desk: Desk, number: str, told: Plain, cells: dict[int, dict[str, str]], *, who: str
) -> None:
    """A tasting from its opening to its end, by the rule of the product."""
    session = open_tasting(desk, number, who=who, on=told["held_on"])
    held_session(desk, session, told, cells, who=who)
    if aborted := told.get("aborted"):
        give_up(desk, number, session.id, who=who, why=aborted)
    else:
        close_and_note(desk, session.id, who=who)


def _decided(desk: Desk, number: str, decision: Plain) -> None:
    rest = {key: decision[key] for key in ("by", "role", "reason", "cause", "on")}
    decide(desk, number, Disposition(decision["disposition"]), **rest, how=INVENTED)

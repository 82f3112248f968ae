"""What prepared years have in common: what happens on a day, their ballots, a session held."""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from dataclasses import replace
from enum import IntEnum
from pathlib import Path
from typing import Any

from ..catalogue.question import Question
from ..sessions.session import CAUTIONS, StoredSession
from ..sessions.signing import INVENTED
from ..sessions.workflow import agree, describe, enter_cells
from .product_desk import Desk

Plain = Mapping[str, Any]
Ballots = Mapping[tuple[str, ...], dict[int, dict[str, str]]]


class Moment(IntEnum):
    """What comes first on one day."""

    COMPARED = 0
    REFERENCE = 1
    MADE = 2
    CLEARED = 3
    TASTED = 4
    DECIDED = 5


Event = tuple[str, Moment, Callable[[], object]]
"""Its day, ISO 8601, its place in the day, and what puts it on record."""


def ballots_of(path: Path, keys: tuple[str, ...]) -> Ballots:
    """Numbered lines of cells by the columns that say which tasting they belong to."""
    ballots: dict[tuple[str, ...], dict[int, dict[str, str]]] = {}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            lines = ballots.setdefault(tuple(row.pop(key) for key in keys), {})
            lines[len(lines) + 2] = row
    return ballots


def held_session(
    desk: Desk,
    session: StoredSession,
    told: Plain,
    cells: dict[int, dict[str, str]],
    *,
    question: Question | None = None,
    who: str,
) -> None:
    """Describe and agree a session, and enter its ballots."""
    details = {name: text for name, text in told.items() if name != "aborted"}
    describe(
        desk,
        session.id,
        details=replace(session.details, **details),
        question=question,
        cautions={caution.key: True for caution in CAUTIONS},
        who=who,
        how=INVENTED,
    )
    agree(desk, session.id, who=who, how=INVENTED)
    enter_cells(desk, session.id, cells, who=who, why="ballots of the prepared year")

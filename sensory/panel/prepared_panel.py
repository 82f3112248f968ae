"""A prepared year of a panel put on record: its assessors, and session after session as it was.

`panel_year.json` holds the people and what sessions have in common; `panel_scores.csv`,
`panel_choices.csv` and `panel_training.csv` the ballots, a ballot a row, with the column
``session``.

Why so
------
A page that shows the last twelve months has to show an invented year whenever it is opened: so the
days are moved by whole weeks, and the year ends with the week before it is put on record.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from ..base.errors import RecordError
from ..catalogue.attributes import DefinedAttribute
from ..catalogue.question import Question
from ..catalogue.training import targets_of_standards
from ..sessions.care import Care
from ..sessions.session import SessionDetails
from ..sessions.signing import INVENTED
from ..sessions.workflow import (
    agree,
    close,
    describe,
    enter_cells,
    new_session_id,
    open_session,
)
from .assessors import Role
from .register import PanelDesk, enter_assessor, the_register, who_is_it
from .training_desk import open_training
from .vocabulary_desk import define

_PARTS = ("scores", "choices")
Plain = Mapping[str, Any]


def load_panel(desk: PanelDesk, folder: Path, *, today: str, who: str) -> int:
    """Put the prepared year on record, all of it or nothing.

    Parameters
    ----------
    folder : Path
        Holds ``panel_year.json`` and the three files of ballots.
    today : str
        ISO 8601; the year ends in the seven days before.

    Returns
    -------
    int
        How many sessions were put on record.

    Raises RecordError where one of its people is in the register.
    """
    year = json.loads((folder / "panel_year.json").read_text(encoding="utf-8"))
    last = date.fromisoformat(max(day for part in _PARTS for day in year[part]["held_on"]))
    weeks = timedelta(weeks=(date.fromisoformat(today) - last).days // 7)
    opened = 0
    with desk.action(who=who, why="invented") as act:
        known = the_register(act, gone=True)
        if there := [name for name in year["people"] if who_is_it(known, name)]:
            raise RecordError(
                f"The year of the panel was not loaded, since {', '.join(there)} are in the "
                "register. It is there to be looked at; for a fresh copy start with an empty "
                "record."
            )
        for name, role in year["people"].items():
            day = (date.fromisoformat(year["scores"]["held_on"][0]) + weeks).isoformat()
            enter_assessor(
                act, name, panel=year["panel"], role=Role(role), languages=("en",),
                entered_on=day, who=who,
            )  # fmt: skip
        for part in _PARTS:
            ballots = _ballots(folder / f"panel_{part}.csv")
            for cells, day in zip(ballots, year[part]["held_on"], strict=True):
                moved = (date.fromisoformat(day) + weeks).isoformat()
                _held(act, year, year[part], cells, moved, who)
                opened += 1
        opened += _trained(act, year, _ballots(folder / "panel_training.csv"), weeks, who)
    return opened


def _ballots(path: Path) -> list[dict[int, dict[str, str]]]:
    """Numbered lines of cells, session after session."""
    ballots: dict[str, dict[int, dict[str, str]]] = {}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            lines = ballots.setdefault(row.pop("session"), {})
            lines[len(lines) + 2] = row
    return list(ballots.values())


def _trained(
    desk: PanelDesk,
    year: Plain,
    ballots: list[dict[int, dict[str, str]]],
    weeks: timedelta,
    who: str,
) -> int:
    """The training sessions, on a word that is defined first; how many."""
    kind, word = year["training"], DefinedAttribute.from_dict(year["training"]["word"])
    words = define(desk, year["product"], word, who=who, why="invented")
    samples = [standard.name for standard in word.standards]
    for cells, day in zip(ballots, kind["held_on"], strict=True):
        moved = (date.fromisoformat(day) + weeks).isoformat()
        session = open_training(
            desk, words, attributes=[word.attribute], samples=samples,
            targets=targets_of_standards(words, [word.attribute], samples),
            ballots=len(cells), leader=year["details"]["leader"], who=who,
        )  # fmt: skip
        care = Care.from_dict({**year["details"]["care"], "cleared_on": moved})
        told = replace(session.details, held_on=moved, care=care)
        describe(desk, session.id, details=told, cautions=year["cautions"], who=who)
        agree(desk, session.id, who=who, how=INVENTED)
        enter_cells(desk, session.id, cells, who=who)
        close(desk, session.id, who=who)
    return len(ballots)


def _held(
    desk: PanelDesk, year: Plain, kind: Plain, cells: dict[int, dict[str, str]], day: str, who: str
) -> None:
    """One session from its opening to its closing."""
    care = {**year["details"]["care"], "cleared_on": day}
    told = {**year["details"], "title": kind["title"], "held_on": day, "care": care}
    session = open_session(
        desk,
        new_session_id(),
        details=SessionDetails.from_dict(told),
        question=Question.from_dict(kind["question"]),
        cautions=year["cautions"],
        cells=cells,
        who=who,
        why="ballots of the prepared year",
    )
    agree(desk, session.id, who=who, how=INVENTED)
    close(desk, session.id, who=who)

"""Counts of several sessions as they come in: results of choice tests, or a table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from ..base.checks import one_count
from ..base.errors import ArgumentError
from ..choices.forced_choice import ChoiceTest
from ..choices.protocols import Protocol, find_protocol
from ..models.joint_dprime import Counts
from ..ratings.frames import is_empty, whole_frame

NEEDED = ("protocol", "correct", "trials")
OPTIONAL = ("session", "date", "reference", "attribute")
_SHOWN = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """One session of one pair of products.

    `reference`: what was compared with, empty where nobody says; `attribute`: what was asked for,
    empty for a difference of any kind.
    """

    session: str
    date: str
    protocol: Protocol
    correct: int
    trials: int
    reference: str
    attribute: str

    @property
    def group(self) -> tuple[str, str]:
        """What it may be joined with: the same reference, asked for the same."""
        return self.reference, self.attribute


def session_rows(results: Iterable[ChoiceTest] | pd.DataFrame) -> list[SessionRow]:
    """The sessions, in the order of their dates where all have one.

    Raises ArgumentError: No session, cells that cannot be used, a test that asks for an attribute
    without saying which.
    """
    rows, faults = [], []
    for place, cells in enumerate(_cells(results)):
        try:
            rows.append(_row(place, cells))
        except ArgumentError as error:
            faults.append(f"row {place + 2}: {error}")
    if faults:
        more = f" And {len(faults) - _SHOWN} more." if len(faults) > _SHOWN else ""
        raise ArgumentError(f"results: {' '.join(faults[:_SHOWN])}{more}")
    if not rows:
        raise ArgumentError("results are empty; give at least one session.")
    return sorted(rows, key=lambda row: row.date) if all(row.date for row in rows) else rows


def counts_of(rows: list[SessionRow]) -> Counts:
    """The counts of sessions as arrays."""
    links = {row.protocol.key: row.protocol.proportion_correct for row in rows}
    return Counts(
        links=tuple(links[row.protocol.key] for row in rows),
        guesses=_floats([float(row.protocol.guess) for row in rows]),
        correct=_floats([row.correct for row in rows]),
        trials=_floats([row.trials for row in rows]),
    )


def _floats(numbers: list[float] | list[int]) -> Floats:
    return np.array(numbers, float)


def _cells(results: Iterable[ChoiceTest] | pd.DataFrame) -> Iterator[dict[str, object]]:
    if isinstance(results, pd.DataFrame):
        frame = whole_frame("results", results, "session", NEEDED, OPTIONAL)
        names = [name for name in (*NEEDED, *OPTIONAL) if name in frame]
        yield from (dict(zip(names, cells, strict=True)) for cells in zip(
            *(frame[name].tolist() for name in names), strict=True
        ))  # fmt: skip
        return
    tests = [results] if isinstance(results, ChoiceTest) else list(results)
    for test in tests:
        if not isinstance(test, ChoiceTest):
            raise ArgumentError(
                "results must be results of choice_test, or a table with protocol, correct and "
                f"trials; got {type(test).__name__}."
            )
        if test.two_sided:
            raise ArgumentError(
                "a two-sided comparison has a d-prime with a sign, which the others lack; leave "
                "it out."
            )
        for correct, trials in zip(*map(np.ravel, np.broadcast_arrays(test.correct, test.trials)),
                                   strict=True):  # fmt: skip
            yield {"protocol": test.protocol.key, "correct": int(correct), "trials": int(trials)}


def _row(place: int, cells: dict[str, object]) -> SessionRow:
    protocol = find_protocol(str(cells["protocol"]))
    correct = one_count("correct", cells["correct"])  # type: ignore[arg-type]
    trials = one_count("trials", cells["trials"], at_least=1)  # type: ignore[arg-type]
    if correct > trials:
        raise ArgumentError(f"correct must not exceed trials; got {correct} of {trials}.")
    texts = {name: _text(cells.get(name)) for name in OPTIONAL}
    if protocol.asks_attribute and not texts["attribute"]:
        raise ArgumentError(
            f"a {protocol.name} test asks for an attribute: say which in the column attribute, so "
            "that it is joined with its own kind only."
        )
    if not protocol.asks_attribute and texts["attribute"]:
        raise ArgumentError(
            f"a {protocol.name} test asks for no attribute; got {texts['attribute']}."
        )
    return SessionRow(
        session=texts["session"] or f"session {place + 1}",
        date=texts["date"],
        protocol=protocol,
        correct=correct,
        trials=trials,
        reference=texts["reference"],
        attribute=texts["attribute"],
    )


def _text(cell: object) -> str:
    return "" if is_empty(cell) else " ".join(str(cell).split())

"""Counts of several sessions as they come in: results of tests, or a table.

Why so
------
Of difference from control the order of two scores within an assessor enters: whether the batch was
scored further from the labelled reference than the blind control. Means in points of a scale have
no place on the axis of d-prime.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from ..base.checks import one_count
from ..base.errors import ArgumentError
from ..choices.forced_choice import ChoiceTest
from ..choices.protocols import DUO_TRIO, Protocol, find_protocol
from ..models.joint_dprime import Counts
from ..ratings.control import SCORE, DifferenceFromControl
from ..ratings.frames import is_empty, rows_of_file, whole_frame
from ..ratings.performance import cells

NEEDED = ("protocol", "correct", "trials")
OPTIONAL = ("session", "date", "reference", "attribute", "equal")
_TEXTS = OPTIONAL[:4]
SCORED = "difference from control"
"""In the column of protocols: right are the assessors who scored the batch further away."""
_SHOWN = 10


Results = (
    ChoiceTest | DifferenceFromControl | Iterable[ChoiceTest | DifferenceFromControl] | pd.DataFrame
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRow:
    """One session of one pair of products.

    `reference`: what was compared with, empty where nobody says; `attribute`: what was asked for,
    empty for a difference of any kind. `scored`: whether it is difference from control, whose
    order of two scores is decided as in a duo-trio; `equal`: assessors who scored both alike.
    """

    session: str
    date: str
    protocol: Protocol
    correct: int
    trials: int
    reference: str
    attribute: str
    equal: int = 0
    scored: bool = False

    @property
    def test(self) -> str:
        """Name of the test."""
        return SCORED if self.scored else self.protocol.name

    @property
    def group(self) -> tuple[str, str]:
        """What it may be joined with: the same reference, asked for the same."""
        return self.reference, self.attribute


def session_rows(results: Results, *, scores: bool = True) -> list[SessionRow]:
    """The sessions, in the order of their dates where all have one.

    `scores`: whether difference from control may be among them.

    Raises ArgumentError: No session, cells that cannot be used, a test that asks for an attribute
    without saying which, a result of difference from control with several batches, attributes or
    replicates.
    """
    rows, faults = [], []
    of_file = rows_of_file(results) if isinstance(results, pd.DataFrame) else None
    for place, given in enumerate(_cells(results)):
        try:
            rows.append(_row(place, given, scores))
        except ArgumentError as error:
            faults.append(f"row {of_file[place] if of_file else place + 2}: {error}")
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
        equal=_floats([row.equal for row in rows]),
    )


def _floats(numbers: list[float] | list[int]) -> Floats:
    return np.array(numbers, float)


def _cells(results: Results) -> Iterator[dict[str, object]]:
    if isinstance(results, pd.DataFrame):
        frame = whole_frame("results", results, "session", NEEDED, OPTIONAL)
        names = [name for name in (*NEEDED, *OPTIONAL) if name in frame]
        yield from (dict(zip(names, row, strict=True)) for row in zip(
            *(frame[name].tolist() for name in names), strict=True
        ))  # fmt: skip
        return
    single = isinstance(results, ChoiceTest | DifferenceFromControl)
    for test in (results,) if single else results:  # type: ignore[union-attr]
        if isinstance(test, DifferenceFromControl):
            yield _ordered(test)
        elif isinstance(test, ChoiceTest):
            yield from _counted(test)
        else:
            raise ArgumentError(
                "results must be results of choice_test or difference_from_control, or a table "
                f"with protocol, correct and trials; got {type(test).__name__}."
            )


def _counted(test: ChoiceTest) -> Iterator[dict[str, object]]:
    if test.two_sided:
        raise ArgumentError(
            "a two-sided comparison has a d-prime with a sign, which the others lack; leave it out."
        )
    for correct, trials in zip(*map(np.ravel, np.broadcast_arrays(test.correct, test.trials)),
                               strict=True):  # fmt: skip
        yield {"protocol": test.protocol.key, "correct": int(correct), "trials": int(trials)}


def _ordered(test: DifferenceFromControl) -> dict[str, object]:
    """Who scored the batch further away than the blind control, and who scored both alike."""
    table = test.scores
    others = [place for place, name in enumerate(table.samples) if name != test.control]
    if len(others) > 1:
        names = ", ".join(str(table.samples[place]) for place in others)
        raise ArgumentError(
            f"a session with {names} compares each with one blind control, so their answers go "
            "together: give the result of one batch beside the blind control."
        )
    if len(table.attributes) > 1:
        names = ", ".join(map(str, table.attributes))
        raise ArgumentError(
            f"a session scored {names}: each attribute has a d-prime of its own. Give the result "
            "of one of them."
        )
    seen = cells(table)
    if (seen.number > 1).any():
        raise ArgumentError(
            "assessors scored a sample more than once: means of repeats have another d-prime than "
            "single scores. Give the result of one replicate."
        )
    control = table.samples.index(test.control)
    apart = seen.mean[:, others[0], 0] - seen.mean[:, control, 0]
    apart = apart[np.isfinite(apart)]
    name = str(table.attributes[0])
    return {
        "protocol": SCORED,
        "correct": int((apart > 0).sum()),
        "trials": len(apart),
        "equal": int((apart == 0).sum()),
        "attribute": "" if name == SCORE else name,
    }


def _row(place: int, given: dict[str, object], scores: bool) -> SessionRow:
    scored = scores and _squeezed(given["protocol"]) == _squeezed(SCORED)
    protocol = DUO_TRIO if scored else find_protocol(str(given["protocol"]))
    correct = one_count("correct", given["correct"])  # type: ignore[arg-type]
    trials = one_count("trials", given["trials"], at_least=1)  # type: ignore[arg-type]
    alike = given.get("equal", 0)
    equal = 0 if is_empty(alike) else one_count("equal", alike)  # type: ignore[arg-type]
    if correct + equal > trials:
        raise ArgumentError(
            f"correct must not exceed trials; got {correct} of {trials}"
            + (f" with {equal} scored alike." if equal else ".")
        )
    if equal and not scored:
        raise ArgumentError(f"a {protocol.name} test has no equal scores; got {equal}.")
    texts = {name: _text(given.get(name)) for name in _TEXTS}
    if not scored:
        _check_attribute(protocol, texts["attribute"])
    return SessionRow(
        session=texts["session"] or f"session {place + 1}",
        date=texts["date"],
        protocol=protocol,
        correct=correct,
        trials=trials,
        reference=texts["reference"],
        attribute=texts["attribute"],
        equal=equal,
        scored=scored,
    )


def _check_attribute(protocol: Protocol, attribute: str) -> None:
    if protocol.asks_attribute and not attribute:
        raise ArgumentError(
            f"a {protocol.name} test asks for an attribute: say which in the column attribute, so "
            "that it is joined with its own kind only."
        )
    if not protocol.asks_attribute and attribute:
        raise ArgumentError(f"a {protocol.name} test asks for no attribute; got {attribute}.")


def _squeezed(cell: object) -> str:
    return "".join(letter for letter in str(cell).casefold() if letter.isalnum())


def _text(cell: object) -> str:
    return "" if is_empty(cell) else " ".join(str(cell).split())

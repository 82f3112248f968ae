"""`read_ballots`: from a file to a checked table, or to one error that lists every bad cell.

Why so
------
Missing answers stay in the table with `correct` missing, so that nothing is dropped in silence.
"""

from __future__ import annotations

import warnings
from typing import Any

import pandas as pd

from ..base.errors import BallotError, BallotWarning, Fault
from ..catalogue.checking import CheckedBallots, check_rows
from ..catalogue.choice_ballot import CHOICE, ChoiceBallot
from ..catalogue.kind import TestKind
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..choices.protocols import Protocol
from .files import Source, read_cells

_TYPES = {
    "session": "string",
    "assessor": "string",
    "replicate": "int64",
    "protocol": "string",
    "order": "string",
    "codes": "string",
    "answer": "string",
    "correct": "boolean",
    "guess": "bool",
    "comment": "string",
}


def read_ballots(
    source: Source, *, protocol: Protocol | str | None = None, target: str = "B"
) -> pd.DataFrame:
    """Read forced-choice ballots from CSV or XLSX and check every cell.

    Parameters
    ----------
    source : path, bytes or binary file
        CSV (comma, semicolon or tab; UTF-8, UTF-16 or Windows-1252) or XLSX. Columns:
        assessor, order, codes (or code_1, code_2 ...), answer; optional session,
        replicate, protocol, guess, comment, correct. Letters of an order: A is the
        reference, B the sample compared with it, first served first; a labelled
        reference stands in front (duo-trio: ``AAB``).
    protocol : Protocol, optional
        The test; needed where the file has no column `protocol`.
    target : {'B', 'A'}
        For a paired comparison: the sample whose choice counts as correct.

    Returns
    -------
    DataFrame
        One row a ballot: session, assessor, replicate, protocol, order, codes, answer,
        correct, guess, comment. `correct` is worked out from order and answer, never
        taken from the file; a ballot without an answer stays in the table with
        `correct` missing, and is not to be counted.

    Raises
    ------
    BallotError
        When anything has to be mended; its `faults` name sheet, row and column.

    Warns
    -----
    BallotWarning
        Once, listing remarks: missing answers, unbalanced orders, unknown columns, a
        `correct` in the file that does not agree.

    Examples
    --------
    >>> text = '''assessor;order;codes;answer
    ... P01;AAB;412 837 265;265
    ... P02;BAA;0618 371 944;618,0
    ... P03;ABA;157 903 426;157'''
    >>> from sensory.choices.protocols import TRIANGLE
    >>> read_ballots(text.encode(), protocol=TRIANGLE).correct.tolist()
    [True, True, False]
    """
    raw = read_cells(source, CHOICE)
    kind = find_kind(protocol) if protocol is not None else None
    checked = check_rows(raw.rows, kind, Question(target=target))
    _refuse_or_warn([*raw.faults, *checked.faults])
    return ballot_frame(checked)


def read_answers(source: Source, kind: TestKind, **settings: Any) -> pd.DataFrame:
    """Read ballots that are no forced choice from CSV or XLSX and check every cell.

    Parameters
    ----------
    source : path, bytes or binary file
        As in `read_ballots`. A profile has one column an attribute, or the columns
        `attribute` and `score`.
    kind : TestKind
        One of `sensory.TESTS`.
    **settings
        What was agreed: see `kind.settings`, such as ``scale_high=100``, ``scale="categories",
        categories=9`` or ``samples="reference; batch"``.

    Returns
    -------
    DataFrame
        One row an answer: `assessor` and the columns of the method; a profile as `assessor
        sample replicate attribute score`. Rows count for `ranking_test`, `profile`,
        `difference_from_control`, `panel_scorecard` and `sample_map`.

    Raises
    ------
    BallotError
        When anything has to be mended; its `faults` name row and column. ArgumentError for
        a setting that the method does not have.

    Warns
    -----
    BallotWarning
        Once, listing remarks: missing answers, attributes nobody agreed, constant scorers.

    Examples
    --------
    >>> from sensory import TESTS
    >>> text = "assessor;sample;sweet;sour\\nP01;reference;5,5;3\\nP01;batch;6;2,5"
    >>> read_answers(text.encode(), TESTS["PROFILE"]).groupby("attribute").score.mean().to_dict()
    {'sour': 2.75, 'sweet': 5.75}
    """
    kind.check(settings)
    raw = read_cells(source, kind.ballot)
    checked = check_rows(raw.rows, kind, Question(protocol=kind.key, settings=settings))
    _refuse_or_warn([*raw.faults, *checked.faults])
    return pd.DataFrame(list(checked.rows))


def _refuse_or_warn(faults: list[Fault]) -> None:
    if blocking := [fault for fault in faults if fault.blocking]:
        raise BallotError(blocking)
    if faults:
        lines = "\n".join(f"  {fault}" for fault in faults)
        warnings.warn(f"Ballots were read, with remarks:\n{lines}", BallotWarning, stacklevel=3)


def ballot_frame(checked: CheckedBallots) -> pd.DataFrame:
    """The checked ballots as a table; codes and answers as text separated by spaces."""
    return pd.DataFrame([_plain(ballot) for ballot in checked.rows], columns=list(_TYPES)).astype(
        _TYPES
    )


def _plain(ballot: ChoiceBallot) -> dict[str, object]:
    texts = {"codes": " ".join(ballot.codes), "answer": " ".join(ballot.answer) or None}
    return {name: getattr(ballot, name) for name in _TYPES} | texts

"""`read_ballots`: from a file to a checked table, or to one error that lists every bad cell."""

from __future__ import annotations

import warnings

import pandas as pd

from ..base.errors import BallotError, BallotWarning
from ..protocols import Protocol
from .cells import Source, read_cells
from .checks import check_choices
from .choice_ballot import CheckedBallots, ChoiceBallot

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
    source: Source, *, protocol: Protocol | None = None, target: str = "B"
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
    >>> from sensory.protocols import TRIANGLE
    >>> read_ballots(text.encode(), protocol=TRIANGLE).correct.tolist()
    [True, True, False]
    """
    raw = read_cells(source)
    checked = check_choices(raw.rows, protocol=protocol, target=target)
    faults = (*raw.faults, *checked.faults)
    if blocking := [fault for fault in faults if fault.blocking]:
        raise BallotError(blocking)
    if faults:
        lines = "\n".join(f"  {fault}" for fault in faults)
        warnings.warn(f"Ballots were read, with remarks:\n{lines}", BallotWarning, stacklevel=2)
    return ballot_frame(checked)


def ballot_frame(checked: CheckedBallots) -> pd.DataFrame:
    """The checked ballots as a table; codes and answers as text separated by spaces."""
    return pd.DataFrame(
        [_plain(ballot) for ballot in checked.ballots], columns=list(_TYPES)
    ).astype(_TYPES)


def _plain(ballot: ChoiceBallot) -> dict[str, object]:
    return {
        "session": ballot.session,
        "assessor": ballot.assessor,
        "replicate": ballot.replicate,
        "protocol": ballot.protocol,
        "order": ballot.order,
        "codes": " ".join(ballot.codes),
        "answer": " ".join(ballot.answer) or None,
        "correct": ballot.correct,
        "guess": ballot.guess,
        "comment": ballot.comment,
    }

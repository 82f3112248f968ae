"""`read_ballots`: from a file to a checked table, or to one error that lists every bad cell.

Why so
------
Missing answers stay in the table with `correct` missing, so that nothing is dropped in silence.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from ..base.errors import BallotError, BallotWarning, Fault
from ..catalogue.ballot_row import NOTHING_SERVED
from ..catalogue.checking import CheckedBallots, alike_faults, check_rows, unbalanced
from ..catalogue.choice_ballot import CHOICE, ChoiceBallot
from ..catalogue.choice_columns import SoundBallots, sound_ballots
from ..catalogue.column_table import ColumnTable
from ..catalogue.kind import TestKind
from ..catalogue.question import Question
from ..catalogue.tests import find_kind
from ..choices.protocols import Protocol
from .file_import import import_file
from .file_shape import Merge
from .file_sheets import RawSheet, file_sheets, sheet_named
from .files import read_cells, read_columns
from .sheets import LARGE, Source

_BY_ROW = 50_000
"""Rows that are judged one by one at once: about 200 MB of what is said of them."""
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
    source: Source,
    *,
    protocol: Protocol | str | None = None,
    target: str = "B",
    roles: Mapping[str, str] | None = None,
    header: int | None = None,
    sheet: str | None = None,
    merges: Mapping[str, Mapping[str, str]] | None = None,
    reference: str = "",
) -> pd.DataFrame:
    """Read ballots from CSV or XLSX and check every cell.

    Forced choices by the names of their columns; with any of `roles`, `header`, `sheet`, `merges`
    or `reference` a file of any test as it comes.

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
    roles : dict, optional
        Role by heading, such as ``{"Prüfer": "assessor", "Datum": "date"}``; see
        `sensory.sessions.file_roles.Role`. Other columns are guessed from their headings.
    header, sheet : int, str, optional
        Row of the headings as the spreadsheet numbers it, and title of the sheet; found unless
        told.
    merges : dict of dict, optional
        Spellings that are read as another, by role: ``{"attribute": {"bittr": "bitter"}}``.
    reference : str, optional
        One of the samples of the file.

    Returns
    -------
    DataFrame
        One row a ballot: session, assessor, replicate, protocol, order, codes, answer,
        correct, guess, comment. `correct` is worked out from order and answer, never
        taken from the file; a ballot without an answer stays in the table with
        `correct` missing, and is not to be counted. A file as it comes gives the rows of its
        test, as in `read_answers`, and what was done in ``frame.attrs["report"]``.

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
    kind = find_kind(protocol) if protocol is not None else None
    if reference or any(given is not None for given in (roles, header, sheet, merges)):
        chosen = sheet_named(file_sheets(source, header), sheet)
        listed = [
            Merge(role=role, spelling=spelling, name=name)
            for role, names in (merges or {}).items()
            for spelling, name in names.items()
        ]
        test = kind.key if kind else None
        return _as_it_comes(chosen, roles, merges=listed, reference=reference, test=test)
    tables, faults = read_columns(source, CHOICE, LARGE)
    frame, noticed = _choices(tables, kind, Question(target=target))
    _refuse_or_warn([*faults, *noticed])
    return frame


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


def _as_it_comes(
    sheet: RawSheet,
    roles: Mapping[str, str] | None,
    *,
    merges: list[Merge],
    reference: str,
    test: str | None,
) -> pd.DataFrame:
    read = import_file(sheet, sheet.roles(roles), merges=merges, reference=reference, test=test)
    _refuse_or_warn(list(read.checked.faults))
    choices = find_kind(read.test).protocol is not None
    frame = ballot_frame(read.checked) if choices else pd.DataFrame(list(read.checked.rows))
    frame.attrs["report"] = read.report
    return frame


def _choices(
    tables: list[ColumnTable], kind: TestKind | None, question: Question
) -> tuple[pd.DataFrame, list[Fault]]:
    """Ballots of all sheets: judged by column where that can be done, else row by row."""
    judged = sound_ballots(tables[0], kind, question) if len(tables) == 1 else None
    if judged is None:
        rows = [row for table in tables for row in table.rows(range(len(table.numbers))[:_BY_ROW])]
        checked = check_rows(rows, kind, question)
        more = sum(len(table.numbers) for table in tables) - len(rows)
        return ballot_frame(checked), [*checked.faults, *([_of_one_test(more)] if more else [])]
    frame, faults = _in_doubt(tables[0], judged, kind, question)
    if any(fault.blocking for fault in faults):
        return frame, faults
    orders = frame.groupby("session", sort=False)["order"].value_counts()
    sets = judged.kind.serving.order_sets
    for session in frame["session"].unique():
        faults += unbalanced(str(session), orders.loc[session].to_dict(), sets)
    return frame, [*faults, *alike_faults(frame["assessor"].unique())]


def _in_doubt(
    table: ColumnTable, judged: SoundBallots, kind: TestKind | None, question: Question
) -> tuple[pd.DataFrame, list[Fault]]:
    """The frame with those rows that are not plainly sound, and what is said of them."""
    frames, faults = [judged.frame], list[Fault]()
    places = np.flatnonzero(~judged.sound)
    if len(places) > _BY_ROW:  # those whose fault shows only beside another row come first
        places = np.concatenate([places[judged.twice[places]], places[~judged.twice[places]]])
    for start in range(0, len(places), _BY_ROW):
        some = np.sort(places[start : start + _BY_ROW]).tolist()
        checked = check_rows(list(table.rows(some)), kind, question)
        faults += [fault for fault in checked.faults if fault.row]
        if any(fault.blocking for fault in faults):
            break
        nothing = {fault.row for fault in faults if fault.rule == NOTHING_SERVED}
        kept = [at for at in some if table.numbers[at] not in nothing]
        frames.append(ballot_frame(checked).set_axis(kept))
    frame = pd.concat(frames).sort_index().reset_index(drop=True)
    if frame.empty and not any(fault.blocking for fault in faults):
        faults += check_rows((), kind, question).faults
    return frame, faults


def _of_one_test(more: int) -> Fault:
    return Fault(
        rule="too large",
        problem=f"{more:,} further rows were not read.",
        advice=f"More than {_BY_ROW:,} rows need one sheet, its columns, and one test in all rows.",
    )


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

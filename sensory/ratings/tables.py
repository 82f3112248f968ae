"""The rating table: one score a row, checked whole before anything is computed."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..base.arrays import Bools, Floats, Ints, Name
from ..base.errors import ArgumentError, BallotError, Fault
from .frames import fault, out_of_range, scale_ends, whole_frame
from .names import alike_notes, name_among, one_spelling

NAMES = ("session", "assessor", "sample", "replicate", "attribute")
OPTIONAL = ("session", "replicate")
COLUMNS = (*NAMES, "score")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RatingGrid:
    """The table as arrays: a row for each sample tasted, a column for each attribute.

    Attributes
    ----------
    scores : float array, (tastings, attributes)
        NaN where no score was given.
    session, assessor, sample, replicate : int array, (tastings,)
        Positions in the tuples of names of the `RatingTable`.
    """

    scores: Floats
    session: Ints
    assessor: Ints
    sample: Ints
    replicate: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RatingTable:
    """Result of `rating_table`: checked scores and the names that occur in them.

    Attributes
    ----------
    sessions, assessors, samples, replicates : tuple
        Names in sorted order, or in the order of the categories where a column has them.
    attributes : tuple
        Names in the order in which they were asked for, else first occur.
    rows, missing : DataFrame
        Columns ``session assessor sample replicate attribute score``, as copies: the
        scores, and the rows that were left out because they hold no score.
    """

    sessions: tuple[Name, ...]
    assessors: tuple[Name, ...]
    samples: tuple[Name, ...]
    replicates: tuple[Name, ...]
    attributes: tuple[Name, ...]
    _rows: pd.DataFrame
    _missing: pd.DataFrame
    _codes: Ints  # (rows, 5), in the order of NAMES

    @property
    def rows(self) -> pd.DataFrame:
        return self._rows.copy()

    @property
    def missing(self) -> pd.DataFrame:
        return self._missing.copy()

    @property
    def dropped(self) -> int:
        """How many rows held no score."""
        return len(self._missing)

    @property
    def notes(self) -> tuple[str, ...]:
        """Assessors who look like one person in several spellings."""
        return alike_notes(self.assessors)

    def cells(self, names: Sequence[str]) -> tuple[Ints, Ints]:
        """The cell of each row by some of its names, numbered as they first occur; first rows."""
        sizes = [self._codes[:, NAMES.index(name)].max() + 1 for name in names]
        codes = [self._codes[:, NAMES.index(name)] for name in names]
        cell = pd.factorize(np.ravel_multi_index(codes, sizes))[0]
        highest = np.maximum.accumulate(cell)
        return cell, np.flatnonzero(np.diff(highest, prepend=-1))

    def grid(self) -> RatingGrid:
        """The scores as an array with one column an attribute.

        >>> table = rating_table(pd.DataFrame({
        ...     "assessor": ["Ada", "Ada", "Bo"], "sample": ["lime", "plum", "plum"],
        ...     "attribute": "sour", "score": [7.0, 2.0, 3.0]}))
        >>> table.grid().scores.ravel(), table.grid().sample
        (array([7., 2., 3.]), array([0, 1, 1]))
        """
        session, assessor, sample, replicate, attribute = self._codes.T
        sizes = [len(self.sessions), len(self.assessors), len(self.samples), len(self.replicates)]
        key = np.ravel_multi_index((session, assessor, sample, replicate), sizes)
        unit, place = np.unique(key, return_inverse=True)
        scores = np.full((len(unit), len(self.attributes)), np.nan)
        scores[place, attribute] = self._rows["score"].to_numpy()
        codes = np.unravel_index(unit, sizes)
        return RatingGrid(
            scores=scores,
            session=codes[0],
            assessor=codes[1],
            sample=codes[2],
            replicate=codes[3],
        )


def rating_table(
    ballots: pd.DataFrame,
    *,
    attributes: Iterable[Hashable] | None = None,
    scale: tuple[float, float] | None = None,
) -> RatingTable:
    """Check a tidy table of scores.

    Parameters
    ----------
    ballots : DataFrame
        One score a row, columns ``assessor sample attribute score`` and, where there is
        more than one, ``session`` and ``replicate``. Other columns are left out. Rows
        without a score are dropped and kept in `RatingTable.missing`. Names that differ in
        case, width or needless spaces only are one name, as are 1 and '1'.
    attributes : names, optional
        Only these, in this order.
    scale : (lowest, highest), optional
        Ends of the scale; a score beyond them is refused.

    Raises ArgumentError: No table, a missing column, an unknown attribute, no score at all, a scale
    whose ends are not in order.
    BallotError: Cells that cannot be used, all of them at once: a score that is no finite number,
    lies off the scale or beyond 1e9, a name left empty, an assessor who scored a sample twice in
    one replicate. Rows count as in a file with the header as row 1.

    Examples
    --------
    >>> ballots = pd.DataFrame({
    ...     "assessor": ["Ada", "Ada", "Bo", "Bo"], "sample": ["lime", "plum"] * 2,
    ...     "attribute": "sour", "score": [7.0, 2.0, 6.0, None]})
    >>> table = rating_table(ballots)
    >>> table.samples, len(table.rows), table.dropped
    (('lime', 'plum'), 3, 1)
    """
    ends = scale_ends(scale)
    frame = _with_columns(ballots)
    frame, wanted = _only(frame, attributes)
    number = _numbers(frame["score"])
    named = {name: pd.factorize(frame[name]) for name in NAMES}  # a missing name has the code -1
    faults = [
        *_no_numbers(frame, number),
        *_no_names(frame, named),
        *_beyond(frame, number, ends),
        *_twice(frame, number, {name: codes for name, (codes, _) in named.items()}),
    ]
    if faults:
        raise BallotError(sorted(faults, key=lambda fault: (fault.row, fault.column)))
    frame["score"] = number
    there = np.isfinite(number)
    if not there.any():
        raise ArgumentError("ballots hold no score at all; every cell of score is empty.")
    missing = frame.loc[~there].reset_index(drop=True)
    if not len(missing):
        return _made(frame.reset_index(drop=True), missing, wanted, named)
    return _made(frame.loc[there].reset_index(drop=True), missing, wanted)


def without_constant(table: RatingTable) -> tuple[RatingTable, dict[Name, float]]:
    """The table without the attributes that hold one score only, and these with their score.

    A table of nothing else is handed back as it is.

    >>> ballots = pd.DataFrame({"assessor": ["Ada", "Ada"], "sample": ["lime", "plum"]})
    >>> table = rating_table(pd.concat([
    ...     ballots.assign(attribute="sour", score=[7, 2]),
    ...     ballots.assign(attribute="off note", score=0)]))
    >>> without_constant(table)[1]
    {'off note': 0.0}
    """
    scores = table.grid().scores
    low, high = np.nanmin(scores, 0), np.nanmax(scores, 0)
    names = table.attributes
    constant = {names[place]: float(low[place]) for place in np.flatnonzero(low == high)}
    if not constant or len(constant) == len(table.attributes):
        return table, {}
    rows = table.rows
    kept = rows[~rows["attribute"].isin(list(constant))].reset_index(drop=True)
    return _made(kept, table.missing, table.attributes), constant


def constant_notes(constant: Mapping[Name, float]) -> tuple[str, ...]:
    """What is said of attributes that hold one score only."""
    return tuple(
        f"{name}: {score:g} for every sample, nothing to test." for name, score in constant.items()
    )


def _made(
    rows: pd.DataFrame,
    missing: pd.DataFrame,
    wanted: tuple[Name, ...],
    named: Mapping[str, tuple[Ints, Iterable[Name]]] | None = None,
) -> RatingTable:
    """`named`: the columns of names, as codes and the names behind them, where they are known."""
    named = named or {name: pd.factorize(rows[name]) for name in NAMES}
    levels = {name: _levels(rows[name], named[name][1]) for name in NAMES}
    present = set(levels["attribute"])
    levels["attribute"] = tuple(name for name in wanted if name in present)
    codes = np.column_stack([_codes(*named[name], levels[name]) for name in NAMES])
    return RatingTable(
        sessions=levels["session"],
        assessors=levels["assessor"],
        samples=levels["sample"],
        replicates=levels["replicate"],
        attributes=levels["attribute"],
        _rows=rows,
        _missing=missing,
        _codes=codes,
    )


def _with_columns(ballots: object) -> pd.DataFrame:
    """The six columns in order; session and replicate are 1 where absent."""
    needed = [name for name in COLUMNS if name not in OPTIONAL]
    ballots = whole_frame("ballots", ballots, "score", needed, OPTIONAL)
    given = {name: one_spelling(ballots[name]) if name in ballots else 1 for name in NAMES}
    given["score"] = ballots["score"]
    return pd.DataFrame(given, index=ballots.index).reset_index(drop=True)


def _only(
    frame: pd.DataFrame, attributes: Iterable[Hashable] | None
) -> tuple[pd.DataFrame, tuple[Name, ...]]:
    there = tuple(frame["attribute"].dropna().unique())
    if attributes is None:
        return frame, there
    asked = (attributes,) if isinstance(attributes, str) else attributes
    wanted = tuple(dict.fromkeys(name_among(there, name) for name in asked))
    unknown = [str(name) for name in wanted if name not in there]
    if unknown or not wanted:
        raise ArgumentError(
            f"attributes must be among {', '.join(map(str, there))}; "
            f"got {', '.join(unknown) or 'none'}."
        )
    kept = frame["attribute"].isin(wanted) | frame["attribute"].isna()
    return frame.loc[kept].copy(), wanted


def _numbers(score: pd.Series) -> Floats:
    """Scores as floats; NaN where empty or no number."""
    if score.dtype == bool:
        return np.full(len(score), np.nan)
    numeric = pd.to_numeric(score, errors="coerce")
    return np.asarray(numeric.to_numpy(dtype=float, na_value=np.nan), float)


def _no_numbers(frame: pd.DataFrame, number: Floats) -> Iterator[Fault]:
    score = frame["score"]
    truth = _truths(score)
    wrong = (np.isnan(number) & score.notna().to_numpy()) | np.isinf(number) | truth
    for place in np.flatnonzero(wrong).tolist():
        yield _fault(
            frame, place, "score", "score", "The score is not a number.", "Give a finite number."
        )


def _no_names(
    frame: pd.DataFrame, named: Mapping[str, tuple[Ints, Iterable[Name]]]
) -> Iterator[Fault]:
    for name, (codes, names) in named.items():
        blank = np.array([*(not str(each).strip() for each in names), True])
        for place in np.flatnonzero(blank[codes]).tolist():
            yield _fault(
                frame, place, name, "name", f"The {name} is left empty.", f"Name the {name}."
            )


def _truths(score: pd.Series) -> Bools:
    """Cells that hold yes or no, which counts as no number."""
    if pd.api.types.is_float_dtype(score.dtype):
        return np.zeros(len(score), bool)
    return np.array([isinstance(cell, (bool, np.bool_)) for cell in score], bool)


def _beyond(
    frame: pd.DataFrame, number: Floats, ends: tuple[float, float] | None
) -> Iterator[Fault]:
    for place, problem, advice in out_of_range(number, ends):
        yield _fault(frame, place, "score", "range", problem, advice)


def _twice(frame: pd.DataFrame, number: Floats, codes: Mapping[str, Ints]) -> Iterator[Fault]:
    scored = np.isfinite(number) & (np.min(list(codes.values()), axis=0) >= 0)
    cell = np.zeros(int(scored.sum()), np.int64)
    for each in codes.values():  # numbered anew each time, so that no number grows too large
        mine = each[scored]
        cell = np.unique(cell * (mine.max(initial=0) + 1) + mine, return_inverse=True)[1]
    if cell.max(initial=-1) + 1 == len(cell):
        return
    for index in frame.index[scored][pd.Series(cell).duplicated()]:
        row = frame.loc[index]
        problem = (
            f"Assessor {row['assessor']} scored sample {row['sample']} twice in replicate "
            f"{row['replicate']} of session {row['session']} for {row['attribute']}."
        )
        advice = "Number the replicates, or keep one of the scores."
        place = int(frame.index.get_indexer(pd.Index([index]))[0])
        yield _fault(frame, place, "replicate", "twice", problem, advice)


def _fault(
    frame: pd.DataFrame, place: int, column: str, rule: str, problem: str, advice: str
) -> Fault:
    row, cell = int(frame.index[place]) + 2, frame[column].iloc[place]
    return fault(row, column, cell, rule, problem, advice)


def _levels(column: pd.Series, names: Iterable[Name]) -> tuple[Name, ...]:
    if isinstance(column.dtype, pd.CategoricalDtype):
        present = set(names)
        return tuple(name for name in column.cat.categories if name in present)
    return tuple(sorted(names, key=lambda name: (isinstance(name, str), name)))


def _codes(codes: Ints, names: Iterable[Name], levels: tuple[Name, ...]) -> Ints:
    place = {name: code for code, name in enumerate(levels)}
    return np.array([place[name] for name in names], np.int64)[codes]

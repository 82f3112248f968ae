"""Between checked answers, data frames and tables: what the readers of scores share."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from ..base.errors import ArgumentError, BallotError
from ..base.results import Cell, Table
from ..ratings.control import SCORE
from ..ratings.frames import plain_cells
from ..ratings.scorecard import PanelScorecard, panel_scorecard, scorecard_of
from ..ratings.tables import RatingTable
from .kind import TestKind
from .question import Question

Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Card:
    """A scorecard and what it was made of."""

    frame: pd.DataFrame
    alpha: float
    scale: tuple[float, float] | None
    card: PanelScorecard | str


_LATEST: deque[_Card] = deque(maxlen=1)


def frame_of(rows: Sequence[Row]) -> pd.DataFrame:
    """Checked answers as a table."""
    return pd.DataFrame(list(rows))


def spelled(frame: pd.DataFrame, name: str) -> str:
    """The sample of that name, however it is capitalised."""
    there = list(dict.fromkeys(frame["sample"]))
    for sample in there:
        if str(sample).casefold() == name.casefold():
            return str(sample)
    raise ArgumentError(f"{name!r} is none of the samples: {', '.join(map(str, there))}.")


def absent_samples(kind: TestKind, question: Question, frame: pd.DataFrame) -> list[str]:
    """Samples of the plan that nobody scored."""
    there = {str(sample).casefold() for sample in frame["sample"]}
    planned = kind.listed(question.settings, "samples")
    return [sample for sample in planned if sample.casefold() not in there]


def not_served(absent: Sequence[str]) -> tuple[str, ...]:
    """What is said of them."""
    return tuple(
        f"{sample} is in the plan and has no score: nothing is said of it." for sample in absent
    )


def table_of(frame: pd.DataFrame, columns: str) -> Table:
    """Some columns of a frame as a table of plain cells."""
    names = columns.split()
    cells = [map(_cell, plain_cells(frame[name])) for name in names]
    return Table(columns=tuple(names), rows=tuple(zip(*cells, strict=True)))


def _cell(value: object) -> Cell:
    """A plain cell; what is missing is empty."""
    if value is None or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return None
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return int(value)
    return float(value) if isinstance(value, (float, np.floating)) else str(value)


def scorecard(
    frame: pd.DataFrame,
    alpha: float,
    scale: tuple[float, float] | None = None,
    *,
    checked: RatingTable | None = None,
) -> PanelScorecard | str:
    """The scorecard of the panel on that day, or why these scores give none.

    A closing asks for it twice, for the outcome and for the history of the panel: the scores that
    were looked at last are not looked at again. `checked`: the same scores, where they are.
    """
    for last in tuple(_LATEST):
        if (last.alpha, last.scale) == (alpha, scale) and last.frame.equals(frame):
            return last.card
    try:
        card: PanelScorecard | str = _card(frame, alpha, scale, checked)
    except (ArgumentError, BallotError) as error:
        card = str(error)
    _LATEST.append(_Card(frame=frame.copy(), alpha=alpha, scale=scale, card=card))
    return card


def _card(
    frame: pd.DataFrame,
    alpha: float,
    scale: tuple[float, float] | None,
    checked: RatingTable | None,
) -> PanelScorecard:
    if checked is not None:
        return scorecard_of(checked, alpha=alpha, scale=scale)
    whole = frame if "attribute" in frame else frame.assign(attribute=SCORE)
    return panel_scorecard(whole, alpha=alpha, scale=scale)


def smallest_differences(card: PanelScorecard | str) -> dict[str, float]:
    """By attribute, what the panel could have seen; nothing without a scorecard."""
    if isinstance(card, str):
        return {}
    table = card.attributes
    return {
        str(name): float(size)
        for name, size in zip(table["attribute"], table["smallest_difference"], strict=True)
    }

"""Checked scores of one batch as the result that its release rule reads, and what is kept of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from ..base.errors import ArgumentError
from ..base.spelling import key_of
from ..ratings.control import SCORE, DifferenceFromControl, difference_from_control
from ..ratings.profile import Profile, profile
from ..ratings.scorecard import PanelScorecard, panel_scorecard
from .controlled import DIFFERENCE_FROM_CONTROL
from .frames import Row, frame_of, spelled
from .kind import KINDS
from .question import Question
from .rated import PROFILE

RATED = (DIFFERENCE_FROM_CONTROL.key, PROFILE.key)


def rated_result(
    rows: Sequence[Row], question: Question
) -> tuple[DifferenceFromControl | Profile, PanelScorecard | None]:
    """The result of a rated test, and the scorecard of the panel on that day.

    The scorecard is made from the same scores: it says which difference this panel could
    have seen on this day. None where these scores give none.

    Raises
    ------
    ArgumentError, BallotError
        As in `difference_from_control` and `profile`; for another test.
    """
    if question.protocol not in RATED:
        raise ArgumentError(f"a rated test must be {' or '.join(RATED)}; got {question.protocol}.")
    frame = frame_of(rows)
    settings = question.settings
    if KINDS[question.protocol].answer == "scores":
        reference = spelled(frame, str(PROFILE.setting(settings, "reference")))
        found: DifferenceFromControl | Profile = profile(
            frame, reference=reference, margins=PROFILE.margins(settings), alpha=question.alpha
        )
    else:
        setting = DIFFERENCE_FROM_CONTROL.setting
        found = difference_from_control(
            frame,
            control=spelled(frame, str(setting(settings, "control"))),
            limit=float(setting(settings, "limit")),
            alpha=question.alpha,
            beta=question.beta,
        )
    return found, _scorecard(frame, question)


def sample_named(result: DifferenceFromControl | Profile, batch: str) -> Any:
    """The sample that bears the number of a batch; the only one that there is, else.

    Raises
    ------
    ArgumentError
        Where several samples were served and none bears the number.
    """
    names = list(dict.fromkeys(_against(result)["sample"]))
    for name in names:
        if key_of(str(name)) == key_of(batch):
            return name
    if len(names) == 1:
        return names[0]
    raise ArgumentError(
        f"which sample is batch {batch}? Served were {', '.join(map(str, names))}; call the "
        "sample by the number of the batch."
    )


def differences_of(
    result: DifferenceFromControl | Profile, sample: Any
) -> dict[str, tuple[float, float]]:
    """By attribute, batch less reference with its standard error."""
    table = _against(result)
    rows = table[table["sample"] == sample].to_dict("records")
    return {str(row["attribute"]): (float(row["estimate"]), float(row["se"])) for row in rows}


def _against(result: DifferenceFromControl | Profile) -> pd.DataFrame:
    if isinstance(result, DifferenceFromControl):
        return result.against_control
    found = result.against_reference
    return pd.DataFrame(columns=["sample", "attribute"]) if found is None else found


def _scorecard(frame: pd.DataFrame, question: Question) -> PanelScorecard | None:
    if "attribute" not in frame:
        frame = frame.assign(attribute=SCORE)
    try:
        return panel_scorecard(frame, alpha=question.alpha)
    except ArgumentError:
        return None

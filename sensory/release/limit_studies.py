"""Studies for a limit: consumers who accept or like, and batches that were sold.

Why so
------
Risks and unit come from the release rule that the limit is for, so that nobody types them a second
time; what consumers may reject is typed. The batches are rows of the record itself: they are kept
as they stood, so that a limit can be asked next year what it rested on.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from ..evidence.consumer_limit import UNITS, limit_from_consumers
from ..evidence.consumer_rows import ANSWER, LIKING
from ..evidence.history_limit import limit_from_history
from ..sessions.study_file import StudyColumns
from .study_kinds import Answer, Settings, StudyKind, StudySetting, answer_of

CONSUMER_COLUMNS = StudyColumns(
    words={
        "consumer": ("consumer", "participant"),
        "sample": ("sample", "product"),
        "distance": ("distance",),
        ANSWER: ("answer", "accept or reject"),
        LIKING: ("liking",),
        "se": ("se", "standard error"),
    },
    needed=("consumer", "sample", "distance"),
)
_NONE = "no standard is followed"
_RISKS = (
    StudySetting(key="alpha", label="Risk alpha", kind="number", low=0.0, high=1.0, needed=True),
    StudySetting(key="beta", label="Risk beta", kind="number", low=0.0, high=1.0, needed=True),
)
_UNIT = StudySetting(
    key="unit",
    label="Distances are in",
    kind="choice",
    choices=tuple(UNITS),
    named=UNITS,
    needed=True,
)


def rows_of_file(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows at the places of the file, so that errors name these; other lines stay as empty ones."""
    last = int(rows.index[-1]) + 1
    return rows.reindex(range(2, last), fill_value="").reset_index(drop=True)


def _consumers(rows: pd.DataFrame, settings: Settings) -> Answer:
    agreed: dict[str, Any] = {name: settings.get(name) for name in ("share", "margin")}
    agreed |= {name: settings[name] for name in ("unit", "alpha", "beta")}
    result = limit_from_consumers(rows_of_file(rows), **agreed)
    words = (
        "Each sample with its limits, the fitted curve, and the limit to agree, if there is one."
    )
    tables = {"Samples": result.samples, "Tests": result.tests, "Curve": result.curve}
    shown = {name: frame for name, frame in tables.items() if len(frame)}
    *rest, finding = result.says()
    return answer_of(result, shown, {"consumers": words}, (finding, *rest))


def _sold(rows: pd.DataFrame, settings: Settings) -> Answer:
    agreed: dict[str, Any] = {name: settings.get(name) for name in ("alpha", "beta", "scatter")}
    result = limit_from_history(rows, **agreed)
    words = "Share of good batches beyond each limit in truth, and of those that would not pass."
    drawn = {} if result.why_none else {"good batches stopped": words}
    tables = {"Limits": result.limits, "Quantiles": result.quantiles}
    shown = {name: frame for name, frame in tables.items() if len(frame)}
    return answer_of(result, shown, drawn)


def _of_consumers(key: str, name: str, setting: StudySetting) -> StudyKind:
    return StudyKind(
        key=key,
        name=name,
        question="How far may a batch lie from the reference, by consumers?",
        standard=_NONE,
        columns=CONSUMER_COLUMNS,
        people=("consumer",),
        settings=(_UNIT, setting, *_RISKS),
        invented="consumers.csv",
        answer=_consumers,
    )


ACCEPTANCE = _of_consumers(
    "consumers accept",
    "limit by consumers who accept or reject",
    StudySetting(
        key="share",
        label="Share of consumers whose rejection is accepted, %",
        kind="number",
        low=1.0,
        high=99.0,
        step=5.0,
        share=True,
        needed=True,
    ),
)
LIKED = _of_consumers(
    "consumers like",
    "limit by liking",
    StudySetting(
        key="margin",
        label="How far liking may fall from that of the reference",
        kind="number",
        low=0.01,
        high=100.0,
        needed=True,
    ),
)
SOLD = StudyKind(
    key="sold batches",
    name="limit by batches sold without complaint",
    question="How far from the reference were batches that nobody complained of?",
    standard=_NONE,
    columns=StudyColumns(words={"batch": ("batch",)}, needed=("batch",)),
    people=(),
    settings=(
        *_RISKS,
        StudySetting(key="scatter", label="Scatter of the panel", kind="number", high=1e3),
    ),
    invented="",
    answer=_sold,
)

"""The history of a panel's assessors, out of the sittings on record; no ballot is read.

Why so
------
What a sitting says of its assessors is worked out once and remembered, so that years are put
together in a fraction of a second. Each assessor is compared with the mean of the *others*.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
import pandas as pd

from ..base.arrays import Floats
from ..base.results import several
from ..base.shown import Shown
from ..base.spelling import same_person
from ..choices.protocols import PROTOCOLS
from ..sessions.sitting import ABSENT, LATE, Sitting
from .sensitivity import COLUMNS

_KEPT = 8192
_SCORES = (
    *("session", "held_on", "assessor", "attribute", "judged", "samples"),
    *("bias", "sxx", "sxy", "syy", "sd", "sd_df", "others_sd", "others_df"),
)
_PANEL = ("session", "held_on", "attribute", "judged", "assessors", "samples", "smallest", "sd")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class History(Shown):
    """Result of `history`: tidy tables, handed out as copies.

    Attributes
    ----------
    sittings : tuple of Sitting
        By date, those that hold somebody.
    names : tuple of str
        The assessors, in the spelling of their latest sitting.
    """

    sittings: tuple[Sitting, ...]
    names: tuple[str, ...]
    _tables: MappingProxyType[str, pd.DataFrame]

    @property
    def attendance(self) -> pd.DataFrame:
        """``assessor expected came late absent``, a row an assessor."""
        return self._tables["attendance"].copy()

    @property
    def answers(self) -> pd.DataFrame:
        """Forced choices: ``session held_on assessor protocol correct trials``."""
        return self._tables["answers"].copy()

    @property
    def scores(self) -> pd.DataFrame:
        """A row a session, assessor and attribute: ``session held_on assessor attribute judged
        samples bias sxx sxy syy sd sd_df others_sd others_df``: mean of own less others, sums of
        squares and products of the sample means of the others (x) and own (y) about their means,
        and the standard deviation of replicates of own and others."""
        return self._tables["scores"].copy()

    @property
    def panel(self) -> pd.DataFrame:
        """A row a session and attribute: ``session held_on attribute judged assessors samples
        smallest sd``: of the panel of that day."""
        return self._tables["panel"].copy()

    @property
    def controls(self) -> pd.DataFrame:
        """Blind controls and samples beyond the limit, in difference from control:
        ``assessor controls false_alarms spiked hits``; beyond it by the mean of the others."""
        return self._tables["controls"].copy()

    def of(self, name: str) -> tuple[Sitting, ...]:
        """The sittings to which somebody came or was expected."""
        person = same_person(name)
        return tuple(s for s in self.sittings if person in map(same_person, s.assessors))

    def __repr__(self) -> str:
        return (
            f"<History: {several(len(self.names), 'assessor')}, "
            f"{several(len(self.sittings), 'sitting')}>"
        )


def history(sittings: Iterable[Sitting], *, since: str = "", until: str = "") -> History:
    """Put sittings together to the history of their assessors.

    Parameters
    ----------
    since, until : str
        Days of tasting, ISO 8601, both included; all where they are not given.

    Examples
    --------
    >>> sitting = Sitting(session="s", held_on="2026-02-03", test="TRIANGLE",
    ...                   assessors=("Ada", "Bo"), came=("came", "did not come"),
    ...                   correct=(1, 0), trials=(1, 0))
    >>> history([sitting]).attendance.values.tolist()
    [['Ada', 1, 1, 0, 0], ['Bo', 1, 0, 0, 1]]
    """
    chosen = [
        each
        for each in sittings
        if each.assessors and since <= each.held_on and (not until or each.held_on <= until)
    ]
    chosen.sort(key=lambda each: (each.held_on, each.session))
    person_of: dict[str, str] = {}
    latest: dict[str, str] = {}
    for name in (name for each in chosen for name in each.assessors):
        person = person_of.get(name) or person_of.setdefault(name, same_person(name))
        latest[person] = name
    names = {name: latest[person] for name, person in person_of.items()}
    tables = {
        "attendance": _attendance(chosen, names),
        "answers": _answers(chosen, names),
        **_scored(chosen, names),
    }
    return History(
        sittings=tuple(chosen), names=tuple(latest.values()), _tables=MappingProxyType(tables)
    )


def _attendance(sittings: Sequence[Sitting], names: dict[str, str]) -> pd.DataFrame:
    counts: dict[str, Counter[str]] = {person: Counter() for person in names.values()}
    for sitting in sittings:
        for name, came in zip(sitting.assessors, sitting.came, strict=True):
            counts[names[name]][came] += 1
    rows = [
        (person, n.total(), n.total() - n[ABSENT], n[LATE], n[ABSENT])
        for person, n in counts.items()
    ]
    return pd.DataFrame(rows, columns=["assessor", "expected", "came", "late", "absent"])


def _answers(sittings: Sequence[Sitting], names: dict[str, str]) -> pd.DataFrame:
    rows = [
        (each.session, each.held_on, names[name], each.test, right, trials)
        for each in sittings
        if each.trials and each.test in PROTOCOLS
        for name, right, trials in zip(each.assessors, each.correct, each.trials, strict=True)
        if trials
    ]
    return pd.DataFrame(rows, columns=["session", "held_on", *COLUMNS[1:]])


class Numbers(NamedTuple):
    """What one sitting says, arrays (attributes, assessors) in the order of `_SCORES`."""

    judged: Floats
    samples: Floats
    bias: Floats
    sxx: Floats
    sxy: Floats
    syy: Floats
    sd: Floats
    sd_df: Floats
    others_sd: Floats
    others_df: Floats


def _scored(sittings: Sequence[Sitting], names: dict[str, str]) -> dict[str, pd.DataFrame]:
    rated = [each for each in sittings if each.attributes]
    heads: list[tuple[str, str, str, str]] = []
    panel: list[tuple[object, ...]] = []
    parts: list[Floats] = []
    for sitting in rated:
        numbers = numbers_of(sitting)
        parts.append(np.stack(numbers).reshape(len(numbers), -1))
        people = [names[name] for name in sitting.assessors]
        key, day = sitting.session, sitting.held_on
        heads += [(key, day, who, scores.attribute) for scores in sitting.attributes
                  for who in people]  # fmt: skip
        panel += [
            (key, day, scores.attribute, scores.judged, int((numbers.samples[place] > 0).sum()),
             len(sitting.samples), scores.smallest, _together(numbers, place))
            for place, scores in enumerate(sitting.attributes)
        ]  # fmt: skip
    frame = pd.DataFrame(heads, columns=list(_SCORES[:4]))
    values = np.concatenate(parts, 1) if parts else np.empty((len(_SCORES) - 4, 0))
    frame = frame.assign(**dict(zip(_SCORES[4:], values, strict=True)))
    frame = frame[frame["samples"] > 0].reset_index(drop=True)
    return {
        "scores": frame.assign(judged=frame["judged"] > 0),
        "panel": pd.DataFrame(panel, columns=list(_PANEL)).astype({"smallest": float}),
        "controls": _controls(rated, names),
    }


def _together(numbers: Numbers, place: int) -> float:
    """Standard deviation of replicates of all assessors in one attribute."""
    sd, df = numbers.sd[place], numbers.sd_df[place]
    return float(np.sqrt((sd**2 * df)[df > 0].sum() / df.sum())) if df.sum() else np.nan


@lru_cache(maxsize=_KEPT)
def numbers_of(sitting: Sitting) -> Numbers:
    """What a sitting says of each assessor beside the others, by attribute."""
    means = np.array([scores.means for scores in sitting.attributes], float)
    sd = np.array([scores.sd for scores in sitting.attributes], float)
    sd_df = np.array([scores.sd_df for scores in sitting.attributes], float)
    there = np.isfinite(means)
    filled = np.where(there, means, 0.0)
    rest = there.sum(1, keepdims=True) - there
    with np.errstate(invalid="ignore", divide="ignore"):
        others = (filled.sum(1, keepdims=True) - filled) / rest
        both = there & (rest > 0)
        count = both.sum(2)
        x, y = np.where(both, others, 0.0), np.where(both, filled, 0.0)
        x_mean, y_mean = x.sum(2) / count, y.sum(2) / count
        dx = np.where(both, x - x_mean[..., None], 0.0)
        dy = np.where(both, y - y_mean[..., None], 0.0)
        squares = np.where(sd_df > 0, np.nan_to_num(sd) ** 2 * sd_df, 0.0)
        others_df = sd_df.sum(1, keepdims=True) - sd_df
        others_sd = np.sqrt((squares.sum(1, keepdims=True) - squares).clip(0) / others_df)
    judged = np.array([[float(s.judged)] * len(sitting.assessors) for s in sitting.attributes])
    return Numbers(
        judged=judged,
        samples=count.astype(float),
        bias=y_mean - x_mean,
        sxx=(dx**2).sum(2),
        sxy=(dx * dy).sum(2),
        syy=(dy**2).sum(2),
        sd=sd,
        sd_df=sd_df,
        others_sd=others_sd,
        others_df=others_df,
    )


def _controls(sittings: Sequence[Sitting], names: dict[str, str]) -> pd.DataFrame:
    """How often the blind control was called beyond the limit, and samples that were beyond."""
    counts = {person: np.zeros(4, int) for person in names.values()}
    for sitting in sittings:
        if not sitting.control or sitting.limit is None or len(sitting.attributes) != 1:
            continue
        means = np.array(sitting.attributes[0].means, float)
        control = sitting.samples.index(sitting.control)
        for place, name in enumerate(sitting.assessors):
            own, others = means[place], np.delete(means, place, 0)
            if not np.isfinite(own[control]) or not len(others):
                continue
            beyond = np.nanmean(others - others[:, [control]], 0) > sitting.limit
            called = own > sitting.limit
            counts[names[name]] += (
                1, int(called[control]), int(beyond.sum()), int((beyond & called).sum())
            )  # fmt: skip
    rows = [(person, *map(int, n)) for person, n in counts.items() if n[0]]
    return pd.DataFrame(rows, columns=["assessor", "controls", "false_alarms", "spiked", "hits"])

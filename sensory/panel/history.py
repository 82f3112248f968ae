"""The history of a panel's assessors, out of the sittings on record; no ballot is read.

Why so
------
All sittings of one shape are worked out in one go, from the sums that closing keeps, so that years
of them are put together in a fraction of a second and nothing has to be remembered that a later
entry could make untrue. Each assessor is compared with the mean of the *others*.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from ..base.arrays import Floats, Ints
from ..base.results import several
from ..base.shown import Shown
from ..base.spelling import same_person
from ..choices.protocols import PROTOCOLS
from ..sessions.sitting import ABSENT, LATE, Sitting

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
    place, people = _numbered(names)
    who = np.array([place[name] for each in sittings for name in each.assessors], int)
    came = np.array([what for each in sittings for what in each.came], str)
    expected, absent, late = (
        np.bincount(who[rows], minlength=len(people))
        for rows in (slice(None), came == ABSENT, came == LATE)
    )
    counts = {"expected": expected, "came": expected - absent, "late": late, "absent": absent}
    return pd.DataFrame({"assessor": people, **counts})


def _columns(
    texts: Mapping[str, tuple[Sequence[str], Sequence[int] | Ints]], numbers: dict[str, Any]
) -> pd.DataFrame:
    """A table of columns of text, each as its different texts and which of them a row holds, and
    of numbers."""
    heads = {
        name: pd.Series(different).take(which).array for name, (different, which) in texts.items()
    }
    return pd.DataFrame({**heads, **numbers})


def _answers(sittings: Sequence[Sitting], names: dict[str, str]) -> pd.DataFrame:
    asked = [each for each in sittings if each.trials and each.test in PROTOCOLS]
    place, people = _numbered(names)
    trials = np.array([n for each in asked for n in each.trials], int)
    right = np.array([n for each in asked for n in each.correct], int)
    who = np.array([place[name] for each in asked for name in each.assessors], int)
    at = np.repeat(np.arange(len(asked)), [len(each.assessors) for each in asked])
    there = trials > 0
    texts = {
        "session": ([each.session for each in asked], at[there]),
        "held_on": ([each.held_on for each in asked], at[there]),
        "assessor": (people, who[there]),
        "protocol": ([each.test for each in asked], at[there]),
    }
    return _columns(texts, {"correct": right[there], "trials": trials[there]})


def _numbered(names: dict[str, str]) -> tuple[dict[str, int], list[str]]:
    """The place of each spelling among the assessors, and these."""
    people = list(dict.fromkeys(names.values()))
    places = {person: place for place, person in enumerate(people)}
    return {name: places[person] for name, person in names.items()}, people


def _scored(sittings: Sequence[Sitting], names: dict[str, str]) -> dict[str, pd.DataFrame]:
    rated = [each for each in sittings if each.attributes]
    columns = [(at, scores) for at, each in enumerate(rated) for scores in each.attributes]
    kinds = {
        name: place for place, name in enumerate(dict.fromkeys(s.attribute for _, s in columns))
    }
    values = _numbers(rated)
    many = np.array([len(rated[at].assessors) for at, _ in columns], int)
    at = np.array([at for at, _ in columns], int)
    what = np.array([kinds[scores.attribute] for _, scores in columns], int)
    place, people = _numbered(names)
    own = [[place[name] for name in each.assessors] for each in rated]
    who = np.array([person for session in at for person in own[session]], int)
    judged = np.array([scores.judged for _, scores in columns], bool)
    there = values["samples"] > 0
    row = np.repeat(np.arange(len(columns)), many)[there]
    sessions, days = [each.session for each in rated], [each.held_on for each in rated]
    texts = {
        "session": (sessions, at[row]),
        "held_on": (days, at[row]),
        "assessor": (people, who[there]),
        "attribute": (list(kinds), what[row]),
    }
    of_panel = {
        "judged": judged,
        "assessors": np.bincount(row, minlength=len(columns)),
        "samples": [len(rated[session].samples) for session in at],
        "smallest": np.array([scores.smallest for _, scores in columns], float),
        "sd": _together(values["sd"], values["sd_df"], many),
    }
    heads = {"session": (sessions, at), "held_on": (days, at), "attribute": (list(kinds), what)}
    own_numbers = {name: values[name][there] for name in _SCORES[5:]}
    return {
        "scores": _columns(texts, {"judged": judged[row]} | own_numbers)[list(_SCORES)],
        "panel": _columns(heads, of_panel)[list(_PANEL)],
        "controls": _controls(rated, names),
    }


def _together(sd: Floats, df: Floats, many: Ints) -> Floats:
    """Standard deviation of replicates of all assessors in each attribute of each sitting."""
    if not len(many):
        return np.empty(0)
    starts = np.cumsum(many) - many
    squares = np.add.reduceat(np.where(df > 0, sd**2 * df, 0.0), starts)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.sqrt(squares / np.add.reduceat(df, starts)))


def _numbers(sittings: Sequence[Sitting]) -> dict[str, Floats]:
    """The numbers of `_SCORES` sitting after sitting, in each attribute after attribute, in each
    assessor after assessor; sittings of one shape are worked out together."""
    shapes: dict[tuple[int, ...], list[int]] = {}
    for at, each in enumerate(sittings):
        shape = len(each.attributes), len(each.assessors), len(each.samples)
        shapes.setdefault(shape, []).append(at)
    parts: list[Floats] = [np.empty((len(_SCORES) - 5, 0))] * len(sittings)
    for some in shapes.values():
        for at, part in zip(some, _beside_others([sittings[at] for at in some]), strict=True):
            parts[at] = part
    values = np.concatenate(parts, 1) if parts else np.empty((len(_SCORES) - 5, 0))
    return dict(zip(_SCORES[5:], values, strict=True))


def numbers_of(sitting: Sitting) -> dict[str, Floats]:
    """The numbers of `_SCORES` of one sitting, each (attributes, assessors)."""
    shape = -1, len(sitting.attributes), len(sitting.assessors)
    return dict(zip(_SCORES[5:], _beside_others([sitting])[0].reshape(shape), strict=True))


def _beside_others(alike: Sequence[Sitting]) -> Floats:
    """What sittings of one shape say of each assessor beside the others,
    (sittings, numbers, attributes x assessors)."""
    columns = [each.attributes for each in alike]
    means = np.array([[scores.means for scores in each] for each in columns], float)
    sd = np.array([[scores.sd for scores in each] for each in columns], float)
    sd_df = np.array([[scores.sd_df for scores in each] for each in columns], float)
    there = np.isfinite(means)
    filled = np.where(there, means, 0.0)
    rest = there.sum(2, keepdims=True) - there
    with np.errstate(invalid="ignore", divide="ignore"):
        others = (filled.sum(2, keepdims=True) - filled) / rest
        both = there & (rest > 0)
        count = both.sum(3)
        x, y = np.where(both, others, 0.0), np.where(both, filled, 0.0)
        x_mean, y_mean = x.sum(3) / count, y.sum(3) / count
        dx = np.where(both, x - x_mean[..., None], 0.0)
        dy = np.where(both, y - y_mean[..., None], 0.0)
        squares = np.where(sd_df > 0, np.nan_to_num(sd) ** 2 * sd_df, 0.0)
        others_df = sd_df.sum(2, keepdims=True) - sd_df
        others_sd = np.sqrt((squares.sum(2, keepdims=True) - squares).clip(0) / others_df)
    sums = ((dx**2).sum(3), (dx * dy).sum(3), (dy**2).sum(3))
    numbers = (count, y_mean - x_mean, *sums, sd, sd_df, others_sd, others_df)
    return np.stack([np.asarray(n, float) for n in numbers], 1).reshape(
        len(alike), len(numbers), -1
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
